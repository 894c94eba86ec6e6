"""The chips on the emulated board, and what they measure.

They are the models of hotfuel.simulator.chips, typed from the data sheets and not from the firmware's maps; their voltages come
from an independent type K library (PyPI thermocouple-its90), so that neither the host's polynomials nor the models' own table are
checked against themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from hotfuel.simulator.chips import model
from hotfuel.simulator.machine.world import AMBIENT_1024, AMBIENT_PRESSURE_PA, ANALOGUE_UV
from hotfuel.simulator.wiring import Wiring
from rp2040py.gpio_pin import GPIOPinState
from thermocouple_its90 import TypeK

from emulated.buses import I2cBus, SpiBus


@dataclass
class Surroundings:
    """What the chips measure: degC at the probes and at the amplifiers' terminals, one of each per channel; the air."""

    hot_degc: list[float]
    cold_degc: list[float]
    air_pa: int = 95_000
    air_degc: float = 25.0
    analogue_v: list[float] = field(default_factory=lambda: [0.0] * 4)  # at the converter's inputs

    def emf_nv(self, channel: int, _at_us: int) -> int:
        """The loop's voltage, nV."""
        return round(1e6 * (TypeK.emf(self.hot_degc[channel]) - TypeK.emf(self.cold_degc[channel])))

    def cold_1024(self, channel: int, _at_us: int) -> int:
        """The terminals' temperature, 1/1024 degC."""
        return round(self.cold_degc[channel] * 1024)

    def input(self, column: int, _at_us: int) -> int:
        """What barometer and converter measure."""
        if ANALOGUE_UV <= column < ANALOGUE_UV + len(self.analogue_v):
            return round(1e6 * self.analogue_v[column - ANALOGUE_UV])
        return {AMBIENT_PRESSURE_PA: self.air_pa, AMBIENT_1024: round(self.air_degc * 1024)}[column]


@dataclass
class Fitted:
    """The amplifiers of a board, channel by channel, and its barometer (None: none)."""

    chips: Sequence[str] = ("MAX31856",) * 3
    barometer: str | None = None
    more_inputs: Sequence[str] = ()
    surroundings: Surroundings = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.chips)
        self.surroundings = Surroundings([30.0 + 5 * channel for channel in range(count)], [25.0] * count)


class Clock:
    """The emulated board's time as the models read it."""

    def __init__(self, clock: Any) -> None:
        self._clock = clock

    @property
    def now_us(self) -> int:
        """us since power-on."""
        return int(self._clock.nanos // 1000)


def wire(fitted: Fitted, wiring: Wiring, mcu: Any, spi: SpiBus, i2c: I2cBus) -> tuple[list[Any], Any]:
    """Connect the models as in the wiring diagram; returns the amplifiers in channel order, and the converter (None: none).

    They are powered while the sensor rail is not low, and reset with it.
    """
    clock = Clock(mcu.clock)
    amplifiers, converter = [], None
    for row in wiring.rows(fitted.chips, {"more_inputs": fitted.more_inputs}, fitted.barometer, None):
        on_rail = row["on_rail"]
        chip = model(row["chip"])(fitted.surroundings, row["channel"] if on_rail else 0, clock)
        (spi if row["bus"] == "spi" else i2c).attach(row["where"], chip)
        if on_rail:
            amplifiers.append(chip)
        elif row["name"] == "converter":
            converter = chip

    def rail(new: GPIOPinState, _old: GPIOPinState) -> None:
        for chip in amplifiers:
            chip.set_fault("gone", new == GPIOPinState.LOW)
            if new == GPIOPinState.HIGH:
                chip.power_on()

    mcu.gpio[wiring.gpio["sensor_rail"]].add_listener(rail)
    return amplifiers, converter

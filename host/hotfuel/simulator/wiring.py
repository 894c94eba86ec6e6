"""What is connected to the simulated board: read from the firmware's pins.py, which the wiring diagram is drawn from too."""

import runpy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hotfuel_wire.amplifiers import ROWS as AMPLIFIERS

from hotfuel.errors import InputError

# Columns of machine/world.py
BATTERY_CODE, FUEL_PRESSURE_CODE = 0, 1
PULSES = {"engine_pulses": 4, "flow_1": 10, "flow_2": 11}
CONVERTER, CONVERTER_ADDRESS = "ADS1115", 0x48
BAROMETER_ADDRESS = 0x76
CLOCK_ADDRESS = 0x68
I2C_FROM = 0x60
WIRED_INPUTS = ("barometer", "battery", "fuel_pressure", "engine_pulses", "ignition", "mark_button")
DEFAULT_CHIPS = ("MAX31856",) * 3  # what the firmware assumes when nothing is stored


@dataclass(frozen=True)
class Wiring:
    """What is wired where: GPIO numbers by name, and the numbers of the buses."""

    gpio: Mapping[str, int]
    spi: int
    i2c: int

    def rows(
        self, chips: Sequence[str], settings: Mapping[str, object], barometer: str | None, clock_chip: str | None
    ) -> list[dict[str, Any]]:
        """One row per chip model. Raises InputError for a chip that cannot be wired."""
        addresses = settings.get("i2c_addresses") or [I2C_FROM + channel for channel in range(len(chips))]
        rows: list[dict[str, Any]] = []
        for channel, chip in enumerate(chips):
            select = f"select_{channel}"
            bus = AMPLIFIERS[chip]["bus"] if chip in AMPLIFIERS else None
            if bus == "spi" and select in self.gpio:
                where = {"bus": "spi", "number": self.spi, "where": self.gpio[select]}
            elif bus == "i2c":
                where = {"bus": "i2c", "number": self.i2c, "where": int(list(addresses)[channel])}  # type: ignore[call-overload]
            else:
                raise InputError(f"channel {channel} cannot have a {chip}; there are {', '.join(AMPLIFIERS)}, on channels 0 to 7")
            rows.append({**where, "chip": chip, "channel": channel, "on_rail": True, "name": channel})
        more: Any = settings.get("more_inputs", ())
        converter = CONVERTER if any(str(name).startswith("analogue") for name in more) else None
        others = (
            (barometer, BAROMETER_ADDRESS, "barometer"),
            (clock_chip, CLOCK_ADDRESS, "clock"),
            (converter, int(str(settings.get("converter_address", CONVERTER_ADDRESS))), "converter"),
        )
        for fitted, address, name in others:
            if fitted is not None:
                rows.append({"bus": "i2c", "number": self.i2c, "where": address, "chip": fitted, "on_rail": False, "name": name})
        return rows

    def index_of(self, rows: Sequence[Mapping[str, Any]], name: int | str) -> int:
        """Index in `rows` of the chip with this name. Raises InputError if there is none."""
        for index, row in enumerate(rows):
            if row["name"] == name:
                return index
        raise InputError(f"there is no {name} on this board; there are {', '.join(str(row['name']) for row in rows)}")

    def pins(self) -> dict[str, Any]:
        """What the board's process wants to know about pins."""
        return {
            "rail_pin": self.gpio.get("sensor_rail"),
            "ignition_pin": self.gpio.get("ignition"),
            "pulse_pin": self.gpio.get("engine_pulses"),
            "analogue": [
                [self.gpio[name], column]
                for name, column in (("battery", BATTERY_CODE), ("fuel_pressure", FUEL_PRESSURE_CODE))
                if name in self.gpio
            ],
            "pulses": [[self.gpio[name], column] for name, column in PULSES.items() if name in self.gpio],
        }


def read(firmware: Path) -> Wiring:
    """Read the wiring from a folder of firmware sources."""
    plain = runpy.run_path(str(firmware / "pins.py"))
    return Wiring({name: number for name, number, _ in plain["PINS"]}, plain["SPI_ID"], plain["I2C_ID"])


def settings_text(chips: Sequence[str], settings: Mapping[str, object]) -> str:
    """The settings as the firmware stores them, one name=value a line; the chips are among them, and the inputs, all of which are wired here."""
    values = dict(settings)
    values.setdefault("inputs", WIRED_INPUTS)
    values.setdefault("chips", tuple(chips))
    if len(chips) != len(DEFAULT_CHIPS):
        values.setdefault("places", tuple(f"place_{channel}" for channel in range(len(chips))))
    values.setdefault("i2c_addresses", tuple(str(I2C_FROM + channel) for channel in range(len(chips))))
    lines = [
        f"{name}={','.join(map(str, value)) if isinstance(value, (tuple, list)) else value}" for name, value in values.items()
    ]
    return "\n".join(lines)

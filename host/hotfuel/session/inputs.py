"""The board's other inputs, from raw codes to units: engine speed, fuel pressure, supply voltage, ignition, air pressure."""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from hotfuel_wire.barometer import BarometerError, air_pressure_pa
from hotfuel_wire.messages import FITTED, INPUTS

from hotfuel.car import Car

REFERENCE_V = 3.3  # of the board's converter: the battery code's full scale
FULL_SCALE = 65535.0
HOLD_S = 3.0  # an input older than this is unknown
SPEED_WINDOW_S = 1.0  # pulses are counted over at least this long: ten pulses a reading would jump by a tenth

NAMES = ("engine_rpm", "fuel_pressure_kpa", "battery_v", "ignition", "ambient_pressure_kpa")


def from_auxiliary(auxiliary: np.ndarray, barometer: np.ndarray, car: Car) -> dict[str, np.ndarray]:
    """name of NAMES -> one float per row of `auxiliary`, nan where not fitted or unknown: an input declared as wired is known once it has been seen to work.

    auxiliary, barometer: tables of these messages in log order (fields of the message, boot, time in s). fuel_pressure_kpa is gauge.
    """
    fitted = auxiliary["fitted"].astype(int) | auxiliary["fitted_high"].astype(int) << 8

    def has(name: str) -> np.ndarray:
        answer: np.ndarray = (fitted & FITTED[name]) != 0
        return answer

    sensors = car.sensors
    percent = auxiliary["fuel_pressure"] / FULL_SCALE * 100
    share = (percent - sensors.fuel_pressure_zero_percent) / (
        sensors.fuel_pressure_full_percent - sensors.fuel_pressure_zero_percent
    )
    # a broken wire reads 0 or full scale: outside the sender's span by more than its tolerance there is no pressure
    pressure = np.where((share < -0.05) | (share > 1.05), np.nan, share * sensors.fuel_pressure_range_kpa)
    battery = auxiliary["battery"] / FULL_SCALE * REFERENCE_V * sensors.battery_divider
    bits = auxiliary["inputs"].astype(int)
    ignition = np.where((bits & INPUTS["ignition_unseen"]) != 0, np.nan, (bits & INPUTS["ignition"]) != 0)
    speed = _engine_rpm(auxiliary["boot"], auxiliary["time"], auxiliary["pulses"], car.engine.pulses_per_revolution)
    return {
        "engine_rpm": np.where(has("engine_pulses"), speed, np.nan),
        "fuel_pressure_kpa": np.where(has("fuel_pressure"), pressure, np.nan),
        "battery_v": np.where(has("battery"), battery, np.nan),
        "ignition": np.where(has("ignition"), ignition, np.nan),
        "ambient_pressure_kpa": np.where(has("barometer"), _ambient_kpa(auxiliary, barometer), np.nan),
    }


def _engine_rpm(boot: np.ndarray, time_s: np.ndarray, pulses: np.ndarray, pulses_per_revolution: float) -> np.ndarray:
    """Mean speed since the last row at least SPEED_WINDOW_S earlier in the same boot; nan before there is one.

    nan too until the boot's first pulse: a missing wire is as silent as a stopped engine. After it, silence is 0. The count is the board's own
    since its boot, so a recording that begins later has it too.
    """
    if not len(time_s):
        return np.zeros(0)
    count = np.zeros(len(pulses))
    count[1:] = np.cumsum((pulses[1:].astype(np.int64) - pulses[:-1].astype(np.int64)) % (1 << 32))
    offset = boot.astype(float) * 1e7  # keeps boots apart and the times rising
    times = np.maximum.accumulate(time_s + offset)
    before = np.searchsorted(times, times - SPEED_WINDOW_S + 1e-6, side="right") - 1
    usable = before >= 0
    usable[usable] &= boot[before[usable]] == boot[usable]
    usable &= pulses > 0
    result = np.full(len(times), np.nan)
    elapsed = times[usable] - times[before[usable]]
    good = (elapsed > 0) & (elapsed <= SPEED_WINDOW_S + HOLD_S)
    rows = np.flatnonzero(usable)[good]
    result[rows] = (count[rows] - count[before[rows]]) * 60 / elapsed[good] / pulses_per_revolution
    return result


def _ambient_kpa(auxiliary: np.ndarray, barometer: np.ndarray) -> np.ndarray:
    """Each row, with the factory words last sent before it in its boot; rows before those use the boot's first ones."""
    result = np.full(len(auxiliary), np.nan)
    for boot in np.unique(barometer["boot"]):
        words = barometer[barometer["boot"] == boot]
        rows = np.flatnonzero(auxiliary["boot"] == boot)
        which = np.maximum(np.searchsorted(words["time"], auxiliary["time"][rows], side="right") - 1, 0)
        for row, number in zip(rows.tolist(), which.tolist(), strict=True):
            result[row] = _kpa(int(words["chip"][number]), bytes(words["words"][number]), bytes(auxiliary["barometer"][row]))
    return result


@lru_cache(maxsize=4096)
def _kpa(chip: int, words: bytes, data: bytes) -> float:
    try:
        return float(air_pressure_pa(chip, words, data)) / 1000
    except BarometerError:
        return np.nan


def held(at_s: np.ndarray, values: Mapping[str, np.ndarray], wanted_s: np.ndarray) -> dict[str, np.ndarray]:
    """Values of rising times `at_s` at other times: the latest one, nan if it is older than HOLD_S or there is none."""
    if not len(at_s):
        return {name: np.full(len(wanted_s), np.nan) for name in values}
    which = np.searchsorted(at_s, wanted_s, side="right") - 1
    inside = which >= 0
    which = np.maximum(which, 0)
    inside &= wanted_s - at_s[which] <= HOLD_S
    return {name: np.where(inside, column[which], np.nan) for name, column in values.items()}

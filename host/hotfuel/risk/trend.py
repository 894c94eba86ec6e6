"""The trend of a margin, computed in enthalpy: boiling fuel takes up heat without getting much hotter, so a temperature trend would show "levelling
off" exactly when the pump begins to boil.
"""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
import numpy.typing as npt

from hotfuel.fuel import Fuel

SPAN_S = 60.0  # ten seconds of trend spread 2 to 27 min for a true 4 (own simulation)
WINDOW_S = 120.0
# outside this range no time is shown: too near to be worth showing, or too far ahead to predict
LEAST_MIN, GREATEST_MIN = 0.5, 15.0
_POINTS = 60


class Way(Enum):
    """Which way a margin goes. LEVEL: below boiling onset; BOILING: at or above it, whatever the slope; UNKNOWN: not enough seen yet."""

    CLOSING = auto()
    OPENING = auto()
    LEVEL = auto()
    BOILING = auto()
    UNKNOWN = auto()


CLOSING, OPENING, LEVEL, BOILING, UNKNOWN = Way


@dataclass(frozen=True)
class Trend:
    """way: which way the margin goes; minutes to the limit with a range of two standard errors, nan where none is given; heating in W per kg of fuel."""

    way: Way
    minutes: float = np.nan
    minutes_least: float = np.nan
    minutes_greatest: float = np.nan
    heating_w_kg: float = np.nan


def trend(
    time_s: npt.ArrayLike,
    temperature_degc: npt.ArrayLike,
    pressure_kpa: npt.ArrayLike,
    fuel: Fuel,
    vapour_liquid_ratio: float,
    window_s: float = WINDOW_S,
    limit_degc: float | None = None,
) -> Trend:
    """Trend at one place from its last `window_s` seconds.

    time_s (n,) rising, temperature_degc (n,), pressure_kpa (n,) or a number (absolute, at that place). The limit is V/L `vapour_liquid_ratio` at the
    latest pressure, or `limit_degc` where a different one applies: behind the needle it is the temperature in the line at which the fuel boils over
    there. At or above the bubble point the way is BOILING whatever the slope.
    """
    times, temperatures = np.asarray(time_s, dtype=float), np.asarray(temperature_degc, dtype=float)
    pressures = np.broadcast_to(np.asarray(pressure_kpa, dtype=float), times.shape)
    use = np.isfinite(times) & np.isfinite(temperatures) & np.isfinite(pressures)
    times, temperatures, pressures = times[use], temperatures[use], pressures[use]
    covered = fuel.covers(temperatures, pressures)  # suction at altitude, a probe on the exhaust
    if not times.size or not covered[-1]:
        return Trend(UNKNOWN)
    times, temperatures, pressures = times[covered], temperatures[covered], pressures[covered]
    recent = times >= times[-1] - window_s
    times, temperatures, pressures = _averaged(times[recent], temperatures[recent], pressures[recent])
    now_kpa = pressures[-1]
    if limit_degc is None:
        limit_degc = float(fuel.limit_degc(now_kpa, vapour_liquid_ratio))
    if not np.isfinite(limit_degc):
        return Trend(UNKNOWN)
    onset_degc = fuel.bubble_point_degc(now_kpa)
    limit_kj_kg = float(fuel.enthalpy_kj_per_kg(limit_degc, now_kpa))
    boiling = bool(temperatures[-1] >= onset_degc)
    if times[-1] - times[0] < SPAN_S or len(times) < 5:
        return Trend(BOILING if boiling else UNKNOWN)
    enthalpy = fuel.enthalpy_kj_per_kg(temperatures, pressures)
    slope, error, now_kj_kg = _line(times, enthalpy)
    left = limit_kj_kg - now_kj_kg
    if left <= 0:
        return Trend(BOILING if boiling else CLOSING, heating_w_kg=1000 * slope)
    minutes = left / slope / 60 if slope > 0 else np.inf
    way = BOILING if boiling else CLOSING if minutes <= GREATEST_MIN else OPENING if slope < -2 * error and slope < 0 else LEVEL
    if not LEAST_MIN <= minutes <= GREATEST_MIN or slope < 2 * error:
        return Trend(way, heating_w_kg=1000 * slope)
    slowest = max(slope - 2 * error, 1e-9)
    return Trend(way, minutes, left / (slope + 2 * error) / 60, left / slowest / 60, 1000 * slope)


def _averaged(*columns: np.ndarray) -> list[np.ndarray]:
    """At most 60 means of neighbours: the flash behind the enthalpy need not run on every sample."""
    size = -(-len(columns[0]) // _POINTS)
    if size <= 1:
        return list(columns)
    starts = np.arange(len(columns[0]) % size, len(columns[0]), size)
    return [np.add.reduceat(column[starts[0] :], starts - starts[0]) / size for column in columns]


def _line(times: np.ndarray, values: np.ndarray) -> tuple[float, float, float]:
    """(slope, its standard error widened for neighbours that resemble each other, value at the end) of the straight line through the points."""
    centre = times - times.mean()
    slope = float(centre @ values / (centre @ centre))
    rest = values - values.mean() - slope * centre
    resemblance = float(np.clip(rest[1:] @ rest[:-1] / max(rest @ rest, 1e-300), 0.0, 0.95))
    widened = (1 + resemblance) / (1 - resemblance)
    error = float(np.sqrt(widened * (rest @ rest) / max(len(times) - 2, 1) / (centre @ centre)))
    return slope, error, float(values.mean() + slope * centre[-1])

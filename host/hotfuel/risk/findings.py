"""What pressures alone show: fuel trapped in the line after a hot stop, and a tank whose vent is blocked."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hotfuel.risk.pressure import lowest_recent
from hotfuel.stretches import stretches

TRAPPED_FUEL, BLOCKED_VENT = "trapped fuel", "blocked vent"
_RISE_KPA = 3.0  # more than a sender drifts in a few minutes (common practice, no source)
_WARM_S = 120.0  # an engine that ran for less heats no line after its stop (common practice, no source)
_WARM_DEGC = 40.0  # fuel of a car that has not run lately is cooler (common practice, no source)
_AT_ONCE_S = 5.0  # trapped fuel takes minutes for such a rise; within so few seconds it is a pump's (common practice, no source)
_NOISE_SPAN = 6.0  # standard deviations between the highest and the lowest of half an hour's readings
_VACUUM_KPA = 2.0
_TREND_S = 120.0


@dataclass(frozen=True)
class Finding:
    """What was found (a kind above), when (seconds, on the times given), and how large."""

    kind: str
    time_s: float
    size_kpa: float


def pressure_findings(
    time_s: npt.ArrayLike,
    running: npt.ArrayLike,
    fuel_pressure_kpa: npt.ArrayLike | None = None,
    tank_gauge_kpa: npt.ArrayLike | None = None,
    ignition: npt.ArrayLike | None = None,
    hottest_degc: npt.ArrayLike | None = None,
    electric_pump: bool = True,
) -> list[Finding]:
    """Findings of a record, arrays of one length (n,), nan where a sample is missing; running as risk.pressure.running_state gives it.

    After a stop trapped fuel expands and boils, and line pressure climbs: one finding a stop, the largest climb of 3 kPa or more besides the sender's noise.
    hottest_degc: of all places with fuel. A stop counts once the engine has run for two minutes in this record, or where some fuel is above 40 degC.
    What rises at once is a pump's pressure, and so is all while an ignition turned on during the stop stays on, if the pump is electric; the search begins
    anew behind either. So these are not found: a rise in a line whose fuel is warm at no probe, after a run that was not recorded; one while an electric
    pump is on; a small one under much noise.
    A vacuum in the tank of more than 2 kPa that has grown for two minutes: the vent is blocked.
    """
    times, state = np.asarray(time_s, dtype=float), np.asarray(running, dtype=float)
    found = []
    if fuel_pressure_kpa is not None:
        pressure = np.asarray(fuel_pressure_kpa, dtype=float)
        key = np.full(len(state), np.nan) if ignition is None or not electric_pump else np.asarray(ignition, dtype=float)
        hot = np.zeros(len(state), dtype=bool) if hottest_degc is None else np.asarray(hottest_degc, dtype=float) > _WARM_DEGC
        ran_s = np.cumsum(np.where(state == 1, np.diff(times, append=times[-1:]), 0.0))
        for begin, end in stretches(state == 0):
            if ran_s[begin] >= _WARM_S or hot[begin:end].any():
                found += _trapped(times[begin:end], pressure[begin:end], key[begin:end])
    if tank_gauge_kpa is not None:
        gauge = np.asarray(tank_gauge_kpa, dtype=float)
        earlier = np.interp(times - _TREND_S, times, np.where(np.isnan(gauge), 0.0, gauge)) if times.size else gauge
        deep = (gauge <= -_VACUUM_KPA) & (gauge < earlier - 0.5) & (times - times[:1] >= _TREND_S)
        if deep.any():
            first = int(np.argmax(deep))
            found.append(Finding(BLOCKED_VENT, float(times[first]), float(-gauge[first])))
    return found


def _trapped(at_s: np.ndarray, pressure: np.ndarray, key: np.ndarray) -> list[Finding]:
    """The largest climb of one stop in the stretches without a pump's own pressure; at most one."""
    noise_kpa = _NOISE_SPAN * _noise(pressure)
    pumped = _about(at_s, pressure - lowest_recent(at_s, pressure, _AT_ONCE_S) - noise_kpa >= _RISE_KPA)
    for first, past in stretches(key == 1):
        pumped[first:past] |= first > 0 and key[first - 1] == 0  # left on since before the stop, it starts no pump
    best: list[Finding] = []
    for first, past in stretches(~pumped):
        rise = pressure[first:past] - np.fmin.accumulate(pressure[first:past]) - noise_kpa
        if np.isfinite(rise).any() and np.nanmax(rise) >= max([_RISE_KPA, *(one.size_kpa for one in best)]):
            peak = int(np.nanargmax(rise))
            best = [Finding(TRAPPED_FUEL, float(at_s[first + peak]), float(rise[peak]))]
    return best


def _about(at_s: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """`holds` (n,), and the seconds about it: the rise it ends and the pressure's settling after it."""
    flags = np.where(holds, -1.0, 0.0)
    return (lowest_recent(at_s, flags, _AT_ONCE_S) < 0) | (lowest_recent(-at_s[::-1], flags[::-1], _AT_ONCE_S)[::-1] < 0)


def _noise(values: np.ndarray) -> float:
    """Standard deviation of the noise of single readings, to the pascal, from their second differences, which a steady climb leaves at zero."""
    seconds = np.diff(values[np.isfinite(values)], 2)
    return round(float(np.median(np.abs(seconds))) * 1.4826 / 6**0.5, 3) if seconds.size else 0.0

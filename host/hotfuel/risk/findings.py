"""What pressures alone show: fuel trapped in the line after a hot stop, and a tank whose vent is blocked."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hotfuel.risk.pressure import lowest_recent
from hotfuel.stretches import stretches

TRAPPED_FUEL, BLOCKED_VENT = "trapped fuel", "blocked vent"
_RISE_KPA = 3.0  # more than a sender drifts in a few minutes (common practice, no source)
_WARM_S = 120.0  # an engine that ran for less heats no line after its stop (common practice, no source)
_AT_ONCE_S = 5.0  # trapped fuel takes minutes for such a rise; within so few seconds it is a pump's (common practice, no source)
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
) -> list[Finding]:
    """Findings of a record, arrays of one length (n,), nan where a sample is missing; running as risk.pressure.running_state gives it.

    After a stop trapped fuel expands and boils, and line pressure climbs: one finding a stop, when it has risen 3 kPa from its lowest after the stop.
    What rises before the engine has run for two minutes, with the ignition on (1) or all at once is a pump's pressure and no finding.
    A vacuum in the tank of more than 2 kPa that has grown for two minutes: the vent is blocked.
    """
    times, state = np.asarray(time_s, dtype=float), np.asarray(running, dtype=float)
    found = []
    if fuel_pressure_kpa is not None:
        pressure = np.asarray(fuel_pressure_kpa, dtype=float)
        key_on = np.zeros(len(state)) if ignition is None else np.asarray(ignition, dtype=float)
        ran_s = np.cumsum(np.where(state == 1, np.diff(times, append=times[-1:]), 0.0))
        for begin, end in stretches((state == 0) & (key_on != 1)):
            after, at_s = pressure[begin:end], times[begin:end]
            if ran_s[begin] < _WARM_S or not np.isfinite(after).any():
                continue
            pumped = after - lowest_recent(at_s, after, _AT_ONCE_S) >= _RISE_KPA
            after = after[: int(np.argmax(pumped)) if pumped.any() else len(after)]
            rise = after - np.fmin.accumulate(after)
            if np.isfinite(rise).any() and np.nanmax(rise) >= _RISE_KPA:
                peak = int(np.nanargmax(rise))
                found.append(Finding(TRAPPED_FUEL, float(at_s[peak]), float(rise[peak])))
    if tank_gauge_kpa is not None:
        gauge = np.asarray(tank_gauge_kpa, dtype=float)
        earlier = np.interp(times - _TREND_S, times, np.where(np.isnan(gauge), 0.0, gauge)) if times.size else gauge
        deep = (gauge <= -_VACUUM_KPA) & (gauge < earlier - 0.5) & (times - times[:1] >= _TREND_S)
        if deep.any():
            first = int(np.argmax(deep))
            found.append(Finding(BLOCKED_VENT, float(times[first]), float(-gauge[first])))
    return found

"""What pressures alone show: fuel trapped in the line after a hot stop, and a tank whose vent is blocked."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hotfuel.stretches import stretches

TRAPPED_FUEL, BLOCKED_VENT = "trapped fuel", "blocked vent"
_RISE_KPA = 3.0  # more than a sender drifts in a few minutes (common practice, no source)
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
) -> list[Finding]:
    """Findings of a record, arrays of one length (n,), nan where a sample is missing; running as risk.pressure.running_state gives it.

    After a stop trapped fuel expands and boils, and line pressure climbs: one finding a stop, when it has risen 3 kPa from its lowest after the stop.
    A vacuum in the tank of more than 2 kPa that has grown for two minutes: the vent is blocked.
    """
    times, state = np.asarray(time_s, dtype=float), np.asarray(running, dtype=float)
    found = []
    if fuel_pressure_kpa is not None:
        pressure = np.asarray(fuel_pressure_kpa, dtype=float)
        for begin, end in stretches(state == 0):
            after = pressure[begin:end]
            rise = after - np.fmin.accumulate(after)
            if np.isfinite(rise).any() and np.nanmax(rise) >= _RISE_KPA:
                peak = int(np.nanargmax(rise))
                found.append(Finding(TRAPPED_FUEL, float(times[begin + peak]), float(rise[peak])))
    if tank_gauge_kpa is not None:
        gauge = np.asarray(tank_gauge_kpa, dtype=float)
        earlier = np.interp(times - _TREND_S, times, np.where(np.isnan(gauge), 0.0, gauge)) if times.size else gauge
        deep = (gauge <= -_VACUUM_KPA) & (gauge < earlier - 0.5) & (times - times[:1] >= _TREND_S)
        if deep.any():
            first = int(np.argmax(deep))
            found.append(Finding(BLOCKED_VENT, float(times[first]), float(-gauge[first])))
    return found

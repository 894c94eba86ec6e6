"""What pressures say by themselves: fuel trapped behind a hot stop, and a tank whose vent is blocked. Sentences for a review."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hotfuel.units import Shown

_RISE_KPA = 3.0  # more than a sender drifts in a few minutes (common practice, no source)
_VACUUM_KPA = 2.0
_TREND_S = 120.0


@dataclass(frozen=True)
class Finding:
    """When (seconds, as the times given), how much, and the sentence."""

    time_s: float
    size_kpa: float
    sentence: str


def pressure_findings(
    time_s: npt.ArrayLike,
    running: npt.ArrayLike,
    fuel_pressure_kpa: npt.ArrayLike | None = None,
    tank_gauge_kpa: npt.ArrayLike | None = None,
    shown: Shown = Shown("si"),
) -> list[Finding]:
    """Findings of a record, arrays of one length (n,), nan where a sample is missing; running as risk.pressure.running_state gives it.

    After a stop trapped fuel expands and boils, and line pressure climbs: said once a stop, when it has risen 3 kPa from its lowest after the stop.
    A vacuum in the tank of more than 2 kPa that has grown for two minutes: the vent is blocked.
    """
    times, state = np.asarray(time_s, dtype=float), np.asarray(running, dtype=float)
    found = []
    if fuel_pressure_kpa is not None:
        pressure = np.asarray(fuel_pressure_kpa, dtype=float)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], (state == 0).astype(int), [0]))))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            after = pressure[begin:end]
            rise = after - np.fmin.accumulate(after)
            if np.isfinite(rise).any() and np.nanmax(rise) >= _RISE_KPA:
                peak = int(np.nanargmax(rise))
                found.append(
                    Finding(
                        float(times[begin + peak]), float(rise[peak]),
                        f"line pressure rose by {shown.text(rise[peak], 'pressure')} after the stop: trapped fuel expands and boils and may be pushed past the "
                        "needle; look for leaks and for a flooded carburettor, and do not open the line while it is hot",
                    )
                )  # fmt: skip
    if tank_gauge_kpa is not None:
        gauge = np.asarray(tank_gauge_kpa, dtype=float)
        earlier = np.interp(times - _TREND_S, times, np.where(np.isnan(gauge), 0.0, gauge)) if times.size else gauge
        deep = (gauge <= -_VACUUM_KPA) & (gauge < earlier - 0.5) & (times - times[:1] >= _TREND_S)
        if deep.any():
            first = int(np.argmax(deep))
            found.append(
                Finding(
                    float(times[first]), float(-gauge[first]),
                    f"the tank's vacuum grew to {shown.text(-gauge[first], 'pressure')}: its vent is blocked, which lowers the pressure at the pump "
                    "by as much; let it cool before opening the cap",
                )
            )  # fmt: skip
    return found

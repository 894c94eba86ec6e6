"""Full-throttle pulls found in the engine's speed, and what one changed at a place: for studies of a recording and for the live page alike."""

from dataclasses import dataclass

import numpy as np

from hotfuel.session.means import smoothed
from hotfuel.stretches import stretches

AFTER_S = 10.0  # watched after a pull, because the fuel it drew is still on its way
RISE_RPM_S, LEAST_S, SHARE = 60.0, 3.0, 0.7  # SHARE: of the highest speed of the recording, which a pull must reach


def sweeps(rpm: np.ndarray, idle_rpm: float) -> list[tuple[int, int]]:
    """(first, last) second of each sweep: rising by at least 60 rpm/s for 3 s or more, through most of the range the engine used that day.

    rpm (n,): one a second, without holes (hotfuel.risk.engine). A change of gear of up to 5 s does not end a pull.
    """
    top = max(SHARE * float(np.max(rpm, initial=0.0)), 4 * idle_rpm)
    rise = np.gradient(smoothed(np.arange(len(rpm)), rpm, 3.0)) if len(rpm) > 3 else np.zeros(len(rpm))
    found: list[tuple[int, int]] = []
    for first, after in stretches(rise >= RISE_RPM_S):
        last = after - 1
        long_enough = last - first + 1 >= LEAST_S
        if not (long_enough and rpm[min(last + 1, len(rpm) - 1)] >= top and rpm[last] - rpm[first] >= 1.5 * idle_rpm):
            continue
        end = last
        while end + 1 < len(rpm) and rpm[end + 1] >= 0.9 * rpm[last]:
            end += 1
        if found and first - found[-1][1] <= 5:  # a change of gear
            first = found.pop()[0]
        found.append((first, end))
    return found


@dataclass(frozen=True)
class Extent:
    """Temperatures of a pull at a place, degC: at its start and end; the lowest of the pull and AFTER_S after it, how long after the start. nan: unknown."""

    start_degc: float
    end_degc: float
    lowest_degc: float
    lowest_after_s: float
    duration_s: float


def extent(time_s: np.ndarray, degc: np.ndarray, start_s: float, end_s: float) -> Extent:
    """A place's temperatures (n,) at rising times (n,), from start_s up to end_s."""
    inside = degc[(time_s >= start_s) & (time_s < end_s)]
    inside = inside[np.isfinite(inside)]
    wider = (time_s >= start_s) & (time_s < end_s + AFTER_S)
    looked = degc[wider]
    lowest = int(np.nanargmin(looked)) if np.isfinite(looked).any() else -1
    return Extent(
        start_degc=float(inside[0]) if inside.size else np.nan,
        end_degc=float(inside[-1]) if inside.size else np.nan,
        lowest_degc=float(looked[lowest]) if lowest >= 0 else np.nan,
        lowest_after_s=float(time_s[wider][lowest] - start_s) if lowest >= 0 else np.nan,
        duration_s=end_s - start_s,
    )

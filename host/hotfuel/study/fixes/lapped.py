"""Runs driven in laps: which laps count, and what one gives. A racer asks how hot it gets on the lap, not how hot the hottest of all laps was."""

from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.places import probe_of
from hotfuel.session.means import smoothed
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import LAP, Phase
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell

LAPS_LEAST = 2
_RUNS_LEAST, _ALIKE = 3, 0.1  # runs that tell how long a lap takes, and how well (assumptions)
SLOW = 1.15  # times the run's median lap: a slower one leads into or out of the pit lane (common practice, no source)


def whole_laps(found: Sequence[Phase]) -> list[Phase]:
    """The laps of a run that count: single ones, without those into and out of the pit lane."""
    laps = [phase for phase in found if phase.kind == LAP and phase.laps <= 1]
    most_s = SLOW * float(np.median([lap.duration_s for lap in laps])) if laps else 0.0
    return [lap for lap in laps if lap.duration_s <= most_s]


def doubled(runs: Sequence[Sequence[Phase]]) -> set[int]:
    """The runs whose every lap took twice as long, or three times, as a lap of most of the runs, so that none of them is a single lap: a mark was left out."""
    times = {
        number: float(np.median([lap.duration_s for lap in laps])) for number, one in enumerate(runs) if (laps := whole_laps(one))
    }
    if len(times) < _RUNS_LEAST:
        return set()
    usual_s = float(np.median(list(times.values())))
    alike = [number for number, time_s in times.items() if abs(time_s / usual_s - 1) <= _ALIKE]
    if len(alike) <= len(times) / 2:
        return set()
    return {number for number in times if all(_is_many(lap.duration_s / usual_s) for lap in runs[number] if lap.kind == LAP)}


def _is_many(laps: float) -> bool:
    return round(laps) > 1 and abs(laps / round(laps) - 1) <= _ALIKE


def is_lapped(found: Sequence[Phase]) -> bool:
    """Whether a run was driven in laps."""
    return len(whole_laps(found)) >= LAPS_LEAST


def extremes(course: Course, laps: Sequence[Phase], values: Mapping[Cell, float], shift_degc: float) -> dict[Cell, float]:
    """{Cell: degC} of hottest and smallest margin on the lap, means of the laps, for those among `values`; shift_degc as in `summarise`."""
    found = {}
    for cell in values:
        if cell.phase != LAP or cell.quantity not in (PEAK, MARGIN):
            continue
        column = course.degc[probe_of(cell.place)] if cell.quantity == PEAK else course.margins[cell.place]["margin_degc"]
        each = []
        for lap in laps:
            rows = (course.time_s >= lap.start_s) & (course.time_s < lap.end_s)
            mean = smoothed(course.time_s[rows], column[rows])
            if np.isfinite(mean).any():
                each.append(float(np.nanmax(mean)) if cell.quantity == PEAK else float(np.nanmin(mean)))
        if each:
            found[cell] = float(np.mean(each)) - cell.better * shift_degc
    return found

"""What weakens a comparison besides its interval: days, the order of the runs, sensors that differ."""

from collections.abc import Sequence

import numpy as np

from hotfuel.study.evidence.order import is_one_after_the_other
from hotfuel.study.fixes.difference import (
    DAY_U_DEGC,
    DRIFT_FROM_RUNS,
    cold_drift_degc,
    day_share,
    own_sensors,
    shared,
    unmatched_cold_degc,
)
from hotfuel.study.fixes.notes import (
    DaysCountOnce,
    FirstEveryDay,
    Note,
    OneAfterTheOther,
    OneDayASide,
    OrderUnknown,
)
from hotfuel.study.fixes.positions import in_turn_on_one_day
from hotfuel.study.fixes.probe_notes import ProbeMoved, ProbeOffOnOneSide, SensorsDiffered
from hotfuel.study.fixes.summaries import Run

COLD_TOLD_DEGC = 0.5


def day_cautions(a: Sequence[Run], b: Sequence[Run]) -> list[Note]:
    """Where the runs of one day count as one, or where a side has one day only."""
    names = a[0].variant, b[0].variant
    if day_share(a, b):
        lone, other = names if len({run.day for run in a}) == 1 else names[::-1]
        return [OneDayASide(lone, other, DAY_U_DEGC)]
    group, unit = shared(a, b)
    first, second = set(group[: len(a)]), set(group[len(a) :])
    if unit != "day" or first & second:
        return []
    return [DaysCountOnce(*names, len(first), len(second))]


def order_cautions(a: Sequence[Run], b: Sequence[Run]) -> list[Note]:
    """Where drift, or a car still warm from the run before, may look like the change."""
    both = sorted((run for run in (*a, *b) if np.isfinite(run.start_s)), key=lambda run: run.start_s)
    names = a[0].variant, b[0].variant
    if len(both) < len(a) + len(b):
        return [OrderUnknown(*names)]
    if is_one_after_the_other([run.variant == names[1] for run in both]):
        removed = min(len(a), len(b)) >= DRIFT_FROM_RUNS and in_turn_on_one_day(a, b)
        return [OneAfterTheOther(both[0].variant, both[-1].variant, removed)]
    days = [[run for run in both if run.day == day] for day in sorted({run.day for run in both} - {""})]
    shared = [day for day in days if len({run.variant for run in day}) > 1]
    if len(shared) > 1 and all(is_one_after_the_other([run.variant == shared[0][0].variant for run in day]) for day in shared):
        first = {day[0].variant for day in shared}
        if len(first) == 1:
            return [FirstEveryDay(first.pop(), with_both=len(shared) < len(days))]
    return []


def sensor_cautions(a: Sequence[Run], b: Sequence[Run], place: str) -> list[Note]:
    """Where the sides were read with different probes or calibrations, or where cold readings show that the probe moved."""
    names = a[0].variant, b[0].variant
    notes: list[Note] = []
    if any(own_sensors(a, b, place)):
        notes.append(SensorsDiffered(*names, place))
    drift = cold_drift_degc(a, b, place)
    if abs(drift) > COLD_TOLD_DEGC:
        notes.append(ProbeMoved(*names, place, drift))
    if off := unmatched_cold_degc(a, b, place):
        seen, unseen = names[::-1] if any(run.cold_degc and place in run.cold_degc for run in b) else names
        notes.append(ProbeOffOnOneSide(seen, unseen, place, off))
    return notes

"""What weakens a comparison besides its interval: days, the order of the runs, sensors that differ. Sentences for a reader."""

from collections.abc import Sequence

import numpy as np

from hotfuel.places import place_words
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
from hotfuel.study.fixes.positions import in_turn_on_one_day
from hotfuel.study.fixes.summaries import Run
from hotfuel.units import Shown

COLD_TOLD_DEGC = 0.5


def day_cautions(a: Sequence[Run], b: Sequence[Run], shown: Shown) -> list[str]:
    """Where the runs of one day count as one, or where a side has one day only."""
    names = a[0].variant, b[0].variant
    if day_share(a, b):
        lone, other = names if len({run.day for run in a}) == 1 else names[::-1]
        return [
            f"All runs with {lone} are of one day, and none with {other} is of that day: more runs like these cannot tell the day from the change. The "
            f"interval allows for {shown.text(DAY_U_DEGC, 'temperature difference')} (standard) between days, an assumption; record both sides on the same "
            "days, or each on two days or more."
        ]
    group, unit = shared(a, b)
    first, second = set(group[: len(a)]), set(group[len(a) :])
    if unit != "day" or first & second:
        return []
    return [
        f"Runs of one day share its weather and fuel, so each day counts once: {len(first)} with {names[0]}, {len(second)} with {names[1]}."
    ]


def order_cautions(a: Sequence[Run], b: Sequence[Run]) -> list[str]:
    """Where drift, or a car still warm from the run before, may look like the change."""
    both = sorted((run for run in (*a, *b) if np.isfinite(run.start_s)), key=lambda run: run.start_s)
    names = a[0].variant, b[0].variant
    if len(both) < len(a) + len(b):
        return [
            f"The order of the runs of {names[0]} and {names[1]} is not known, so a drift between them cannot be told from the change."
        ]
    if is_one_after_the_other([run.variant == names[1] for run in both]):
        early, late = both[0].variant, both[-1].variant
        straight = ""
        if min(len(a), len(b)) >= DRIFT_FROM_RUNS and in_turn_on_one_day(a, b):
            straight = " (a steady drift over the day is taken out, which widens the interval)"
        return [
            f"All runs with {early} came before all with {late}: warming, weather and whatever else drifted are mixed up with the change{straight}; "
            "drive the runs in a mixed order to rule that out."
        ]
    days = [[run for run in both if run.day == day] for day in sorted({run.day for run in both} - {""})]
    shared = [day for day in days if len({run.variant for run in day}) > 1]
    if len(shared) > 1 and all(is_one_after_the_other([run.variant == shared[0][0].variant for run in day]) for day in shared):
        first = {day[0].variant for day in shared}
        if len(first) == 1:
            return [
                f"On every day {first.pop()} was driven first: a car still warm from the run before looks like the change; let either go first by turns."
            ]
    return []


def sensor_cautions(a: Sequence[Run], b: Sequence[Run], place: str, shown: Shown) -> list[str]:
    """Where the sides were read with different probes or calibrations, or where cold readings say that the probe moved."""
    lines = []
    if any(own_sensors(a, b, place)):
        lines.append(
            f"{a[0].variant} and {b[0].variant} were not read with the same probe and calibration at {place}: its uncertainty is in the interval."
        )
    drift = cold_drift_degc(a, b, place)
    if abs(drift) > COLD_TOLD_DEGC:
        more = "more" if drift > 0 else "less"
        lines.append(
            f"Cold, with all places at one temperature, the probe at the {place_words(place)} read {shown.text(abs(drift), 'temperature difference')} "
            f"{more} beside the others with {b[0].variant} than with {a[0].variant}: that may be all there is to the "
            "difference, and the interval allows for it."
        )
    if off := unmatched_cold_degc(a, b, place):
        seen, unseen = (
            (b[0].variant, a[0].variant)
            if any(run.cold_degc and place in run.cold_degc for run in b)
            else (a[0].variant, b[0].variant)
        )
        lines.append(
            f"Cold, the probe at the {place_words(place)} read {shown.text(abs(off), 'temperature difference')} apart from the others with {seen}, and no run "
            f"with {unseen} began cold to show whether it did there, too: the interval allows for all of it; begin a run of each side cold."
        )
    return lines

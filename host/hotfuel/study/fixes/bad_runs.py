"""Looks for the faults of `hotfuel.study.fixes.faults` in recordings, by what was driven and read, never by how hot the fuel got."""

import re
from collections.abc import Sequence

import numpy as np

from hotfuel.study.drive.phases import DRIVE, LAP, PULL, Phase
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.faults import CUT, CUT_SHARE, NO_LAP, PARKED, SWAPPED, Fault, exchanged, swapped
from hotfuel.study.fixes.lapped import doubled
from hotfuel.study.fixes.notes import Note, SameTime
from hotfuel.study.fixes.summaries import Run

_MOVING = (DRIVE, LAP, PULL)
_WHOLE_SHARE = 0.8  # of the length that phase has in the other runs of the side: a shorter one was broken off
_DIED = re.compile(r"\b(died|dies|stumbled|stumble|stalled|vapou?r lock(ed)?|no start)\b")


def faults(stretches: Sequence[Stretch], places: Sequence[str]) -> list[tuple[Fault, ...]]:
    """The faults of each stretch: parked, without a single lap, cut short, swapped probes. (A dead channel shows where its phase is summarised.)"""
    found: list[list[Fault]] = [[] for _ in stretches]
    moving = [any(phase.kind in _MOVING for phase in one.found) for one in stretches]
    if sum(moving) > len(stretches) / 2:
        for i, moved in enumerate(moving):
            found[i] += [] if moved else [Fault(PARKED)]
    for i in doubled([one.found for one in stretches]):
        found[i].append(Fault(NO_LAP, (), (LAP,)))
    usable = [i for i in range(len(stretches)) if PARKED not in [fault.kind for fault in found[i]]]
    for i in usable:
        found[i] += _cut_short([stretches[j] for j in usable if j != i], stretches[i])
    if len(places) > 1:
        running = {i: _first_and_last(stretches[i], places) for i in usable}
        names = list(dict.fromkeys(stretches[i].variant for i in usable))
        numbers = {n: [i for i in usable if stretches[i].variant == n and np.isfinite(running[i]).all()] for n in names}
        by_all = swapped({n: [running[j][0] - running[j][1] for j in numbers[n]] for n in names}, numbers)
        by_side = exchanged({n: [running[j] for j in numbers[n]] for n in names}, numbers)
        for i in dict.fromkeys([*by_all, *by_side]):
            found[i].append(Fault(SWAPPED, (places[0], places[-1]), own_side=i not in by_all))
    return [tuple(each) for each in found]


def _lengths(found: Sequence[Phase]) -> dict[str, float]:
    lengths: dict[str, float] = {}
    for phase in found:
        lengths[phase.kind] = lengths.get(phase.kind, 0.0) + phase.duration_s
    return lengths


def _cut_short(others: Sequence[Stretch], one: Stretch) -> list[Fault]:
    """The fault of a run less than half as long as the others of its side, unless its engine died: phases that it lacks or broke off are no evidence."""
    side = [other for other in others if other.variant == one.variant]
    side = side if len(side) > 1 else list(others)
    if len(side) < 2 or any(_DIED.search(text.casefold()) for _, text in one.course.marks):
        return []
    seconds = [float(np.ptp(other.course.time_s)) for other in side]
    if float(np.ptp(one.course.time_s)) >= CUT_SHARE * float(np.median(seconds)):
        return []
    mine, theirs = _lengths(one.found), [_lengths(other.found) for other in side]
    usual = {
        kind: float(np.median([lengths.get(kind, 0.0) for lengths in theirs]))
        for kind in dict.fromkeys(kind for lengths in theirs for kind in lengths)
    }
    short = [kind for kind, length in usual.items() if length > 0 and mine.get(kind, 0.0) < _WHOLE_SHARE * length]
    return [Fault(CUT, (), tuple(short))] if short else []


def _first_and_last(one: Stretch, places: Sequence[str]) -> tuple[float, float]:
    """Means of the first and the last place while driven, over outside air where that is known, degC; nan where it was not driven or not read."""
    rows = np.zeros(len(one.course.time_s), dtype=bool)
    for phase in one.found:
        if phase.kind in _MOVING:
            rows |= (one.course.time_s >= phase.start_s) & (one.course.time_s < phase.end_s)
    first, last = (one.course.degc[place][rows] for place in (places[0], places[-1]))
    both = np.isfinite(first) & np.isfinite(last)
    if not both.any():
        return np.nan, np.nan
    outside = float(np.nan_to_num(one.course.ambient_degc))
    return float(first[both].mean()) - outside, float(last[both].mean()) - outside


def overlapping(runs: Sequence[Run]) -> list[Note]:
    """A note for each group of recordings of one car whose times overlap: one clock that is wrong can make many pairs."""
    groups: list[list[Run]] = []
    until_s = -np.inf
    timed = (run for run in runs if np.isfinite(run.start_s) and np.isfinite(run.duration_s))
    for run in sorted(timed, key=lambda run: run.start_s):
        if run.start_s >= until_s:
            groups.append([])
        groups[-1].append(run)
        until_s = max(until_s, run.start_s + run.duration_s)
    return [SameTime(tuple(run.name for run in group)) for group in groups if len({run.session for run in group}) > 1]

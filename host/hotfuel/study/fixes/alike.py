"""The same part of every run: a longer stop gets hotter, and of three stops the worst is worse than of one, whatever was changed."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from hotfuel.study.drive.phases import RESTART, SOAK, Phase
from hotfuel.study.fixes.notes import Note, OneStopCompared, StopsShortened

FULL_SHARE = 0.8  # of a run's longest stop: the first one at least that long counts
TOLD_SHARE = 0.9  # stops shortened by less than a tenth are not worth a note


def stops_alike(runs: Sequence[tuple[str, Sequence[Phase]]]) -> tuple[list[list[Phase]], list[Note]]:
    """(the phases of each run, notes) of (name, phases) pairs: one stop a run, the first of about the length of its longest, cut to the shortest among the
    runs, and only the restart after that one. Where runs have different numbers of stops, nothing after that restart: a car driven on is hotter."""
    counted = [_counted(found) for _, found in runs]
    lengths = [stop.duration_s for stop in counted if stop is not None]
    if not lengths:
        return [list(found) for _, found in runs], []
    shortest = min(lengths)
    stops = [sum(phase.kind == SOAK for phase in found) for _, found in runs]
    differ = len(set(stops) - {0}) > 1
    kept = [list(_alike(found, stop, shortest, differ)) for (_, found), stop in zip(runs, counted, strict=True)]
    notes: list[Note] = []
    several = [name for (name, _), count in zip(runs, stops, strict=True) if count > 1]
    if several:
        notes.append(OneStopCompared(tuple(several), until_restart=differ))
    if shortest < TOLD_SHARE * max(lengths):
        notes.append(StopsShortened(shortest, max(lengths)))
    return kept, notes


def _counted(found: Sequence[Phase]) -> Phase | None:
    stops = [phase for phase in found if phase.kind == SOAK]
    longest = max((stop.duration_s for stop in stops), default=0.0)
    return next((stop for stop in stops if stop.duration_s >= FULL_SHARE * longest), None)


def _alike(found: Sequence[Phase], stop: Phase | None, length_s: float, nothing_later: bool) -> Iterable[Phase]:
    for phase in found:
        if nothing_later and stop is not None and phase.start_s > stop.end_s:
            return
        if phase.kind == SOAK:
            if phase is stop:
                yield replace(phase, end_s=phase.start_s + length_s)
        elif phase.kind != RESTART or stop is None or np.isclose(phase.start_s, stop.end_s):
            yield phase

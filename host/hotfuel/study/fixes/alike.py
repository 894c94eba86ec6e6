"""The same part of every run: a longer stop gets hotter, and of three stops the worst is worse than of one, whatever was changed."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from hotfuel.study.drive.phases import RESTART, SOAK, Phase

FULL_SHARE = 0.8  # of a run's longest stop: the first one as long as that counts
TOLD_SHARE = 0.9  # stops cut by less than a tenth are not worth a sentence


def stops_alike(runs: Sequence[tuple[str, Sequence[Phase]]]) -> tuple[list[list[Phase]], list[str]]:
    """(the phases of each run, sentences) of (name, phases) pairs: one stop a run, the first as long as its longest, cut to the shortest among the runs,
    and the restart behind that one only. Where runs have different numbers of stops, nothing after that restart: a car driven on is a hotter one."""
    counted = [_counted(found) for _, found in runs]
    lengths = [stop.duration_s for stop in counted if stop is not None]
    if not lengths:
        return [list(found) for _, found in runs], []
    shortest = min(lengths)
    stops = [sum(phase.kind == SOAK for phase in found) for _, found in runs]
    differ = len(set(stops) - {0}) > 1
    kept = [list(_alike(found, stop, shortest, differ)) for (_, found), stop in zip(runs, counted, strict=True)]
    notes = []
    several = [name for (name, _), count in zip(runs, stops, strict=True) if count > 1]
    if several:
        notes.append(
            f"Of the stops in {_listed(several)} one is compared, the first of full length, with the restart after it"
            f"{'; of every run only what came up to that restart' if differ else ''}."
        )
    if shortest < TOLD_SHARE * max(lengths):
        notes.append(
            f"Stops lasted {shortest / 60:.1f} to {max(lengths) / 60:.1f} min: the first {shortest / 60:.1f} min of each are compared, and a restart "
            "after a longer stop is a hotter one."
        )
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


def _listed(names: Sequence[str], most: int = 3) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")

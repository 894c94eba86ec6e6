"""What a person read by hand in each run: a median for each place and phase, shown beside the results and used in no calculation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.summaries import Run


@dataclass(frozen=True)
class HandMedian:
    """The median of `count` readings by hand of a place in a phase of one run; dimension as in hotfuel.units, value SI."""

    place: str
    dimension: str
    phase: str
    value: float
    count: int


@dataclass(frozen=True)
class Column:
    """One column of a table: a place and what was read there."""

    place: str
    dimension: str


def medians(course: Course, parts: Mapping[str, np.ndarray]) -> tuple[HandMedian, ...]:
    """The medians of a course's readings by hand, for each phase. parts: {phase: (n,) which seconds it holds}."""
    found: dict[tuple[str, str, str], list[float]] = {}
    for at, place, dimension, value in course.by_hand:
        row = int(np.floor(at - course.time_s[0]))
        for phase, rows in parts.items():
            if 0 <= row < len(rows) and rows[row]:
                found.setdefault((place, dimension, phase), []).append(value)
    return tuple(HandMedian(*key, float(np.median(values)), len(values)) for key, values in found.items())


def columns(runs: Sequence[Run], phase: str) -> list[Column]:
    """What was read by hand in that phase in any run."""
    return list(dict.fromkeys(Column(one.place, one.dimension) for run in runs for one in run.by_hand if one.phase == phase))


def of_run(run: Run, column: Column, phase: str) -> float:
    """The run's value, SI; nan where nobody read."""
    for one in run.by_hand:
        if (one.place, one.dimension, one.phase) == (column.place, column.dimension, phase):
            return one.value
    return float("nan")


def of_variant(runs: Sequence[Run], variant: str, column: Column, phase: str) -> tuple[float, int]:
    """(median of a variant's runs, SI, the number of runs in which it was read)."""
    values = [value for run in runs if run.variant == variant and np.isfinite(value := of_run(run, column, phase))]
    return (float(np.median(values)), len(values)) if values else (float("nan"), 0)

"""What a later position in the day's order does by itself: pairs of runs of one day with the same parts fitted, from this car's archive.

Where the order of a comparison allows no verdict, such pairs show by how much a later run differs though nothing was changed: the interval is widened by
their root mean square for each position.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.fixes.positions import OrderFault
from hotfuel.study.fixes.summaries import Cell, Run, has

LEAST_PAIRS = 8


@dataclass(frozen=True)
class Pair:
    """Two runs of one day with the same parts fitted, the earlier first, and how many positions apart they were."""

    earlier: Run
    later: Run
    positions: int = 1


def pairs_of(runs: Sequence[Run]) -> list[Pair]:
    """Each run paired with the next of its day, variant and car; runs without a time of day make none."""
    known = sorted((run for run in runs if np.isfinite(run.start_s) and run.day), key=lambda run: run.start_s)
    found = []
    for day in dict.fromkeys(run.day for run in known):
        of_day = [run for run in known if run.day == day]
        for i, first in enumerate(of_day[:-1]):
            second = of_day[i + 1]
            if (first.variant, first.car) == (second.variant, second.car):
                found.append(Pair(first, second))
    return found


def step(pairs: Sequence[Pair], cell: Cell) -> tuple[float, int]:
    """(root mean square of the difference that one position made, degC; the number of pairs that show it); nan below LEAST_PAIRS pairs."""
    steps = [
        (p.later.values[cell] - p.earlier.values[cell]) / p.positions
        for p in pairs
        if has(p.earlier, cell) and has(p.later, cell)
    ]
    return (float(np.sqrt(np.mean(np.square(steps)))) if len(steps) >= LEAST_PAIRS else np.nan), len(steps)


def widened(estimate: Estimate, fault: OrderFault, pairs: Sequence[Pair], cell: Cell) -> Estimate | None:
    """The estimate, its interval widened by what the order may have done; None where there are too few pairs.

    The number of pairs limits the degrees of freedom (Welch and Satterthwaite).
    """
    size, count = step(pairs, cell)
    if not np.isfinite(size):
        return None
    added = (fault.positions * size) ** 2
    own = estimate.standard_error**2
    freedom = (own + added) ** 2 / (own**2 / estimate.degrees_of_freedom + added**2 / count)
    return replace(
        estimate,
        standard_error=float(np.sqrt(own + added)),
        degrees_of_freedom=float(freedom),
        floor=float(np.hypot(estimate.floor, np.sqrt(added))),
        pairs=count,
    )

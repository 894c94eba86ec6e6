"""From an estimate to a verdict, for one question or many, with at most 5 % probability of any false verdict in a report.

The user asks a sequence of questions for each pair of variants. The pairs share 5 % equally (Bonferroni), and the interval at that level is the one
printed, so that sentence, figure and table agree; a pair's next question is tested only after a decided one (fixed sequence). The other questions are
tested by Holm with the share of the pairs that were decided (S. Holm, Scand. J. Statist. 6, 1979). A question that is not tested gets no verdict; a
difference whose interval, corrected for all rows of the report, lies wholly beyond what is worth having is reported as seen, not as decided.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.evidence.intervals import Estimate, runs_needed, spread_range

LOWER = "lower"
HIGHER = "higher"
NO_DIFFERENCE = "no difference worth having"
UNDECIDED = "undecided"
DESCRIBED = "described, not tested"
NO_VERDICT = "no verdict"
SEEN = "seen"  # large, and not what was asked
DECIDED = (LOWER, HIGHER, NO_DIFFERENCE)

DELTA_DEGC = 3.0
DELTA_POWER_PERCENT = 0.5
LEVEL = 0.95
MOST_RUNS = 100
_NORMAL = 1.96  # half-width of a 95 % interval with a known spread, in standard errors; statistics import nothing of units


@dataclass(frozen=True)
class MoreRuns:
    """How many more runs a side would decide: `at_least` if the difference is as large as it looks, `at_most` whatever its size.

    `at_most` = 100 stands for "100 or more". in_vain: no number of runs would decide, because of what differed besides the change.
    """

    at_least: int
    at_most: int
    unit: str = "run"
    in_vain: bool = False


def judge(estimate: Estimate, delta: float, error: float = 1 - LEVEL) -> str:
    """The verdict at that error level. Inside ±delta is checked first: a real difference that is not worth having counts as none."""
    low, high = estimate.interval(1 - error)
    if -delta < low and high < delta:
        return NO_DIFFERENCE
    if high < 0:
        return LOWER
    return HIGHER if low > 0 else UNDECIDED


def sides(better: int) -> tuple[str, str]:
    """(the verdict of a change that helped, of one that made it worse). better: 1 where more is better, -1 where less is."""
    return (HIGHER, LOWER) if better > 0 else (LOWER, HIGHER)


def seen(estimate: Estimate, delta: float, rows: int) -> bool:
    """Whether the interval corrected for `rows` questions lies wholly beyond ±delta."""
    low, high = estimate.interval(1 - (1 - LEVEL) / rows)
    return high < -delta or low > delta


def error_of_verdict(estimate: Estimate, delta: float) -> float:
    """The smallest error level at which `judge` gives a verdict."""
    return min(estimate.p_difference(), estimate.p_equivalence(delta))


def holm(estimates: Sequence[Estimate], deltas: Sequence[float], error: float = 1 - LEVEL) -> list[str]:
    """Verdicts of several questions that share one error level: the clearest at error / n, the next at error / (n - 1), until one is undecided."""
    verdicts = [UNDECIDED] * len(estimates)
    order = np.argsort([error_of_verdict(e, d) for e, d in zip(estimates, deltas, strict=True)], kind="stable")
    for done, i in enumerate(order):
        verdicts[i] = judge(estimates[i], deltas[i], error / (len(estimates) - done))
        if verdicts[i] == UNDECIDED:
            break
    return verdicts


def more_runs(estimate: Estimate, delta: float) -> MoreRuns:
    """How many more runs a side, as a range, because the spread itself is only estimated.

    The estimate's floor, which runs do not reduce, is subtracted first. An interval of ±delta / 2 always decides: the upper end of the range requires
    that at the upper end of the spread. The lower end requires an interval narrower than the present difference, at the lower end of the spread.
    """
    now = min(estimate.runs_baseline, estimate.runs_variant)
    low, high = spread_range(estimate.spread, estimate.degrees_of_freedom)
    widest, narrowest = (
        float(np.sqrt(max(half**2 - (_NORMAL * estimate.floor) ** 2, 0.0)))
        for half in (max(delta / 2, abs(estimate.difference) / 1.5), delta / 2)
    )
    least = runs_needed(low, widest, most=MOST_RUNS + now) - now
    most = runs_needed(high, narrowest, most=MOST_RUNS + now) - now
    return MoreRuns(max(1, least), max(1, least, most), estimate.unit, in_vain=widest == 0.0)

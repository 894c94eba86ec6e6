"""A test with a look after every block: intervals that hold at all looks and for all pairs of variants together.

A block holds one run of each variant. After block k every pair's difference is compared with a multiple of its standard error (pooled over all
variants). The multiples are such that, for normal runs of one spread and no difference, the largest of all pairs exceeds them with 5 % probability at any
look up to the declared last. How much of the 5 % each look may spend is set by a spending function, 0.05 (k / last)^2 (K. K. G. Lan and D. L. DeMets,
Biometrika 70, 1983; the power family: K. Kim and D. L. DeMets, Biometrika 74, 1987; both from memory). The multiples are not those of normal theory, which
are too small for few runs: the joint distribution of successive t values, which depends on neither mean nor spread, is simulated with a fixed seed.
Intervals that hold at every look are C. Jennison and B. W. Turnbull's (J. R. Statist. Soc. B 51, 1989; from memory).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from hotfuel.errors import InputError
from hotfuel.study.evidence.verdicts import HIGHER, LOWER, NO_DIFFERENCE, UNDECIDED

ERROR = 0.05
MOST_BLOCKS = 40
MOST_VARIANTS = 6
_EXPONENT = 2.0
_DRAWS, _SEED = 200_000, 1983
_ROUGH_DRAWS = 20_000  # enough to find how many blocks a plan needs, not for a verdict
_PARTS = 20  # of the draws: all draws of a long plan at once would fill the memory
_INFLATION = 1.3  # a plan with looks may take at most this many times the runs of one without


@dataclass(frozen=True)
class Sight:
    """One pair of variants after a block: second minus first, the interval that holds at all looks, the verdict and the block it was reached in (0: none)."""

    first: int
    second: int
    difference: float
    low: float
    high: float
    spread: float
    verdict: str
    block: int
    more: int  # further blocks expected to decide, if the difference is as large as it looks; 0: decided, or not within the plan


def _paths(variants: int, blocks: int, draws: int, seed: int, shift: float = 0.0) -> np.ndarray:
    """Largest |t| of all pairs after blocks 2 to the last, (draws, blocks - 1); `shift`, in spreads, is added to the last variant's runs."""
    random = np.random.default_rng([seed, variants, blocks])
    runs = random.standard_normal((draws, blocks, variants))
    runs[:, :, -1] += shift
    count = np.arange(1, blocks + 1)[:, None]
    means = np.cumsum(runs, axis=1) / count
    squares = (np.cumsum(runs**2, axis=1) - count * means**2).sum(axis=2)[:, 1:]
    k = count[1:, 0]
    error = np.sqrt(squares / (variants * (k - 1)) * 2 / k)
    if shift:  # what finds the shifted variant: against the first
        return np.asarray((means[:, 1:, -1] - means[:, 1:, 0]) / error)
    # one variant after the other, which is quicker than along an axis so short
    most = least = means[:, 1:, 0]
    for variant in range(1, variants):
        most, least = np.maximum(most, means[:, 1:, variant]), np.minimum(least, means[:, 1:, variant])
    return np.asarray((most - least) / error)


@lru_cache(maxsize=64)
def multiples(variants: int, blocks: int, draws: int = _DRAWS) -> tuple[float, ...]:
    """The multiples of a pair's standard error after blocks 2, 3, ... up to the declared last block.

    Raises InputError for fewer than two variants or blocks, or more than MOST_VARIANTS or MOST_BLOCKS.
    """
    if not (2 <= variants <= MOST_VARIANTS and 2 <= blocks <= MOST_BLOCKS):
        raise InputError(
            f"a plan of {variants} variants in {blocks} blocks was asked for: allowed are 2 to {MOST_VARIANTS} in 2 to {MOST_BLOCKS}"
        )
    t = np.concatenate([_paths(variants, blocks, draws // _PARTS, _SEED + part) for part in range(_PARTS)])
    left = np.ones(len(t), dtype=bool)
    found, spent = [], 0.0
    for look, k in enumerate(range(2, blocks + 1)):
        allowed = ERROR * (k / blocks) ** _EXPONENT
        crossing = round((allowed - spent) * len(t))
        inside = t[left, look]
        edge = [len(inside) - crossing - 1, len(inside) - crossing]
        found.append(float(np.partition(inside, edge)[edge].mean()))
        crossed = left & (t[:, look] > found[-1])
        spent += float(crossed.mean())
        left &= ~crossed
    return tuple(found)


class TooSmall(InputError):
    """No allowed number of runs finds a difference that small."""


def fixed_blocks(variants: int, difference: float, spread: float, chance: float = 0.9) -> int:
    """Runs of each variant that find a difference from the first with that chance in one look at the end, over all pairs (Tukey's range).

    For two variants it is the pooled t test's. Raises InputError for numbers not above 0 or more than MOST_BLOCKS runs.
    """
    from scipy import stats  # loads slowly

    if not (difference > 0 and spread > 0 and 0.5 <= chance < 1):
        raise InputError("a plan needs a difference and a spread above 0 and a chance from 0.5 to below 1")
    for n in range(2, MOST_BLOCKS + 1):
        freedom = variants * (n - 1)
        critical = (
            special.stdtrit(freedom, 1 - ERROR / 2)
            if variants == 2
            else stats.studentized_range.ppf(1 - ERROR, variants, freedom) / np.sqrt(2)
        )
        if stats.nct.sf(critical, freedom, difference / (spread * np.sqrt(2 / n))) >= chance:
            return n
    raise TooSmall(
        f"a difference of {difference:.2g} at a spread of {spread:.2g} from run to run needs more than {MOST_BLOCKS} runs of each variant: "
        "make the runs alike first, or look for a larger difference"
    )


@lru_cache(maxsize=64)
def most_blocks(variants: int, difference: float, spread: float, chance: float = 0.95) -> int:
    """The declared last block: the first that finds the difference with `chance` and a look after every block, at most 1.3 times the fixed plan's runs.

    The fixed plan has a chance of 90 %; a little more is required here, because conditions drift over a day.
    """
    fixed = fixed_blocks(variants, difference, spread)
    most = max(int(np.ceil(_INFLATION * fixed - 1e-9)), 2)
    for blocks in range(max(fixed, 2), most):
        t = _paths(variants, blocks, _ROUGH_DRAWS // 4, _SEED + 1, difference / spread)
        if (t > np.array(multiples(variants, blocks, _ROUGH_DRAWS))).any(axis=1).mean() >= chance:
            return blocks
    return most


def looked(values: np.ndarray, last: int, delta: float) -> list[Sight]:
    """Every pair after the complete blocks in `values` (blocks, variants), by a plan that ends after block `last`.

    A verdict once reached stays, because it was valid at its look. Raises InputError for blocks with a missing value or more than were declared; fewer
    than two complete blocks give an empty list.
    """
    done, variants = values.shape
    if done > last:
        raise InputError(f"{done} blocks were driven of a plan of {last}: runs after its end do not count")
    if not np.isfinite(values).all():
        raise InputError("a block in which a run has no value is not complete: drive that run again")
    if done < 2:
        return []
    bounds = multiples(variants, last)
    ends = [_standing(values[:k]) for k in range(2, done + 1)]
    found = []
    for first in range(variants):
        for second in range(first + 1, variants):
            verdict, block, low, high, difference = UNDECIDED, 0, np.nan, np.nan, np.nan
            for k, (means, error, _) in enumerate(ends, start=2):
                difference = float(means[second] - means[first])
                low, high = difference - bounds[k - 2] * error, difference + bounds[k - 2] * error
                if verdict == UNDECIDED:
                    verdict = (
                        NO_DIFFERENCE
                        if -delta < low and high < delta
                        else LOWER
                        if high < 0
                        else HIGHER
                        if low > 0
                        else UNDECIDED
                    )
                    block = k if verdict != UNDECIDED else 0
            spread = ends[-1][2]
            more = 0 if block else _more(difference, spread, done, last, bounds, delta)
            found.append(Sight(first, second, difference, low, high, spread, verdict, block, more))
    return found


def _standing(values: np.ndarray) -> tuple[np.ndarray, float, float]:
    """(means, standard error of a difference, spread) of the blocks so far; runs equal to the last digit come from a fault."""
    blocks, variants = values.shape
    means = values.mean(axis=0)
    spread = float(np.sqrt(((values - means) ** 2).sum() / (variants * (blocks - 1))))
    if not spread > 1e-9:
        raise InputError("the runs are equal to the last digit, so their spread is unknown: record independent runs")
    return means, spread * float(np.sqrt(2 / blocks)), spread


def _more(difference: float, spread: float, done: int, last: int, bounds: tuple[float, ...], delta: float) -> int:
    for k in range(done + 1, last + 1):
        half = bounds[k - 2] * spread * np.sqrt(2 / k)
        if half < abs(difference) or abs(difference) + half < delta:
            return k - done
    return 0

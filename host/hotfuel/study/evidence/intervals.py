"""The difference between two sides from one number per run, with an interval that holds for few runs.

Every estimate is variant minus baseline. Pooled t (Student) below five runs a side, Welch with his degrees of freedom from five up; a linear model
where sessions hold both sides or there is a covariate; a mixed model where sessions differ at random (`hotfuel.study.evidence.mixed`).
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special  # the quantiles of scipy.stats in a fiftieth of the time, which trials of thousands of reports need

from hotfuel.errors import InputError

WELCH_FROM_RUNS = 5
DAY_DRIFT, POSITION, AIR_SLOPE = "day drift", "position in the day", "slope over outside air"  # what an estimate is adjusted for


@dataclass(frozen=True)
class Estimate:
    """A difference (variant minus baseline), its standard error and degrees of freedom; `spread` is the standard deviation from one `unit` to the next.

    unit: what is independent and counted in runs_baseline and runs_variant: "run", "session" or "day".
    method: what was fitted, adjusted: what else was taken out (DAY_DRIFT, POSITION, AIR_SLOPE). pairs: archived pairs of runs that widened it.
    floor: the part of the standard error that more runs would not reduce (probes, guessed air); standard_error includes it.
    Where nothing is tested the standard error is nan, and so are the ends of every interval.
    """

    difference: float
    standard_error: float
    degrees_of_freedom: float
    spread: float
    runs_baseline: int
    runs_variant: int
    method: str
    unit: str = "run"
    floor: float = 0.0
    adjusted: tuple[str, ...] = ()
    pairs: int = 0

    @property
    def tested(self) -> bool:
        """Whether it has an interval, so that it can be tested."""
        return bool(np.isfinite(self.standard_error))

    def untested(self) -> "Estimate":
        """The difference alone, where an interval would claim too much."""
        return replace(self, standard_error=np.nan)

    def half_width(self, level: float = 0.95) -> float:
        """Half the width of the two-sided interval at `level`."""
        return float(special.stdtrit(self.degrees_of_freedom, 0.5 + level / 2) * self.standard_error)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """(low, high) of the two-sided interval at `level`."""
        half = self.half_width(level)
        return self.difference - half, self.difference + half

    def p_difference(self) -> float:
        """Two-sided p value of "no difference"."""
        return float(2 * special.stdtr(self.degrees_of_freedom, -abs(self.difference) / self.standard_error))

    def p_equivalence(self, delta: float) -> float:
        """The smallest error level at which the two-sided interval lies inside ±delta (1 where the estimate itself is outside)."""
        room = delta - abs(self.difference)
        return float(2 * special.stdtr(self.degrees_of_freedom, -room / self.standard_error)) if room > 0 else 1.0

    def widened(self, uncertainty: float) -> "Estimate":
        """The same with an independent standard uncertainty added in quadrature (sensors that the sides do not share).

        Degrees of freedom by Welch and Satterthwaite; the added part is taken as known exactly.
        """
        if uncertainty == 0:
            return self
        variance = self.standard_error**2
        total = variance + uncertainty**2
        freedom = self.degrees_of_freedom * (total / variance) ** 2
        return replace(
            self,
            standard_error=float(np.sqrt(total)),
            degrees_of_freedom=float(min(freedom, 1e6)),
            floor=float(np.hypot(self.floor, uncertainty)),
        )


def described(baseline: npt.ArrayLike, variant: npt.ArrayLike) -> Estimate:
    """Difference of means from one value per run, (n,) and (m,), without a test: what one run on a side allows."""
    a, b = np.asarray(baseline, dtype=float), np.asarray(variant, dtype=float)
    return Estimate(float(b.mean() - a.mean()), np.nan, np.nan, np.nan, len(a), len(b), "")


def _sides(baseline: npt.ArrayLike, variant: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    a, b = np.asarray(baseline, dtype=float), np.asarray(variant, dtype=float)
    if min(len(a), len(b)) < 2:
        raise InputError("one run on a side can be described, not tested: record at least two runs a side")
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise InputError("a run without a value cannot be compared: leave it out or repair its session")
    return a, b


def two_sample(baseline: npt.ArrayLike, variant: npt.ArrayLike) -> Estimate:
    """Difference of means from one value per run, (n,) and (m,), n and m at least 2.

    Pooled t below five runs on either side, else Welch (B. L. Welch, Biometrika 34, 1947).
    Raises InputError for fewer runs or values that are not finite.
    Example: two_sample([1, 2, 3], [4, 5, 6]).interval() -> (0.733, 5.267).
    """
    a, b = _sides(baseline, variant)
    n, m = len(a), len(b)
    freedom = float(n + m - 2)
    pooled = float((np.var(a, ddof=1) * (n - 1) + np.var(b, ddof=1) * (m - 1)) / freedom)
    difference = float(b.mean() - a.mean())
    if min(n, m) < WELCH_FROM_RUNS:
        return _estimate(difference, pooled * (1 / n + 1 / m), freedom, pooled, n, m, "pooled t")
    parts = np.var(a, ddof=1) / n, np.var(b, ddof=1) / m
    variance = float(sum(parts))
    if variance > 0:
        freedom = float(variance**2 / (parts[0] ** 2 / (n - 1) + parts[1] ** 2 / (m - 1)))
    return _estimate(difference, variance, freedom, pooled, n, m, "Welch")


def linear(values: npt.ArrayLike, is_variant: npt.ArrayLike, nuisance: npt.ArrayLike, method: str) -> Estimate:
    """Least-squares difference with nuisance columns (n, k), such as sessions as blocks, drift over the order, a covariate; a constant is added.

    Raises InputError where the columns explain the side completely or leave no degree of freedom.
    """
    y, side = np.asarray(values, dtype=float), np.asarray(is_variant, dtype=float)
    basis = _basis(np.asarray(nuisance, dtype=float).reshape(len(y), -1))

    def alone(column: np.ndarray) -> np.ndarray:
        """The part of a column that no nuisance explains; projected out twice, because the first pass leaves rounding errors."""
        left = column - column.mean()
        for _ in range(2):
            left = left - basis @ (basis.T @ left)
        answer: np.ndarray = left
        return answer

    # Frisch, Waugh and Lovell: the side's coefficient is that of its residual on the values' residual
    own, left = alone(side), alone(y)
    weight = float(own @ own)
    if not np.sqrt(weight) > _ALONE * np.linalg.norm(side - side.mean()):
        raise InputError("the sides cannot be told apart from what else changed between the runs: interleave them")
    freedom = len(y) - basis.shape[1] - 2
    if freedom < 1:
        raise InputError("there are too few runs for this comparison: record more")
    difference = float(own @ left) / weight
    residual = left - difference * own
    spread2 = float(residual @ residual) / freedom
    m = int(side.sum())
    return _estimate(difference, spread2 / weight, freedom, spread2, len(y) - m, m, method)


_ALONE = 1e-9  # share of a column below which its residual is rounding


def _basis(columns: np.ndarray) -> np.ndarray:
    """Orthonormal columns that span the given ones, centred and scaled first: QR with pivoting, so that a linearly dependent column adds none."""
    from scipy import linalg  # loads slowly, and most comparisons have no nuisance

    centred = columns - columns.mean(axis=0)
    length = np.linalg.norm(centred, axis=0)
    centred = centred[:, length > _ALONE * np.linalg.norm(columns, axis=0)]
    if not centred.size:
        return np.empty((len(columns), 0))
    q, r, _ = linalg.qr(centred / np.linalg.norm(centred, axis=0), mode="economic", pivoting=True)
    return np.asarray(q[:, np.abs(np.diag(r)) > _ALONE])


def _estimate(difference: float, variance: float, freedom: float, spread2: float, n: int, m: int, method: str) -> Estimate:
    # Values equal to the last digit come from a fault or from rounding; with a spread of zero any difference would be certain.
    if not variance > 1e-18:
        raise InputError(
            "the runs of both sides are equal to the last digit, so their spread is unknown: record independent runs"
        )
    return Estimate(difference, float(np.sqrt(variance)), freedom, float(np.sqrt(spread2)), n, m, method)


def runs_needed(spread: float, half_width: float, most: int = 100, level: float = 0.95) -> int:
    """Runs a side (2 to `most`) from which the pooled-t interval is expected to be no wider than ±half_width at that spread."""
    n = np.arange(2, most + 1)
    enough = special.stdtrit(2 * n - 2, 0.5 + level / 2) * spread * np.sqrt(2 / n) <= half_width
    return int(n[enough][0]) if enough.any() else most


def spread_range(spread: float, degrees_of_freedom: float, level: float = 0.8) -> tuple[float, float]:
    """Interval of a standard deviation estimated with so many degrees of freedom (chi square)."""
    low = np.sqrt(degrees_of_freedom / special.chdtri(degrees_of_freedom, 0.5 - level / 2))
    high = np.sqrt(degrees_of_freedom / special.chdtri(degrees_of_freedom, 0.5 + level / 2))
    return float(spread * low), float(spread * high)


def zero_failures_bound(trials: int, level: float = 0.95) -> float:
    """The upper bound of the failure probability after no failure in so many trials, at `level` (exact binomial, Clopper and Pearson 1934).

    Example: zero_failures_bound(3) -> 0.632.
    """
    if trials < 1:
        return 1.0
    return float(1 - (1 - level) ** (1 / trials))

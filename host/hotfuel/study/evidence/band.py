"""A simultaneous band for a whole curve: how large the largest excursion of any bin is by chance.

Bins of one pull are correlated, and few pulls tell little about how, so the distribution of the largest t value is simulated from the correlation of
the residuals, shrunk towards one common correlation by the amount that so few pulls require (target: O. Ledoit and M. Wolf, J. Portfolio Management
30, 2004; amount: J. Schaefer and K. Strimmer, Stat. Appl. Genet. Mol. Biol. 4, 2005).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

_DRAWS = 4000


@dataclass(frozen=True)
class CurveDifference:
    """Per bin: the difference (k,) and its standard error (k,); degrees of freedom; the multiplier for all bins at once, and for a single bin."""

    difference: np.ndarray
    standard_error: np.ndarray
    degrees_of_freedom: int
    simultaneous: float
    single: float

    @property
    def low(self) -> np.ndarray:
        """Lower edge of the simultaneous band (k,)."""
        return self.difference - self.simultaneous * self.standard_error

    @property
    def high(self) -> np.ndarray:
        """Upper edge of the simultaneous band (k,)."""
        return self.difference + self.simultaneous * self.standard_error


def curve_difference(curves: np.ndarray, design: np.ndarray, level: float = 0.95, seed: int = 0) -> CurveDifference:
    """Least squares of curves (pulls, k) on a design (pulls, columns) whose first column is 1 for the variant, 0 for the baseline.

    The band holds at `level` for all k bins together. The seed makes the simulation repeatable.
    """
    inverse = np.linalg.inv(design.T @ design)
    solve = inverse @ design.T
    residual_maker = np.eye(len(curves)) - design @ solve
    freedom = len(curves) - design.shape[1]
    residual = residual_maker @ curves
    error = np.sqrt((residual**2).sum(axis=0) / freedom * inverse[0, 0])
    factor = _correlation_root(residual)
    noise = _normals(seed, curves.shape) @ factor.T
    numerator = np.einsum("p,dpk->dk", solve[0], noise)
    spread = np.einsum("pq,dqk->dpk", residual_maker, noise)
    t = np.abs(numerator) / np.sqrt((spread**2).sum(axis=1) / freedom * inverse[0, 0])
    return CurveDifference(
        difference=solve[0] @ curves,
        standard_error=error,
        degrees_of_freedom=freedom,
        simultaneous=float(np.quantile(t.max(axis=1), level)),
        single=float(np.quantile(t, level)),
    )


@lru_cache(maxsize=4)
def _normals(seed: int, shape: tuple[int, ...]) -> np.ndarray:
    """Standard normal numbers (draws, *shape). Kept, because every variant and each third of its curve takes the same, and drawing them is half the work."""
    drawn = np.random.default_rng(seed).standard_normal((_DRAWS, *shape))
    drawn.flags.writeable = False
    return drawn


def _correlation_root(residual: np.ndarray) -> np.ndarray:
    """A root (k, k) of the bins' correlation, shrunk towards one common correlation."""
    scale = np.sqrt((residual**2).mean(axis=0))
    z = residual / np.where(scale > 0, scale, 1.0)
    products = z[:, :, None] * z[:, None, :]
    correlation = products.mean(axis=0)
    n = len(z)
    variance = products.var(axis=0, ddof=1) / n
    off = ~np.eye(len(correlation), dtype=bool)
    common = max(float(correlation[off].mean()), 0.0)
    squares = float(((correlation[off] - common) ** 2).sum())
    shrink = float(np.clip(variance[off].sum() / squares, 0, 1)) if squares > 0 else 1.0
    shrunk = (1 - shrink) * correlation + shrink * common
    np.fill_diagonal(shrunk, 1.0)
    values, vectors = np.linalg.eigh(shrunk)
    answer: np.ndarray = vectors * np.sqrt(np.clip(values, 0, None))
    return answer

"""Means over ten seconds: every extreme of a session is an extreme of these. An extreme of raw samples grows with their noise and number."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

SMOOTH_S = 10.0


class Rows:
    """Samples grouped into rows, such as those of one second: one number per row from its finite samples, nan where it has none.

    of: (n,) the row of each sample, 0 to count - 1. Where it rises, as in a recording, a row is one run of samples, which is five times quicker.
    """

    def __init__(self, of: np.ndarray, count: int) -> None:
        self._of, self._count = of, count
        steps = np.diff(of)
        self._rising = bool(len(of)) and not (steps < 0).any()
        self._starts = np.concatenate([[0], np.flatnonzero(steps) + 1]) if self._rising else np.zeros(0, int)
        self._sizes = np.diff(self._starts, append=len(of))
        self._there = of[self._starts]  # the rows that have samples
        self._all_there = len(self._there) == count

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(count,): the mean of each row. values: (n,)."""
        if self._rising and values.strides == (0,):  # one number for all, as numpy broadcasts it
            return self._placed(np.where(np.isfinite(values[:1]), values[:1], np.nan))
        good = np.isfinite(values)
        whole = bool(good.all())
        if not self._rising:
            n = np.bincount(self._of[good], minlength=self._count)
            total = np.bincount(self._of[good], values[good], minlength=self._count)
            with np.errstate(invalid="ignore"):
                return np.where(n > 0, total / np.where(n > 0, n, 1), np.nan)
        if whole:
            return self._placed(np.add.reduceat(values, self._starts) / self._sizes)
        bad = np.flatnonzero(~good)
        n = self._sizes - np.bincount(np.searchsorted(self._starts, bad, side="right") - 1, minlength=len(self._starts))
        filled = values.copy()
        filled[bad] = 0
        total = np.add.reduceat(filled, self._starts)
        return self._placed(np.where(n > 0, total / np.maximum(n, 1), np.nan))

    def largest(self, values: np.ndarray) -> np.ndarray:
        """(count,): the largest of each row, for values without a mean, such as a state. values: (n,)."""
        if self._rising and values.dtype.kind in "biu":
            return self._placed(np.maximum.reduceat(values, self._starts))
        finite = np.where(np.isfinite(values), values, -np.inf)
        if self._rising:
            result = self._placed(np.maximum.reduceat(finite, self._starts))
        else:
            result = np.full(self._count, -np.inf)
            np.maximum.at(result, self._of, finite)
        return np.where(np.isneginf(result), np.nan, result)

    def _placed(self, found: np.ndarray) -> np.ndarray:
        if self._all_there and len(found) == self._count:
            return found.astype(float, copy=False)
        result = np.full(self._count, np.nan)
        result[self._there] = found
        return result


def smoothed(time_s: npt.ArrayLike, values: npt.ArrayLike, width_s: float = SMOOTH_S) -> np.ndarray:
    """Running mean over `width_s` of irregular samples (n,), times rising; nan samples are left out, nan where a window holds none."""
    t, x = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    good = np.isfinite(x)
    total = np.concatenate([[0.0], np.cumsum(np.where(good, x, 0.0))])
    count = np.concatenate([[0], np.cumsum(good)])
    first, last = _windows(t.tobytes(), width_s)
    n = count[last] - count[first]
    with np.errstate(invalid="ignore"):
        return np.where(n > 0, (total[last] - total[first]) / np.where(n > 0, n, 1), np.nan)


@lru_cache(maxsize=8)  # all columns of a course share one clock
def _windows(time_s: bytes, width_s: float) -> tuple[np.ndarray, np.ndarray]:
    """(first, one past the last) sample within half of `width_s` of each of the times (float64, rising)."""
    t = np.frombuffer(time_s)
    return np.searchsorted(t, t - width_s / 2, side="left"), np.searchsorted(t, t + width_s / 2, side="right")

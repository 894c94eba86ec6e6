"""Means over ten seconds: every extreme of a session is an extreme of these. An extreme of raw samples grows with their noise and number."""

from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

SMOOTH_S = 10.0


class Rows:
    """Samples grouped into rows, such as those of one second: one number per row from its finite samples, nan where it has none.

    of: (n,) the row of each sample, 0 to count - 1. Where it rises, as in a recording, a row is one run of samples, which is five times quicker;
    then it may be any numbers and count left out: the rows are those that have samples.

    rising: whether it does; there, starts: the rows that have samples, and the first sample of each, if so.
    """

    def __init__(self, of: np.ndarray, count: int | None = None) -> None:
        self.rising = bool(len(of)) and not (of[1:] < of[:-1]).any()
        self.starts = np.concatenate([[0], np.flatnonzero(of[1:] != of[:-1]) + 1]) if self.rising else np.zeros(0, int)
        self.there = of[self.starts]
        self._sizes = np.diff(self.starts, append=len(of))
        self._of = np.zeros(0, int) if self.rising else of
        self._count = len(self.there) if count is None else count
        self._all_there = len(self.there) == self._count

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(count,): the mean of each row. values: (n,)."""
        if self.rising and values.strides == (0,):  # one number for all, as numpy broadcasts it
            return self._placed(np.where(np.isfinite(values[:1]), values[:1], np.nan))
        good = np.isfinite(values)
        whole = bool(good.all())
        if not self.rising:
            n = np.bincount(self._of[good], minlength=self._count)
            total = np.bincount(self._of[good], values[good], minlength=self._count)
            with np.errstate(invalid="ignore"):
                return np.where(n > 0, total / np.where(n > 0, n, 1), np.nan)
        if whole:
            return self._placed(np.add.reduceat(values, self.starts) / self._sizes)
        bad = np.flatnonzero(~good)
        n = self._sizes - np.bincount(np.searchsorted(self.starts, bad, side="right") - 1, minlength=len(self.starts))
        filled = values.copy()
        filled[bad] = 0
        total = np.add.reduceat(filled, self.starts)
        return self._placed(np.where(n > 0, total / np.maximum(n, 1), np.nan))

    def largest(self, values: np.ndarray) -> np.ndarray:
        """(count,): the largest of each row, for values without a mean, such as a state. values: (n,)."""
        if self.rising and values.strides == (0,):
            return self.mean(values)
        if self.rising and values.dtype.kind in "biu":
            return self._placed(np.maximum.reduceat(values, self.starts))
        finite = np.where(np.isfinite(values), values, -np.inf)
        if self.rising:
            result = self._placed(np.maximum.reduceat(finite, self.starts))
        else:
            result = np.full(self._count, -np.inf)
            np.maximum.at(result, self._of, finite)
        return np.where(np.isneginf(result), np.nan, result)

    def _placed(self, found: np.ndarray) -> np.ndarray:
        if self._all_there:
            return found.astype(float, copy=False) if len(found) == self._count else np.full(self._count, float(found[0]))
        result = np.full(self._count, np.nan)
        result[self.there] = found
        return result


class SecondMeans:
    """Means of a recording's columns on whole seconds since its first reading, each computed once: summary, phases and story have the same figures.

    seconds: of each sample, as given; time_s: those that hold a reading. A column that was asked for is kept as long as this, and cannot be written to any
    more, as its means would not follow; what the functions return is not to be written to either.
    """

    def __init__(self, seconds: np.ndarray) -> None:
        """seconds (n,): of each sample."""
        self.seconds = seconds
        of = self._second()
        self._rows = Rows(of)
        if self._rows.rising:  # as a recording's readings are
            self.time_s = self._rows.there
        else:
            self.time_s, rows = np.unique(of, return_inverse=True)
            self._rows = Rows(rows, len(self.time_s))
        self._kept: dict[tuple[Any, ...], tuple[np.ndarray, np.ndarray]] = {}

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(seconds that hold a reading,) of samples (n,)."""
        column = values.__array_interface__["data"][0], values.strides, values.dtype
        if column not in self._kept:  # the values beside it, so that their memory stays theirs
            self._kept[column] = values, self._rows.mean(values)
            values.flags.writeable = False
        return self._kept[column][1]

    def largest(self, values: np.ndarray) -> np.ndarray:
        """As `mean`, the largest of each second."""
        return self._rows.largest(values)

    def smoothed(self, values: np.ndarray) -> np.ndarray:
        """As `mean`, over ten seconds."""
        return smoothed(self.time_s, self.mean(values))

    def samples(self, second: int, reach_s: float = 0.0) -> np.ndarray:
        """Which samples lie in a row of `mean`, or within that many seconds of it."""
        at_s = self.time_s[second]
        first, end = np.searchsorted(self.time_s, at_s - reach_s, "left"), np.searchsorted(self.time_s, at_s + reach_s, "right")
        if self._rows.rising:
            return np.arange(*np.append(self._rows.starts, len(self.seconds))[[first, end]])
        of, least, most = self._second(), self.time_s[first], self.time_s[end - 1]
        return np.flatnonzero((of >= least) & (of <= most))

    def _second(self, samples: slice | np.ndarray = slice(None)) -> np.ndarray:
        """The whole seconds since the first sample of these samples."""
        since: np.ndarray = self.seconds[samples] - self.seconds[:1]
        np.floor(since, out=since)
        return since

    def about(self, second: int, values: np.ndarray) -> float:
        """One row of `smoothed`, without computing the others."""
        near = self.samples(second, SMOOTH_S / 2)
        of, rows = np.unique(self._second(near), return_inverse=True)
        found = Rows(rows, len(of)).mean(values[near])
        return float(np.nanmean(found)) if np.isfinite(found).any() else np.nan


def smoothed(time_s: npt.ArrayLike, values: npt.ArrayLike, width_s: float = SMOOTH_S) -> np.ndarray:
    """Running mean over `width_s` of irregular samples (n,), times rising; nan samples are left out, nan where a window holds none."""
    t, x = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    first, last = _windows(t.tobytes(), width_s)
    good = np.isfinite(x)
    total = np.zeros(len(x) + 1)
    if good.all():
        np.cumsum(x, out=total[1:])
        mean = total.take(last)
        mean -= total.take(first)
        mean /= last - first
        return mean
    np.cumsum(np.where(good, x, 0.0), out=total[1:])
    count = np.concatenate([[0], np.cumsum(good)])
    n = count[last] - count[first]
    with np.errstate(invalid="ignore"):
        return np.where(n > 0, (total[last] - total[first]) / np.where(n > 0, n, 1), np.nan)


@lru_cache(maxsize=8)  # all columns of a course share one clock
def _windows(time_s: bytes, width_s: float) -> tuple[np.ndarray, np.ndarray]:
    """(first, one past the last) sample within half of `width_s` of each of the times (float64, rising)."""
    t = np.frombuffer(time_s)
    if not (t[:1] % 1).any() and (np.diff(t) == 1).all():  # each whole second, as a course has them: no search
        at, reach = np.arange(len(t)), int(width_s // 2)
        return np.maximum(at - reach, 0), np.minimum(at + (reach + 1), len(t))
    return np.searchsorted(t, t - width_s / 2, side="left"), np.searchsorted(t, t + width_s / 2, side="right")

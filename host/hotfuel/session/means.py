"""Means over ten seconds: every extreme of a session is an extreme of these. An extreme of raw samples grows with their noise and number."""

import numpy as np
import numpy.typing as npt

SMOOTH_S = 10.0


def per_second(values: np.ndarray, rows: np.ndarray, count: int, *, largest: bool = False) -> np.ndarray:
    """(count,): of each row the mean of its finite samples, or the largest where a mean would be no state; nan where there is none.

    values: (n,) samples; rows: (n,) the row each belongs to, 0 to count - 1.
    """
    good = np.isfinite(values)
    if largest:
        result = np.full(count, -np.inf)
        np.maximum.at(result, rows[good], values[good])
        return np.where(np.isneginf(result), np.nan, result)
    n = np.bincount(rows[good], minlength=count)
    total = np.bincount(rows[good], values[good], minlength=count)
    with np.errstate(invalid="ignore"):
        return np.where(n > 0, total / np.where(n > 0, n, 1), np.nan)


def smoothed(time_s: npt.ArrayLike, values: npt.ArrayLike, width_s: float = SMOOTH_S) -> np.ndarray:
    """Running mean over `width_s` of irregular samples (n,), times rising; nan samples are left out, nan where a window holds none."""
    t, x = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    good = np.isfinite(x)
    total = np.concatenate([[0.0], np.cumsum(np.where(good, x, 0.0))])
    count = np.concatenate([[0], np.cumsum(good)])
    first = np.searchsorted(t, t - width_s / 2, side="left")
    last = np.searchsorted(t, t + width_s / 2, side="right")
    n = count[last] - count[first]
    with np.errstate(invalid="ignore"):
        return np.where(n > 0, (total[last] - total[first]) / np.where(n > 0, n, 1), np.nan)

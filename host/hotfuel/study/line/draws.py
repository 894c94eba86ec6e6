"""Random draws of what was not measured: each has a name (`Unknown`), and the same draws for every change, so that changes can be compared.

The draws of one assumption are a Latin hypercube of one column: each of DRAWS equal parts of its distribution is drawn once, in an order set by its seed.
"""

import zlib
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

import numpy as np
from scipy import special

from hotfuel.study.line.unknown import Unknown

DRAWS = 200
COVERED = (0.025, 0.5, 0.975)
OWN_U = 0.15  # how differently two cars respond to the same fix (spread of the logarithm; assumption until there is own history)


class Own(NamedTuple):
    """The effect of one's own fixes of a kind, as a factor on the usual effect: its middle, how far the next may be from it (spread of the logarithm), its
    weight against the usual range (0 to 1), and the number of fixes."""

    middle: float
    spread: float
    weight: float = 0.0
    fixes: int = 0

    def narrowed(self, least: float, greatest: float) -> tuple[float, float]:
        """A usual range, narrowed about its middle by the weight of the own history; `middle` and `spread` are applied besides."""
        middle, half = (least + greatest) / 2, (greatest - least) / 2 * (1 - self.weight)
        return middle - half, middle + half


@dataclass(frozen=True)
class Interval:
    """A forecast number: its median, its 95 % interval, and the unknown that causes most of that interval (None where none does)."""

    least: float
    middle: float
    greatest: float
    carried_by: Unknown | None = None

    @property
    def half(self) -> float:
        """Half its width."""
        return (self.greatest - self.least) / 2


@dataclass
class Draws:
    """(DRAWS, 1) columns of what is unknown. `drawn`: what has been drawn so far."""

    drawn: dict[Unknown, np.ndarray] = field(default_factory=dict)

    def unit(self, one: Unknown) -> np.ndarray:
        """Uniform between 0 and 1."""
        return self.drawn.setdefault(one, _column(one.seed))[:, None]

    def between(self, one: Unknown, least: float, greatest: float) -> np.ndarray:
        """Uniform between two bounds."""
        return least + (greatest - least) * self.unit(one)

    def normal(self, one: Unknown, middle: float, u: float) -> np.ndarray:
        """Normal, with a mean and a standard uncertainty."""
        return np.asarray(middle + u * special.ndtri(self.unit(one)))

    def times(self, one: Unknown, u: float) -> np.ndarray:
        """A factor about 1, log-normal with the standard deviation of its logarithm."""
        return np.asarray(np.exp(self.normal(one, 0.0, u)))

    def interval(self, values: np.ndarray) -> Interval:
        """Interval of a result's (DRAWS,) values; nan where any is nan."""
        if not np.isfinite(values).all():
            return Interval(np.nan, np.nan, np.nan)
        least, middle, greatest = (float(x) for x in np.quantile(values, COVERED))
        return Interval(least, middle, greatest, self.carries(values))

    def carries(self, values: np.ndarray) -> Unknown | None:
        """The unknown with the largest rank correlation with the values; None where they hardly vary."""
        if not self.drawn or np.ptp(values) < 0.05:
            return None
        ranks = np.argsort(np.argsort(values)).astype(float)
        # every column is the same numbers in another order, so the largest product is the largest correlation
        along = np.array(list(self.drawn.values())) @ (ranks - ranks.mean())
        return list(self.drawn)[int(np.argmax(np.abs(along)))]


@cache
def _column(seed: str) -> np.ndarray:
    random = np.random.default_rng(zlib.crc32(seed.encode()))
    return np.asarray((random.permutation(DRAWS) + 0.5) / DRAWS)

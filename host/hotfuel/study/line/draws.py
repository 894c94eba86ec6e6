"""Random draws of what was not measured: each assumption has a name, and the same draws for every change, so that changes can be compared.

The draws of one assumption are a Latin hypercube of one column: each of DRAWS equal parts of its distribution is drawn once, in an order set by its name.
"""

import zlib
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy import special

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
    """A forecast number: its median, its 95 % interval, and the assumption that causes most of that interval ("" where none does)."""

    least: float
    middle: float
    greatest: float
    carried_by: str = ""

    @property
    def half(self) -> float:
        """Half its width."""
        return (self.greatest - self.least) / 2


@dataclass
class Draws:
    """(DRAWS, 1) columns by name; `words`: the name of each for a person."""

    words: dict[str, str] = field(default_factory=dict)

    def unit(self, name: str, words: str) -> np.ndarray:
        """Uniform between 0 and 1. name: seeds the column; words: its name for a person."""
        self.words.setdefault(name, words)
        return _column(name)[:, None]

    def between(self, name: str, words: str, least: float, greatest: float) -> np.ndarray:
        """Uniform between two bounds."""
        return least + (greatest - least) * self.unit(name, words)

    def normal(self, name: str, words: str, middle: float, u: float) -> np.ndarray:
        """Normal, with a mean and a standard uncertainty."""
        return np.asarray(middle + u * special.ndtri(self.unit(name, words)))

    def times(self, name: str, words: str, u: float) -> np.ndarray:
        """A factor about 1, log-normal with the standard deviation of its logarithm."""
        return np.asarray(np.exp(self.normal(name, words, 0.0, u)))

    def interval(self, values: np.ndarray) -> Interval:
        """Interval of a result's (DRAWS,) values; nan where any is nan."""
        if not np.isfinite(values).all():
            return Interval(np.nan, np.nan, np.nan)
        least, middle, greatest = (float(x) for x in np.quantile(values, COVERED))
        return Interval(least, middle, greatest, self.carries(values))

    def carries(self, values: np.ndarray) -> str:
        """The assumption with the largest rank correlation with the values; "" where they hardly vary."""
        if not self.words or np.ptp(values) < 0.05:
            return ""
        ranks = np.argsort(np.argsort(values)).astype(float)
        # every column is the same numbers in another order, so the largest product is the largest correlation
        along = np.array([_column(name) for name in self.words]) @ (ranks - ranks.mean())
        return list(self.words.values())[int(np.argmax(np.abs(along)))]


_COLUMNS: dict[str, np.ndarray] = {}


def _column(name: str) -> np.ndarray:
    if name not in _COLUMNS:
        random = np.random.default_rng(zlib.crc32(name.encode()))
        _COLUMNS[name] = (random.permutation(DRAWS) + 0.5) / DRAWS
    return _COLUMNS[name]

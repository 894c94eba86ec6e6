"""What nobody measured, drawn many times: each assumption by its own name, the same draws for every change, so that changes can be held against each other.

A draw of one assumption is a Latin hypercube of one column: every hundredth part of its distribution comes once, in an order that its name alone decides.
"""

import zlib
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy import special

DRAWS = 200
COVERED = (0.025, 0.5, 0.975)
OWN_U = 0.15  # how differently two cars answer to the same fix (spread of the logarithm; assumption until own history says more)


class Own(NamedTuple):
    """What one's own fixes of a kind did, as a factor on what is usual: its middle, how far the next may lie from it (spread of the logarithm), how much
    that weighs against the usual range (0 to 1), and how many fixes it comes from."""

    middle: float
    spread: float
    weight: float = 0.0
    fixes: int = 0

    def narrowed(self, least: float, greatest: float) -> tuple[float, float]:
        """A usual range, drawn towards its middle by the weight of what was found: `middle` and `spread` say the rest."""
        middle, half = (least + greatest) / 2, (greatest - least) / 2 * (1 - self.weight)
        return middle - half, middle + half


@dataclass(frozen=True)
class Interval:
    """A forecast number: its middle, the 95 % interval about it, and the assumption that carries most of that interval ("" where none does)."""

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
    """(DRAWS, 1) columns by name; `words` says what each stands for."""

    words: dict[str, str] = field(default_factory=dict)

    def unit(self, name: str, words: str) -> np.ndarray:
        """Evenly between 0 and 1. name: what makes the column; words: what a person reads."""
        self.words.setdefault(name, words)
        return _column(name)[:, None]

    def between(self, name: str, words: str, least: float, greatest: float) -> np.ndarray:
        """Evenly between two bounds."""
        return least + (greatest - least) * self.unit(name, words)

    def normal(self, name: str, words: str, middle: float, u: float) -> np.ndarray:
        """About a middle, with a standard uncertainty."""
        return np.asarray(middle + u * special.ndtri(self.unit(name, words)))

    def times(self, name: str, words: str, u: float) -> np.ndarray:
        """A factor about 1, with the standard deviation of its logarithm."""
        return np.asarray(np.exp(self.normal(name, words, 0.0, u)))

    def interval(self, values: np.ndarray) -> Interval:
        """Of (DRAWS,) values of a result; nan where there are none."""
        if not np.isfinite(values).all():
            return Interval(np.nan, np.nan, np.nan)
        least, middle, greatest = (float(x) for x in np.quantile(values, COVERED))
        return Interval(least, middle, greatest, self.carries(values))

    def carries(self, values: np.ndarray) -> str:
        """Which assumption goes along with the values most, by rank; "" where they hardly vary."""
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

"""One section of the line as a heat budget follows it: what the same fuel took up between its two ends."""

from dataclasses import dataclass

import numpy as np

MOST_ELSEWHERE = 0.1  # of its way through a section that fuel may have made in another phase


@dataclass(frozen=True, eq=False)
class Section:
    """Arrays (n,) of a section: gained_w, what fuel that leaves it now took up in it; entered_degc, leaves_degc; usable rows.

    slopes: (out, in), W per degC of a reading's error. by_volume_w: what a volume larger by its spread would change. entered_row: when it entered.
    holds_j_k: heat capacity of the fuel in it. on: while the engine runs. pump: whether a pump on the engine stands in it.
    """

    before: str
    place: str
    gained_w: np.ndarray
    entered_degc: np.ndarray
    leaves_degc: np.ndarray
    usable: np.ndarray
    slopes: tuple[np.ndarray, np.ndarray]
    by_volume_w: np.ndarray
    entered_row: np.ndarray
    holds_j_k: float
    on: np.ndarray
    pump: bool

    def within(self, rows: np.ndarray) -> np.ndarray:
        """Usable rows whose fuel entered and left, and was on its way, while `rows` held: what a stop or another phase heated is not counted to this one.

        After a stop a second filling is left out too: what stood mixes with what follows it.
        """
        first = self.entered_row
        flowed = _missed(self.on, first[first]) == 0
        return np.asarray(rows & self.usable & rows[first] & (_missed(rows, first) <= MOST_ELSEWHERE) & flowed)


def _missed(rows: np.ndarray, first: np.ndarray) -> np.ndarray:
    """In what share of the rows between `first` (n,) and each row itself `rows` (n,) did not hold."""
    missed = np.cumsum(~rows)
    return np.asarray((missed - missed[first]) / np.maximum(np.arange(len(rows)) - first, 1))

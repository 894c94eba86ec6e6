"""What was last known at each place: its reading, its margin, and when the margin was last low enough for a warning."""

import math
from dataclasses import dataclass

import numpy as np

from hotfuel.live.alarms import Spell
from hotfuel.live.intake import Batch
from hotfuel.risk.level import Level


@dataclass(frozen=True)
class LastMargin:
    """A margin that was known, with its standard uncertainty and the axis second of its reading."""

    at: float = math.nan
    margin_degc: float = math.nan
    uncertainty_degc: float = math.nan


class Memory:
    """Feed it every batch."""

    def __init__(self) -> None:
        self._readings: dict[str, tuple[float, float]] = {}
        self._margins: dict[str, LastMargin] = {}
        self._beyond: dict[str, float] = {}  # place -> last axis second with its limit passed
        self._close: dict[str, float] = {}  # ... with its margin below its uncertainty

    def add(self, batch: Batch) -> None:
        """Ticks in order."""
        for number, name in enumerate(batch.places):
            good = np.flatnonzero(np.isfinite(batch.degc[:, number]))
            if len(good):
                self._readings[name] = (float(batch.seconds[good[-1]]), float(batch.degc[good[-1], number]))
        for name, place in batch.margins.items():
            good = np.flatnonzero(np.isfinite(place.margin_degc))
            if not len(good):
                continue
            last = good[-1]
            self._margins[name] = LastMargin(
                float(batch.seconds[last]), float(place.margin_degc[last]), float(place.uncertainty_degc[last])
            )
            for book, low in ((self._beyond, place.margin_degc < 0), (self._close, place.margin_degc < place.uncertainty_degc)):
                rows = np.flatnonzero(low)
                if len(rows):
                    book[name] = float(batch.seconds[rows[-1]])

    def reading(self, place: str) -> tuple[float, float]:
        """(axis second, degC) of its last good reading, nan before the first."""
        return self._readings.get(place, (math.nan, math.nan))

    def margin(self, place: str) -> LastMargin:
        """Its last margin."""
        return self._margins.get(place, LastMargin())

    def back_since(self, place: str, state: Level, spell: Spell, margin_degc: float, uncertainty_degc: float) -> float:
        """Axis second since which the margin has recovered although the warning is still on; nan where it has not, or was never seen that low.

        An alarm stays on for its off-delay after its cause has gone; its word is out of date until then.
        """
        if not margin_degc >= (0.0 if state.beyond else uncertainty_degc):
            return math.nan
        last = (self._beyond if state.beyond else self._close).get(place, math.nan)
        return last if last >= spell.begin else math.nan

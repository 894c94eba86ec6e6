"""What was last known at each place: its reading and whether to believe it, its margin, and when the margin was last low enough for a warning."""

import math
from dataclasses import dataclass

import numpy as np
from hotfuel_wire.alarm import WAIT_MS

from hotfuel.live.alarms import Spell
from hotfuel.live.intake import Batch
from hotfuel.places import behind_needle
from hotfuel.risk.level import Level, is_beyond
from hotfuel.risk.probes import Traced
from hotfuel.temperature.counts import NO_NEW_CONVERSION

_JUMP_DEGC = 3.0  # from one reading to the next: a short has opened; what it read, an amplifier or a wire, does not warm so fast


@dataclass(frozen=True)
class LastMargin:
    """A margin that was known, with its standard uncertainty and the axis second of its reading."""

    at: float = math.nan
    margin_degc: float = math.nan
    uncertainty_degc: float = math.nan


@dataclass
class _Fall:
    """An impossible fall: the last reading since then, and from which on it is over in any case."""

    last_degc: float
    enough_degc: float


class Memory:
    """Feed it every batch."""

    def __init__(self) -> None:
        self._readings: dict[str, tuple[float, float]] = {}
        self._margins: dict[str, LastMargin] = {}
        self._fallen: dict[str, _Fall] = {}
        self._doubts: dict[str, bool] = {}
        self._converted: dict[str, tuple[Batch, int]] = {}  # batch and row of the last conversion
        self._beyond: dict[str, float] = {}  # place -> last axis second with its limit passed
        self._close: dict[str, float] = {}  # ... with its margin below its uncertainty

    def add(self, batch: Batch) -> None:
        """Ticks in order. A reading that fell faster than its probe can is not what was last known, nor is one after it until it has risen again."""
        for number, name in enumerate(batch.places):
            degc = batch.degc[:, number]
            converted = np.flatnonzero(batch.reason[:, number] != NO_NEW_CONVERSION)
            if len(converted):
                self._converted[name] = batch, int(converted[-1])
            doubted = (
                self._doubted(name, degc, batch.margins[name].traced) if name in batch.margins else np.zeros(len(degc), bool)
            )
            self._doubts[name] = bool(doubted[-1])
            good = np.flatnonzero(np.isfinite(degc) & ~doubted)
            if len(good):
                self._readings[name] = (float(batch.seconds[good[-1]]), float(degc[good[-1]]))
            for place in (name, behind_needle(name)):
                if place in batch.margins:
                    self._add_margins(place, batch, ~doubted)

    def _doubted(self, name: str, degc: np.ndarray, traced: Traced | None) -> np.ndarray:
        """Which readings are not believed: while the alarm doubts them, and after a fall it came to believe, until a jump back or half of it made up."""
        if traced is None:
            return np.zeros(len(degc), bool)
        doubted = traced.doubted.copy()
        falls = dict(traced.falls)
        if not falls and name not in self._fallen:
            return doubted
        for row, here in enumerate(degc.tolist()):
            if row in falls:
                self._fallen[name] = _Fall(here, here + falls[row] / 2)
            elif name in self._fallen and math.isfinite(here):
                fall = self._fallen[name]
                if here - fall.last_degc > _JUMP_DEGC or here >= fall.enough_degc:
                    del self._fallen[name]
                fall.last_degc = here
            doubted[row] |= name in self._fallen
        return doubted

    def _add_margins(self, name: str, batch: Batch, believed: np.ndarray) -> None:
        place = batch.margins[name]
        good = np.flatnonzero(np.isfinite(place.margin_degc) & believed)
        if not len(good):
            return
        last = good[-1]
        self._margins[name] = LastMargin(
            float(batch.seconds[last]), float(place.margin_degc[last]), float(place.uncertainty_degc[last])
        )
        for book, low in (
            (self._beyond, is_beyond(place.margin_degc)),
            (self._close, place.margin_degc < place.uncertainty_degc),
        ):
            rows = np.flatnonzero(low)
            if len(rows):
                book[name] = float(batch.seconds[rows[-1]])

    def doubted(self, place: str) -> bool:
        """True while the reading of this probe is not believed although there is one."""
        return self._doubts.get(place, False)

    def shown(self, place: str, batch: Batch) -> tuple[Batch, int]:
        """Batch and row to show as this probe's at the end of `batch`: a slow chip has no conversion at some ticks, and the last one still counts."""
        last, row = self._converted.get(place, (batch, -1))
        late_s = float(batch.seconds[-1] - last.seconds[row])
        return (last, row) if last.places == batch.places and late_s <= WAIT_MS / 1000 else (batch, -1)

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

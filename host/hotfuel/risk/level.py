"""The levels of a place, one numbering for board, host and stored columns (hotfuel_wire.alarm), with words for each."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt
from hotfuel_wire import alarm

from hotfuel.fuel.table import PRESSURE_RANGE_KPA
from hotfuel.units import Shown


class Level(IntEnum):
    """The level of a place's margin. `urgency`: a lost sensor never outranks a live warning. Columns hold these numbers: append only."""

    QUIET = alarm.QUIET
    WARN = alarm.WARN
    ACT = alarm.ACT
    LOST = alarm.LOST
    NO_MARGIN = alarm.NO_MARGIN
    LOW_PRESSURE = alarm.LOW_PRESSURE
    IMPOSSIBLE_PRESSURE = alarm.IMPOSSIBLE_PRESSURE

    @property
    def beyond(self) -> bool:
        """True if the limit is passed, or the pressure allows none."""
        return self in BEYOND

    @property
    def urgency(self) -> int:
        """Greater is more urgent; 0 asks for nothing."""
        return int(alarm.URGENCY[self])

    @property
    def look(self) -> str:
        """One of LOOKS: which shape, colour and sign it has in every view."""
        return _TOLD[self].look

    def on_chart(self, shown: Shown) -> str:
        """What an alarm of this level says on a chart, in the reader's units; "" for a level that is none."""
        told = _TOLD[self].on_chart
        return f"{self.text(shown)}: {told}" if self in NO_LIMIT else told

    @property
    def short(self) -> str:
        """The words without a number."""
        return _TOLD[self].words

    @property
    def words(self) -> str:
        """For a person, in SI units."""
        return self.text(Shown())

    def text(self, shown: Shown) -> str:
        """The words in the reader's units."""
        return f"{self.short} ({least(shown)})" if self == Level.LOW_PRESSURE else self.short


BEYOND = (Level.ACT, Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)
NO_LIMIT = (Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)


def is_beyond(margin_degc: npt.ArrayLike) -> npt.NDArray[np.bool_] | np.bool_:
    """The one rule of every view and summary, the alarm's on the wire: beyond its limit is a margin below zero, at zero it is not yet. nan is not.
    Example: is_beyond(-0.1) -> True."""
    return np.less(margin_degc, 0.0)


def among(states: npt.NDArray[Any], levels: Sequence[Level]) -> npt.NDArray[np.bool_]:
    """Which of these numbers of levels are among some: as np.isin, many times faster on small numbers. Example: among(margin.state, BEYOND)."""
    found: npt.NDArray[np.bool_] = states == int(levels[0])
    for level in levels[1:]:
        found |= states == int(level)
    return found


def least(shown: Shown) -> str:
    """The pressures that are too low for a limit: "under 25 kPa", in the reader's unit."""
    return f"under {shown.bound(PRESSURE_RANGE_KPA[0], 'pressure')}"


def words_in_units(level: Level | None, shown: Shown) -> str:
    """A level's words in the reader's unit, "" for None."""
    return "" if level is None else level.text(shown)


@dataclass(frozen=True)
class _Told:
    """How a level is told: its look (every view has a shape, colour and sign for each of LOOKS), its words, and an alarm's words on a chart."""

    look: str
    words: str
    on_chart: str = ""


LOOKS = ("quiet", "warn", "act", "lost", "none")
_TOLD = {
    Level.QUIET: _Told("quiet", "no warning"),
    Level.WARN: _Told("warn", "warn", "close to its limit"),
    Level.ACT: _Told("act", "act", "beyond its limit"),
    Level.LOST: _Told("lost", "sensor lost", "no reading"),
    Level.NO_MARGIN: _Told("none", "no margin here"),
    Level.LOW_PRESSURE: _Told("act", "pressure too low for a limit", "beyond the limit"),
    Level.IMPOSSIBLE_PRESSURE: _Told("act", "impossible pressure: check the car file", "beyond the limit"),
}

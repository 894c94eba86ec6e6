"""The levels of a place, one numbering for board, host and stored columns (hotfuel_wire.alarm), with words for each."""

import re
from enum import IntEnum

from hotfuel_wire import alarm

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
    def short(self) -> str:
        """The same without what its words have in brackets."""
        return _SHORT.get(self, self.words)

    @property
    def words(self) -> str:
        """For a person."""
        return _WORDS[self]


BEYOND = (Level.ACT, Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)
NO_LIMIT = (Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)

LEAST = "under 25 kPa"  # the least pressure that limits are computed for, as written in the words
_KPA = re.compile(r"(\d+(?:\.\d+)?) kPa\b")


def in_units(words: str, shown: Shown) -> str:
    """A level's words, or a note of a session, with the pressures in it in the reader's unit."""
    return words if shown.system == "si" else _KPA.sub(lambda found: shown.text(float(found[1]), "pressure"), words)


def words_in_units(level: Level | None, shown: Shown) -> str:
    """A level's words in the reader's unit, "" for None."""
    return "" if level is None else in_units(level.words, shown)


_SHORT = {Level.LOW_PRESSURE: "pressure too low for a limit"}
_WORDS = {
    Level.QUIET: "no warning",
    Level.WARN: "warn",
    Level.ACT: "act",
    Level.LOST: "sensor lost",
    Level.NO_MARGIN: "no margin here",
    Level.LOW_PRESSURE: f"{_SHORT[Level.LOW_PRESSURE]} ({LEAST})",
    Level.IMPOSSIBLE_PRESSURE: "impossible pressure: check the car file",
}

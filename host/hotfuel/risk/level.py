"""The levels of a place, one numbering for board, host and stored columns (hotfuel_wire.alarm), with words for each."""

from enum import IntEnum

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
    def short(self) -> str:
        """The words without a number."""
        return _WORDS[self]

    @property
    def words(self) -> str:
        """For a person, in SI units."""
        return self.text(Shown())

    def text(self, shown: Shown) -> str:
        """The words in the reader's units."""
        return f"{_WORDS[self]} ({least(shown)})" if self == Level.LOW_PRESSURE else _WORDS[self]


BEYOND = (Level.ACT, Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)
NO_LIMIT = (Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE)


def least(shown: Shown) -> str:
    """The pressures that are too low for a limit: "under 25 kPa", in the reader's unit."""
    return f"under {shown.bound(PRESSURE_RANGE_KPA[0], 'pressure')}"


def words_in_units(level: Level | None, shown: Shown) -> str:
    """A level's words in the reader's unit, "" for None."""
    return "" if level is None else level.text(shown)


_WORDS = {
    Level.QUIET: "no warning",
    Level.WARN: "warn",
    Level.ACT: "act",
    Level.LOST: "sensor lost",
    Level.NO_MARGIN: "no margin here",
    Level.LOW_PRESSURE: "pressure too low for a limit",
    Level.IMPOSSIBLE_PRESSURE: "impossible pressure: check the car file",
}

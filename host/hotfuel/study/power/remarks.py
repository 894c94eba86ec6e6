"""What reading a file of pulls left out, joined or had to find, as kinds with their numbers; `hotfuel.report.power_words` puts them into sentences."""

import enum
from dataclasses import dataclass


class Kind(enum.Enum):
    """What was done with a part of a file."""

    NO_NUMBERS = "rows without numbers"  # left out; count
    HEADERS_AGAIN = "headers again"  # left out
    SHORT_RUNS = "short runs"  # left out; count, least: rows a run needs
    DOWNWARD = "downward"  # rows of downward sweeps, left out; count
    UNITS_FOUND = "units found"  # by power = torque x speed; words: of torque, of power
    NO_UNIT = "no unit"  # a column not used; words: its heading, its role
    LONE_READING = "lone reading"  # above its neighbours, left out; rpm: where, to ten
    AVERAGED = "averaged"  # rows of one engine speed
    NO_PULL = "no pull"  # a part of the file, left out; words: the part and why


@dataclass(frozen=True)
class Remark:
    """One remark on a file, with what its kind has."""

    kind: Kind
    count: int = 0
    least: int = 0
    words: tuple[str, ...] = ()
    rpm: tuple[float, ...] = ()

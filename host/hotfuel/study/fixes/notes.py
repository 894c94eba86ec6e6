"""What a reader must know beside the answers of a comparison, as data: one class for each kind of note. `hotfuel.report.compare_notes` says them.

`first` and `second` are the names of the two variants compared, the baseline's first.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.study.drive.course import AirFrom
from hotfuel.study.fixes.probe_notes import ProbeNote
from hotfuel.study.fixes.summaries import Cell, Filled


@dataclass(frozen=True)
class FromSession:
    """What a session's course notes: where its outside air is from."""

    air: AirFrom


@dataclass(frozen=True)
class PlacesLeftOut:
    """Places that some sessions did not measure."""

    places: tuple[str, ...]


@dataclass(frozen=True)
class NoCarFile:
    """No session has a car file, so there are no margins."""


@dataclass(frozen=True)
class AnotherFuel:
    """Sessions on another fuel than `baseline`, a session, whose fuel sets all limits."""

    sessions: tuple[str, ...]
    baseline: str


@dataclass(frozen=True)
class PressureApart:
    """Air pressure differed between sessions by `apart_kpa`; all limits are for `used_kpa`, that of the session `baseline`."""

    apart_kpa: float
    used_kpa: float
    baseline: str


@dataclass(frozen=True)
class AirNotNoted:
    """Sessions whose outside air is not known: the car had been driven before on that day."""

    sessions: tuple[str, ...]


@dataclass(frozen=True)
class AirGuessed:
    """Outside air of some sessions was taken from the fuel, to a standard uncertainty of `uncertainty_degc`."""

    uncertainty_degc: float


@dataclass(frozen=True)
class WholeRunsCompared:
    """Phases can only be guessed, so whole runs are compared."""


@dataclass(frozen=True)
class OneStopCompared:
    """Sessions with several stops, of which one counts. until_restart: nothing after the restart behind it counts, in any run."""

    sessions: tuple[str, ...]
    until_restart: bool


@dataclass(frozen=True)
class StopsShortened:
    """Stops of different lengths, compared over the shortest."""

    shortest_s: float
    longest_s: float


@dataclass(frozen=True)
class LapsNotSeen:
    """Laps `first` to `last` of a run, whose crossings between no position shows: they count as no lap."""

    session: str
    first: int
    last: int


@dataclass(frozen=True)
class FixNotNamed:
    """Variants of which nothing says what was fitted."""

    variants: tuple[str, ...]


@dataclass(frozen=True)
class ComparedWith:
    """The variant that the others are compared with, though it was not named first: the only one without a fix."""

    variant: str


@dataclass(frozen=True)
class CountedToTheDayBefore:
    """Sessions that began after midnight and belong to the evening before. local: by local time; else by UTC, because no local time is noted."""

    sessions: tuple[str, ...]
    local: bool


@dataclass(frozen=True)
class SameTime:
    """Recordings of one car whose times overlap, in order of their start."""

    runs: tuple[str, ...]


@dataclass(frozen=True)
class AsRead:
    """The difference of an answer before both sides were brought to one outside air. moved_degc: by how much that changed it; half_degc: half the answer's
    interval, nan where it has none."""

    cell: Cell
    difference_degc: float
    moved_degc: float
    half_degc: float
    brought_to_degc: float


@dataclass(frozen=True)
class AirNotKnown:
    """Outside air is not known of one side at least: temperatures are compared as read."""

    first: str
    second: str


@dataclass(frozen=True)
class AirDiffered:
    """Outside air of the sides. large: by enough to be named in any case; otherwise only where `as_read` differs in what is printed."""

    first: str
    second: str
    first_degc: float
    second_degc: float
    large: bool
    as_read: AsRead | None = None


@dataclass(frozen=True)
class AirPressureDiffered:
    """Absolute air pressure of the sides."""

    first: str
    second: str
    first_kpa: float
    second_kpa: float


@dataclass(frozen=True)
class StartsDiffered:
    """Temperatures at which the runs began. warmer: the variant that began warmer; place, probe_degc: the probe whose cold readings explain it, "" and nan
    where none does."""

    first: str
    second: str
    first_degc: float
    second_degc: float
    warmer: str
    place: str = ""
    probe_degc: float = np.nan


@dataclass(frozen=True)
class TankDiffered:
    """Fuel in the tank, warmer by `by_degc` as the runs of one variant began. over_air: outside air is taken out of it."""

    warmer: str
    by_degc: float
    over_air: bool


@dataclass(frozen=True)
class LengthsDiffered:
    """Mean lengths of the runs, or of `phase` in them where that is not empty."""

    first: str
    second: str
    first_s: float
    second_s: float
    phase: str = ""


@dataclass(frozen=True)
class FuelsDiffered:
    """Fuels of the sides."""

    first: str
    second: str
    first_fuels: tuple[Filled, ...]
    second_fuels: tuple[Filled, ...]


@dataclass(frozen=True)
class OneDayASide:
    """All runs of `lone` are of one day, on which `other` was not driven. uncertainty_degc: what days are assumed to differ by, standard."""

    lone: str
    other: str
    uncertainty_degc: float


@dataclass(frozen=True)
class DaysCountOnce:
    """Runs of one day share what is special about it: the numbers of days that count."""

    first: str
    second: str
    first_days: int
    second_days: int


@dataclass(frozen=True)
class OrderUnknown:
    """The order of the runs is not known."""

    first: str
    second: str


@dataclass(frozen=True)
class OneAfterTheOther:
    """All runs of `early` came before all of `late`. drift_removed: a steady drift over the day is taken out."""

    early: str
    late: str
    drift_removed: bool


@dataclass(frozen=True)
class FirstEveryDay:
    """The variant that was driven first on every day, or, where others hold one side only, on every day with both."""

    variant: str
    with_both: bool = False


@dataclass(frozen=True)
class WidenedByPairs:
    """The interval was widened by archived pairs of runs, because of the order of these two."""

    first: str
    second: str


@dataclass(frozen=True)
class Apart:
    """Runs of one variant of a planned day that spread far more than the plan assumed: the two furthest apart, by number, and by how much (degC, or
    100 times the logarithm of power)."""

    variant: str
    runs: tuple[int, int]
    by: float


@dataclass(frozen=True)
class RunsApart:
    """Runs of one variant spread far more than the `spread_degc` that a planned day assumed."""

    spread_degc: float
    apart: tuple[Apart, ...]


Note = (
    FromSession
    | PlacesLeftOut
    | NoCarFile
    | AnotherFuel
    | PressureApart
    | AirNotNoted
    | AirGuessed
    | WholeRunsCompared
    | OneStopCompared
    | StopsShortened
    | LapsNotSeen
    | FixNotNamed
    | ComparedWith
    | CountedToTheDayBefore
    | SameTime
    | AirNotKnown
    | AirDiffered
    | AirPressureDiffered
    | StartsDiffered
    | TankDiffered
    | LengthsDiffered
    | FuelsDiffered
    | OneDayASide
    | DaysCountOnce
    | OrderUnknown
    | OneAfterTheOther
    | FirstEveryDay
    | WidenedByPairs
    | RunsApart
    | ProbeNote
)

"""What a reader must know of the probes, as data: as `hotfuel.study.fixes.notes`."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ColdReadingOff:
    """While all places were cold, one read `off_degc` from the middle of all (plus: hotter), in each of these runs of one side.

    tank: it is a tank's, which follows the air slowly, so that the fuel may truly have been that much warmer or colder.
    """

    sessions: tuple[str, ...]
    place: str
    off_degc: tuple[float, ...]
    tank: bool


@dataclass(frozen=True)
class SensorsDiffered:
    """The sides were read with different probes or calibrations at `place`."""

    first: str
    second: str
    place: str


@dataclass(frozen=True)
class ProbeMoved:
    """By its cold readings the probe at `place` read `by_degc` more beside the others in `second` than in `first`."""

    first: str
    second: str
    place: str
    by_degc: float


@dataclass(frozen=True)
class ProbeOffOnOneSide:
    """The probe at `place` read `off_degc` apart in the cold with `seen`; no run of `unseen` began cold."""

    seen: str
    unseen: str
    place: str
    off_degc: float


@dataclass(frozen=True)
class PerhapsHigh:
    """Every run of one side began with one place `over_degc` warmer than the outside air, `beside` at it, and no run of `other` did: that place was still
    warm, or its probe reads high."""

    sessions: tuple[str, ...]
    place: str
    over_degc: tuple[float, ...]
    beside: tuple[str, ...]
    other: str
    variant: str


@dataclass(frozen=True)
class PerhapsNotRead:
    """In these runs of one variant the probe at `place` may not have read the fuel for long; why: a reason as of `hotfuel.temperature.trust`."""

    sessions: tuple[str, ...]
    variant: str
    place: str
    why: int


ProbeNote = ColdReadingOff | SensorsDiffered | ProbeMoved | ProbeOffOnOneSide | PerhapsHigh | PerhapsNotRead

"""A complaint of trouble after hot stops, and the stops since its repair: whether the trouble came back, and whether they were hard enough to show anything."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd

from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import SOAK, Phase, phases
from hotfuel.study.drive.restarts import AFTER_S, Easier, Hardness, Proof, hardness, proof, restarts, says_trouble, softer

_JUST_BEFORE_S = 10.0
_NAME_MOST = 60  # letters of a title in a sentence


@dataclass(frozen=True)
class PlaceAtStop:
    """One place during a hot soak: its hottest fuel and its smallest margin with its standard uncertainty, nan where no limit is known; degC."""

    place: str
    hottest_degc: float
    smallest_margin_degc: float
    uncertainty_degc: float = np.nan


@dataclass(frozen=True)
class Stop:
    """One hot soak as a test of the car. trouble: whether trouble was marked at the next start; None without a start. mark: its text, "" for none.

    margin_degc: the smallest of any place, nan if no limit is known. easier: in which ways it was easier than the complaint's stop.
    """

    run: str
    phase: str
    hardness: Hardness
    trouble: bool | None
    margin_degc: float
    mark: str = ""
    easier: tuple[Easier, ...] = ()
    places: tuple[PlaceAtStop, ...] = ()

    @property
    def unmarked(self) -> bool:
        """Whether it counts as no trouble only because nothing was marked."""
        return self.trouble is False and not self.mark


@dataclass(frozen=True)
class Judgement:
    """The stops since a repair (of the runs with `variant`, "" in a review) compared with the complaint's; proof is None if none was followed by a start.

    without_marks: stops that count as no trouble only because nothing was marked. simulated: the complaint's stop is not of a real car.
    """

    variant: str
    complaint: Stop
    stops: tuple[Stop, ...]
    proof: Proof | None
    without_marks: int = 0
    simulated: bool = False

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON; `hotfuel.report.complaint_words.as_dict` adds the words."""
        return asdict(self)


def stops(course: Course, found: Sequence[Phase] | None = None) -> list[Stop]:
    """Every hot soak of a course, with the marks around the start that ended it. found: the course's phases, if already known."""
    soaks = [phase for phase in (phases(course) if found is None else found) if phase.kind == SOAK]
    said: list[dict[bool, str]] = [{} for _ in soaks]
    for second, text in course.marks:
        sense = says_trouble(text)
        # A mark soon after a stop belongs to the start before it: an engine that dies again stops again.
        at = next((n for n, soak in enumerate(soaks) if _opens_s(soak) <= second <= soak.end_s + AFTER_S), None)
        if sense is not None and at is not None:
            said[at].setdefault(sense, text)
    started = [one.at_s for one in restarts(course)]
    made = []
    for soak, words, hard in zip(soaks, said, hardness(course, soaks), strict=True):
        tried = bool(words) or any(soak.start_s <= at_s <= soak.end_s + AFTER_S for at_s in started)
        margins = [place.smallest_margin_degc for place in soak.places.values() if np.isfinite(place.smallest_margin_degc)]
        trouble = True in words if tried else None
        mark = words.get(True, words.get(False, ""))
        there = tuple(
            PlaceAtStop(name, place.peak_degc, place.smallest_margin_degc, place.uncertainty_degc)
            for name, place in soak.places.items()
        )
        smallest = min(margins, default=np.nan)
        made.append(Stop(called(course), soak.name, hard, trouble, smallest, mark, places=there))
    return made


def called(course: Course) -> str:
    """A session's name on a sheet: its title if that is short, else the day it began, else the beginning of the title."""
    if len(course.name) <= _NAME_MOST:
        return course.name
    if np.isnan(course.start_s):
        return f"{course.name[:_NAME_MOST].rstrip()} ..."
    return f"session of {pd.Timestamp(course.start_s + 60.0 * (course.utc_offset_min or 0), unit='s'):%-d %B %Y}"


def _opens_s(soak: Phase) -> float:
    return min(soak.start_s + AFTER_S, soak.end_s - _JUST_BEFORE_S)


def hardest(made: Sequence[Stop]) -> Stop | None:
    """The stop a repair is judged by: of those with trouble (of all, if none is marked) the one whose fuel was hottest relative to its limit; None of none."""
    wanted = [stop for stop in made if stop.trouble] or list(made)
    return max(wanted, key=lambda stop: stop.hardness.peak_degc - np.nan_to_num(stop.hardness.limit_degc), default=None)


def judge(complaint: Course, since: Course, found: Sequence[Phase] | None = None) -> Judgement:
    """All stops of a session compared with the complaint's hardest stop with trouble, or, if none is marked there, its hottest.

    found: the phases of `since`. Raises InputError for a complaint without a hot soak, or one of another car.
    """
    cars = {course.car.name for course in (complaint, since) if course.car is not None}
    if len(cars) > 1:
        raise InputError(f"the complaint's session is of another car ({' and '.join(sorted(cars))}): name one of the same car")
    hard = hardest(stops(complaint))
    if hard is None:
        raise InputError(f"{complaint.name} has no hot soak to judge a repair by: name the session in which the trouble showed")
    return replace(_judged("", hard, stops(since, found)), simulated=complaint.simulated)


def judge_variants(courses: Sequence[tuple[str, Course]], baseline: str) -> tuple[Judgement, ...]:
    """For each other variant of (variant, course) pairs: its stops compared with the baseline's hardest stop with trouble; empty if no trouble is marked."""
    if not any(says_trouble(text) for name, course in courses if name == baseline for _, text in course.marks):
        return ()  # before the slow part: how hard each stop was
    before = [stop for name, course in courses if name == baseline for stop in stops(course)]
    hard = hardest([stop for stop in before if stop.trouble])
    if hard is None:
        return ()
    others = dict.fromkeys(name for name, _ in courses if name != baseline)
    return tuple(
        _judged(other, hard, [stop for name, course in courses if name == other for stop in stops(course)]) for other in others
    )


def _judged(variant: str, hard: Stop, since: Sequence[Stop]) -> Judgement:
    held = tuple(replace(stop, easier=tuple(softer(hard.hardness, stop.hardness))) for stop in since)
    tried = [(stop.hardness, stop.trouble) for stop in held if stop.trouble is not None]
    found = proof(hard.hardness, tried) if tried else None
    unmarked = sum(stop.unmarked for stop in held)
    return Judgement(variant, hard, held, found, unmarked)

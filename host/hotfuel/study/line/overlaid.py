"""Full-throttle pulls overlaid from their starts: of one session, of several, or of a comparison's variants."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy import special

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.session.pulls import AFTER_S
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import Phase
from hotfuel.study.line.full_throttle import Pull, as_course, pulls

BEFORE_S = 5.0  # shown before a pull


@dataclass(frozen=True)
class Overlay:
    """Pulls at a place. time_s (m,): from a pull's start, beginning BEFORE_S before it. traces (pulls, m): degC, nan after AFTER_S beyond a pull's end.

    mean, low, high (m,): of the pulls that are not over; the 95 % range of their mean by Student's t, nan with fewer than two. unit: what counts as
    independent, "session" where there are several (each session's mean is then one value), else "pull".
    """

    place: str
    names: tuple[str, ...]
    time_s: np.ndarray
    traces: np.ndarray
    mean_degc: np.ndarray
    low_degc: np.ndarray
    high_degc: np.ndarray
    unit: str


@dataclass(frozen=True)
class PlaceInPulls:
    """One place over the pulls of a variant, degC: means of what each pull did (hotfuel.session.pulls.Extent), each session's mean as one value.

    fall_degc: from start to lowest, with its 95 % half width, nan from one session. smallest_margin_degc: of all pulls, nan where not known.
    """

    start_degc: float
    lowest_degc: float
    fall_degc: float
    fall_half_degc: float
    smallest_margin_degc: float


@dataclass(frozen=True)
class VariantPulls:
    """The pulls of one variant of a comparison: how many, in how many sessions, each place's means, and their overlay."""

    variant: str
    count: int
    sessions: int
    places: dict[str, PlaceInPulls]
    overlays: dict[str, Overlay]

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON, without the curves."""
        places = {name: asdict(place) for name, place in self.places.items()}
        return {"variant": self.variant, "pulls": self.count, "sessions": self.sessions, "places": places}


def overlay(sessions: Sequence[Session | Course], place: str) -> Overlay:
    """All pulls of these sessions (or Courses) at a place, from each one's start. Raises InputError if no session measures the place or none has a pull.

    Example: `overlay([hotfuel.session.open("monday"), hotfuel.session.open("tuesday")], "carb_inlet").mean_degc`.
    """
    courses = [as_course(one) for one in sessions]
    if not any(place in course.degc for course in courses):
        there = ", ".join(sorted({p for c in courses for p in c.degc}))
        raise InputError(f"{place_words(place)} is measured in none of these sessions: they have {there}")
    found = _laid([(course, pulls(course)) for course in courses], place)
    if found is None:
        raise InputError("there is no full-throttle pull in these sessions")
    return found


def of_variants(groups: Mapping[str, Sequence[tuple[Course, Sequence[Phase]]]]) -> tuple[VariantPulls, ...]:
    """The pulls of each variant {name: [(course, its phases), ...]}; variants without a pull are left out."""
    told = []
    for name, courses in groups.items():
        each = [(course, found) for course, among in courses if (found := pulls(course, among))]
        if not each:
            continue
        places = list(dict.fromkeys(place for _, found in each for place in found[0].places))
        told.append(
            VariantPulls(
                variant=name,
                count=sum(len(found) for _, found in each),
                sessions=len(each),
                places={place: _means([found for _, found in each], place) for place in places},
                overlays={place: laid for place in places if (laid := _laid(each, place)) is not None},
            )
        )
    return tuple(told)


def last_place(course: Course, found: Sequence[Pull]) -> Overlay | None:
    """The pulls of one session at the last place of the line that can be read in them; None without one."""
    for place in reversed(course.fuel_places if found else ()):
        laid = _laid([(course, found)], place)
        if laid is not None and np.isfinite(laid.mean_degc).any():
            return laid
    return None


def _laid(each: Sequence[tuple[Course, Sequence[Pull]]], place: str) -> Overlay | None:
    rows, names, of = [], [], []
    for number, (course, found) in enumerate(each):
        for pull in found if place in course.degc else ():
            inside = (course.time_s >= pull.start_s - BEFORE_S) & (course.time_s < pull.end_s + AFTER_S)
            # missing seconds of a pull soon after the first reading
            lead = round((BEFORE_S - (pull.start_s - course.time_s[inside][0])) / STEP_S)
            rows.append(np.concatenate((np.full(lead, np.nan), course.degc[place][inside])))
            names.append(f"{course.name}, {pull.name}")
            of.append(number)
    if not rows:
        return None
    width = max(map(len, rows))
    traces = np.array([np.concatenate((row, np.full(width - len(row), np.nan))) for row in rows])
    by_session = [_mean(traces[np.array(of) == number]) for number in dict.fromkeys(of)]
    unit, values = ("session", np.array(by_session)) if len(by_session) > 1 else ("pull", traces)
    mean, half = _mean(values), _half(values)
    return Overlay(place, tuple(names), np.arange(width) * STEP_S - BEFORE_S, traces, mean, mean - half, mean + half, unit)


def _means(each: Sequence[Sequence[Pull]], place: str) -> PlaceInPulls:
    """Means over the sessions of each session's pulls."""
    seen = [[pull.places[place] for pull in found if place in pull.places] for found in each]
    seen = [one for one in seen if one]

    def mean(values: list[list[float]]) -> np.ndarray:
        return np.array([_mean(np.array(one)[:, None])[0] for one in values])

    start, lowest = mean([[at.start_degc for at in one] for one in seen]), mean([[at.lowest_degc for at in one] for one in seen])
    fall = mean([[at.start_degc - at.lowest_degc for at in one] for one in seen])[:, None]
    margins = [at.smallest_margin_degc for one in seen for at in one if np.isfinite(at.smallest_margin_degc)]
    return PlaceInPulls(
        start_degc=float(_mean(start[:, None])[0]),
        lowest_degc=float(_mean(lowest[:, None])[0]),
        fall_degc=float(_mean(fall)[0]),
        fall_half_degc=float(_half(fall)[0]),
        smallest_margin_degc=min(margins, default=np.nan),
    )


def _mean(values: np.ndarray) -> np.ndarray:
    """(k, m) -> (m,): mean of the known values, nan without one."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    return np.where(count > 0, np.where(known, values, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)


def _half(values: np.ndarray) -> np.ndarray:
    """(k, m) -> (m,): half width of the 95 % interval of the mean, nan with fewer than two known values."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    square = np.where(known, (values - _mean(values)) ** 2, 0.0).sum(axis=0)
    several = np.maximum(count, 2)
    return np.where(count > 1, special.stdtrit(several - 1, 0.975) * np.sqrt(square / (several - 1) / several), np.nan)

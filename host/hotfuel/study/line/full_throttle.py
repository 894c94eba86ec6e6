"""Full-throttle pulls of a session: what each did to the fuel at each place, when the tank's fuel arrives there, and all of them laid over each other."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy import stats

from hotfuel.errors import InputError
from hotfuel.places import is_behind_needle, place_words
from hotfuel.study.drive.course import STEP_S, Course, of_session
from hotfuel.study.drive.phases import PULL, phases
from hotfuel.study.line.transport import flow_of, line_places
from hotfuel.units import Shown

BEFORE_S, AFTER_S = 5.0, 10.0  # shown before a pull; looked at after it, because what it drew is still on its way
LONGEST_WAY_S = 600.0
_SPREAD = 1.96  # standard uncertainties to either side: 95 %


@dataclass(frozen=True)
class PlaceAtPull:
    """One place in one pull, degC and s since the pull's start; nan where not known.

    lowest: of the pull and AFTER_S behind it. arrival_s: when fuel that left the tank at the pull's start is there, with its 95 % range; by the line's
    volume and the flow, which is estimated. margin_degc: at the arrival; smallest_margin_degc: in the pull.
    """

    start_degc: float
    end_degc: float
    lowest_degc: float
    lowest_after_s: float
    arrival_s: float
    arrival_least_s: float
    arrival_greatest_s: float
    margin_degc: float
    smallest_margin_degc: float


@dataclass(frozen=True)
class Pull:
    """One pull: seconds since the session's first reading; places in the fuel's direction."""

    name: str
    start_s: float
    end_s: float
    confidence: str
    places: dict[str, PlaceAtPull]

    @property
    def duration_s(self) -> float:
        """Its length."""
        return self.end_s - self.start_s

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self)

    def sentence(self, place: str, shown: Shown) -> str:
        """For example "carb inlet 141 to 118 °F in 9 s"; "" where nothing is known."""
        at = self.places.get(place)
        if at is None or not np.isfinite((at.start_degc, at.lowest_degc)).all():
            return ""
        down = at.start_degc - at.lowest_degc >= at.end_degc - at.start_degc
        to, after_s = (at.lowest_degc, at.lowest_after_s) if down else (at.end_degc, self.duration_s)
        first = shown.text(at.start_degc, "temperature", 0).partition(" ")[0]
        return f"{place_words(place)} {first} to {shown.text(to, 'temperature', 0)} in {after_s:.0f} s"


@dataclass(frozen=True)
class Overlay:
    """Pulls laid over each other. time_s (m,): from the pull's start, BEFORE_S before it on. traces (pulls, m): degC, nan where a pull had ended.

    mean, low, high (m,): of the pulls that go on; the 95 % range of their mean by Student's t, nan with fewer than two.
    """

    place: str
    names: tuple[str, ...]
    time_s: np.ndarray
    traces: np.ndarray
    mean_degc: np.ndarray
    low_degc: np.ndarray
    high_degc: np.ndarray


def pulls(session_or_course: Any) -> tuple[Pull, ...]:
    """The full-throttle pulls of a session (or a Course), in time. Raises InputError for a session without a temperature.

    Example: `for pull in pulls(hotfuel.session.open("sunday")): print(pull.places["carb_inlet"].lowest_degc)`.
    """
    course = _course(session_or_course)
    found = [phase for phase in phases(course) if phase.kind == PULL]
    if not found:
        return ()
    flow = flow_of(course)
    return tuple(
        Pull(
            phase.name,
            phase.start_s,
            phase.end_s,
            phase.confidence,
            {
                place: _at(course, place, phase.start_s, phase.end_s, flow.litres_h, flow.relative_u)
                for place in course.fuel_places
            },
        )
        for phase in found
    )


def overlay(sessions: Sequence[Any], place: str) -> Overlay:
    """All pulls of these sessions (or Courses) at a place, from each one's start. Raises InputError if no session measures the place or none has a pull."""
    names, rows = [], []
    courses = [_course(one) for one in sessions]
    if not any(place in course.degc for course in courses):
        raise InputError(
            f"{place_words(place)} is measured in none of these sessions: there are {', '.join(sorted({p for c in courses for p in c.degc}))}"
        )
    for course in courses:
        if place not in course.degc:
            continue
        for pull in pulls(course):
            inside = (course.time_s >= pull.start_s - BEFORE_S) & (course.time_s < pull.end_s + AFTER_S)
            lead = round((BEFORE_S - (pull.start_s - course.time_s[inside][0])) / STEP_S)  # a pull soon after the first reading
            rows.append(np.concatenate((np.full(lead, np.nan), course.degc[place][inside])))
            names.append(f"{course.name}, {pull.name}")
    if not rows:
        raise InputError("there is no full-throttle pull in these sessions")
    width = max(map(len, rows))
    traces = np.array([np.concatenate((row, np.full(width - len(row), np.nan))) for row in rows])
    known = np.isfinite(traces)
    count = known.sum(axis=0)
    mean = np.where(count > 0, np.where(known, traces, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    square = np.where(known, (traces - mean) ** 2, 0.0).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        half = np.where(count > 1, stats.t.ppf(0.975, count - 1) * np.sqrt(square / (count - 1) / count), np.nan)
    return Overlay(place, tuple(names), np.arange(width) * STEP_S - BEFORE_S, traces, mean, mean - half, mean + half)


def _course(session_or_course: Any) -> Course:
    return session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)


def _at(course: Course, place: str, start_s: float, end_s: float, flow_l_h: np.ndarray, relative_u: float) -> PlaceAtPull:
    rows = (course.time_s >= start_s) & (course.time_s < end_s)
    wider = (course.time_s >= start_s) & (course.time_s < end_s + AFTER_S)
    inside = course.degc[place][rows]
    inside = inside[np.isfinite(inside)]
    looked = course.degc[place][wider]
    lowest = int(np.nanargmin(looked)) if np.isfinite(looked).any() else -1
    margin = _smallest(course, place)
    arrival, least, greatest = (
        _arrival_s(course, place, start_s, flow_l_h * factor)
        for factor in (1.0, 1 + _SPREAD * relative_u, max(1 - _SPREAD * relative_u, 0.0))
    )
    then = margin[int(np.searchsorted(course.time_s, start_s + arrival))] if np.isfinite(arrival) else np.nan
    during = margin[rows]
    return PlaceAtPull(
        start_degc=float(inside[0]) if inside.size else np.nan,
        end_degc=float(inside[-1]) if inside.size else np.nan,
        lowest_degc=float(looked[lowest]) if lowest >= 0 else np.nan,
        lowest_after_s=float(course.time_s[wider][lowest] - start_s) if lowest >= 0 else np.nan,
        arrival_s=arrival,
        arrival_least_s=least,
        arrival_greatest_s=greatest,
        margin_degc=float(then),
        smallest_margin_degc=float(np.nanmin(during)) if np.isfinite(during).any() else np.nan,
    )


def _smallest(course: Course, place: str) -> np.ndarray:
    """The margin of a place (n,), behind the needle where that is smaller."""
    mine = [
        columns["margin_degc"]
        for name, columns in course.margins.items()
        if name == place or (is_behind_needle(name) and name.startswith(place))
    ]
    return np.fmin.reduce(mine) if mine else np.full(len(course.time_s), np.nan)


def _arrival_s(course: Course, place: str, start_s: float, flow_l_h: np.ndarray) -> float:
    """Seconds until this flow (n,) has moved what the line holds between the first fuel place and this one; 0 at the first, nan where not known."""
    names = line_places(course)
    if course.car is None or place not in names:
        return np.nan
    if place == names[0]:
        return 0.0
    volumes = [course.car.place(name).volume_from_previous_l for name in names[1 : names.index(place) + 1]]
    first = int(np.searchsorted(course.time_s, start_s))
    flowing = flow_l_h[first : first + int(LONGEST_WAY_S / STEP_S)]
    unknown = np.flatnonzero(~np.isfinite(flowing))
    moved = np.concatenate(([0.0], np.cumsum(flowing[: unknown[0] if unknown.size else None]) * STEP_S / 3600))
    if not all(volumes) or moved[-1] < sum(volumes):
        return np.nan
    return float(np.interp(sum(volumes), moved, np.arange(len(moved)) * STEP_S))

"""Full-throttle pulls of a session: the fuel's temperatures at each place in each, and when the tank's fuel arrives there."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.places import probe_of
from hotfuel.session.pulls import Extent, extent
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import STEP_S, Course, of_session
from hotfuel.study.drive.phases import PULL, Phase, phases
from hotfuel.study.line.transport import flow_of, line_places
from hotfuel.units import expanded

LONGEST_WAY_S = 600.0


@dataclass(frozen=True)
class PlaceAtPull(Extent):
    """One place in one pull, degC and s since the pull's start; nan where not known.

    arrival_s: when fuel that left the tank at the pull's start arrives, with its 95 % range; from the line's
    volume and the flow. margin_degc: at the arrival; smallest_margin_degc: in the pull.
    """

    arrival_s: float
    arrival_least_s: float
    arrival_greatest_s: float
    margin_degc: float
    smallest_margin_degc: float


@dataclass(frozen=True)
class Pull:
    """One pull: seconds since the session's first reading; places in the direction of flow."""

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


def pulls(session_or_course: Session | Course, among: Sequence[Phase] | None = None) -> tuple[Pull, ...]:
    """The full-throttle pulls of a session (or a Course), in order of time; among: its phases, if they are known already.

    Raises InputError for a session without a temperature.

    Example: `for pull in pulls(hotfuel.session.open("sunday")): print(pull.places["carb_inlet"].lowest_degc)`.
    """
    course = as_course(session_or_course)
    found = [phase for phase in (phases(course) if among is None else among) if phase.kind == PULL]
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


def as_course(session_or_course: Session | Course) -> Course:
    """The course of a session; a course is returned as it is."""
    return session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)


def _at(course: Course, place: str, start_s: float, end_s: float, flow_l_h: np.ndarray, relative_u: float) -> PlaceAtPull:
    rows = (course.time_s >= start_s) & (course.time_s < end_s)
    margin = _smallest(course, place)
    arrival, least, greatest = (
        _arrival_s(course, place, start_s, flow_l_h * factor)
        for factor in (1.0, 1 + expanded(relative_u), max(1 - expanded(relative_u), 0.0))
    )
    then = margin[int(np.searchsorted(course.time_s, start_s + arrival))] if np.isfinite(arrival) else np.nan
    during = margin[rows]
    return PlaceAtPull(
        **vars(extent(course.time_s, course.degc[place], start_s, end_s)),
        arrival_s=arrival,
        arrival_least_s=least,
        arrival_greatest_s=greatest,
        margin_degc=float(then),
        smallest_margin_degc=float(np.nanmin(during)) if np.isfinite(during).any() else np.nan,
    )


def _smallest(course: Course, place: str) -> np.ndarray:
    """The margin of a place (n,), or that behind its needle where it is smaller."""
    mine = [columns["margin_degc"] for name, columns in course.margins.items() if probe_of(name) == place]
    return np.fmin.reduce(mine) if mine else np.full(len(course.time_s), np.nan)


def _arrival_s(course: Course, place: str, start_s: float, flow_l_h: np.ndarray) -> float:
    """Seconds until this flow (n,) has moved the line's volume between the first fuel place and this one; 0 at the first, nan where not known."""
    names = line_places(course)
    if course.car is None or place not in names:
        return np.nan
    if place == names[0]:
        return 0.0
    volumes = [course.car.place(name).volume_from_previous_l or 0.0 for name in names[1 : names.index(place) + 1]]
    first = int(np.searchsorted(course.time_s, start_s))
    flowing = flow_l_h[first : first + int(LONGEST_WAY_S / STEP_S)]
    unknown = np.flatnonzero(~np.isfinite(flowing))
    moved = np.concatenate(([0.0], np.cumsum(flowing[: unknown[0] if unknown.size else None]) * STEP_S / 3600))
    if not all(volumes) or moved[-1] < sum(volumes):
        return np.nan
    return float(np.interp(sum(volumes), moved, np.arange(len(moved)) * STEP_S))

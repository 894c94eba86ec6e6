"""How hot the fuel was at the carburettor while the engine pulled, by variant, from sessions: what a gain in power is held against."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import DRIVE, PULL, phases

_PROBE_U_DEGC = 1.0  # of one probe (common practice, no source)


@dataclass(frozen=True)
class FuelInPulls:
    """One variant: mean fuel temperature degC with its 95 % half-width, at which place, in how many pulls (or drives) of how many sessions.

    margin_degc: the smallest margin to boiling in each, averaged; plus is room, nan without a car file.
    """

    degc: float
    half_degc: float
    margin_degc: float
    place: str
    phase: str
    count: int
    sessions: int


def fuel_in_pulls(groups: Mapping[str, Sequence[Any]]) -> dict[str, FuelInPulls]:
    """{variant: FuelInPulls} of {variant: sessions}, at the place nearest the carburettor, in full-throttle pulls, else while driving.

    The session is the unit: the half-width is that of the mean of sessions, with the probe's own; from one session the probe's alone. Empty where a
    variant's sessions hold neither a pull nor a drive. Raises InputError, one sentence, where the sessions share no place with fuel.
    """
    courses = {name: [of_session(session) for session in sessions] for name, sessions in groups.items()}
    every = [course for each in courses.values() for course in each]
    place = _place(every)
    kinds = {name: [_means(course, place, PULL) for course in each] for name, each in courses.items()}
    phase = PULL
    if not all(any(len(one) for one in each) for each in kinds.values()):
        phase = DRIVE  # on one side nothing was recognised as a pull: like with like
        kinds = {name: [_means(course, place, DRIVE) for course in each] for name, each in courses.items()}
    found = {}
    for name, each in kinds.items():
        means = np.array([one.mean() for one in each if len(one)])
        if not len(means):
            return {}
        half = 1.96 * _PROBE_U_DEGC
        if len(means) > 1:
            half = float(np.hypot(half, special.stdtrit(len(means) - 1, 0.975) * means.std(ddof=1) / np.sqrt(len(means))))
        count = sum(len(one) for one in each)
        found[name] = FuelInPulls(
            float(means.mean()), float(half), _margin(courses[name], place, phase), place, phase, count, len(means)
        )
    return found


def _place(courses: Sequence[Course]) -> str:
    """The carburettor's inlet by the car file; else, and without one, the last place of fuel that all sessions have."""
    shared = [place for place in courses[0].fuel_places if all(place in course.degc for course in courses)]
    if not shared:
        raise InputError("the sessions share no place with fuel: give sessions of one car, measured at the same places")
    car: Car | None = courses[0].car
    inlets = [one.name for one in car.places if one.role == "carburettor" and one.name in shared] if car is not None else []
    return inlets[0] if inlets else shared[-1]


def _margin(courses: Sequence[Course], place: str, kind: str) -> float:
    found = []
    for course in courses:
        values = course.margins.get(place, {}).get("margin_degc")
        for phase in phases(course) if values is not None else ():
            rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
            if phase.kind == kind and values is not None and np.isfinite(values[rows]).any():
                found.append(float(np.nanmin(values[rows])))
    return float(np.mean(found)) if found else float("nan")


def _means(course: Course, place: str, kind: str) -> np.ndarray:
    """Mean temperature of each phase of this kind."""
    found = []
    for phase in phases(course):
        if phase.kind == kind:
            rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
            values = course.degc[place][rows]
            if np.isfinite(values).any():
                found.append(float(np.nanmean(values)))
    return np.array(found)

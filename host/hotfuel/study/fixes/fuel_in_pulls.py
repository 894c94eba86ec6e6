"""How hot the fuel was at the carburettor while the engine pulled, by variant, from sessions: beside it a gain in power is judged."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import INLETS
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import DRIVE, PULL
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.faults import excused
from hotfuel.study.fixes.sessions import runs_and_stretches
from hotfuel.study.fixes.summaries import MEAN, Cell, Run
from hotfuel.units import expanded

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


def fuel_in_pulls(groups: Mapping[str, Sequence[Session]], baseline: str | None = None) -> dict[str, FuelInPulls]:
    """{variant: FuelInPulls} of {variant: sessions}, at the place nearest the carburettor, in full-throttle pulls, else while driving.

    A run that a fault takes out of the comparison there does not count here either. The session is the unit: the half-width is that of the mean of
    sessions, with the probe's own; from one session the probe's alone. Empty where a variant's sessions hold neither a pull nor a drive that counts.
    Raises InputError, one sentence, where the sessions share no place with fuel, and as `compare_sessions`.
    """
    every = runs_and_stretches(groups, baseline if baseline is not None else next(iter(groups)))
    place = _place([stretch.course for _, stretch in every])
    phase = PULL
    if {run.variant for run, stretch in _counted(every, place, PULL) if len(_means(stretch, place, PULL))} != set(groups):
        phase = DRIVE  # no pull was recognised on one side: drives are compared on both
    counted = _counted(every, place, phase)
    found = {}
    for name in groups:
        mine = [stretch for run, stretch in counted if run.variant == name]
        each = [_means(stretch, place, phase) for stretch in mine]
        means = np.array([one.mean() for one in each if len(one)])
        if not len(means):
            return {}
        half = expanded(_PROBE_U_DEGC)
        if len(means) > 1:
            half = float(np.hypot(half, special.stdtrit(len(means) - 1, 0.975) * means.std(ddof=1) / np.sqrt(len(means))))
        margin = float(np.mean(least)) if (least := [m for one in mine for m in _margins(one, place, phase)]) else float("nan")
        found[name] = FuelInPulls(float(means.mean()), float(half), margin, place, phase, sum(map(len, each)), len(means))
    return found


def _counted(every: Sequence[tuple[Run, Stretch]], place: str, kind: str) -> list[tuple[Run, Stretch]]:
    """Those that no fault excludes at this place in this phase."""
    return [(run, stretch) for run, stretch in every if not excused(run, Cell(MEAN, place, kind))]


def _place(courses: Sequence[Course]) -> str:
    """The carburettor's inlet or the injector's by the car file; else, and without one, the last place of fuel that all sessions have."""
    shared = [place for place in courses[0].fuel_places if all(place in course.degc for course in courses)]
    if not shared:
        raise InputError("the sessions share no place with fuel: give sessions of one car, measured at the same places")
    car: Car | None = courses[0].car
    inlets = [one.name for one in car.places if one.role in INLETS and one.name in shared] if car is not None else []
    return inlets[0] if inlets else shared[-1]


def _parts(stretch: Stretch, kind: str) -> list[np.ndarray]:
    """The rows of the course of each phase of this kind."""
    time_s = stretch.course.time_s
    return [(time_s >= phase.start_s) & (time_s < phase.end_s) for phase in stretch.found if phase.kind == kind]


def _margins(stretch: Stretch, place: str, kind: str) -> list[float]:
    """The smallest margin of each phase of this kind."""
    values = stretch.course.margins.get(place, {}).get("margin_degc")
    parts = _parts(stretch, kind) if values is not None else []
    return [float(np.nanmin(values[rows])) for rows in parts if values is not None and np.isfinite(values[rows]).any()]


def _means(stretch: Stretch, place: str, kind: str) -> np.ndarray:
    """Mean temperature of each phase of this kind."""
    values = stretch.course.degc[place]
    return np.array([np.nanmean(values[rows]) for rows in _parts(stretch, kind) if np.isfinite(values[rows]).any()])

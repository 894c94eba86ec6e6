"""Stretches brought to common conditions: the same places and stops, one fuel, one air pressure and one outside air, with their faults."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.drive.phases import Phase
from hotfuel.study.fixes.alike import stops_alike
from hotfuel.study.fixes.bad_runs import faults
from hotfuel.study.fixes.cold_starts import cold_notes, cold_readings, perhaps_high
from hotfuel.study.fixes.common import Common, common_places, day_of, is_night, not_first_of_their_day, settled_places
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.faults import PARKED, Fault
from hotfuel.study.fixes.not_read import perhaps_not_read
from hotfuel.study.fixes.notes import (
    AirGuessed,
    AirNotNoted,
    CountedToTheDayBefore,
    FromSession,
    LapsNotSeen,
    Note,
    WholeRunsCompared,
)

GUESSED_AIR_U_DEGC = 3.0  # a tank that stood over night is seldom more than 5 degC from the outside air, either way


@dataclass(frozen=True)
class Terms:
    """What all runs of a comparison share: the places that all measured, those in the fuel that any did, the one outside air (nan: not known), and whether
    only whole runs are compared."""

    places: tuple[str, ...]
    any_places: tuple[str, ...]
    air_degc: float
    whole_run: bool


def bring(stretches: Sequence[Stretch], baseline: str) -> tuple[list[Stretch], Terms, list[Note]]:
    """(each stretch, what all share, notes on what was adjusted or left out). The baseline's first session sets fuel and air pressure.

    A stretch's course then has common limits and its outside air as it counts here (nan: not known), and only the phases that are compared.
    Raises InputError for different cars, a session without a car file among others with one, and sessions without a common place.
    """
    courses = [one.course for one in stretches]
    cars = {course.car.name for course in courses if course.car is not None}
    if len(cars) > 1:
        raise InputError(f"the sessions are of different cars ({', '.join(sorted(cars))}): compare runs of one car")
    without = [course.name for course in courses if course.car is None]
    if without and len(without) < len(stretches):
        raise InputError(f"{without[0]} has no usable car file and the others have one: give it one to compare them")
    places, notes = common_places(courses)
    places = settled_places(places, stretches)
    any_places = tuple(dict.fromkeys(place for course in courses for place in course.fuel_places))
    notes += [FromSession(air) for course in courses for air in course.notes]
    late = [course for course in courses if is_night(course)]
    if late and len({(day_of(course), is_night(course)) for course in courses}) > 1:
        names = tuple(dict.fromkeys(course.name for course in late))
        notes.append(CountedToTheDayBefore(names, local=all(course.utc_offset_min is not None for course in late)))
    common = Common.of(next(one.course for one in stretches if one.variant == baseline), courses)
    notes += common.notes
    air, reference, on_air = _outside_air(stretches)
    notes += on_air
    faulty = faults(stretches, places)
    cold = cold_readings(stretches, places)
    perhaps, on_probes = perhaps_high(stretches, places, cold)
    notes += [*cold_notes(stretches, cold), *on_probes, *perhaps_not_read(stretches, places)]
    whole_run = any(
        one.found[0].confidence == "low"
        for one, found in zip(stretches, faulty, strict=True)
        if PARKED not in [f.kind for f in found]
    )
    phases, on_stops = stops_alike(
        [(one.course.name, _sound(one.found, found)) for one, found in zip(stretches, faulty, strict=True)]
    )
    notes += [WholeRunsCompared()] if whole_run else on_stops
    notes += [
        LapsNotSeen(one.course.name, phase.lap, phase.lap + phase.laps - 1)
        for one in stretches
        for phase in one.found
        if phase.laps > 1
    ]
    brought = [
        replace(
            one,
            course=replace(common.apply(one.course), ambient_degc=outside),
            found=[] if whole_run else found,
            faults=wrong,
            cold_degc=read_cold,
            perhaps_degc=high,
        )
        for one, outside, found, wrong, read_cold, high in zip(stretches, air, phases, faulty, cold, perhaps, strict=True)
    ]
    return brought, Terms(tuple(places), any_places, reference, whole_run), list(dict.fromkeys(notes))


def _outside_air(stretches: Sequence[Stretch]) -> tuple[list[float], float, list[Note]]:
    """(outside air of each stretch, the one that all are brought to, notes); nan where it is not known."""
    notes: list[Note] = []
    warm = not_first_of_their_day(stretches)
    if warm:
        notes.append(AirNotNoted(tuple(warm)))
    air = [np.nan if one.course.name in warm else one.course.ambient_degc for one in stretches]
    reference = float(np.mean(air)) if np.isfinite(air).all() else np.nan
    if np.isfinite(reference) and any(one.course.ambient_guessed for one in stretches):
        notes.append(AirGuessed(GUESSED_AIR_U_DEGC))
    return air, reference, notes


def _sound(found: Sequence[Phase], wrong: Sequence[Fault]) -> list[Phase]:
    """The phases that no fault of the whole run takes out, so that a broken-off stop does not shorten all the others."""
    return [phase for phase in found if not any(not f.places and (not f.phases or phase.kind in f.phases) for f in wrong)]

"""What all runs are brought to: the same places, one fuel and air pressure for the limits, one outside air."""

import datetime
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.places import place_words
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.session.frame import MARGIN_COLUMNS
from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.notes import AnotherFuel, NoCarFile, Note, PlacesLeftOut, PressureApart

_SAME_PRESSURE_KPA = 0.3
NIGHT_ENDS_S = 4 * 3600.0


def common_places(courses: Sequence[Course]) -> tuple[list[str], list[Note]]:
    """(fuel places that every course has, a note of the others). Raises InputError where there is none."""
    places = [p for p in courses[0].fuel_places if all(p in course.fuel_places for course in courses)]
    every = list(dict.fromkeys(p for course in courses for p in course.fuel_places))
    if not places:
        raise InputError(
            f"the sessions have no place in common (there are {', '.join(every)}): compare sessions with the same places"
        )
    left = [p for p in every if p not in places]
    return places, [PlacesLeftOut(tuple(left))] if left else []


def settled_places(places: Sequence[str], stretches: Sequence[Stretch]) -> list[str]:
    """The places that had settled after every switch long enough to be compared. Raises InputError where none had."""
    settlings = list(dict.fromkeys(each for one in stretches for each in one.settlings))
    unsettled = {each.place for each in settlings if not each.usable}
    if left := [place for place in places if place not in unsettled]:
        return left
    raise InputError(
        "; ".join(
            f"in {each.session} {place_words(each.place)} settles in {each.left_out_s / 60:.1f} min after a switch, and the shortest stretch lasts "
            f"{(each.left_out_s + each.left_s) / 60:.1f} min"
            for each in settlings
            if each.place in places and not each.usable
        )
        + ": too little is left to compare; switch less often"
    )


def not_first_of_their_day(stretches: Sequence[Stretch]) -> list[str]:
    """Names of sessions whose outside air is a guess and that were not the first of their day: their fuel may still have been warm."""
    first: dict[str, float] = {}
    for one in stretches:
        day = day_of(one.course)
        first[day] = min(first.get(day, np.inf), one.course.start_s)
    late = [one.course for one in stretches if one.course.ambient_guessed and one.course.start_s > first[day_of(one.course)]]
    return list(dict.fromkeys(course.name for course in late))


def day_of(course: Course) -> str:
    """The date on which its recording began, in local time where that is known; "" without a clock. A drive at night belongs to the evening before."""
    if not np.isfinite(course.start_s):
        return ""
    return datetime.datetime.fromtimestamp(_local_s(course) - NIGHT_ENDS_S, datetime.UTC).date().isoformat()


def is_night(course: Course) -> bool:
    """Whether its recording began after midnight and belongs to the evening before: its date is the day after `day_of`."""
    return bool(np.isfinite(course.start_s)) and _local_s(course) % 86400 < NIGHT_ENDS_S


def _local_s(course: Course) -> float:
    return course.start_s + 60 * (course.utc_offset_min or 0)


class Common:
    """The fuel and air pressure for which all limits are worked out, where the sessions' own differ."""

    def __init__(self, fuel: Fuel | None, car: Car | None, pressure_kpa: float, needed: bool, notes: list[Note]) -> None:
        self._fuel, self._car, self._pressure_kpa, self._needed = fuel, car, pressure_kpa, needed
        self.notes = notes

    @classmethod
    def of(cls, first: Course, courses: Sequence[Course]) -> "Common":
        """What `first`, of the baseline, sets for all courses; with a note of each thing in which they differ."""
        if first.car is None:
            return cls(None, None, np.nan, False, [NoCarFile()])
        pressure, pressures = first.air_kpa(), [course.air_kpa() for course in courses]
        other_fuel = [c.name for c in courses if c.car is not None and c.car.fuel_table != first.car.fuel_table]
        apart = float(np.ptp(pressures))
        notes: list[Note] = []
        if other_fuel:
            notes.append(AnotherFuel(tuple(dict.fromkeys(other_fuel)), first.name))
        if apart > _SAME_PRESSURE_KPA:
            notes.append(PressureApart(apart, pressure, first.name))
        fuel = first.car.fuel() if notes else None
        return cls(fuel, first.car, pressure, bool(notes), notes)

    def apply(self, course: Course) -> Course:
        """The course with margins for the common fuel and pressure, and for its own pump and places, because these may be the fix."""
        if not self._needed or course.car is None or self._fuel is None:
            return course
        car = course.car.model_copy(update={"station_pressure_kpa": self._pressure_kpa, "altitude_m": None})
        flow = np.asarray(course.inputs.get("flow_l_h", np.nan), dtype=float)
        conditions = Conditions(
            running=course.inputs["running"],
            engine_rpm=course.inputs["engine_rpm"],
            fuel_pressure_kpa=course.inputs["fuel_pressure_kpa"],
            ignition=course.inputs["ignition"],
            flow_l_h=flow if np.isfinite(flow).any() else None,
            time_s=course.time_s,
        )
        known = {p.name for p in car.places}
        table = margins(car, self._fuel, {p: v for p, v in course.degc.items() if p in known}, conditions)
        shape = course.time_s.shape
        return replace(
            course,
            margins={
                name: {key: np.broadcast_to(np.asarray(getattr(place, key), dtype=float), shape) for key in MARGIN_COLUMNS}
                for name, place in table.places.items()
            },
        )

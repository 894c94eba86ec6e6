"""What probes read before the engine ran: a car that has come to one temperature shows which of them read wrong."""

from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.common import day_of
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.faults import DISAGREE_DEGC
from hotfuel.study.fixes.notes import Note
from hotfuel.study.fixes.probe_notes import ColdReadingOff, PerhapsHigh

_COLD_S = 20
COLD_SPREAD_DEGC = 8.0  # places further apart were not left to come to one temperature
COLD_AGAIN_DEGC = 2.0  # of the outside air: nearer than a place that the engine still warms (assumption)
_SAME_DEGC = 1.5  # within which a probe's error stays from start to start (assumption)
_SLOWEST_S = 6 * 3600.0  # in which any place near an engine that stands has cooled to about a third (common practice, no source)


def cold_readings(stretches: Sequence[Stretch], places: Sequence[str]) -> list[dict[str, float] | None]:
    """{place: how far it read from the middle of all}, degC, of each stretch that began with all places at one temperature, else None.

    That is the first run of its day, or a later one that began at the outside air's temperature; before the engine ran, with the places no more than
    COLD_SPREAD_DEGC apart.
    """
    first: dict[str, float] = {}
    for one in stretches:
        day = day_of(one.course)
        first[day] = min(first.get(day, np.inf), one.course.start_s)
    found: list[dict[str, float] | None] = []
    for one in stretches:
        course, day = one.course, day_of(one.course)
        levels = _levels(course, places)
        rested = bool(day) and (course.start_s <= first[day] or _cold_again(course, levels))
        if not rested or not _is_still(course) or len(places) < 2:
            found.append(None)
            continue
        middle = float(np.median(list(levels.values()))) if levels else np.nan
        apart = np.ptp(list(levels.values())) if levels else np.inf
        found.append({place: level - middle for place, level in levels.items()} if apart <= COLD_SPREAD_DEGC else None)
    return found


def _levels(course: Course, places: Sequence[str]) -> dict[str, float]:
    """What each place read as the recording began, degC; those that read nothing are left out."""
    read = {place: course.degc[place][:_COLD_S] for place in places}
    return {place: float(np.nanmedian(values)) for place, values in read.items() if np.isfinite(values).any()}


def _is_still(course: Course) -> bool:
    """Whether the recording began before the engine ran."""
    return bool(not np.nan_to_num(course.inputs["running"][: _COLD_S // 2]).any() and course.time_s[0] < _COLD_S)


def _over_air(course: Course, levels: Mapping[str, float]) -> dict[str, float]:
    """By how much each place is warmer than the outside air, without a tank, which follows the air slowly; empty where the air is not known."""
    if course.car is None or course.ambient_guessed or not np.isfinite(course.ambient_degc):
        return {}
    return {place: degc - course.ambient_degc for place, degc in levels.items() if course.car.place(place).role != "tank"}


def _cold_again(course: Course, levels: Mapping[str, float]) -> bool:
    """Whether a run that was not its day's first began cold: no place is warmer than the outside air, and only one may read colder than it.

    A place that reads warmer may still be warm from the run before, so it is no reading of a cold place.
    """
    over = [*_over_air(course, levels).values()]
    return len(over) > 1 and max(over) <= COLD_AGAIN_DEGC and sum(degc < -COLD_AGAIN_DEGC for degc in over) <= 1


def perhaps_high(
    stretches: Sequence[Stretch], places: Sequence[str], cold: Sequence[dict[str, float] | None]
) -> tuple[list[dict[str, float]], list[Note]]:
    """({place: by how much it was warm, degC} of each stretch, notes).

    Of a side whose every later start found one place, and no other, warmer than the outside air by about as much each time, while another side's starts
    found it at the air's temperature. A probe that reads high looks so, and so does a place that is still warm from the run before, or from the sun:
    nothing is corrected, the interval allows for it. Where the place falls as a warm one does, or was seen cold at a day's first start, nothing is said.
    """
    notes: list[Note] = []
    found: list[dict[str, float]] = [{} for _ in stretches]
    starts: dict[tuple[str, str], list[tuple[int, float]]] = {}
    for number, one in enumerate(stretches):
        over = _over_air(one.course, _levels(one.course, places)) if _is_still(one.course) else {}
        for place, degc in over.items():
            others = [value for other, value in over.items() if other != place]
            if others and max(np.abs(others)) <= COLD_AGAIN_DEGC:
                starts.setdefault((one.variant, place), []).append((number, degc))
    known_cold = {(one.variant, place) for one, read in zip(stretches, cold, strict=True) for place in read or {}}
    for (variant, place), seen in starts.items():
        warmer = [over for _, over in seen]
        if (variant, place) in known_cold or min(warmer) <= DISAGREE_DEGC or np.ptp(warmer) > _SAME_DEGC:
            continue
        courses = [stretches[number].course for number, _ in seen]
        beside = tuple(name for name in _over_air(courses[0], _levels(courses[0], places)) if name != place)
        if any(_falls(course, place, beside, degc) for course, degc in zip(courses, warmer, strict=True)):
            continue
        for other in dict.fromkeys(one.variant for one in stretches):
            there = [over for _, over in starts.get((other, place), [])]
            if there and max(np.abs(there)) <= COLD_AGAIN_DEGC:
                notes.append(PerhapsHigh(tuple(course.name for course in courses), place, tuple(warmer), beside, other, variant))
                for number, degc in seen:
                    found[number][place] = degc
    return found, notes


def _falls(course: Course, place: str, beside: Sequence[str], over_degc: float) -> bool:
    """Whether the place cools before the engine runs, beside the other places, as fast as one does that is that much warmer than the air."""
    runs = np.flatnonzero(np.nan_to_num(course.inputs["running"]) > 0)
    rows = slice(0, runs[0] if runs.size else len(course.time_s))
    apart = course.degc[place][rows] - np.mean([course.degc[name][rows] for name in beside], axis=0)
    good = np.isfinite(apart)
    if good.sum() < _COLD_S:
        return False
    time_s = course.time_s[rows][good] - course.time_s[rows][good].mean()
    rate = float(time_s @ apart[good]) / float(time_s @ time_s)
    left = apart[good] - apart[good].mean() - rate * time_s
    doubt = 2 * float(np.sqrt(left @ left / (good.sum() - 2) / (time_s @ time_s)))
    return -rate - doubt > over_degc / _SLOWEST_S


def cold_notes(stretches: Sequence[Stretch], cold: Sequence[dict[str, float] | None]) -> list[Note]:
    """A note for each side and probe that disagreed with the others while all were cold, with the runs in which it did."""
    found: dict[tuple[str, str], list[tuple[Course, float]]] = {}
    for one, read in zip(stretches, cold, strict=True):
        for place, off in (read or {}).items():
            if abs(off) > DISAGREE_DEGC:
                found.setdefault((one.variant, place), []).append((one.course, off))
    return [
        ColdReadingOff(
            tuple(course.name for course, _ in seen),
            place,
            tuple(off for _, off in seen),
            tank=all(course.car.place(place).role == "tank" if course.car is not None else place == "tank" for course, _ in seen),
        )
        for (_, place), seen in found.items()
    ]

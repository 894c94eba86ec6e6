"""Recordings made comparable: runs cut out, limits for one common fuel and air pressure, temperatures as rise over one common outside air."""

import datetime
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.places import behind_needle, place_from_words
from hotfuel.risk.margin import Channel, margins, temperature_uncertainty_degc
from hotfuel.risk.pressure import Conditions
from hotfuel.session import frame
from hotfuel.study.drive.complaint import judge_variants
from hotfuel.study.drive.course import STEP_S, Course, of_session
from hotfuel.study.drive.phases import Phase, phases
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.alike import stops_alike
from hotfuel.study.fixes.compare import Comparison, compare_runs
from hotfuel.study.fixes.difference import SLOPE
from hotfuel.study.fixes.fitted import Fitted, Question, kind_of, questions
from hotfuel.study.fixes.summaries import Cell, Run, summarise
from hotfuel.study.line import settling
from hotfuel.units import Shown

WHOLE_RUN = "whole run"
_SAME_PRESSURE_KPA = 0.3
GUESSED_AIR_U_DEGC = 3.0  # a tank that stood over night is seldom more than 5 degC from the outside air, either way
_NIGHT_ENDS_S = 4 * 3600.0
READ_SHARE = 0.8  # of a phase must have been read at a place, else its extreme may have been missed


@dataclass(frozen=True)
class _Stretch:
    """A session of one variant, or what its marks give to that variant; `settlings` of the session it was cut from."""

    variant: str
    session: Any
    course: Course
    found: list[Phase]
    settlings: tuple[settling.Settling, ...] = ()


def compare_sessions(
    groups: Mapping[str, Sequence[Any]],
    baseline: str | None = None,
    *,
    primary: Cell | None = None,
    delta_degc: float = verdicts.DELTA_DEGC,
    fixes: Mapping[str, Fitted] | None = None,
    phase: str | None = None,
    shown: Shown | None = None,
) -> Comparison:
    """Compare variants, each with its sessions {name: [hotfuel.session.Session, ...]}, with the baseline (default: the first name).

    A session given under several names is cut at the marks that carry these names. Other arguments as `compare_runs`. The question goes by `primary`,
    else by what was fitted: `fixes` {name: Fitted}, else the sessions' own word for it, else the car file's, else the variant's name; `phase` names
    another phase than the fix's own.
    Raises InputError, one sentence, for an empty session, one without a car file among others with one, different cars, no common place, or a name
    that no mark carries.
    """
    names = list(groups)
    base = baseline if baseline is not None else (names[0] if names else "")
    if base not in groups:
        raise InputError(f'there is no variant "{base}" to compare with: there are {", ".join(names) or "none"}')
    empty = [name for name in names if not groups[name]]
    if empty:
        raise InputError(f"{empty[0]} has no session: give at least one for each variant")
    for name, sessions in groups.items():
        if len({_identity(session) for session in sessions}) < len(sessions):
            raise InputError(f"{name} has the same recording twice: a run counts once, give each session once")
    stretches = _all_stretches(groups)
    units = shown or Shown(_units(groups[base][0]))
    runs, notes = _runs(stretches, base, units)
    asked: list[Question] = []
    if primary is None:
        asked, unknown = _asked(stretches, base, fixes or {}, phase)
        if unknown:
            notes.append(
                f'Nothing says what was fitted with {", ".join(unknown)}: say it with --fix "{unknown[0]}=cooler before carb_inlet".'
            )
    result = compare_runs(runs, base, primary, questions=asked, delta_degc=delta_degc, shown=units)
    judged = judge_variants([(one.variant, one.course) for one in stretches], base, units)
    settled = tuple(dict.fromkeys(each for one in stretches for each in one.settlings))
    cautions = (*settling.sentences(settled), *result.cautions)
    return replace(result, conditions=(*notes, *result.conditions), cautions=cautions, judgements=judged, settlings=settled)


def _asked(
    stretches: Sequence[_Stretch], base: str, fixes: Mapping[str, Fitted], phase: str | None
) -> tuple[list[Question], list[str]]:
    """(the questions by what was fitted, the variants of which nothing is known)."""
    if strange := [name for name in fixes if name not in {one.variant for one in stretches}]:
        raise InputError(
            f'"{strange[0]}" is none of the variants: they are {", ".join(dict.fromkeys(one.variant for one in stretches))}'
        )
    known = {one.variant: fixes.get(one.variant) or _noted(one) for one in stretches if one.variant != base}
    courses = [one.course for one in stretches]
    places, _ = _common_places(courses)
    pulled = all(course.car is None or course.car.engine.pulled for course in courses)
    return questions(known, places, pulled=pulled, phase=phase)


def _noted(stretch: _Stretch) -> Fitted | None:
    """What the session, the car file or at last the variant's name says was fitted."""
    noted, car = stretch.session.metadata, stretch.course.car
    texts = ((noted.get("fix"), noted.get("before")), (car.fix, car.before) if car is not None else (None, None))
    for what, where in texts:
        kind = kind_of(what or "")
        if kind is not None:
            return Fitted(kind, place_from_words(where) if where else "")
    kind = kind_of(stretch.variant)
    return None if kind is None else Fitted(kind, guessed=True)


def runs_of(groups: Mapping[str, Sequence[Any]], baseline: str, shown: Shown = Shown("si")) -> tuple[list[Run], list[str]]:
    """(runs with their summaries, sentences about what was adjusted or left out)."""
    return _runs(_all_stretches(groups), baseline, shown)


def _all_stretches(groups: Mapping[str, Sequence[Any]]) -> list[_Stretch]:
    return [one for name, sessions in groups.items() for session in sessions for one in _stretches(name, session, groups)]


def _runs(stretches: Sequence[_Stretch], baseline: str, shown: Shown) -> tuple[list[Run], list[str]]:
    courses = [one.course for one in stretches]
    cars = {course.car.name for course in courses if course.car is not None}
    if len(cars) > 1:
        raise InputError(f"the sessions are of different cars ({', '.join(sorted(cars))}): compare runs of one car")
    without = [course.name for course in courses if course.car is None]
    if without and len(without) < len(stretches):
        raise InputError(f"{without[0]} has no usable car file and the others have one: give it one to compare them")
    places, notes = _common_places(courses)
    places = _settled_places(places, stretches)
    notes += [note for course in courses for note in course.notes]
    common = _Common.of(next(one.course for one in stretches if one.variant == baseline), courses, shown)
    notes += common.notes
    warm = _not_first_of_their_day(stretches)
    if warm:
        notes.append(
            f"Outside air was not noted for {', '.join(warm)}, and a car that ran before on that day does not tell it by its fuel: "
            "note it with hotfuel review SESSION --about ambient_degc=..."
        )
    air = [np.nan if one.course.name in warm else one.course.ambient_degc for one in stretches]
    reference = float(np.mean(air)) if np.isfinite(air).all() else np.nan
    if np.isfinite(reference) and any(course.ambient_guessed for course in courses):
        notes.append(
            f"Where outside air was taken from the fuel, the interval allows for {shown.text(GUESSED_AIR_U_DEGC, 'temperature difference')} (standard) "
            "a side: note it with hotfuel review SESSION --about ambient_degc=..."
        )
    whole_only = any(one.found[0].confidence == "low" for one in stretches)
    if whole_only:
        notes.append("Phases can only be guessed from the temperatures of at least one session, so whole runs are compared.")
    cut, told = stops_alike([(one.course.name, one.found) for one in stretches])
    notes += [] if whole_only else told
    runs = []
    for one, outside, found in zip(stretches, air, cut, strict=True):
        course = one.course
        shift = SLOPE * (reference - outside) if np.isfinite(reference) else 0.0
        parts: dict[str, np.ndarray] = {} if not whole_only else {WHOLE_RUN: np.ones(len(course.time_s), dtype=bool)}
        for phase in [] if whole_only else found:
            rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
            parts[phase.kind] = parts.get(phase.kind, np.zeros(len(rows), dtype=bool)) | rows
        run, unread = _run(one, common.apply(course), parts, places, shift)
        guess_u = GUESSED_AIR_U_DEGC if course.ambient_guessed and np.isfinite(reference) else 0.0
        runs.append(replace(run, ambient_degc=outside, ambient_u_degc=guess_u))
        notes += unread
    return runs, list(dict.fromkeys(notes))


def _not_first_of_their_day(stretches: Sequence[_Stretch]) -> list[str]:
    """Sessions whose outside air is a guess and that were not the first of their day: their fuel may still have been warm."""
    first: dict[str, float] = {}
    for one in stretches:
        day = _day(one.course)
        first[day] = min(first.get(day, np.inf), one.course.start_s)
    late = [one.course for one in stretches if one.course.ambient_guessed and one.course.start_s > first[_day(one.course)]]
    return list(dict.fromkeys(course.name for course in late))


def _day(course: Course) -> str:
    """The date it began on, where it was recorded if that is known; "" without a clock. A night's drive belongs to the evening before."""
    if not np.isfinite(course.start_s):
        return ""
    local_s = course.start_s + float(course.time_s[0]) + 60 * (course.utc_offset_min or 0) - _NIGHT_ENDS_S
    return datetime.datetime.fromtimestamp(local_s, datetime.UTC).date().isoformat()


def _settled_places(places: Sequence[str], stretches: Sequence[_Stretch]) -> list[str]:
    settlings = list(dict.fromkeys(each for one in stretches for each in one.settlings))
    unsettled = {each.place for each in settlings if not each.usable}
    if left := [place for place in places if place not in unsettled]:
        return left
    raise InputError(" ".join(settling.sentences(each for each in settlings if each.place in places)).rstrip("."))


def _units(session: Any) -> str:
    return session.car.units if session.car is not None else "si"


def _stretches(variant: str, session: Any, groups: Mapping[str, Sequence[Any]]) -> list[_Stretch]:
    """The session as one course, or, where it stands under several names, what its marks give to this one."""
    course = of_session(session)
    found = phases(course)
    sharing = [name for name, sessions in groups.items() if any(_identity(other) == _identity(session) for other in sessions)]
    if len(sharing) == 1:
        return [_Stretch(variant, session, course, found)]
    switched = [(second, text.casefold().removeprefix("switch:").strip()) for second, text in course.marks]
    named = [(second, text) for second, text in switched if text in [name.casefold() for name in sharing]]
    ends = [*(second for second, _ in named), float(course.time_s[-1]) + 1.0][1:]
    settled = tuple(settling.settlings(course, named, ends[-1])) if named else ()
    mine = [
        _Stretch(variant, session, course.cut(start, end, f"{course.name}, {text} {number}"), _within(found, start, end), settled)
        for number, ((start, text), end) in enumerate(zip(named, ends, strict=True), start=1)
        if text == variant.casefold()
    ]
    if not mine:
        raise InputError(
            f'{course.name} is given for {" and ".join(sharing)}, and no mark in it reads "{variant}": set a mark with that text at each change, '
            "or give separate sessions"
        )
    return mine


def _within(found: Sequence[Phase], start_s: float, end_s: float) -> list[Phase]:
    """The phases of a whole session between two moments: a stretch alone would not show that its engine had been started long before."""
    return [
        replace(phase, start_s=max(phase.start_s, start_s), end_s=min(phase.end_s, end_s))
        for phase in found
        if phase.start_s < end_s and phase.end_s > start_s
    ]


def _common_places(courses: Sequence[Course]) -> tuple[list[str], list[str]]:
    places = [p for p in courses[0].fuel_places if all(p in course.fuel_places for course in courses)]
    every = list(dict.fromkeys(p for course in courses for p in course.fuel_places))
    if not places:
        raise InputError(
            f"the sessions have no place in common (there are {', '.join(every)}): compare sessions with the same places"
        )
    left = [p for p in every if p not in places]
    return places, [f"Not every session measured {', '.join(left)}: left out of the comparison."] if left else []


def _identity(session: Any) -> str:
    """What tells one recording from another: its file, because several may carry one title."""
    folder = getattr(session, "folder", None)
    return str(folder.log_path.resolve()) if folder is not None else f"{session.name} {id(session)}"


class _Common:
    """The fuel and air pressure for which all limits are worked out, where the sessions' own differ."""

    def __init__(self, fuel: Fuel | None, car: Car | None, pressure_kpa: float, needed: bool, notes: list[str]) -> None:
        self._fuel, self._car, self._pressure_kpa, self._needed = fuel, car, pressure_kpa, needed
        self.notes = notes

    @classmethod
    def of(cls, first: Course, courses: Sequence[Course], shown: Shown) -> "_Common":
        if first.car is None:
            return cls(
                None, None, np.nan, False, ["No session has a car file: temperatures are compared, margins are not known."]
            )
        pressure, pressures = first.air_kpa(), [course.air_kpa() for course in courses]
        other_fuel = [c.name for c in courses if c.car is not None and c.car.fuel_table != first.car.fuel_table]
        apart = float(np.ptp(pressures))
        notes = []
        if other_fuel:
            notes.append(
                f"{', '.join(dict.fromkeys(other_fuel))} ran on another fuel than {first.name}: all limits are those of the fuel in {first.name}."
            )
        if apart > _SAME_PRESSURE_KPA:
            notes.append(
                f"Air pressure differed by {shown.text(apart, 'pressure')} between sessions: "
                f"all limits are for the {shown.text(pressure, 'pressure')} of {first.name}."
            )
        fuel = first.car.fuel() if notes else None
        return cls(fuel, first.car, pressure, bool(notes), notes)

    def apply(self, course: Course) -> Course:
        """The course with margins for the common fuel and pressure; its own pump and places, because these may be the fix."""
        if not self._needed or course.car is None or self._fuel is None:
            return course
        car = course.car.model_copy(update={"station_pressure_kpa": self._pressure_kpa, "altitude_m": None})
        conditions = Conditions(
            running=course.inputs["running"],
            engine_rpm=course.inputs["engine_rpm"],
            fuel_pressure_kpa=course.inputs["fuel_pressure_kpa"],
            ignition=course.inputs["ignition"],
            time_s=course.time_s,
        )
        known = {p.name for p in car.places}
        table = margins(car, self._fuel, {p: v for p, v in course.degc.items() if p in known}, conditions)
        columns = ("margin_degc", "limit_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio", "state")
        shape = course.time_s.shape
        return replace(
            course,
            margins={
                name: {key: np.broadcast_to(np.asarray(getattr(place, key), dtype=float), shape) for key in columns}
                for name, place in table.places.items()
            },
        )


def _run(
    stretch: _Stretch, course: Course, parts: Mapping[str, np.ndarray], places: Sequence[str], shift_degc: float
) -> tuple[Run, list[str]]:
    """(the run, sentences about what was not read through)."""
    values: dict[Cell, float] = {}
    inside: dict[Cell, float] = {}
    waits = {one.place: one.left_out_s for one in stretch.settlings}
    often = max((float(np.isfinite(course.degc[place]).mean()) for place in places), default=0.0)
    notes = []
    for phase, whole in parts.items():
        for place in places:
            rows = whole & (course.time_s >= course.time_s[0] + waits.get(place, 0.0))
            time_s, degc = course.time_s[rows], course.degc[place][rows]
            if not rows.any():
                continue
            if np.isfinite(degc).mean() < READ_SHARE * often:
                notes.append(f"{course.name} did not read {place} all through its {phase}: left out there.")
                continue
            margin = course.margins[place]["margin_degc"][rows] if place in course.margins else None
            found = summarise(time_s, degc, margin, place, phase, shift_degc)
            needle = behind_needle(place)
            behind = course.margins[needle]["margin_degc"][rows] if needle in course.margins else None
            found_needle = summarise(time_s, degc, behind, needle, phase, shift_degc) if behind is not None else ({}, {})
            for target, one, two in zip((values, inside), found, found_needle, strict=True):
                target.update(one)
                target.update({cell: number for cell, number in two.items() if cell.quantity == "smallest margin"})
    first, stock = (start[np.isfinite(start)][:30] for start in (course.degc[places[-1]], course.degc[places[0]]))
    sensor, uncertainty = _sensors(stretch.session, course.car, places)
    run = Run(
        name=course.name,
        variant=stretch.variant,
        session=_identity(stretch.session),
        values=values,
        inside=inside,
        start_s=course.start_s + float(course.time_s[0]),
        duration_s=float(course.time_s[-1] - course.time_s[0]),
        ambient_degc=course.ambient_degc,
        ambient_pressure_kpa=course.air_kpa(),
        start_degc=float(first.mean()) if first.size else np.nan,
        fuel=_fuel_name(course.car),
        car=course.car.name if course.car is not None else "",
        sensor=sensor,
        sensor_u_degc=uncertainty,
        day=_day(course),
        stock_degc=float(stock.mean()) + shift_degc if stock.size else np.nan,
        phase_s={phase: float(rows.sum()) * STEP_S for phase, rows in parts.items()},
    )
    return run, notes


def _fuel_name(car: Car | None) -> str:
    if car is None:
        return ""
    table = car.fuel_table
    ethanol = f", {table.ethanol_vol:g} % ethanol" if table.ethanol_vol else ""
    if table.class_ is not None:
        return f"class {table.class_}{ethanol}"
    return f"fuel of {table.vapour_pressure_kpa:g} kPa vapour pressure{ethanol}"


def _sensors(session: Any, car: Car | None, places: Sequence[str]) -> tuple[dict[str, str], dict[str, float]]:
    """({place: what it was read with}, {place: standard uncertainty of a reading, degC}); the place's probe counts as the same in one car."""
    descriptions = getattr(session, "descriptions", {})
    calibration = getattr(session, "calibration", None)
    channels = frame.channels_of(descriptions, car, calibration) if car is not None else {}
    board = str(session.metadata.get("board_id", "unknown board"))
    dated = "not calibrated" if calibration is None else f"calibration {zlib.crc32(repr(calibration).encode()):08x}"
    names, uncertainty = {}, {}
    for place in places:
        channel = channels.get(place, Channel())
        for name in (place, behind_needle(place)):
            names[name] = f"{board}, {channel.chip}, {dated}"
            if car is not None:
                values = temperature_uncertainty_degc(car, car.place(place), car.engine.idle_flow_l_h, channel)
                uncertainty[name] = float(np.max(values))
    return names, uncertainty

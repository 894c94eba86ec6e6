"""Recordings made comparable: runs cut out, limits for one common fuel and air pressure, temperatures as rise over one common outside air."""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.risk.margin import Channel, margins, temperature_uncertainty_degc
from hotfuel.risk.pressure import Conditions
from hotfuel.session import frame
from hotfuel.study import verdicts
from hotfuel.study.compare import Comparison, compare_runs
from hotfuel.study.complaint import judge_variants
from hotfuel.study.course import Course, of_session
from hotfuel.study.intervals import Spread
from hotfuel.study.phases import phases
from hotfuel.study.summaries import Cell, Run, summarise
from hotfuel.units import Shown

WHOLE_RUN = "whole run"
_SAME_PRESSURE_KPA = 0.3


def compare_sessions(
    groups: Mapping[str, Sequence[Any]],
    baseline: str | None = None,
    *,
    primary: Cell | None = None,
    delta_degc: float = verdicts.DELTA_DEGC,
    covariates: Sequence[str] = (),
    borrowed: Spread | None = None,
    shown: Shown | None = None,
) -> Comparison:
    """Compare variants, each with its sessions {name: [hotfuel.session.Session, ...]}, with the baseline (default: the first name).

    A session given under several names is cut at the marks that carry these names. Other arguments as `compare_runs`.
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
    result = compare_runs(runs, base, primary, delta_degc=delta_degc, covariates=covariates, borrowed=borrowed, shown=units)
    judged = judge_variants([(name, course) for name, _, course in stretches], base, units)
    cautions = (*_switched(stretches), *result.cautions)
    return replace(result, conditions=(*notes, *result.conditions), cautions=cautions, judgements=judged)


def _switched(stretches: Sequence[tuple[str, Any, Course]]) -> list[str]:
    """What a reader must know of sessions that were cut at their marks."""
    names = [session.name for _, session, course in stretches if course.name != session.name]
    return [
        f"{name} was cut at its marks: the first minutes after each switch still hold what was before it, so the true difference is rather larger."
        for name in dict.fromkeys(names)
    ]


def runs_of(groups: Mapping[str, Sequence[Any]], baseline: str, shown: Shown = Shown("si")) -> tuple[list[Run], list[str]]:
    """(runs with their summaries, sentences about what was adjusted or left out)."""
    return _runs(_all_stretches(groups), baseline, shown)


def _all_stretches(groups: Mapping[str, Sequence[Any]]) -> list[tuple[str, Any, Course]]:
    return [
        (name, session, course)
        for name, sessions in groups.items()
        for session in sessions
        for course in _stretches(name, session, groups)
    ]


def _runs(stretches: Sequence[tuple[str, Any, Course]], baseline: str, shown: Shown) -> tuple[list[Run], list[str]]:
    cars = {course.car.name for _, _, course in stretches if course.car is not None}
    if len(cars) > 1:
        raise InputError(f"the sessions are of different cars ({', '.join(sorted(cars))}): compare runs of one car")
    without = [course.name for _, _, course in stretches if course.car is None]
    if without and len(without) < len(stretches):
        raise InputError(f"{without[0]} has no usable car file and the others have one: give it one to compare them")
    places, notes = _common_places([course for *_, course in stretches])
    notes += [note for *_, course in stretches for note in course.notes]
    common = _Common.of(next(course for name, _, course in stretches if name == baseline), [c for *_, c in stretches], shown)
    notes += common.notes
    known = np.array([course.ambient_degc for *_, course in stretches])
    reference = float(known.mean()) if np.isfinite(known).all() else np.nan
    cut = [phases(course) for *_, course in stretches]
    whole_only = any(found[0].confidence == "low" for found in cut)
    if whole_only:
        notes.append("Phases can only be guessed from the temperatures of at least one session, so whole runs are compared.")
    runs = []
    for (name, session, course), found in zip(stretches, cut, strict=True):
        shift = reference - course.ambient_degc if np.isfinite(reference) else 0.0
        limited = common.apply(course)
        parts: dict[str, np.ndarray] = {} if not whole_only else {WHOLE_RUN: np.ones(len(course.time_s), dtype=bool)}
        for phase in [] if whole_only else found:
            rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
            parts[phase.kind] = parts.get(phase.kind, np.zeros(len(rows), dtype=bool)) | rows
        runs.append(_run(name, session, limited, parts, places, shift))
    return runs, list(dict.fromkeys(notes))


def _units(session: Any) -> str:
    return session.car.units if session.car is not None else "si"


def _stretches(variant: str, session: Any, groups: Mapping[str, Sequence[Any]]) -> list[Course]:
    """The session as one course, or, where it stands under several names, what its marks give to this one."""
    course = of_session(session)
    sharing = [name for name, sessions in groups.items() if any(_identity(other) == _identity(session) for other in sessions)]
    if len(sharing) == 1:
        return [course]
    switched = [(second, text.casefold().removeprefix("switch:").strip()) for second, text in course.marks]
    named = [(second, text) for second, text in switched if text in [name.casefold() for name in sharing]]
    ends = [*(second for second, _ in named), float(course.time_s[-1]) + 1.0][1:]
    mine = [
        course.cut(start, end, f"{course.name}, {text} {number}")
        for number, ((start, text), end) in enumerate(zip(named, ends, strict=True), start=1)
        if text == variant.casefold()
    ]
    if not mine:
        raise InputError(
            f'{course.name} is given for {" and ".join(sharing)}, and no mark in it reads "{variant}": set a mark with that text at each change, '
            "or give separate sessions"
        )
    return mine


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
    name: str, session: Any, course: Course, parts: Mapping[str, np.ndarray], places: Sequence[str], shift_degc: float
) -> Run:
    values: dict[Cell, float] = {}
    inside: dict[Cell, float] = {}
    for phase, rows in parts.items():
        time_s = course.time_s[rows]
        for place in places:
            margin = course.margins[place]["margin_degc"][rows] if place in course.margins else None
            found = summarise(time_s, course.degc[place][rows], margin, place, phase, shift_degc)
            needle = f"{place}_needle"
            behind = course.margins[needle]["margin_degc"][rows] if needle in course.margins else None
            found_needle = (
                summarise(time_s, course.degc[place][rows], behind, needle, phase, shift_degc) if behind is not None else ({}, {})
            )
            for target, one, two in zip((values, inside), found, found_needle, strict=True):
                target.update(one)
                target.update({cell: number for cell, number in two.items() if cell.quantity == "smallest margin"})
    start = course.degc[places[-1]]
    first = start[np.isfinite(start)][:30]
    sensor, uncertainty = _sensors(session, course.car, places)
    return Run(
        name=course.name,
        variant=name,
        session=_identity(session),
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
    )


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
        for name in (place, f"{place}_needle"):
            names[name] = f"{board}, {channel.chip}, {dated}"
            if car is not None:
                values = temperature_uncertainty_degc(car, car.place(place), car.engine.idle_flow_l_h, channel)
                uncertainty[name] = float(np.max(values))
    return names, uncertainty

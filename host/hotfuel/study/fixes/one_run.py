"""One run in numbers: its summaries at each place and phase, the conditions it was driven under, what it was read with."""

import zlib
from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.car import Car
from hotfuel.places import behind_needle
from hotfuel.risk.margin import Channel, temperature_uncertainty_degc
from hotfuel.session import frame
from hotfuel.session.recording import Session
from hotfuel.session.summary import SILENT_S
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import LAP, Phase
from hotfuel.study.fixes.brought import GUESSED_AIR_U_DEGC, Terms
from hotfuel.study.fixes.common import day_of, is_night
from hotfuel.study.fixes.copies import identity
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.difference import SLOPE
from hotfuel.study.fixes.faults import DEAD, Fault
from hotfuel.study.fixes.lapped import extremes, whole_laps
from hotfuel.study.fixes.read_by_hand import medians
from hotfuel.study.fixes.summaries import MARGIN, WHOLE_RUN, Beyond, Cell, Filled, Run, summarise

_FIRST_S, _STOCK_S = 3, 60
READ_SHARE = 0.8  # of a phase must have been read at a place, else its extreme may have been missed


def run_of(one: Stretch, terms: Terms, as_driven: Sequence[Phase]) -> Run:
    """The run of a stretch that was brought to common conditions; a place that was not read throughout a phase is a fault there. as_driven: its phases
    before it was brought there."""
    course, places, known = one.course, terms.places, bool(np.isfinite(terms.air_degc))
    shift = SLOPE * (terms.air_degc - course.ambient_degc) if known else 0.0
    laps = whole_laps(one.found)
    parts = _parts(one, laps, terms.whole_run)
    values, inside, unread = _summaries(one, parts, places, shift)
    values |= extremes(course, laps, values, shift)
    # of the last place only the first seconds: a fix acts there soon, which would look like a warmer or colder start
    first, stock = (course.degc[place][:seconds] for place, seconds in ((places[-1], _FIRST_S), (places[0], _STOCK_S)))
    first, stock = first[np.isfinite(first)], stock[np.isfinite(stock)][:30]
    sensor, uncertainty = _sensors(one.session, course.car, places)
    return Run(
        name=course.name,
        variant=one.variant,
        session=identity(one.session),
        values=values,
        inside=inside,
        start_s=course.start_s + float(course.time_s[0]),
        duration_s=float(course.time_s[-1] - course.time_s[0]),
        ambient_degc=course.ambient_degc,
        ambient_u_degc=GUESSED_AIR_U_DEGC if course.ambient_guessed and known else 0.0,
        brought_to_degc=terms.air_degc,
        ambient_pressure_kpa=course.air_kpa(),
        start_degc=float(first.mean()) if first.size else np.nan,
        start_place=places[-1],
        fuel=_filled(course.car),
        car=course.car.name if course.car is not None else "",
        sensor=sensor,
        sensor_u_degc=uncertainty,
        day=day_of(course),
        night=is_night(course),
        stock_degc=float(stock.mean()) + shift if stock.size else np.nan,
        phase_s={phase: float(rows.sum()) * STEP_S for phase, rows in parts.items()},
        faults=(*one.faults, *(Fault(DEAD, (place,), phases) for place, phases in unread.items())),
        cold_degc=one.cold_degc,
        perhaps_degc=one.perhaps_degc,
        by_hand=medians(course, parts),
        beyond=_beyond(as_driven),
        laps=len(laps),
        unread_s=_unread_s(course, terms.any_places),
    )


def _unread_s(course: Course, places: Sequence[str]) -> dict[str, float]:
    """{place: for how long it was not read, s}, where that was long; nan where the run did not measure it at all."""
    found = {place: STEP_S * float(np.isnan(course.degc[place]).sum()) if place in course.degc else np.nan for place in places}
    return {place: seconds for place, seconds in found.items() if not seconds <= SILENT_S}


def _beyond(phases: Sequence[Phase]) -> tuple[Beyond, ...]:
    return tuple(
        Beyond(name, phase.kind, np.nan if place.no_limit_s else place.smallest_margin_degc)
        for phase in phases
        for name, place in phase.places.items()
        if place.act_s
    )


def _parts(one: Stretch, laps: Sequence[Phase], whole_run: bool) -> dict[str, np.ndarray]:
    """{phase: (n,) which seconds of the course it holds}, of laps only those that count."""
    time_s = one.course.time_s
    parts: dict[str, np.ndarray] = {WHOLE_RUN: np.ones(len(time_s), dtype=bool)} if whole_run else {}
    for phase in one.found:
        if phase.kind == LAP and phase not in laps:
            continue
        rows = (time_s >= phase.start_s) & (time_s < phase.end_s)
        parts[phase.kind] = parts.get(phase.kind, np.zeros(len(rows), dtype=bool)) | rows
    return parts


def _summaries(
    one: Stretch, parts: Mapping[str, np.ndarray], places: Sequence[str], shift_degc: float
) -> tuple[dict[Cell, float], dict[Cell, float], dict[str, tuple[str, ...]]]:
    """(values and inside-run errors of every place in every phase, {place: the phases in which it was not read throughout})."""
    course = one.course
    values: dict[Cell, float] = {}
    inside: dict[Cell, float] = {}
    unread: dict[str, tuple[str, ...]] = {}
    waits = {each.place: each.left_out_s for each in one.settlings}
    often = max((float(np.isfinite(course.degc[place]).mean()) for place in places), default=0.0)
    for phase, whole in parts.items():
        for place in places:
            rows = whole & (course.time_s >= course.time_s[0] + waits.get(place, 0.0))
            time_s, degc = course.time_s[rows], course.degc[place][rows]
            if not rows.any():
                continue
            if np.isfinite(degc).mean() < READ_SHARE * often:
                unread[place] = (*unread.get(place, ()), phase)
                continue
            margin = course.margins[place]["margin_degc"][rows] if place in course.margins else None
            found = summarise(time_s, degc, margin, place, phase, shift_degc)
            needle = behind_needle(place)
            behind = course.margins[needle]["margin_degc"][rows] if needle in course.margins else None
            found_needle = summarise(time_s, degc, behind, needle, phase, shift_degc) if behind is not None else ({}, {})
            for target, at_probe, at_needle in zip((values, inside), found, found_needle, strict=True):
                target.update(at_probe)
                target.update({cell: number for cell, number in at_needle.items() if cell.quantity == MARGIN})
    return values, inside, unread


def _filled(car: Car | None) -> Filled | None:
    if car is None:
        return None
    table = car.fuel_table
    vapour_pressure_kpa = None if table.class_ is not None else table.vapour_pressure_kpa
    return Filled(table.class_, vapour_pressure_kpa, table.ethanol_vol or 0.0, table.blended)


def _sensors(session: Session, car: Car | None, places: Sequence[str]) -> tuple[dict[str, str], dict[str, float]]:
    """({place: what it was read with}, {place: standard uncertainty of a reading, degC}); the place's probe counts as the same in one car."""
    calibration = session.calibration
    channels = frame.channels_of(session.descriptions, car, calibration) if car is not None else {}
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

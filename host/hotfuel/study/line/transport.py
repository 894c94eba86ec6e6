"""Fuel on its way between two places of a session: the stretch that shows most, the flow in it, and what the hose did to the fuel (hotfuel.study.line.hose)."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from hotfuel.risk.margin import Channel, temperature_uncertainty_degc
from hotfuel.session.means import smoothed
from hotfuel.stretches import stretches
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import PULL, engine_of, fired, kinds_per_second
from hotfuel.study.line import hose
from hotfuel.study.line.reasons import Lacking, Untold, UntoldError
from hotfuel.wired import flow_share

LONGEST_S = 600.0
_WINDOW_S = 30
_MEASURED_SHARE = 0.9
STEADY_SHARE = 0.15  # engine speeds within it count as one


@dataclass(frozen=True)
class Section:
    """One section of the line, in the stretch of at most ten minutes that shows most. hose: the result, None without one; `untold` says why."""

    before: str
    place: str
    start_s: float
    end_s: float
    hose: hose.Hose | None
    untold: Untold | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self)


def sections(course: Course) -> tuple[Section, ...]:
    """One for each two consecutive places in flowing fuel. Empty without a running engine or with fewer than two places."""
    running = _running_stretches(course)
    flow = flow_of(course)
    return tuple(_section(course, pair, running, flow) for pair in pairwise(line_places(course)) if running)


def changed_most(found: Sequence[Section], least_degc: float = 2.0) -> Section | None:
    """The section whose place changed most, by least_degc or more within half a minute; None where none did."""
    changed = [one for one in found if one.hose is not None and abs(one.hose.changed_degc) >= least_degc]
    return max(changed, key=lambda one: abs(one.hose.changed_degc) if one.hose else 0.0, default=None)


def line_places(course: Course) -> tuple[str, ...]:
    """Places that fuel passes in order: all with fuel except a bowl, where it stands, a probe on rubber, which does not follow it, and one
    whose reading may be none."""
    if course.car is None:
        return ()
    blind = {p.name for p in course.car.places if p.role == "bowl" or p.probe.mount == "clamp_rubber"} | course.suspected
    return tuple(p for p in course.fuel_places if p not in blind)


def flow_of(course: Course) -> hose.Flow:
    """Flow through the line (n,): from a meter where it read; else from engine speed, displacement and mixture plus the declared return, in
    full-throttle pulls from the declared power; nan where engine speed or displacement is unknown."""
    estimated = _estimated(course)
    measured = course.inputs.get("flow_l_h")
    if measured is None or not np.isfinite(measured).any():
        return estimated
    known, on = np.isfinite(measured), fired(course)
    whole = not on.any() or known[on].mean() >= _MEASURED_SHARE
    basis = hose.FlowBasis.METER if whole else hose.METERED_IN_PART[estimated.basis]
    meter_u = flow_share(course.car.inputs if course.car is not None else ())
    return hose.Flow(np.where(known, measured, estimated.litres_h), meter_u if whole else estimated.relative_u, basis, True)


def _estimated(course: Course) -> hose.Flow:
    rpm, car = course.inputs["engine_rpm"], course.car
    if car is None or not car.engine.displacement_l or not np.isfinite(rpm).any():
        return hose.Flow(np.full_like(course.time_s, np.nan), np.nan, hose.FlowBasis.UNKNOWN)
    back = car.engine.return_flow_l_h
    on = fired(course)
    speed = np.where(on, engine_of(course).rpm, 0.0)
    flow = hose.flow_from_speed(speed, car.engine.displacement_l, return_l_h=back)
    pull = on & (kinds_per_second(course)[0] == PULL)
    if not (car.engine.power_kw and pull.any()):
        return flow
    # Power in a pull rises roughly in proportion to engine speed; the declared power is taken to be at the highest speed.
    full = hose.flow_from_power(car.engine.power_kw, return_l_h=back)
    burnt = (float(full.litres_h) - back) * speed / speed[pull].max() + back
    return hose.Flow(np.where(pull, burnt, flow.litres_h), flow.relative_u, hose.FlowBasis.SPEED_AND_POWER)


def reading_u_degc(course: Course, place: str, flow_l_h: float) -> float:
    """Standard uncertainty of one place's reading at a flow, with its amplifier and calibration. Raises InputError without a car file."""
    if course.car is None:
        raise course.without_car("it is not known how its probes are mounted")
    channel = course.channels.get(place, Channel())
    return float(np.max(temperature_uncertainty_degc(course.car, course.car.place(place), flow_l_h, channel)))


def air_beside(course: Course) -> str | None:
    """The place of a probe in the air beside the line, None without one: preferably in the engine bay, never in the engine's intake air."""
    if course.car is None:
        return None
    beside = [p for p in course.car.places if p.kind.beside_line and p.name in course.degc]
    return next((p.name for p in sorted(beside, key=lambda p: p.role != "engine_bay_air")), None)


def _section(course: Course, pair: tuple[str, str], running: list[tuple[int, int]], flow: hose.Flow) -> Section:
    assert course.car is not None
    before, place = (course.car.place(name) for name in pair)
    up, down = (course.degc[name] for name in pair)
    if not np.isfinite(flow.litres_h).any():
        running = _steady(course, running) or running
    first, last = max(running, key=lambda stretch: _movement(up[slice(*stretch)]) * _movement(down[slice(*stretch)]))
    stretch = slice(first, last)
    start, end = float(course.time_s[first]), float(course.time_s[last - 1])
    if not np.isfinite(flow.litres_h[stretch]).any() and (refused := _unsteady(course, stretch)) is not None:
        return Section(*pair, start, end, None, refused)
    air = air_beside(course)
    around = course.degc[air][stretch] if air is not None and np.isfinite(course.degc[air][stretch]).all() else None
    flowing = course.car.engine.idle_flow_l_h
    reading_u = [reading_u_degc(course, p.name, flowing) for p in (before, place)]
    try:
        found = hose.fit(
            course.time_s[stretch],
            up[stretch],
            down[stretch],
            hose.Flow(flow.litres_h[stretch], flow.relative_u, flow.basis),
            surroundings_degc=around,
            volume_l=place.volume_from_previous_l or None,
            upstream_lag_s=before.probe.lag_s,
            downstream_lag_s=place.probe.lag_s,
            reading_u_degc=float(np.sqrt(np.mean(np.square(reading_u)))),
            steady=bool(np.isfinite(course.inputs["engine_rpm"][stretch]).any()),
        )
    except UntoldError as error:
        return Section(*pair, start, end, None, error.untold)
    return Section(*pair, start, end, found)


def _steady(course: Course, running: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """The stretches within these that have a steady engine speed, because one delay belongs to one flow."""
    rpm = smoothed(course.time_s, course.inputs["engine_rpm"])
    if not np.isfinite(rpm).any():
        return []
    found = []
    for first, last in running:
        start = first
        while start < last:
            alike = np.abs(rpm[start:last] / max(float(np.nanmedian(rpm[start : start + 30])), 1.0) - 1) <= STEADY_SHARE
            ends = np.flatnonzero(~alike)
            end = start + (int(ends[0]) if ends.size else last - start)
            if end - start >= hose.LEAST_SAMPLES:
                found.append((start, end))
            start = max(end, start + 1)
    return found


def _unsteady(course: Course, stretch: slice) -> Untold | None:
    """Why there is no delay where the flow is unknown and the engine's speed changed or was not read; None for a steady speed."""
    rpm = smoothed(course.time_s, course.inputs["engine_rpm"])[stretch]
    if not np.isfinite(rpm).any():
        return Untold(Lacking.ENGINE_SPEED)
    least, most = (float(x) for x in np.nanquantile(rpm, (0.05, 0.95)))
    if most <= (1 + STEADY_SHARE) ** 2 * max(least, 1.0):
        return None
    return Untold(Lacking.STEADY_SPEED, least_rpm=least, most_rpm=most)


def _running_stretches(course: Course) -> list[tuple[int, int]]:
    """[(first row, one past the last)] of stretches with the engine running, cut to LONGEST_S, a new one every half of it."""
    most = int(LONGEST_S / STEP_S)
    return [
        (first, min(first + most, end))
        for start, end in stretches(fired(course))
        if end - start >= hose.LEAST_SAMPLES
        for first in range(start, max(end - most // 2, start + 1), most // 2)
    ]


def _movement(degc: np.ndarray) -> float:
    """Root mean square of a temperature's changes within half a minute."""
    change = degc[_WINDOW_S:] - degc[:-_WINDOW_S]
    return float(np.sqrt(np.nanmean(change**2))) if np.isfinite(change).any() else 0.0

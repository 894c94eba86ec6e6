"""What a fix, several together, another fuel, a pass, a hotter day or a longer stop would do to a session that was recorded: each number with its
interval and the assumption that causes most of it.

The recorded temperatures are changed (hotfuel.study.line.changed) in 200 draws of what was not measured, and the limits are worked out again by the
same functions as for a recording.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.fuel import Fuel
from hotfuel.places import INLETS, probe_of
from hotfuel.risk.limit import EXTRAPOLATION_SHARE
from hotfuel.risk.margin import MarginTable, margins
from hotfuel.risk.pressure import Conditions, ambient, at_places, standard_atmosphere_kpa
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import phases
from hotfuel.study.line import longer_stop, transport
from hotfuel.study.line.assumed import Assumption, Boiling, OtherFuel, ThinnerAir
from hotfuel.study.line.change import Change, bounds, check
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.draws import DRAWS, Draws, Interval, Own
from hotfuel.study.line.grid import STEP, Curve, Grid, curves, sampled
from hotfuel.study.line.held import held_gauge_kpa
from hotfuel.study.line.stages import Stage, stages
from hotfuel.study.line.unknown import Unknown, What
from hotfuel.study.power.expectation import expectation

__all__ = ["Change", "Curve", "Forecast", "Gain", "Row", "forecast"]
HELD_U = 0.5  # relative uncertainty of the change in the pressure that vapour holds in the line after the stop


@dataclass(frozen=True)
class Row:
    """One place under one change; degC. running_*: median while the engine runs; hottest and margin: extremes of ten-second means.

    Medians over the draws, their standard deviation (*_u_degc) and 95 % intervals (hottest, running, margin): of the forecast, besides the measurement's
    own uncertainty, which is common to both. phase: where the smallest margin would be; boils: whether the fuel would boil there. margin numbers are nan
    at a place without a limit.
    """

    place: str
    hottest_before_degc: float
    hottest_degc: float
    hottest_u_degc: float
    running_before_degc: float
    running_degc: float
    running_u_degc: float
    margin_before_degc: float
    margin_degc: float
    margin_u_degc: float
    phase: str
    boils: bool
    hottest: Interval
    running: Interval
    margin: Interval


@dataclass(frozen=True)
class Gain:
    """By how much something improves, degC, with its 95 % interval. place: where; phase: when, and of which kind, "" for a mean."""

    place: str
    phase: str
    degc: Interval
    kind: str = ""


@dataclass(frozen=True)
class Forecast:
    """One change's forecast: rows by place, power in per cent (ceiling and square root; nan without a carburettor inlet, and with other air or another
    fuel), assumptions. hotfuel.report.forecast_words puts it into sentences.

    smallest: gain in the smallest margin anywhere, and where that is then. in_pull: how much cooler the carburettor's inlet is in full-throttle pulls,
    None without one. gains: the draws of `smallest`, (DRAWS,). stages: each place by what the car does.
    """

    change: str
    rows: tuple[Row, ...]
    power_ceiling_percent: float
    power_square_root_percent: float
    assumptions: tuple[Assumption, ...]
    smallest: Gain | None = None
    in_pull: Gain | None = None
    gains: np.ndarray = field(default_factory=lambda: np.zeros(0), compare=False, repr=False)
    curves: Mapping[str, Curve] = field(default_factory=dict, compare=False, repr=False)
    stages: tuple[Stage, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        plain = {name: value for name, value in asdict(replace(self, curves={})).items() if name not in ("gains", "curves")}
        return plain | {"assumptions": [{"kind": type(one).__name__, **asdict(one)} for one in self.assumptions]}


def forecast(
    session_or_course: Session | Course,
    changes: Sequence[Change],
    car: Car | None = None,
    own: Mapping[str, Own] | None = None,
) -> list[Forecast]:
    """One forecast for each change. car: in place of the session's own. own: the history of one's own fixes by kind (hotfuel.study.fixes.own).

    Raises InputError without a car file, or for a change out of range.
    """
    course = session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)
    used = car or course.car
    if used is None:
        raise course.without_car("there are no limits to forecast")
    before = Before(course, used)
    return [_one(before, change, own or {}) for change in changes]


class Before:
    """The session as it was, worked out once for all changes."""

    def __init__(self, course: Course, car: Car) -> None:
        self.course, self.car = course, car
        self.grid = Grid.of(course, [p.name for p in car.places])
        self.state = State.of(course, car, car.fuel(), course.inputs["fuel_pressure_kpa"], 0.0)
        self.degc = {p: course.degc[p] for p in self.grid.degc}
        self.table = self.state.margins(self.degc)
        self.flow_l_h = transport.flow_of(course).litres_h
        self.onset_degc = self.state.onset_degc(self.degc, self.flow_l_h)
        self.margin_degc = {p: sampled(course, m.margin_degc) for p, m in self.table.places.items()}
        self.phases = phases(course)

    def phase_at(self, row: int) -> tuple[str, str]:
        """(name, kind) of the phase of a row of the grid."""
        at = self.grid.time_s[row]
        return next(((p.name, p.kind) for p in self.phases if p.start_s <= at < p.end_s), ("", ""))


def _one(before: Before, change: Change, own: Mapping[str, Own]) -> Forecast:
    course, car, was = before.course, before.car, before.state
    check(course, car, change)
    after = Changed(before.grid, car, Draws(), dict(own))
    if change.hotter_degc:
        after.hotter(change.hotter_degc)
    if change.acts_on_temperature:
        after.fix(change)
    if change.fuel is not None:
        after.assumptions.append(OtherFuel(change.fuel.name))
    fall = 0.0
    if change.higher_m:
        here = car.altitude_m or 0.0
        fall = float(standard_atmosphere_kpa(here) - standard_atmosphere_kpa(here + change.higher_m))
        after.assumptions.append(ThinnerAir(fall))
    will_fuel = change.fuel or was.fuel
    middle = {
        p: course.degc[p] + np.interp(course.time_s, before.grid.time_s, np.median(after.degc[p] - before.grid.degc[p], axis=0))
        for p in after.degc
    }
    gauge = held_gauge_kpa(course, car, (was.fuel, will_fuel), middle, (was.air_kpa, was.air_kpa - fall))
    will = State.of(course, _car_with(car, change), will_fuel, gauge, fall)
    alike = will.car == was.car and change.fuel is None and np.array_equal(gauge, was.gauge_kpa, equal_nan=True) and not fall
    onset = before.onset_degc if alike else will.onset_degc(after.degc, before.flow_l_h)
    own_u = was.fuel.limit_uncertainty_degc
    other_u = float(np.hypot(own_u, change.fuel.limit_uncertainty_degc)) if change.fuel is not None else 0.0
    begins = before.onset_degc
    boiling = [p for p in before.grid.chain if after.boil(p, begins[p][::STEP], onset[p][::STEP], own_u, other_u)]
    if boiling:
        after.assumptions.append(Boiling(tuple(boiling)))
    margin = _margins(before, after, before.table if alike else will.margins(before.degc), will, change)
    if change.stop_min is not None:
        longer_stop.lengthen(course, before.table, after, margin, change.stop_min)
    rows = [_row(before, after, place, margin.get(place), onset) for place in _named(before, margin)]
    ceiling = root = np.nan
    inlets = [p.name for p in car.places if p.role in INLETS and p.name in after.degc]
    on = before.grid.on
    # Another day's air, thinner air or another fuel change the power far more by themselves; that is not worked out here.
    if inlets and on.any() and not (change.hotter_degc or change.higher_m or change.fuel):
        drop = float(np.median(np.mean((before.grid.degc[inlets[0]] - after.degc[inlets[0]])[:, on], axis=1)))
        expected = expectation(drop)
        ceiling, root = expected.ceiling_with_friction_percent, expected.square_root_percent
    smallest, gains = _smallest(before, after, margin)
    pulled = _in_pull(before, after, inlets)
    told = (tuple(after.assumptions), smallest, pulled, gains)
    drawn = curves(before.grid, after.degc, margin)
    return Forecast(change.name, tuple(rows), ceiling, root, *told, drawn, stages(before.grid, after.degc))


def _named(before: Before, margin: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    return (*before.course.fuel_places, *(n for n in margin if n not in before.course.fuel_places))


@dataclass(frozen=True)
class State:
    """Car, fuel and pressures (n,) of the drive, before or after a change. air_kpa has no gaps: measured, else the car file's."""

    course: Course
    car: Car
    fuel: Fuel
    gauge_kpa: np.ndarray
    air_kpa: np.ndarray
    air_measured: bool

    @classmethod
    def of(cls, course: Course, car: Car, fuel: Fuel, gauge_kpa: np.ndarray, fall_kpa: float) -> "State":
        """Of a course with this car, fuel and line pressure (n,), where the air's pressure is lower by fall_kpa."""
        measured = course.inputs["ambient_pressure_kpa"]
        stated = ambient(car).pressure_kpa - fall_kpa
        if fall_kpa:
            car = car.model_copy(update={"station_pressure_kpa": stated, "altitude_m": None})
        air = np.where(np.isfinite(measured), measured - fall_kpa, stated)
        return cls(course, car, fuel, gauge_kpa, air, bool(np.isfinite(measured).any()))

    def _conditions(self, more_kpa: np.ndarray | float = 0.0) -> Conditions:
        given = {name: self.course.inputs[name] for name in ("running", "engine_rpm", "ignition")}
        given |= {
            "fuel_pressure_kpa": self.gauge_kpa + more_kpa,
            "ambient_pressure_kpa": self.air_kpa if self.air_measured else np.array(np.nan),
        }
        return Conditions(**{k: v for k, v in given.items() if np.isfinite(v).any()}, time_s=self.course.time_s)

    def margins(self, degc: Mapping[str, np.ndarray], more_kpa: np.ndarray | float = 0.0) -> MarginTable:
        """Margins of these temperatures, (n,) by place, with more_kpa added to the line's pressure."""
        return margins(self.car, self.fuel, degc, self._conditions(more_kpa))

    def onset_degc(self, places: Iterable[str], flow_l_h: np.ndarray) -> dict[str, np.ndarray]:
        """Boiling onset, (n,) by place; nan for a place without a limit. flow_l_h: as worked out from engine speed (a limit uses full throttle's)."""
        conditions = replace(self._conditions(), flow_l_h=flow_l_h)
        found = at_places(self.car, conditions, self.fuel.density_15c_kg_m3)
        shape = self.course.time_s.shape
        return {
            p: self.fuel.limit_table.limit_degc(np.broadcast_to(found[p].pressure_kpa, shape), 0.0)
            if p in found
            else np.full(shape, np.nan)
            for p in places
        }


def _car_with(car: Car, change: Change) -> Car:
    """The car file as it would be with the change. With a pump in the tank, places on the suction side are under its pressure; the old pump's place is a
    place in the line."""
    engine, pump, places, suction = car.engine, car.pump, car.places, car.suction
    if change.return_l_h is not None:
        more = float(np.mean(bounds(change.return_l_h)))
        engine = engine.model_copy(
            update={
                "return_flow_l_h": engine.return_flow_l_h + more,
                "idle_flow_l_h": engine.idle_flow_l_h + more,
                "full_flow_l_h": engine.full_flow_l_h + more,
            }
        )
    if change.submerged_pump:
        places = tuple(p.model_copy(update={"role": "line"}) if p.role in ("suction", "pump") else p for p in places)
        pump = pump.model_copy(update={"kind": "electric_submerged"})
    elif change.pump_moved:
        pump = pump.model_copy(update={"kind": "electric_line"})
        suction = suction.model_copy(
            update={"lift_m": min(suction.lift_m, 0.2), "line_length_m": min(suction.line_length_m, 0.5)}
        )
    return car.model_copy(update={"engine": engine, "pump": pump, "places": places, "suction": suction})


def _margins(before: Before, after: Changed, table: MarginTable, will: State, change: Change) -> dict[str, np.ndarray]:
    """Margins after the change, (DRAWS, m) by place: the recorded ones, moved by the changes in limit and temperature. table: of the recorded
    temperatures with the changed car, fuel and pressures."""
    course, grid, draws = before.course, before.grid, after.draws
    gauge = course.inputs["fuel_pressure_kpa"]
    half = table
    if np.nanmax(np.abs(will.gauge_kpa - gauge), initial=0.0) > 0.1:
        half = will.margins(before.degc, HELD_U * (gauge - will.gauge_kpa))
    held = draws.normal(Unknown(What.HELD_PRESSURE), 0.0, 1.0)
    fuel = draws.normal(Unknown(What.FUELS), 0.0, 1.0)
    height = draws.normal(Unknown(What.HEIGHT), 0.0, EXTRAPOLATION_SHARE)
    found = {}
    for place, limited in table.places.items():
        base = probe_of(place)
        if base not in grid.degc:
            continue
        recorded = before.margin_degc.get(place)
        if recorded is None or not np.isfinite(recorded).any():
            recorded = sampled(course, limited.margin_degc)
            moved = np.zeros_like(recorded)
        else:
            moved = np.nan_to_num(sampled(course, limited.limit_degc - before.table.places[place].limit_degc))
        margin = recorded + moved - (after.degc[base] - grid.degc[base])
        margin = margin + held * np.nan_to_num(sampled(course, half.places[place].limit_degc - limited.limit_degc))
        if change.fuel is not None:  # each fuel's limit has its own uncertainty; the rest of the limit's is common to both
            margin = margin + fuel * np.hypot(before.state.fuel.limit_uncertainty_degc, change.fuel.limit_uncertainty_degc)
        if change.higher_m:  # the published altitude rule and mixtures differ by this share of the drop
            margin = margin + height * moved
        found[place] = np.where(np.isfinite(recorded), margin, np.nan)
    return found


def _row(before: Before, after: Changed, place: str, margin: np.ndarray | None, onset_degc: Mapping[str, np.ndarray]) -> Row:
    base, grid, draws = probe_of(place), before.grid, after.draws
    nothing = Interval(np.nan, np.nan, np.nan)
    if base not in after.degc:
        return Row(place, *(np.nan,) * 9, "", False, nothing, nothing, nothing)
    rows, on = grid.rows_of(base), grid.on
    hot = np.max(after.degc[base][:, rows], axis=1)
    running = np.median(after.degc[base][:, on & rows], axis=1) if (on & rows).any() else np.full(DRAWS, np.nan)
    was = grid.degc[base]
    least, least_before, at, boils = np.full(DRAWS, np.nan), np.nan, 0, False
    if margin is not None and np.isfinite(margin).any():
        least = np.nanmin(margin, axis=1)
        least_before = (
            float(np.nanmin(before.margin_degc[place]))
            if place in before.margin_degc and np.isfinite(before.margin_degc[place]).any()
            else np.nan
        )
        at = int(np.nanargmin(np.median(margin, axis=0)))
        boils = bool(np.median(after.degc[base][:, at]) > onset_degc[base][::STEP][at])
    found = [draws.interval(values) for values in (hot, running, least)]
    return Row(
        place=place,
        hottest_before_degc=float(np.max(was[rows])),
        hottest_degc=found[0].middle,
        hottest_u_degc=float(np.std(hot)),
        running_before_degc=float(np.median(was[on & rows])) if (on & rows).any() else np.nan,
        running_degc=found[1].middle,
        running_u_degc=float(np.std(running)),
        margin_before_degc=least_before,
        margin_degc=found[2].middle,
        margin_u_degc=float(np.std(least)),
        phase=before.phase_at(at)[0] if np.isfinite(least).all() else "",
        boils=boils,
        hottest=found[0],
        running=found[1],
        margin=found[2],
    )


def _smallest(before: Before, after: Changed, margin: Mapping[str, np.ndarray]) -> tuple[Gain | None, np.ndarray]:
    """Gain in the smallest margin of all places, with the place of the smallest after the change; and its draws."""
    was = [float(np.nanmin(m)) for m in before.margin_degc.values() if np.isfinite(m).any()]
    limited = {p: m for p, m in margin.items() if np.isfinite(m).any()}
    if not was or not limited:
        return None, np.zeros(0)
    least = np.array([np.nanmin(m, axis=1) for m in limited.values()])
    place = list(limited)[int(np.argmin(np.median(least, axis=1)))]
    gains = least.min(axis=0) - min(was)
    phase, kind = before.phase_at(int(np.nanargmin(np.median(limited[place], axis=0))))
    return Gain(place, phase, after.draws.interval(gains), kind), gains


def _in_pull(before: Before, after: Changed, inlets: Sequence[str]) -> Gain | None:
    rows = before.grid.pull
    if not inlets or not rows.any():
        return None
    cooler = np.mean((before.grid.degc[inlets[0]] - after.degc[inlets[0]])[:, rows], axis=1)
    return Gain(inlets[0], "", after.draws.interval(cooler))

"""What a fix, several together, another fuel, a pass, a hotter day or a longer stop would do to a session that was recorded: each number with its
interval and the assumption that carries most of it.

The recorded temperatures are changed by the least that physics allows to say (hotfuel.study.line.changed), in 200 draws of what nobody measured, and
the limits are worked out again by the same functions as always.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.places import place_words, probe_of
from hotfuel.risk.limit import EXTRAPOLATION_SHARE
from hotfuel.risk.margin import MarginTable, margins
from hotfuel.risk.pressure import Conditions, ambient, at_places, standard_atmosphere_kpa
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import phases
from hotfuel.study.line import longer_stop, transport
from hotfuel.study.line.change import Change, bounds, check
from hotfuel.study.line.changed import Changed, held_gauge_kpa
from hotfuel.study.line.draws import DRAWS, Draws, Interval, Own
from hotfuel.study.line.grid import STEP, Curve, Grid, curves, sampled
from hotfuel.study.line.stages import Stage, stages
from hotfuel.study.power.expectation import expectation
from hotfuel.units import Shown

__all__ = ["Change", "Curve", "Forecast", "Gain", "Row", "forecast"]
HELD_U = 0.5  # of the change in the pressure that vapour holds in the line after the stop


@dataclass(frozen=True)
class Row:
    """One place under one change; degC. running_*: median while the engine runs; hottest and margin: extremes of ten-second means.

    Middle values with the half width of their 95 % intervals (*_half_degc), and their standard deviation over the draws (*_u_degc): of the forecast
    itself, on top of the measurement's own (common to both). least and greatest: the margin's interval.
    phase: where its smallest margin would be; boils: whether boiling has a part in that margin. margin numbers are nan at a place without a limit.
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
    """By how much something gets better, degC, with its 95 % interval and what carries most of it. place: where; phase: when, "" where it is a median."""

    place: str
    phase: str
    degc: Interval


@dataclass(frozen=True)
class Forecast:
    """One change's forecast: rows by place, power in per cent (ceiling and square root; nan without a carburettor
    inlet, and where air or fuel are other ones), assumptions, sentences.

    smallest: gain in the smallest margin anywhere, and where that is then. in_pull: how much cooler the carburettor's inlet is in full-throttle pulls,
    None without one. gains: the draws of `smallest`, (DRAWS,). stages: each place by what the car does.
    """

    change: str
    rows: tuple[Row, ...]
    power_ceiling_percent: float
    power_square_root_percent: float
    assumptions: tuple[str, ...]
    sentences: tuple[str, ...] = field(default=())
    smallest: Gain | None = None
    in_pull: Gain | None = None
    gains: np.ndarray = field(default_factory=lambda: np.zeros(0), compare=False, repr=False)
    curves: Mapping[str, Curve] = field(default_factory=dict, compare=False, repr=False)
    stages: tuple[Stage, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return {name: value for name, value in asdict(replace(self, curves={})).items() if name not in ("gains", "curves")}


def forecast(
    session_or_course: Session | Course,
    changes: Sequence[Change],
    car: Car | None = None,
    shown: Shown | None = None,
    own: Mapping[str, Own] | None = None,
) -> list[Forecast]:
    """One forecast for each change. car: in place of the session's own. own: by kind what earlier fixes of one's own did (hotfuel.study.fixes.own).

    Raises InputError without a car file, or for a change out of range.
    """
    course = session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)
    used = car or course.car
    if used is None:
        raise InputError(f"{course.name} has no usable car file, so there are no limits to forecast: give one")
    units = shown or Shown(used.units)
    before = Before(course, used)
    return [_one(before, change, units, own or {}) for change in changes]


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

    def phase_at(self, row: int) -> str:
        """The phase of a row of the grid."""
        at = self.grid.time_s[row]
        return next((p.name for p in self.phases if p.start_s <= at < p.end_s), "")


def _one(before: Before, change: Change, shown: Shown, own: Mapping[str, Own]) -> Forecast:
    course, car, was = before.course, before.car, before.state
    check(course, car, change)
    after = Changed(before.grid, car, Draws(), shown, dict(own))
    if change.hotter_degc:
        after.hotter(change.hotter_degc)
    if change.acts_on_temperature:
        after.fix(change)
    if change.fuel is not None:
        after.assumptions.append(f"{change.fuel.name} instead of the session's fuel, and else the same drive.")
    fall = 0.0
    if change.higher_m:
        here = car.altitude_m or 0.0
        fall = float(standard_atmosphere_kpa(here) - standard_atmosphere_kpa(here + change.higher_m))
        after.assumptions.append(
            f"Air pressure lower by {shown.text(fall, 'pressure')} (standard atmosphere), and the same outside air."
        )
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
        after.assumptions.append(
            f"Where it boils ({', '.join(place_words(p) for p in boiling)}), boiling takes up heat and holds the temperature down: by none "
            "to two thirds of the degrees past its onset."
        )
    margin = _margins(before, after, before.table if alike else will.margins(before.degc), will, change)
    if change.stop_min is not None:
        longer_stop.lengthen(course, before.table, after, margin, change.stop_min)
    rows = [_row(before, after, place, margin.get(place), onset) for place in _named(before, margin)]
    ceiling = root = np.nan
    inlets = [p.name for p in car.places if p.role == "carburettor" and p.name in after.degc]
    on = before.grid.on
    # What another day's air, thinner air or another fuel does to power by itself is larger by far, and no part of this.
    if inlets and on.any() and not (change.hotter_degc or change.higher_m or change.fuel):
        drop = float(np.median(np.mean((before.grid.degc[inlets[0]] - after.degc[inlets[0]])[:, on], axis=1)))
        expected = expectation(drop)
        ceiling, root = expected.ceiling_with_friction_percent, expected.square_root_percent
    smallest, gains = _smallest(before, after, margin)
    pulled = _in_pull(before, after, inlets)
    sentences = _sentences(change, rows, smallest, pulled, ceiling, root, shown)
    told = (tuple(after.assumptions), tuple(sentences), smallest, pulled, gains)
    drawn = curves(before.grid, after.degc, margin)
    return Forecast(change.name, tuple(rows), ceiling, root, *told, drawn, stages(before.grid, after.degc))


def _named(before: Before, margin: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    return (*before.course.fuel_places, *(n for n in margin if n not in before.course.fuel_places))


@dataclass(frozen=True)
class State:
    """Car, fuel and pressures (n,) of the drive, before or after a change. air_kpa is known throughout: measured, else the car file's."""

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
        """Margins of these temperatures, (n,) by place, with more_kpa on top of the line's pressure."""
        return margins(self.car, self.fuel, degc, self._conditions(more_kpa))

    def onset_degc(self, places: Mapping[str, Any], flow_l_h: np.ndarray) -> dict[str, np.ndarray]:
        """Where boiling begins, (n,) by place; nan for a place without a limit. flow_l_h: what the engine speed tells (a limit takes full throttle's)."""
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
    """The car file as it would be with the change. With a pump at the tank what was suction stands under the pump's pressure; the old pump's place is a
    piece of line."""
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
    """Margins after the change, (DRAWS, m) by place: the recorded ones, moved by what the limit and the temperature move. table: of the recorded
    temperatures with the car, fuel and pressures as they will be."""
    course, grid, draws = before.course, before.grid, after.draws
    gauge = course.inputs["fuel_pressure_kpa"]
    half = table
    if np.nanmax(np.abs(will.gauge_kpa - gauge), initial=0.0) > 0.1:
        half = will.margins(before.degc, HELD_U * (gauge - will.gauge_kpa))
    held = draws.normal("held pressure", "what pressure vapour holds in the line", 0.0, 1.0)
    fuel = draws.normal("fuel", "what is known of the two fuels", 0.0, 1.0)
    height = draws.normal("height", "how the limit falls with height", 0.0, EXTRAPOLATION_SHARE)
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
        if (
            change.fuel is not None
        ):  # another fuel's limit carries that fuel's own uncertainty; the rest of the limit's is common to both
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
        phase=before.phase_at(at) if np.isfinite(least).all() else "",
        boils=boils,
        hottest=found[0],
        running=found[1],
        margin=found[2],
    )


def _smallest(before: Before, after: Changed, margin: Mapping[str, np.ndarray]) -> tuple[Gain | None, np.ndarray]:
    """Gain in the smallest margin anywhere, and where that is after the change."""
    was = [float(np.nanmin(m)) for m in before.margin_degc.values() if np.isfinite(m).any()]
    limited = {p: m for p, m in margin.items() if np.isfinite(m).any()}
    if not was or not limited:
        return None, np.zeros(0)
    least = np.array([np.nanmin(m, axis=1) for m in limited.values()])
    place = list(limited)[int(np.argmin(np.median(least, axis=1)))]
    gains = least.min(axis=0) - min(was)
    phase = before.phase_at(int(np.nanargmin(np.median(limited[place], axis=0))))
    return Gain(place, phase, after.draws.interval(gains)), gains


def _in_pull(before: Before, after: Changed, inlets: Sequence[str]) -> Gain | None:
    rows = before.grid.pull
    if not inlets or not rows.any():
        return None
    cooler = np.mean((before.grid.degc[inlets[0]] - after.degc[inlets[0]])[:, rows], axis=1)
    return Gain(inlets[0], "", after.draws.interval(cooler))


def _sentences(
    change: Change, rows: Sequence[Row], smallest: Gain | None, pulled: Gain | None, ceiling: float, root: float, shown: Shown
) -> list[str]:
    lines = []
    moved = max(
        rows,
        key=lambda row: abs(row.running_degc - row.running_before_degc) if np.isfinite(row.running_degc) else -1.0,
        default=None,
    )
    if moved is not None and abs(moved.running_degc - moved.running_before_degc) >= 0.5:
        lines.append(
            f"With {change.name}, the fuel at the {place_words(moved.place)} would stand at "
            f"{shown.no_finer(moved.running_degc, 'temperature', moved.running.half)} instead of "
            f"{shown.no_finer(moved.running_before_degc, 'temperature', moved.running.half)} while the engine runs "
            f"(median; ±{shown.no_finer(moved.running.half, 'temperature difference', moved.running.half)})."
        )
    limited = [row for row in rows if np.isfinite(row.margin_degc)]
    if limited:
        worst = min(limited, key=lambda row: row.margin_degc)
        lines.append(f"With {change.name}, {_margin(worst, shown)}")
        if moved is not None and moved in limited and moved is not worst:
            lines.append(f"At the {place_words(moved.place)} {_margin(moved, shown, named=False)}")
    if smallest is not None and smallest.degc.carried_by and smallest.degc.half >= 0.5:
        lines.append(f"Most of that doubt is {smallest.degc.carried_by}.")
    if pulled is not None:
        size = shown.no_finer(abs(pulled.degc.middle), "temperature difference", pulled.degc.half)
        size = f"{size} {'cooler' if pulled.degc.middle >= 0 else 'hotter'}" if float(size.split()[0]) else "as hot as before"
        lines.append(
            f"In full-throttle pulls the fuel at the {place_words(pulled.place)} would be {size} "
            f"(±{shown.no_finer(pulled.degc.half, 'temperature difference', pulled.degc.half)})."
        )
    if np.isfinite(ceiling) and abs(ceiling) >= 0.05:
        lines.append(
            f"Power: about {root:+.1f} % by the square-root law, {ceiling:+.1f} % at the very most; a fixed jet's mixture shift is not in it."
        )
    return lines


def _margin(row: Row, shown: Shown, named: bool = True) -> str:
    """A sentence on a place's smallest margin; below nothing it is how far the fuel comes beyond its limit. named: whether it says the place."""
    where = f" at the {place_words(row.place)}" if named else ""
    gained, half = row.margin_degc - row.margin_before_degc, row.margin.half
    still = abs(gained) < 0.05 and half < 0.1
    size = shown.text(abs(row.margin_degc), "temperature difference", 0)
    size = size if still else shown.no_finer(abs(row.margin_degc), "temperature difference", half)
    beyond = row.margin_degc < 0 and float(size.split()[0]) > 0
    if still:
        stays = f"the fuel would stay {size} beyond its limit" if beyond else f"the smallest margin would stay at {size}"
        return f"{stays}{where} ({row.phase}), because nothing in this change reaches it."
    more = shown.no_finer(abs(gained), "temperature difference", half)
    none = float(more.split()[0]) == 0  # no finer than the doubt that stands beside it
    more = "no change there" if none else f"{more} {'more' if gained >= 0 else 'less'} {'room' if beyond else 'there'}"
    doubt = shown.no_finer(half, "temperature difference", half)
    boils = "; past the onset of boiling the boiling itself holds the temperature down, so the state there is known no better than that"
    comes = f"the fuel would come to {size} beyond its limit" if beyond else f"the smallest margin would be {size}"
    return f"{comes}{where} ({row.phase}; ±{doubt} for the forecast, 95 in 100), {more}{boils if row.boils else ''}."

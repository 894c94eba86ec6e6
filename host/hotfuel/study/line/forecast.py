"""What a fix, another fuel, a pass or a hotter day would do to a session that was recorded: each number with its uncertainty and its assumption.

The recorded temperatures are changed by the least that physics allows to say (hotfuel.study.line.changed), and the limits are worked out again by the same
functions as always.
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
from hotfuel.session.means import smoothed
from hotfuel.session.recording import Session
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import fired, phases
from hotfuel.study.line import transport
from hotfuel.study.line.changed import Changed, held_gauge_kpa
from hotfuel.study.power.expectation import expectation
from hotfuel.units import Shown

HELD_U = 0.5  # of the change in the pressure that vapour holds in the line after the stop


@dataclass(frozen=True)
class Change:
    """One change to forecast; leave out what stays. `name` is what it is called.

    cooler_effectiveness (0 to 1) and cooler_before (a place): a cooler in the line just before that place, on outside air, or on coolant_degc.
    insulation_share (0 to 1) and insulated_before: heat pick-up of the section before that place cut by that share. fuel: another fuel.
    higher_m: metres higher. hotter_degc: a hotter day. submerged_pump: an electric pump in the tank.
    """

    name: str
    cooler_effectiveness: float | None = None
    cooler_before: str = ""
    coolant_degc: float | None = None
    insulation_share: float | None = None
    insulated_before: str = ""
    fuel: Fuel | None = None
    higher_m: float = 0.0
    hotter_degc: float = 0.0
    submerged_pump: bool = False


@dataclass(frozen=True)
class Row:
    """One place under one change; degC. running_*: median while the engine runs.

    Uncertainties are standard ones of the forecast itself, on top of the measurement's own (common to both).
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


@dataclass(frozen=True)
class Forecast:
    """One change's forecast: rows by place, power in per cent (ceiling and square root; nan without a carburettor
    inlet, and where air or fuel are other ones), assumptions, sentences."""

    change: str
    rows: tuple[Row, ...]
    power_ceiling_percent: float
    power_square_root_percent: float
    assumptions: tuple[str, ...]
    sentences: tuple[str, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self)


def forecast(
    session_or_course: Session | Course, changes: Sequence[Change], car: Car | None = None, shown: Shown | None = None
) -> list[Forecast]:
    """One forecast for each change. car: in place of the session's own. Raises InputError without a car file, or for a change out of range."""
    course = session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)
    own = car or course.car
    if own is None:
        raise InputError(f"{course.name} has no usable car file, so there are no limits to forecast: give one")
    units = shown or Shown(own.units)
    return [_one(course, own, change, units) for change in changes]


def _checked(course: Course, car: Car, change: Change) -> None:
    for share, place, what in (
        (change.cooler_effectiveness, change.cooler_before, "a cooler"),
        (change.insulation_share, change.insulated_before, "insulation"),
    ):
        if share is None:
            continue
        if not 0 < share <= 1:
            raise InputError(f"{change.name}: {what} {share:g} was given, allowed is above 0 to 1 (a share)")
        if place not in course.fuel_places[1:]:
            places = ", ".join(course.fuel_places[1:]) or "none"
            raise InputError(f'{change.name}: "{place}" is no place that {what} can stand before: choose among {places}')
        at = course.fuel_places.index(place)
        for name in course.fuel_places[at - 1 : at + 1]:
            if not np.isfinite(course.degc[name]).any():
                raise InputError(
                    f"{change.name}: {course.name} has no reading of {name}, so nobody knows what {what} finds there"
                )
    if not -20 <= change.hotter_degc <= 40:
        raise InputError(f"{change.name}: a day hotter by {change.hotter_degc:g} °C was given, allowed is -20 to 40 °C")
    if not -4000 <= change.higher_m <= 5000:
        raise InputError(f"{change.name}: {change.higher_m:g} m higher was given, allowed is -4000 to 5000 m")
    if change.submerged_pump and car.pump.kind == "electric_submerged":
        raise InputError(
            f'{change.name}: the car file says that the pump is in the tank already (pump.kind = "electric_submerged")'
        )
    nothing = (change.cooler_effectiveness, change.insulation_share, change.fuel) == (None, None, None)
    if nothing and not (change.higher_m or change.hotter_degc or change.submerged_pump):
        raise InputError(
            f"{change.name} changes nothing: give a cooler, insulation, a fuel, an altitude, a hotter day or a pump in the tank"
        )


def _one(course: Course, car: Car, change: Change, shown: Shown) -> Forecast:
    _checked(course, car, change)
    after = Changed.of(course, [p.name for p in car.places], shown)
    if change.hotter_degc:
        after.hotter(change.hotter_degc)
    if change.cooler_effectiveness is not None:
        after.cool(change.cooler_before, change.cooler_effectiveness, change.coolant_degc, change.hotter_degc)
    if change.insulation_share is not None:
        after.insulate(change.insulated_before, change.insulation_share, car)
    if change.submerged_pump:
        after.without_engine_pump(car)
    if change.fuel is not None:
        after.assumptions.append(f"{change.fuel.name} instead of the session's fuel, and else the same drive.")
    was = _State.of(course, car, car.fuel(), course.inputs["fuel_pressure_kpa"], 0.0)
    fall = 0.0
    if change.higher_m:
        here = car.altitude_m or 0.0
        fall = float(standard_atmosphere_kpa(here) - standard_atmosphere_kpa(here + change.higher_m))
        after.assumptions.append(
            f"Air pressure lower by {shown.text(fall, 'pressure')} (standard atmosphere), and the same outside air."
        )
    will_car = _with_tank_pump(car) if change.submerged_pump else car
    will_fuel = change.fuel or was.fuel
    will = _State.of(
        course,
        will_car,
        will_fuel,
        held_gauge_kpa(course, car, (was.fuel, will_fuel), after.degc, (was.air_kpa, was.air_kpa - fall)),
        fall,
    )
    onset = (was.onset_degc(after.degc), will.onset_degc(after.degc))
    boiling = {place for place in course.fuel_places if after.boil(place, onset[0][place], onset[1][place])}
    if boiling:
        after.assumptions.append(
            f"Where it boils ({', '.join(p for p in course.fuel_places if p in boiling)}), boiling takes up heat and holds the temperature down: by half "
            "to nine tenths of the degrees past its onset while fuel flows, by none to half standing."
        )
    tables = was.margins({p: course.degc[p] for p in after.degc}), will.margins(after.degc)
    half = (
        will.margins(after.degc, HELD_U * (course.inputs["fuel_pressure_kpa"] - will.gauge_kpa))
        if np.nanmax(np.abs(will.gauge_kpa - was.gauge_kpa), initial=0.0) > 0.1
        else tables[1]
    )
    rows = _rows(course, after, tables, half, change, (was.fuel, will_fuel), onset[1])
    ceiling = root = np.nan
    inlets = [p.name for p in car.places if p.role == "carburettor" and p.name in after.degc]
    # What another day's air, thinner air or another fuel does to power by itself is larger by far, and no part of this.
    if inlets and not (change.hotter_degc or change.higher_m or change.fuel):
        drop = (course.degc[inlets[0]] - after.degc[inlets[0]])[fired(course)]
        expected = expectation(float(np.nanmean(drop)) if np.isfinite(drop).any() else 0.0)
        ceiling, root = expected.ceiling_with_friction_percent, expected.square_root_percent
    sentences = _sentences(change, rows, ceiling, root, shown)
    return Forecast(change.name, tuple(rows), ceiling, root, tuple(after.assumptions), tuple(sentences))


@dataclass(frozen=True)
class _State:
    """Car, fuel and pressures (n,) of the drive, before or after a change. air_kpa is known throughout: measured, else the car file's."""

    course: Course
    car: Car
    fuel: Fuel
    gauge_kpa: np.ndarray
    air_kpa: np.ndarray
    air_measured: bool

    @classmethod
    def of(cls, course: Course, car: Car, fuel: Fuel, gauge_kpa: np.ndarray, fall_kpa: float) -> "_State":
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
        return margins(self.car, self.fuel, degc, self._conditions(more_kpa))

    def onset_degc(self, places: Mapping[str, Any]) -> dict[str, np.ndarray]:
        """Where boiling begins, (n,) by place; nan for a place without a limit. At the flow the engine speed tells: a limit takes full throttle's."""
        conditions = replace(self._conditions(), flow_l_h=transport.flow_of(self.course).litres_h)
        found = at_places(self.car, conditions, self.fuel.density_15c_kg_m3)
        shape = self.course.time_s.shape
        return {
            p: self.fuel.limit_table.limit_degc(np.broadcast_to(found[p].pressure_kpa, shape), 0.0)
            if p in found
            else np.full(shape, np.nan)
            for p in places
        }


def _with_tank_pump(car: Car) -> Car:
    """What was suction stands under the pump's pressure then; the old pump's place is a piece of line."""
    places = tuple(p.model_copy(update={"role": "line"}) if p.role in ("suction", "pump") else p for p in car.places)
    return car.model_copy(update={"pump": car.pump.model_copy(update={"kind": "electric_submerged"}), "places": places})


def _rows(
    course: Course,
    after: Changed,
    tables: tuple[MarginTable, MarginTable],
    half: MarginTable,
    change: Change,
    fuels: tuple[Fuel, Fuel],
    onset_degc: Mapping[str, np.ndarray],
) -> list[Row]:
    found, on = phases(course), fired(course)
    rows = []
    for place in (*course.fuel_places, *(n for n in tables[1].places if n not in course.fuel_places)):
        base = probe_of(place)
        u_degc = after.u_degc[base]
        hot = [_largest(course.time_s, x[base]) for x in (course.degc, after.degc)]
        least = [_largest(course.time_s, t.places[place].margin_degc, -1) if place in t.places else (np.nan, 0) for t in tables]
        margin_u, at, boils = np.nan, least[1][1], False
        if np.isfinite(least[1][0]):
            # Another fuel's limit carries that fuel's own uncertainty; the rest of the limit's is common to both.
            limit_u = (
                float(np.hypot(fuels[0].limit_uncertainty_degc, fuels[1].limit_uncertainty_degc))
                if change.fuel is not None
                else 0.0
            )
            if change.higher_m:  # the published altitude rule and mixtures differ by this share of the drop
                limit_u = float(np.hypot(limit_u, EXTRAPOLATION_SHARE * (least[1][0] - least[0][0])))
            held_u = float(np.nan_to_num(half.places[place].limit_degc[at] - tables[1].places[place].limit_degc[at]))
            part_u = _extreme_u(course.time_s, -tables[1].places[place].margin_degc, u_degc, (-least[1][0], at))
            margin_u = float(np.sqrt(part_u**2 + limit_u**2 + held_u**2))
            boils = bool(after.degc[base][at] > onset_degc[base][at])
        running = [_running(x[base][on]) for x in (course.degc, after.degc, after.u_degc)]
        phase = next((p.name for p in found if p.start_s <= course.time_s[at] < p.end_s), "") if np.isfinite(margin_u) else ""
        rows.append(
            Row(
                place=place,
                hottest_before_degc=hot[0][0],
                hottest_degc=hot[1][0],
                hottest_u_degc=_extreme_u(course.time_s, after.degc[base], u_degc, hot[1]),
                running_before_degc=running[0],
                running_degc=running[1],
                running_u_degc=running[2],
                margin_before_degc=least[0][0],
                margin_degc=least[1][0],
                margin_u_degc=margin_u,
                phase=phase,
                boils=boils,
            )
        )
    return rows


def _running(values: np.ndarray) -> float:
    return float(np.nanmedian(values)) if np.isfinite(values).any() else np.nan


def _extreme_u(time_s: np.ndarray, values: np.ndarray, u: np.ndarray, largest: tuple[float, int]) -> float:
    """Uncertainty of a largest value: its own, or what another moment, less well known, may reach beyond it."""
    reach = _largest(time_s, values + u)[0] - largest[0]
    return max((float(x) for x in (u[largest[1]], reach) if np.isfinite(x)), default=np.nan)


def _largest(time_s: np.ndarray, values: np.ndarray, sign: int = 1) -> tuple[float, int]:
    """(largest of the 10 s means, its row), or with sign -1 the smallest; (nan, 0) where there is none."""
    mean = smoothed(time_s, np.broadcast_to(values, time_s.shape))
    if not np.isfinite(mean).any():
        return np.nan, 0
    at = int(np.nanargmax(sign * mean))
    return float(mean[at]), at


def _sentences(change: Change, rows: Sequence[Row], ceiling: float, root: float, shown: Shown) -> list[str]:
    lines = []
    moved = max(
        rows,
        key=lambda row: abs(row.running_degc - row.running_before_degc) if np.isfinite(row.running_degc) else -1.0,
        default=None,
    )
    if moved is not None and abs(moved.running_degc - moved.running_before_degc) >= 0.5:
        lines.append(
            f"With {change.name}, the fuel at the {place_words(moved.place)} would stand at {shown.text(moved.running_degc, 'temperature')} instead of "
            f"{shown.text(moved.running_before_degc, 'temperature')} while the engine runs "
            f"(median; ±{shown.text(moved.running_u_degc, 'temperature difference')})."
        )
    limited = [row for row in rows if np.isfinite(row.margin_degc)]
    if limited:
        worst = min(limited, key=lambda row: row.margin_degc)
        lines.append(f"With {change.name}, the smallest margin would {_margin(worst, shown)}")
        if moved is not None and moved in limited and moved is not worst:
            lines.append(f"At the {place_words(moved.place)} the smallest margin would {_margin(moved, shown, False)}")
    if np.isfinite(ceiling) and abs(ceiling) >= 0.05:
        lines.append(
            f"Power: about {root:+.1f} % by the square-root law, {ceiling:+.1f} % at the very most; a fixed jet's mixture shift is not in it."
        )
    return lines


def _margin(row: Row, shown: Shown, named: bool = True) -> str:
    """The rest of a sentence on a place's smallest margin, from its verb on."""
    where = f" at the {place_words(row.place)}" if named else ""
    size, gained = shown.text(row.margin_degc, "temperature difference"), row.margin_degc - row.margin_before_degc
    if abs(gained) < 0.05 and row.margin_u_degc < 0.05:
        return f"stay at {size}{where} ({row.phase})."
    more = f"{shown.text(abs(gained), 'temperature difference')} {'more' if gained >= 0 else 'less'}"
    doubt = shown.text(row.margin_u_degc, "temperature difference")
    boils = "; past the onset of boiling the boiling itself holds the temperature down, so the state there is known no better than that"
    return f"be {size}{where} ({row.phase}; ±{doubt} for the forecast), {more} there{boils if row.boils else ''}."

"""What a fix, another fuel, a pass or a hotter day would do to a session that was recorded: each number with its uncertainty and its assumption.

The recorded temperatures are changed by the least that physics allows to say, the limits are worked out again by the same functions as always, and
what is not known (how much of a cooler's work is lost again on the way) is in the uncertainty.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.risk.margin import EXTRAPOLATION_SHARE, margins
from hotfuel.risk.pressure import Conditions, ambient, standard_atmosphere_kpa
from hotfuel.study.course import Course, of_session
from hotfuel.study.expectation import expectation
from hotfuel.study.phases import fired, phases
from hotfuel.study.summaries import smoothed
from hotfuel.units import Shown

KEPT, KEPT_U = 0.8, 0.12  # share of a cooler's drop that is still there at the next place (assumption; a short hose keeps more)
AMBIENT_SLOPE_U = (
    0.15  # one for all that stands in outside air; a thermostat holds the engine's own heat, which makes it less there
)
COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC = 3.0, 3.0  # air that reaches a cooler's core (assumption)


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
    phase: where its smallest margin would be. margin numbers are nan at a place without a limit.
    """

    place: str
    hottest_before_degc: float
    hottest_degc: float
    hottest_u_degc: float
    running_before_degc: float
    running_degc: float
    margin_before_degc: float
    margin_degc: float
    margin_u_degc: float
    phase: str


@dataclass(frozen=True)
class Forecast:
    """One change's forecast: rows by place, power in per cent (ceiling and square root; nan without a carburettor inlet), assumptions, sentences."""

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
    session_or_course: Any, changes: Sequence[Change], car: Car | None = None, shown: Shown | None = None
) -> list[Forecast]:
    """One forecast for each change. car: in place of the session's own. Raises InputError without a car file, or for a change out of range."""
    course = session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)
    own = car or course.car
    if own is None:
        raise InputError(f"{course.name} has no usable car file, so there are no limits to forecast: give one")
    units = shown or Shown(own.units)
    return [_one(course, own, change, units) for change in changes]


def _checked(course: Course, change: Change) -> None:
    for share, place, what in (
        (change.cooler_effectiveness, change.cooler_before, "cooler"),
        (change.insulation_share, change.insulated_before, "insulation"),
    ):
        if share is None:
            continue
        if not 0 < share <= 1:
            raise InputError(f"{change.name}: {what} {share:g} was given, allowed is above 0 to 1 (a share)")
        if place not in course.fuel_places[1:]:
            places = ", ".join(course.fuel_places[1:]) or "none"
            raise InputError(f'{change.name}: "{place}" is no place that a {what} can stand before: choose among {places}')
    if not -20 <= change.hotter_degc <= 40:
        raise InputError(f"{change.name}: a day hotter by {change.hotter_degc:g} °C was given, allowed is -20 to 40 °C")
    if not -4000 <= change.higher_m <= 5000:
        raise InputError(f"{change.name}: {change.higher_m:g} m higher was given, allowed is -4000 to 5000 m")
    nothing = (change.cooler_effectiveness, change.insulation_share, change.fuel) == (None, None, None)
    if nothing and not (change.higher_m or change.hotter_degc or change.submerged_pump):
        raise InputError(
            f"{change.name} changes nothing: give a cooler, insulation, a fuel, an altitude, a hotter day or a pump in the tank"
        )


def _one(course: Course, car: Car, change: Change, shown: Shown) -> Forecast:
    _checked(course, change)
    known = {p.name for p in car.places}
    before = {p: v for p, v in course.degc.items() if p in known}
    after = {p: v.copy() for p, v in before.items()}
    spread = {p: 0.0 for p in before}
    assumptions: list[str] = []
    if change.hotter_degc:
        for place in course.fuel_places:
            after[place] = after[place] + change.hotter_degc
            spread[place] = float(np.hypot(spread[place], abs(change.hotter_degc) * AMBIENT_SLOPE_U))
        assumptions.append(
            "Fuel rises degree for degree with the outside air (±15 %; under the bonnet rather less, so this is careful)."
        )
    if change.cooler_effectiveness is not None:
        assumptions += _cool(course, change, after, spread)
    if change.insulation_share is not None:
        assumptions += _insulate(course, change, before, after, spread)
    other_car, fuel, pressure = _surroundings(course, car, change, assumptions)
    own_fuel = car.fuel()
    first = _table(course, car, own_fuel, before, course.inputs["ambient_pressure_kpa"])
    second = _table(course, other_car, fuel or own_fuel, after, pressure)
    found, on = phases(course), fired(course)
    rows = []
    for place in (*course.fuel_places, *(n for n in second if n not in course.fuel_places)):
        base = place.removesuffix("_needle")
        hot = [float(np.nanmax(smoothed(course.time_s, x[base]), initial=-np.inf)) for x in (before, after)]
        least = [_smallest(course.time_s, table.get(place)) for table in (first, second)]
        phase = next((p.name for p in found if p.start_s <= least[1][1] < p.end_s), "")
        # Another fuel's limit carries that fuel's own uncertainty; the rest of the limit's is common to both.
        limit_u = float(np.hypot(own_fuel.limit_uncertainty_degc, fuel.limit_uncertainty_degc)) if fuel is not None else 0.0
        if change.higher_m:  # the published altitude rule and mixtures differ by this share of the drop
            limit_u = float(np.hypot(limit_u, EXTRAPOLATION_SHARE * (least[1][0] - least[0][0])))
        margin_u = float(np.hypot(spread[base], limit_u)) if np.isfinite(least[1][0]) else np.nan
        running = [float(np.nanmedian(x[base][on])) if np.isfinite(x[base][on]).any() else np.nan for x in (before, after)]
        rows.append(Row(place, hot[0], hot[1], spread[base], running[0], running[1], least[0][0], least[1][0], margin_u, phase))
    ceiling = root = np.nan
    inlets = [p.name for p in car.places if p.role == "carburettor" and p.name in before]
    if inlets:
        drop = before[inlets[0]] - after[inlets[0]]
        cooler = float(np.nanmean(drop[on])) if np.isfinite(drop[on]).any() else 0.0
        expected = expectation(cooler)
        ceiling, root = expected.ceiling_with_friction_percent, expected.square_root_percent
    return Forecast(
        change.name, tuple(rows), ceiling, root, tuple(assumptions), tuple(_sentences(change, rows, ceiling, root, shown))
    )


def _cool(course: Course, change: Change, after: dict[str, np.ndarray], spread: dict[str, float]) -> list[str]:
    """A cooler before a place takes a share of the way to its coolant, at that place and, less what is picked up again, behind it."""
    share = change.cooler_effectiveness or 0.0
    coolant = change.coolant_degc
    lines = []
    if coolant is None:
        if not np.isfinite(course.ambient_degc):
            raise InputError(
                f"{change.name}: the outside temperature of {course.name} is not known; give it, or the coolant's temperature"
            )
        coolant = course.ambient_degc + change.hotter_degc + COOLANT_OVER_AMBIENT_DEGC
        lines.append(f"The cooler sees air {COOLANT_OVER_AMBIENT_DEGC:g} ± {COOLANT_U_DEGC:g} °C above outside air.")
    places = course.fuel_places
    at = places.index(change.cooler_before)
    on = fired(course)
    # What enters the cooler is what comes from the place before, warmed on the way: taken as the reading at the place itself.
    drop = np.where(on, np.maximum(share * (after[places[at]] - coolant), 0.0), 0.0)
    if not on.any():
        lines.append("The engine never ran in this session, and without flow a cooler in the line does nothing.")
    kept = 1.0
    for place in places[at:]:
        after[place] = after[place] - kept * drop
        largest = float(np.nanmax(drop)) if np.isfinite(drop).any() else 0.0
        lost = KEPT_U * largest if place != places[at] else 0.0
        spread[place] = float(
            np.sqrt(spread[place] ** 2 + lost**2 + (share * COOLANT_U_DEGC * (change.coolant_degc is None)) ** 2)
        )
        kept *= KEPT
    lines.append(
        f"An effectiveness of {share:g} at every flow, only while fuel flows; {KEPT:.0%} of the drop is left at each further place."
    )
    return lines


def _insulate(
    course: Course, change: Change, before: Mapping[str, np.ndarray], after: dict[str, np.ndarray], spread: dict[str, float]
) -> list[str]:
    places = course.fuel_places
    at = places.index(change.insulated_before)
    rise = np.maximum(before[places[at]] - before[places[at - 1]], 0.0)
    # Standing fuel warms on towards the same temperature, only later: half the effect, with an uncertainty as large.
    on = fired(course)
    saved = (change.insulation_share or 0.0) * rise * np.where(on, 1.0, 0.5)
    kept = 1.0
    for place in places[at:]:
        after[place] = after[place] - kept * saved
        standing = float(np.nanmax(np.where(on, 0.0, saved), initial=0.0))
        flowing = float(np.nanmax(np.where(on, saved, 0.0), initial=0.0))
        spread[place] = float(np.sqrt(spread[place] ** 2 + (0.3 * flowing) ** 2 + (0.6 * standing) ** 2))
        kept *= KEPT
    return [
        f"The rise from {places[at - 1]} to {places[at]} is heat through that section's wall; insulation cuts it by its share while fuel flows "
        "(±30 %) and by half of that standing, where it delays more than it lowers."
    ]


def _surroundings(course: Course, car: Car, change: Change, assumptions: list[str]) -> tuple[Car, Fuel | None, np.ndarray]:
    pressure = course.inputs["ambient_pressure_kpa"]
    if change.fuel is not None:
        assumptions.append(f"The same temperatures with {change.fuel.name}: only its limits change.")
    if change.higher_m:
        here = car.altitude_m or 0.0
        fall = float(standard_atmosphere_kpa(here) - standard_atmosphere_kpa(here + change.higher_m))
        car = car.model_copy(update={"station_pressure_kpa": ambient(car).pressure_kpa - fall, "altitude_m": None})
        pressure = pressure - fall
        assumptions.append(f"Air pressure lower by {fall:.1f} kPa (standard atmosphere) and the same temperatures.")
    if change.submerged_pump:
        # What was suction stands under the pump's pressure then; the old pump's place is a piece of line.
        places = tuple(p.model_copy(update={"role": "line"}) if p.role in ("suction", "pump") else p for p in car.places)
        car = car.model_copy(update={"pump": car.pump.model_copy(update={"kind": "electric_submerged"}), "places": places})
        assumptions.append(
            "With a pump in the tank the line to the engine stands under its pressure while it runs, and under the air's as soon as it stops; "
            "the temperatures are left as recorded, which is careful."
        )
    return car, change.fuel, pressure


def _table(
    course: Course, car: Car, fuel: Fuel, degc: Mapping[str, np.ndarray], pressure_kpa: np.ndarray
) -> dict[str, np.ndarray]:
    names = ("running", "engine_rpm", "fuel_pressure_kpa", "ignition")
    given = {name: course.inputs[name] for name in names if np.isfinite(course.inputs[name]).any()}
    air = pressure_kpa if np.isfinite(pressure_kpa).any() else None
    table = margins(car, fuel, degc, Conditions(**given, ambient_pressure_kpa=air, time_s=course.time_s))
    return {name: np.broadcast_to(place.margin_degc, course.time_s.shape) for name, place in table.places.items()}


def _smallest(time_s: np.ndarray, margin: np.ndarray | None) -> tuple[float, float]:
    if margin is None or not np.isfinite(margin).any():
        return np.nan, np.nan
    mean = smoothed(time_s, margin)
    at = int(np.nanargmin(mean))
    return float(mean[at]), float(time_s[at])


def _sentences(change: Change, rows: Sequence[Row], ceiling: float, root: float, shown: Shown) -> list[str]:
    lines = []
    moved = max(
        rows,
        key=lambda row: abs(row.running_degc - row.running_before_degc) if np.isfinite(row.running_degc) else -1.0,
        default=None,
    )
    if moved is not None and abs(moved.running_degc - moved.running_before_degc) >= 0.5:
        lines.append(
            f"With {change.name}, the fuel at {moved.place} would stand at {shown.text(moved.running_degc, 'temperature')} instead of "
            f"{shown.text(moved.running_before_degc, 'temperature')} while the engine runs "
            f"(median; ±{shown.text(moved.hottest_u_degc, 'temperature difference')})."
        )
    limited = [row for row in rows if np.isfinite(row.margin_degc)]
    if limited:
        worst = min(limited, key=lambda row: row.margin_degc)
        gained = worst.margin_degc - worst.margin_before_degc
        more = f"{shown.text(abs(gained), 'temperature difference')} {'more' if gained >= 0 else 'less'}"
        doubt = shown.text(worst.margin_u_degc, "temperature difference")
        lines.append(
            f"With {change.name}, the smallest margin would be {shown.text(worst.margin_degc, 'temperature difference')} at {worst.place} "
            f"({worst.phase}; ±{doubt} for the forecast), {more} there."
        )
    if np.isfinite(ceiling) and abs(ceiling) >= 0.05:
        lines.append(
            f"Power: about {root:+.1f} % by the square-root law, {ceiling:+.1f} % at the very most; a fixed jet's mixture shift is not in it."
        )
    return lines

"""A cooler in the line, measured from a session's steady running (hotfuel.study.line.cooler)."""

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import fired
from hotfuel.study.line import transport
from hotfuel.study.line.cooler import Cooled, Cooler, capacity_flow_w_k, elsewhere, ice_minutes, measured
from hotfuel.study.line.hose import Flow, FlowBasis

ALIKE_SHARE = 0.25  # flows that close to the median count as one flow
WARMED_S = 120  # of running, until fuel and cooler have settled
LEAST_S = 60
MELTING_DEGC = 0.0
# A rubber hose of 8 mm bore, per litre of its volume: 10 to 25 W/m2K outside, the wall, slow fuel inside, in series (calculated, not measured).
HOSE_W_K_L, HOSE_SHARE_U = 8.0, 0.4
MOST_BEHIND_L = 10.0


class NotCooledError(InputError):
    """Fuel comes out of the cooler no cooler than it went in. Temperatures in degC."""

    def __init__(self, message: str, before: str, place: str, inlet_degc: float, outlet_degc: float) -> None:
        super().__init__(message)
        self.before, self.place, self.inlet_degc, self.outlet_degc = before, place, inlet_degc, outlet_degc


class CoolantError(InputError):
    """The coolant's temperature is not known. session: the session's name."""

    def __init__(self, message: str, session: str) -> None:
        super().__init__(message)
        self.session = session


@dataclass(frozen=True)
class Behind:
    """The hose from the cooler to the place: its volume (the largest it can be, where not given), the air beside it, and how much the fuel warmed in it.

    warmed_degc is subtracted from the reading; where the volume was not given it is 0, and warmed_u_degc allows for all of it. given: the volume was.
    """

    litres: float
    given: bool
    air_degc: float
    warmed_degc: float
    warmed_u_degc: float


@dataclass(frozen=True)
class LineCooler:
    """A cooler just before `place`, over `steady_s` of running at about one flow. Temperatures are medians, degC; before: the place before.

    steady: (n,) the seconds counted. outlet_degc: fuel leaving the cooler, less what it took up in the hose behind it where that is known (`behind`,
    else None).
    """

    before: str
    place: str
    inlet_degc: float
    outlet_degc: float
    coolant_degc: float
    steady_s: float
    flow_basis: FlowBasis
    flow_relative_u: float
    cooler: Cooler
    behind: Behind | None = None
    steady: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool), repr=False, compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        plain = {key: value for key, value in asdict(self).items() if key != "steady"}
        if plain["behind"] is not None:
            plain["behind"]["said"] = plain["behind"].pop("given")  # the key of older output
        return plain

    @property
    def drop_u_degc(self) -> float:
        """Standard uncertainty of inlet less outlet: from two readings, where the effectiveness has three."""
        share, span = self.cooler.effectiveness, self.inlet_degc - self.coolant_degc
        return float(self.cooler.effectiveness_u * span * np.sqrt(2 / (1 + (1 - share) ** 2 + share**2)))


def in_session(
    course: Course,
    place: str,
    coolant: float | str | None = None,
    flow: Flow | None = None,
    *,
    coolant_w_k: float = np.inf,
    arrangement: str = "crossflow",
    hose_behind_l: float | None = None,
) -> LineCooler:
    """The cooler between a place and the one before it.

    coolant: its temperature in degC, or the name of the place of a probe in it; None is outside air. flow: through the line, None works it out from
    engine speed. coolant_w_k: as in hotfuel.study.line.cooler.measured. hose_behind_l: volume of the hose from the cooler to the place; None: the cooler
    may be anywhere in its section. Raises InputError for a place without one before it, an unknown flow, too little steady running, a hose of an
    impossible volume and readings that contradict each other; its subclasses CoolantError, NotCooledError and SpanError hold the numbers of theirs.
    """
    places = transport.line_places(course)
    if course.car is None:
        raise course.without_car("it is not known what lies between two places")
    if place not in places[1:]:
        raise InputError(
            f'a cooler cannot stand before "{place_words(place)}": choose among '
            f"{', '.join(map(place_words, places[1:])) or 'no places (there is only one)'}"
        )
    before = places[places.index(place) - 1]
    beside = _coolant(course, coolant)
    litres, relative_u, basis = _flow(course, flow)
    on = _settled(course) & np.isfinite(course.degc[before] + course.degc[place] + beside) & (litres > 0)
    middle = float(np.median(litres[on])) if on.any() else np.nan
    on &= np.abs(litres - middle) <= ALIKE_SHARE * middle
    steady_s = float(on.sum()) * STEP_S
    if steady_s < LEAST_S:
        raise InputError(
            f"{course.name} has {steady_s:.0f} s of settled running at about one flow with both temperatures: a cooler needs at least {LEAST_S} s"
        )
    inlet, outlet, cold, fuel = (float(np.median(x[on])) for x in (course.degc[before], course.degc[place], beside, litres))
    if outlet >= inlet:
        raise NotCooledError(
            f"fuel came to the {place_words(place)} at {outlet:.1f} °C, no cooler than the {inlet:.1f} °C of the {place_words(before)}: "
            "nothing between them cools it",
            before,
            place,
            inlet,
            outlet,
        )
    reading = [transport.reading_u_degc(course, p, fuel) for p in (before, place)]
    behind = _behind(course, place, coolant, outlet, on, (fuel, relative_u), hose_behind_l)
    leaving = outlet - (behind.warmed_degc if behind else 0.0)
    reading[1] = float(np.hypot(reading[1], behind.warmed_u_degc if behind else 0.0))
    found = measured(
        inlet,
        leaving,
        cold,
        fuel,
        coolant_w_k=coolant_w_k,
        arrangement=arrangement,
        reading_u_degc=float(np.sqrt(np.mean(np.square(reading)))),
        flow_relative_u=relative_u,
    )
    return LineCooler(before, place, inlet, leaving, cold, steady_s, basis, relative_u, found, behind, on)


def _behind(
    course: Course,
    place: str,
    coolant: float | str | None,
    read_degc: float,
    on: np.ndarray,
    flow: tuple[float, float],
    given_l: float | None,
) -> Behind | None:
    """How much the fuel warmed between the cooler and the place; None without a probe in the air beside the hose, or without its volume.

    flow: L/h, relative standard uncertainty. Plug flow: T_out = T_air + (T_in - T_air) exp(-UA / capacity flow).
    """
    assert course.car is not None
    air = transport.air_beside(course)
    section_l = course.car.place(place).volume_from_previous_l
    if given_l is not None and not 0 <= given_l <= MOST_BEHIND_L:
        raise InputError(f"a hose of {given_l:g} L behind the cooler was given: allowed are 0 to {MOST_BEHIND_L:g} L")
    if given_l == 0:
        return Behind(0.0, True, np.nan, 0.0, 0.0)
    if air is None or air == coolant or not (given_l or section_l):
        return None
    litres = given_l or section_l or 0.0
    air_degc = float(np.nanmedian(course.degc[air][on]))
    passes = HOSE_W_K_L * litres / capacity_flow_w_k(flow[0])
    warmed = (air_degc - read_degc) * float(np.expm1(passes))
    share_u = float(np.hypot(HOSE_SHARE_U, flow[1]))
    if not given_l:
        # Anything from nothing to all of it: nothing is subtracted, and the root mean square of what may be missing counts as uncertainty.
        return Behind(litres, False, air_degc, 0.0, abs(warmed) * float(np.hypot(1, share_u) / np.sqrt(3)))
    # The warming grows faster than the exchange: the step upwards, which is the larger one, counts as the uncertainty.
    return Behind(litres, True, air_degc, warmed, abs(air_degc - read_degc + warmed) * float(np.expm1(passes * share_u)))


@dataclass(frozen=True)
class There:
    """The same cooler at another inlet, coolant or flow."""

    inlet_degc: float
    coolant_degc: float
    fuel_l_h: float
    cooled: Cooled


def there(seen: LineCooler, inlet_degc: float | None, coolant_degc: float | None, fuel_l_h: float | None) -> There:
    """The same cooler under other conditions; None keeps the measured one. Raises InputError for a flow that is not above 0."""
    inlet = seen.inlet_degc if inlet_degc is None else inlet_degc
    coolant = seen.coolant_degc if coolant_degc is None else coolant_degc
    flow = seen.cooler.fuel_l_h if fuel_l_h is None else fuel_l_h
    return There(inlet, coolant, flow, elsewhere(seen.cooler, inlet, coolant, flow))


@dataclass(frozen=True)
class Ice:
    """Minutes until ice_kg are melted by heat_w, with their standard uncertainty."""

    ice_kg: float
    heat_w: float
    minutes: float
    u_minutes: float


def ice(ice_kg: float, heat_w: float, heat_u_w: float) -> Ice:
    """How long ice at 0 degC lasts at a heat flow from the fuel. Raises InputError for values not above 0."""
    minutes = ice_minutes(ice_kg, heat_w)
    return Ice(ice_kg, heat_w, minutes, minutes * heat_u_w / heat_w)


def _coolant(course: Course, coolant: float | str | None) -> np.ndarray:
    if isinstance(coolant, str):
        if coolant not in course.degc:
            raise InputError(f'there is no temperature of "{coolant}" in {course.name}; it has {", ".join(course.degc)}')
        return course.degc[coolant]
    value = course.ambient_degc if coolant is None else coolant
    if not np.isfinite(value):
        raise CoolantError(
            f"the outside temperature of {course.name} is not known: give the coolant's temperature, or the place of a probe in it",
            course.name,
        )
    return np.full_like(course.time_s, value)


def _flow(course: Course, flow: Flow | None) -> tuple[np.ndarray, float, FlowBasis]:
    given = transport.flow_of(course) if flow is None else flow
    litres = np.broadcast_to(given.litres_h, course.time_s.shape)
    if not np.isfinite(litres).any():
        raise InputError(
            f"the fuel's flow in {course.name} is not known: give it, or record engine speed and name the displacement in the car file"
        )
    return np.nan_to_num(litres), given.relative_u, given.basis


def _settled(course: Course) -> np.ndarray:
    """Whether the engine has run for WARMED_S at least, (n,) by second."""
    on = fired(course)
    stopped = np.where(on, 0, np.arange(len(on)) + 1)
    return on & (np.arange(len(on)) + 1 - np.maximum.accumulate(stopped) > WARMED_S / STEP_S)

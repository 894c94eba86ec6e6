"""A cooler in the line as a session shows it: what its steady running tells (hotfuel.study.line.cooler), in numbers and sentences."""

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import fired
from hotfuel.study.line import transport
from hotfuel.study.line.cooler import Cooled, Cooler, capacity_flow_w_k, elsewhere, ice_minutes, measured
from hotfuel.study.line.hose import Flow
from hotfuel.units import Shown, expanded

_SI = Shown()
ALIKE_SHARE = 0.25  # flows that near the middle one count as one flow
WARMED_S = 120  # of running, before fuel and cooler have settled
LEAST_S = 60
MELTING_DEGC = 0.0
# Of a rubber hose of 8 mm bore, per litre it holds: 10 to 25 W/m2K outside, the wall, slow fuel inside, in series (calculated, not measured).
HOSE_W_K_L, HOSE_SHARE_U = 8.0, 0.4
MOST_BEHIND_L = 10.0


def with_doubt(value: float, u: float) -> str:
    """A number with its 95 %, both as fine as the doubt has one figure. Example: with_doubt(0.618, 0.05) -> "0.62 ±0.10"."""
    half = float(expanded(u))
    decimals = int(np.clip(-np.floor(np.log10(half)), 0, 2)) if half > 0 else 2
    return f"{value:.{decimals}f} ±{half:.{decimals}f}"


@dataclass(frozen=True)
class Behind:
    """The hose from the cooler to the place: litres it holds (at most, where nobody said), the air beside it, and how much the fuel warmed in it.

    warmed_degc is taken off the reading; where nobody said where in its section the cooler sits it is 0, and all of it is in warmed_u_degc.
    """

    litres: float
    said: bool
    air_degc: float
    warmed_degc: float
    warmed_u_degc: float


@dataclass(frozen=True)
class LineCooler:
    """A cooler just before `place`, over `steady_s` of running at about one flow. Temperatures are medians, degC; before: the place before.

    steady: (n,) the seconds counted.
    outlet_degc: fuel leaving the cooler, what it took up in the hose behind it taken off where that can be told (`behind`, else None).
    """

    before: str
    place: str
    inlet_degc: float
    outlet_degc: float
    coolant_degc: float
    steady_s: float
    flow_basis: str
    flow_relative_u: float
    cooler: Cooler
    behind: Behind | None = None
    steady: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool), repr=False, compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return {key: value for key, value in asdict(self).items() if key != "steady"}

    @property
    def drop_u_degc(self) -> float:
        """Standard uncertainty of how much cooler the fuel left than it entered: of two readings, as the effectiveness has three."""
        share, span = self.cooler.effectiveness, self.inlet_degc - self.coolant_degc
        return float(self.cooler.effectiveness_u * span * np.sqrt(2 / (1 + (1 - share) ** 2 + share**2)))

    def size(self) -> str:
        """UA with its 95 %, or why it cannot be told."""
        one = self.cooler
        if not one.ua_told:
            return f"Its UA cannot be told here: {one.ua_doubt}."
        return f"UA {with_doubt(one.ua_w_k, one.ua_u_w_k)} W/K ({one.arrangement})."

    def _of_the_hose(self, shown: Shown) -> str:
        """What is between the cooler and the place."""
        where = f"from {place_words(self.before)} to {place_words(self.place)}"
        if self.behind is None:
            return (
                f"All of the line {where} counts as the cooler: what is taken up behind it makes it look smaller than it is; a probe in the air beside the "
                "hose and its volume would tell how much."
            )
        one = self.behind
        if not one.litres:
            return (
                f"{place_words(self.place)[0].upper()}{place_words(self.place)[1:]} is read right behind the cooler, as was said."
            )
        litres, air = shown.text(one.litres, "volume"), shown.text(one.air_degc, "temperature")
        warmed, u = (shown.text(abs(degc), "temperature difference") for degc in (one.warmed_degc, expanded(one.warmed_u_degc)))
        if not one.said:
            return (
                f"How much of the {litres} of line {where} lies behind the cooler, in air of {air}, nobody said: what the fuel takes up "
                f"there makes it look smaller than it is, and is in the uncertainty with {u} (calculated, rubber hose)."
            )
        return (
            f"Behind the cooler {litres} of hose lie in air of {air}, as was said: the fuel {'warmed' if one.warmed_degc >= 0 else 'cooled'} there by about "
            f"{warmed} ±{u} (calculated, rubber hose), which is taken off."
        )

    def sentences(self, shown: Shown) -> list[str]:
        """What was measured, for a person."""
        one = self.cooler
        seen_at = "" if self.behind and self.behind.warmed_degc else f" ({place_words(self.place)})"
        return [
            f"Over {self.steady_s / 60:.0f} min of running at about {shown.text(one.fuel_l_h, 'volume flow')} (±{expanded(self.flow_relative_u):.0%}, "
            f"{self.flow_basis}) fuel entered at {shown.text(self.inlet_degc, 'temperature')} ({place_words(self.before)}) and left at "
            f"{shown.text(self.outlet_degc, 'temperature')}{seen_at}, with the coolant at {shown.text(self.coolant_degc, 'temperature')}.",
            f"Effectiveness {with_doubt(one.effectiveness, one.effectiveness_u)}; heat taken out of the fuel {with_doubt(one.heat_w, one.heat_u_w)} W. "
            f"{self.size()} ± in 95 of 100 cases.",
            self._of_the_hose(shown),
        ]


def in_session(
    course: Course,
    place: str,
    coolant: float | str | None = None,
    flow: Flow | None = None,
    *,
    coolant_w_k: float = np.inf,
    arrangement: str = "crossflow",
    hose_behind_l: float | None = None,
    shown: Shown = _SI,
) -> LineCooler:
    """The cooler between a place and the one before it.

    coolant: its temperature in degC, or the name of the place of a probe in it; None is outside air. flow: through the line, None works it out from
    engine speed. coolant_w_k: as in hotfuel.study.line.cooler.measured. hose_behind_l: what the hose from the cooler to the place holds; None: the cooler
    may sit anywhere in its section. shown: the units of what is refused. Raises InputError for a place without one before it, an unknown coolant or flow,
    too little steady running, a hose of an impossible volume, fuel that comes out no cooler, and readings that contradict each other.
    """
    places = transport.line_places(course)
    if course.car is None:
        raise InputError(f"{course.name} has no usable car file, so nobody knows what lies between two places: give one")
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
        raise InputError(
            f"fuel came to the {place_words(place)} at {shown.text(outlet, 'temperature')}, no cooler than the {shown.text(inlet, 'temperature')} "
            f"of the {place_words(before)}: nothing between them cools it"
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
        shown=shown,
    )
    return LineCooler(before, place, inlet, leaving, cold, steady_s, basis, relative_u, found, behind, on)


def _behind(
    course: Course,
    place: str,
    coolant: float | str | None,
    read_degc: float,
    on: np.ndarray,
    flow: tuple[float, float],
    said_l: float | None,
) -> Behind | None:
    """What the fuel took up between the cooler and the place; None without a probe in the air beside the hose, or without its volume.

    flow: L/h, relative standard uncertainty. Plug flow: T_out = T_air + (T_in - T_air) exp(-UA / capacity flow).
    """
    assert course.car is not None
    air = transport.air_beside(course)
    section_l = course.car.place(place).volume_from_previous_l
    if said_l is not None and not 0 <= said_l <= MOST_BEHIND_L:
        raise InputError(f"a hose of {said_l:g} L behind the cooler was given: allowed are 0 to {MOST_BEHIND_L:g} L")
    if said_l == 0:
        return Behind(0.0, True, np.nan, 0.0, 0.0)
    if air is None or air == coolant or not (said_l or section_l):
        return None
    litres = said_l or section_l or 0.0
    air_degc = float(np.nanmedian(course.degc[air][on]))
    passes = HOSE_W_K_L * litres / capacity_flow_w_k(flow[0])
    warmed = (air_degc - read_degc) * float(np.expm1(passes))
    share_u = float(np.hypot(HOSE_SHARE_U, flow[1]))
    if not said_l:
        # Anything from nothing to all of it: nothing is taken off, and the root mean square of what may be missing counts as uncertainty.
        return Behind(litres, False, air_degc, 0.0, abs(warmed) * float(np.hypot(1, share_u) / np.sqrt(3)))
    # The more it takes up, the steeper that goes: the step upwards, which is the larger one, counts as the uncertainty.
    return Behind(litres, True, air_degc, warmed, abs(air_degc - read_degc + warmed) * float(np.expm1(passes * share_u)))


@dataclass(frozen=True)
class There:
    """The same cooler at another inlet, coolant or flow."""

    inlet_degc: float
    coolant_degc: float
    fuel_l_h: float
    cooled: Cooled

    def sentence(self, shown: Shown) -> str:
        """For a person."""
        one = self.cooled
        return (
            f"The same cooler at {shown.text(self.fuel_l_h, 'volume flow')}, with fuel entering at {shown.text(self.inlet_degc, 'temperature')} and its "
            f"coolant at {shown.text(self.coolant_degc, 'temperature')}: fuel would leave at {shown.text(one.outlet_degc, 'temperature')} "
            f"(±{shown.text(expanded(one.outlet_u_degc), 'temperature difference')}), effectiveness {one.effectiveness:.2f}, "
            f"{with_doubt(one.heat_w, one.heat_u_w)} W. "
            f"{one.assumption}"
        )


def there(seen: LineCooler, inlet_degc: float | None, coolant_degc: float | None, fuel_l_h: float | None) -> There:
    """The same cooler where something is other; None leaves it as it was measured. Raises InputError for a flow that is not above 0."""
    inlet = seen.inlet_degc if inlet_degc is None else inlet_degc
    coolant = seen.coolant_degc if coolant_degc is None else coolant_degc
    flow = seen.cooler.fuel_l_h if fuel_l_h is None else fuel_l_h
    return There(inlet, coolant, flow, elsewhere(seen.cooler, inlet, coolant, flow))


@dataclass(frozen=True)
class Ice:
    """Minutes until ice is melted, with their standard uncertainty."""

    minutes: float
    u_minutes: float
    sentence: str


def ice(ice_kg: float, heat_w: float, heat_u_w: float, written: str = "") -> Ice:
    """How long ice at 0 degC lasts at a heat flow from the fuel. written: the amount as a person gave it. Raises InputError for values not above 0."""
    minutes = ice_minutes(ice_kg, heat_w)
    u_minutes = minutes * heat_u_w / heat_w
    return Ice(
        minutes,
        u_minutes,
        f"{written or f'{ice_kg:.1f} kg'} of ice takes up {heat_w:.0f} W for {minutes:.0f} min (±{expanded(u_minutes):.0f}), counting what comes from the fuel "
        "alone: heat through the can's wall makes it less.",
    )


def _coolant(course: Course, coolant: float | str | None) -> np.ndarray:
    if isinstance(coolant, str):
        if coolant not in course.degc:
            raise InputError(f'there is no temperature of "{coolant}" in {course.name}; it has {", ".join(course.degc)}')
        return course.degc[coolant]
    value = course.ambient_degc if coolant is None else coolant
    if not np.isfinite(value):
        example = "88 degF" if course.car is not None and course.car.units == "us" else "31 degC"
        raise InputError(
            f"the outside temperature of {course.name} is not known: give the coolant's temperature, or the place of a probe in it "
            f'(--coolant "{example}"; or hotfuel review {course.name} --about ambient_degc="{example}")'
        )
    return np.full_like(course.time_s, value)


def _flow(course: Course, flow: Flow | None) -> tuple[np.ndarray, float, str]:
    given = transport.flow_of(course) if flow is None else flow
    litres = np.broadcast_to(given.litres_h, course.time_s.shape)
    if not np.isfinite(litres).any():
        raise InputError(
            f"the fuel's flow in {course.name} is not known: give it, or record engine speed and name the displacement in the car file"
        )
    return np.nan_to_num(litres), given.relative_u, given.basis


def _settled(course: Course) -> np.ndarray:
    """Running for WARMED_S at least, per second."""
    on = fired(course)
    stopped = np.where(on, 0, np.arange(len(on)) + 1)
    return on & (np.arange(len(on)) + 1 - np.maximum.accumulate(stopped) > WARMED_S / STEP_S)

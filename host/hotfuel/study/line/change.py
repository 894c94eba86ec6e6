"""What can be forecast: one fix or several together, another fuel, another altitude, a hotter day, a longer stop; and the limits of each."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.places import place_words
from hotfuel.study.drive.course import Course

Coolant = Literal["air", "fan", "water", "ice", "spray"]
Share = float | tuple[float, float]  # a number, or anything between two
RETURN = "return"  # a cooler is before a place or in the return


@dataclass(frozen=True)
class Change:
    """One change to forecast, of one part or several together; leave out what stays. `name` is for people.

    A Share is a number or a range (least, greatest).
    cooler_effectiveness (0 to 1, at cooler_flow_l_h, else at the session's own middle flow) or cooler_ua_w_k, and cooler_before: a cooler in the line
    just before that place, or in the return ("return"). coolant: what cools it; coolant_degc: its temperature, in place of the usual one.
    ice_kg or ice_minutes: how long ice lasts. insulation_share and insulated_before: the heat taken up in the section before that place is cut by that share;
    shield_share and shielded_before likewise, for radiated heat. spacer_share, spacer_under ("pump" or "carburettor"). also_insulated, also_shielded,
    also_spaced: more of the same at other places, (place, Share) each. return_l_h: a new return line's
    flow, to the tank or (return_to) a swirl pot. tank_l: fuel in the tank. pump_moved: an electric pump near the tank. submerged_pump: in it.
    fuel: another fuel. higher_m: metres higher. hotter_degc: a hotter day. stop_min: the stop lasts that long.
    """

    name: str
    cooler_effectiveness: Share | None = None
    cooler_before: str = ""
    coolant_degc: float | None = None
    insulation_share: Share | None = None
    insulated_before: str = ""
    fuel: Fuel | None = None
    higher_m: float = 0.0
    hotter_degc: float = 0.0
    submerged_pump: bool = False
    cooler_ua_w_k: Share | None = None
    cooler_flow_l_h: float | None = None
    coolant: Coolant = "fan"
    ice_kg: float | None = None
    ice_minutes: float | None = None
    shield_share: Share | None = None
    shielded_before: str = ""
    spacer_share: Share | None = None
    spacer_under: str = "pump"
    return_l_h: Share | None = None
    return_to: str = "tank"
    tank_l: float | None = None
    pump_moved: bool = False
    stop_min: float | None = None
    also_insulated: tuple[tuple[str, Share], ...] = ()
    also_shielded: tuple[tuple[str, Share], ...] = ()
    also_spaced: tuple[tuple[str, Share], ...] = ()

    @property
    def insulated(self) -> dict[str, Share]:
        """Shares of insulation by the place that its section ends at."""
        return _by_place(self.insulated_before, self.insulation_share, self.also_insulated)

    @property
    def shielded(self) -> dict[str, Share]:
        """Shares of heat shields by the place that their section ends at."""
        return _by_place(self.shielded_before, self.shield_share, self.also_shielded)

    @property
    def spaced(self) -> dict[str, Share]:
        """Shares of spacers by what they are under."""
        return _by_place(self.spacer_under, self.spacer_share, self.also_spaced)

    @property
    def cooled(self) -> bool:
        """Whether a cooler is in it."""
        return self.cooler_effectiveness is not None or self.cooler_ua_w_k is not None

    @property
    def acts_on_temperature(self) -> bool:
        """Whether any part of it changes the heat that the fuel takes up."""
        fitted = self.cooled or self.insulated or self.shielded or self.spaced
        return bool(fitted or self.return_l_h is not None or self.pump_moved or self.submerged_pump)


def _by_place(place: str, share: Share | None, more: tuple[tuple[str, Share], ...]) -> dict[str, Share]:
    return ({} if share is None else {place: share}) | dict(more)


def bounds(share: Share) -> tuple[float, float]:
    """(least, greatest) of a share."""
    return share if isinstance(share, tuple) else (share, share)


def check(course: Course, car: Car, change: Change) -> None:
    """Raises InputError for a value out of range, a part that this car has already, and a section without readings at both ends."""
    for value, what in _shares(change):
        if not 0 < bounds(value)[0] <= bounds(value)[1] <= 1:
            raise InputError(f"{change.name}: {what} {bounds(value)[1]:g} was given, allowed is above 0 to 1 (a share)")
    for place, what in _sections(change):
        _section(course, change, place, what)
    for number, (least, greatest), unit, what in (
        (change.hotter_degc, (-20, 40), "°C", "a day hotter by"),
        (change.higher_m, (-4000, 5000), "m", "higher by"),
        (bounds(change.return_l_h or 1.0)[1], (0.5, 400), "L/h", "a return of"),
        (change.tank_l or 10.0, (0.5, 400), "L", "a tank holding"),
        (change.stop_min or 10.0, (1, 60), "min", "a stop of"),
        (change.ice_kg or 1.0, (0.05, 100), "kg", "ice of"),
        (bounds(change.cooler_ua_w_k or 1.0)[1], (0.05, 1000), "W/K", "a cooler of"),
    ):
        if not least <= number <= greatest:
            raise InputError(f"{change.name}: {what} {number:g} {unit} was given, allowed is {least:g} to {greatest:g} {unit}")
    if (change.submerged_pump or change.pump_moved) and car.pump.kind == "electric_submerged":
        raise InputError(
            f'{change.name}: the car file says that the pump is in the tank already (pump.kind = "electric_submerged")'
        )
    if change.cooler_before == RETURN and not (car.engine.return_flow_l_h or change.return_l_h):
        raise InputError(
            f"{change.name}: a cooler in the return needs a return line: give its flow, or return_flow in the car file"
        )
    for under in change.spaced:
        if under not in ("pump", "carburettor"):
            raise InputError(f'{change.name}: a spacer under "{under}" was given, allowed are pump and carburettor')
    if change.submerged_pump and change.pump_moved:
        raise InputError(f"{change.name}: the pump can be in the tank or near it, not both: give one of them, or each by itself")
    if "pump" in change.spaced and (change.submerged_pump or change.pump_moved):
        raise InputError(
            f"{change.name}: no pump is left on the engine for a spacer to go under: give one of them, or each by itself"
        )
    if "pump" in change.spaced and car.pump.kind != "mechanical":
        raise InputError(f"{change.name}: a spacer under the pump is for a pump on the engine, and this one is {car.pump.kind}")
    if change.return_to not in ("tank", "swirl pot"):
        raise InputError(f'{change.name}: a return to "{change.return_to}" was given, allowed are tank and swirl pot')
    others = (change.fuel, change.stop_min)
    if not change.acts_on_temperature and others == (None, None) and not (change.higher_m or change.hotter_degc):
        raise InputError(
            f"{change.name} changes nothing: give a cooler, ice, insulation, a shield, a spacer, a return, a pump moved or in the tank, a fuel, an "
            "altitude, a hotter day or a longer stop"
        )


def _shares(change: Change) -> Iterator[tuple[Share, str]]:
    if change.cooler_effectiveness is not None:
        yield change.cooler_effectiveness, "a cooler"
    for given, what in ((change.insulated, "insulation"), (change.shielded, "a shield"), (change.spaced, "a spacer")):
        for value in given.values():
            yield value, what


def _sections(change: Change) -> Iterator[tuple[str, str]]:
    if change.cooled and change.cooler_before != RETURN:
        yield change.cooler_before, "a cooler"
    for given, what in ((change.insulated, "insulation"), (change.shielded, "a shield")):
        for place in given:
            yield place, what


def _section(course: Course, change: Change, place: str, what: str) -> None:
    if place not in course.fuel_places[1:]:
        places = ", ".join(map(place_words, course.fuel_places[1:])) or "none"
        raise InputError(
            f'{change.name}: "{place_words(place)}" is not a place that {what} can be fitted before: choose among {places}'
        )
    at = course.fuel_places.index(place)
    for name in course.fuel_places[at - 1 : at + 1]:
        if not np.isfinite(course.degc[name]).any():
            raise InputError(
                f"{change.name}: {course.name} has no reading of {name}, so the effect of {what} there cannot be worked out"
            )

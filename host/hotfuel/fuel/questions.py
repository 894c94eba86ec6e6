"""What a person is asked about a data sheet: figures that do not go together, psi written as kPa, a share of ethanol written as a fraction.

A question never stands in the way of recorded data: the fuel is made all the same, its limit less sure by what the readings of the sheet disagree in.
The word that keeps a figure as it is, `as_printed` under [fuel], takes the question away and leaves the uncertainty.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import volatility
from hotfuel.fuel.measurements import Measurements, in_words, name_and_unit, short
from hotfuel.fuel.routes import Route, route
from hotfuel.fuel.usual import Expected, Usual, usual, usual_vapour_pressure_kpa

# Fifteen retail gasolines and every aviation and racing cut tried stay within 2.3 standard deviations; own judgement.
OFF, _HOPELESS = 2.65, 12.0
_FURTHEST_DEGC = 10.0  # how far a figure may move the limit from the vapour pressure's before it is refused
_HELD = ("t10_degc", "t50_degc", "e70_vol", "e100_vol")  # T90 says next to nothing of the front end
_PRESSURES_KPA = (35.0, 115.0)
_LEAST_T_VL20_APART_DEGC = 3.0


@dataclass(frozen=True)
class Doubt:
    """One figure in doubt: the sentence about it, whether it still asks, and how far the readings of the sheet are apart in the limit, degC."""

    sentence: str
    asks: bool
    disagreement_degc: float


def require_kpa(data: Measurements) -> None:
    """InputError with the question if the vapour pressure suits the other figures as psi and not as kPa."""
    pressure = data.vapour_pressure_kpa
    in_kpa = pressure * volatility.KPA_PER_PSI
    if "vapour_pressure_kpa" in data.as_printed or not _PRESSURES_KPA[0] <= in_kpa <= _PRESSURES_KPA[1]:
        return
    others = data.words("vapour_pressure_kpa")
    front = data.t10_degc is not None or data.e70_vol is not None  # T50 and T90 go with any vapour pressure
    if _suits(data, in_kpa) and not (front and _suits(data, pressure)):
        beside = f"does not go with {others}, but {pressure:g} psi would" if front else "is less than gasolines have"
        raise InputError(
            f"a vapour pressure of {pressure:g} kPa {beside}: is it in psi? Then write {in_kpa:.1f} kPa; if it is kPa, write "
            'as_printed = ["vapour_pressure"] under [fuel]'
        )


def _suits(data: Measurements, vapour_pressure_kpa: float) -> bool:
    try:
        ordinary = usual(vapour_pressure_kpa, data.ethanol_vol)
    except InputError:
        return False
    return furthest(data, ordinary)[1].off <= OFF


def furthest(data: Measurements, ordinary: Usual) -> tuple[str, Expected]:
    """The figure that is furthest from where the others have it, as they have it; its `off` without a sign."""
    given = {name: figure for name, figure in data.for_fit().items() if name in _HELD}
    held = ordinary.held_against_each_other(given)
    name = max(held, key=lambda figure: abs(held[figure].off), default="")
    return name, Expected(held[name].value, held[name].sigma, abs(held[name].off)) if name else Expected(0.0, 0.0, 0.0)


def beyond_any_gasoline(data: Measurements, ordinary: Usual) -> bool:
    """Whether the figures are so far apart that no limit is given."""
    moved = ordinary.t_vl20_degc(data.for_fit())[0] - ordinary.t_vl20_degc({})[0]
    return furthest(data, ordinary)[1].off > _HOPELESS or abs(moved) > _FURTHEST_DEGC


def doubts(data: Measurements, ordinary: Usual, found: Route) -> list[Doubt]:
    """What the figures leave in doubt. Raises InputError where they are further apart than any gasoline's."""
    if beyond_any_gasoline(data, ordinary):
        raise InputError(apart(data))
    name, expected = furthest(data, ordinary)
    found_doubts = []
    if expected.off > OFF:
        likely = usual_vapour_pressure_kpa(data.ethanol_vol, data.for_fit())
        disagreement = max(abs(found.t_vl20_degc - ordinary.t_vl20_degc(figures)[0]) for figures in ({}, data.for_fit()))
        # If it is the vapour pressure that is wrong, the limit may be far lower; that it may be higher harms nobody.
        disagreement = max([disagreement, *(found.t_vl20_degc - lower for lower in _at_pressure(data, likely.value))])
        found_doubts.append(_contradiction(data, name, expected, likely, disagreement))
    if data.t_vl20_degc is not None:
        off = abs(data.t_vl20_degc - found.t_vl20_degc)
        if off > _FURTHEST_DEGC:
            raise InputError(apart(data))
        if off > max(_LEAST_T_VL20_APART_DEGC, OFF * found.sigma_degc):
            sentence = (
                f"T(V/L=20) {data.t_vl20_degc:g} degC does not go with {data.words('t_vl20_degc')}: with these it is "
                f"{found.t_vl20_degc - 2 * found.sigma_degc:.0f} to {found.t_vl20_degc + 2 * found.sigma_degc:.0f} degC as a rule"
            )
            found_doubts.append(_doubt(data, "t_vl20_degc", sentence, off))
    fraction = _fraction(data, found)
    return found_doubts + ([fraction] if fraction else [])


def _at_pressure(data: Measurements, vapour_pressure_kpa: float) -> list[float]:
    """The limit if the vapour pressure were this one and the other figures right, degC; nothing where no gasoline has it."""
    try:
        return [usual(vapour_pressure_kpa, data.ethanol_vol).t_vl20_degc(data.for_fit())[0]]
    except InputError:
        return []


def _contradiction(data: Measurements, name: str, expected: Expected, pressure: Expected, disagreement_degc: float) -> Doubt:
    called, unit = name_and_unit(name)
    low, high = expected.value - 2 * expected.sigma, expected.value + 2 * expected.sigma
    sentence = (
        f"{called} {getattr(data, name):g} {unit} does not go with {data.words(name)}: with these it is {low:.0f} to {high:.0f} {unit} as a rule. "
        f"Or the vapour pressure is wrong: with the other figures it is {max(pressure.value - 2 * pressure.sigma, 0):.0f} to "
        f"{pressure.value + 2 * pressure.sigma:.0f} kPa"
    )
    return _doubt(data, name, sentence, disagreement_degc)


def _fraction(data: Measurements, found: Route) -> Doubt | None:
    """Ethanol of less than one per cent that as a fraction would be a blend that is sold."""
    percent = 100 * data.ethanol_vol
    if "ethanol_vol" in data.as_printed or not (2 <= percent <= 30 or 70 <= percent <= 90):
        return None
    blend = Measurements(**{**vars(data), "ethanol_vol": percent})
    try:
        other = route(blend, usual(data.vapour_pressure_kpa, percent))
    except InputError:
        return None
    sentence = f"ethanol {data.ethanol_vol:g} means {data.ethanol_vol:g} vol-%, next to none. Or is it {percent:g} vol-%, written as a fraction?"
    return _doubt(data, "ethanol_vol", sentence, abs(other.t_vl20_degc - found.t_vl20_degc))


def _doubt(data: Measurements, name: str, sentence: str, disagreement_degc: float) -> Doubt:
    sentence = sentence if sentence.endswith("?") else f"{sentence}."
    if name in data.as_printed:
        return Doubt(f"{sentence} Kept as printed; the limit is less sure for it.", False, disagreement_degc)
    ask = f'Check the data sheet; if it says so, write as_printed = ["{short(name)}"] under [fuel] in the car file. The limit is less sure for it.'
    return Doubt(f"{sentence} {ask}", True, disagreement_degc)


def apart(data: Measurements) -> str:
    """What to say of figures no gasoline has together."""
    given = data.for_fit()
    if data.t_vl20_degc is not None:
        given["t_vl20_degc"] = data.t_vl20_degc, 1.0
    expected = usual_vapour_pressure_kpa(data.ethanol_vol, given)
    low, high = expected.value - 2 * expected.sigma, expected.value + 2 * expected.sigma
    others = data.words("vapour_pressure_kpa") or "a gasoline without ethanol"
    pressure = in_words("vapour_pressure_kpa", data.vapour_pressure_kpa)
    if low <= data.vapour_pressure_kpa <= high:
        return (
            f"no fuel of many parts boils as {pressure} with {others} says, and a single substance is not covered; check each figure and its unit on "
            "the data sheet, or leave one out"
        )
    return (
        f"{pressure} does not go with {others}: with that it is {max(low, 0):.0f} to {high:.0f} kPa as a rule; "
        "check each figure and its unit on the data sheet, or leave one out"
    )


def widened(sigma_degc: float, found: list[Doubt]) -> float:
    """An uncertainty with the disagreements in it, degC."""
    return float(np.hypot(sigma_degc, max((doubt.disagreement_degc for doubt in found), default=0.0)))

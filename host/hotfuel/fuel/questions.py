"""Questions to the user about a data sheet: figures that contradict each other, psi written as kPa, a share of ethanol written as a fraction.

A question never blocks recorded data: the fuel is still made, with the limit's uncertainty widened by the contradiction.
`as_printed` under [fuel] keeps a figure: it removes the question and leaves the uncertainty.
"""

from dataclasses import dataclass, replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import volatility
from hotfuel.fuel.measurements import Measurements, in_words, number, short, span, unit_of
from hotfuel.fuel.routes import Route, route
from hotfuel.fuel.usual import Expected, Usual, usual, usual_vapour_pressure_kpa
from hotfuel.units import COVERAGE_95, Shown

# Fifteen retail gasolines and every aviation and racing cut tried stay within 2.3 standard deviations; own judgement.
OFF, _HOPELESS = 2.65, 12.0
_FURTHEST_DEGC = 10.0  # how far a figure may move the limit from that of the vapour pressure alone before it is rejected
_HELD = ("t10_degc", "t50_degc", "e70_vol", "e100_vol")  # T90 says next to nothing about the front end
_PRESSURES_KPA = (35.0, 115.0)
_LEAST_T_VL20_APART_DEGC = 3.0
_PUMP_ETHANOL_VOL = 10.0  # what most pump gasoline holds (common practice, no source)
_WRITE_ETHANOL = 'write ethanol = "10 %" (or what it holds, "0 %" if none) under [fuel] in the car file'


@dataclass(frozen=True)
class Doubt:
    """One figure in doubt: the sentence about it, whether the user still has to answer, and how far apart
    the possible readings of the sheet put the limit, degC."""

    sentence: str
    asks: bool
    disagreement_degc: float


def require_kpa(data: Measurements, shown: Shown | None = None) -> None:
    """InputError with the question if the vapour pressure fits the other figures as psi and not as kPa."""
    pressure = data.vapour_pressure_kpa
    in_kpa = pressure * volatility.KPA_PER_PSI
    if "vapour_pressure_kpa" in data.as_printed or not _PRESSURES_KPA[0] <= in_kpa <= _PRESSURES_KPA[1]:
        return
    others = data.words("vapour_pressure_kpa", shown=shown)
    front = data.t10_degc is not None or data.e70_vol is not None  # T50 and T90 fit any vapour pressure
    if _suits(data, in_kpa) and not (front and _suits(data, pressure)):
        beside = f"does not fit {others}, but {pressure:.4g} psi would" if front else "is less than gasolines have"
        raise InputError(
            f"a vapour pressure of {pressure:.4g} kPa {beside}: is it in psi? Then write {in_kpa:.1f} kPa ({pressure:.4g} psi); if it is kPa, write "
            'as_printed = ["vapour_pressure"] under [fuel]'
        )


def _suits(data: Measurements, vapour_pressure_kpa: float) -> bool:
    try:
        ordinary = usual(vapour_pressure_kpa, data.ethanol_vol)
    except InputError:
        return False
    return furthest(data, ordinary)[1].off <= OFF


def furthest(data: Measurements, ordinary: Usual) -> tuple[str, Expected]:
    """The figure furthest from the value the others predict, with that prediction; its `off` without a sign."""
    given = {name: figure for name, figure in data.for_fit().items() if name in _HELD}
    held = ordinary.held_against_each_other(given)
    name = max(held, key=lambda figure: abs(held[figure].off), default="")
    return name, Expected(held[name].value, held[name].sigma, abs(held[name].off)) if name else Expected(0.0, 0.0, 0.0)


def beyond_any_gasoline(data: Measurements, ordinary: Usual) -> bool:
    """Whether the figures contradict each other so much that no limit is given."""
    moved = ordinary.t_vl20_degc(data.for_fit())[0] - ordinary.t_vl20_degc({})[0]
    return furthest(data, ordinary)[1].off > _HOPELESS or abs(moved) > _FURTHEST_DEGC


def doubts(data: Measurements, ordinary: Usual, found: Route, shown: Shown | None = None) -> list[Doubt]:
    """The doubts about the figures, in the units of `shown`. Raises InputError where they contradict each other more than any gasoline's."""
    shown = shown or Shown()
    if beyond_any_gasoline(data, ordinary):
        raise InputError(apart(data, shown))
    name, expected = furthest(data, ordinary)
    found_doubts = []
    if expected.off > OFF:
        likely = usual_vapour_pressure_kpa(data.ethanol_vol, data.for_fit())
        disagreement = max(abs(found.t_vl20_degc - ordinary.t_vl20_degc(figures)[0]) for figures in ({}, data.for_fit()))
        # If it is the vapour pressure that is wrong, the limit may be far lower; that it may be higher does no harm.
        disagreement = max([disagreement, *(found.t_vl20_degc - lower for lower in _at_pressure(data, likely.value))])
        found_doubts.append(_contradiction(data, name, expected, likely, disagreement, shown))
    if data.t_vl20_degc is not None:
        off = abs(data.t_vl20_degc - found.t_vl20_degc)
        if off > _FURTHEST_DEGC:
            raise InputError(apart(data, shown))
        if off > max(_LEAST_T_VL20_APART_DEGC, OFF * found.sigma_degc):
            sentence = (
                f"{in_words('t_vl20_degc', data.t_vl20_degc, shown)} does not fit {data.words('t_vl20_degc', shown=shown)}: with these it is "
                f"{_as_a_rule('t_vl20_degc', Expected(found.t_vl20_degc, found.sigma_degc, 0.0), shown)}"
            )
            found_doubts.append(_doubt(data, "t_vl20_degc", sentence, off))
    more = _fraction(data, found), _ethanol_not_given(data, found, bool(found_doubts), shown)
    return found_doubts + [doubt for doubt in more if doubt]


def _at_pressure(data: Measurements, vapour_pressure_kpa: float) -> list[float]:
    """The limit if the vapour pressure were this one and the other figures right, degC; empty where no gasoline has it."""
    try:
        return [usual(vapour_pressure_kpa, data.ethanol_vol).t_vl20_degc(data.for_fit())[0]]
    except InputError:
        return []


def _contradiction(
    data: Measurements, name: str, expected: Expected, pressure: Expected, disagreement_degc: float, shown: Shown
) -> Doubt:
    value = getattr(data, name)
    sentence = f"{in_words(name, value, shown)} does not fit {data.words(name, shown=shown)}: with these it is {_as_a_rule(name, expected, shown)}"
    light = value < expected.value if name == "t50_degc" else name == "e70_vol" and value > expected.value
    if light and not data.ethanol_given:
        sentence += f". Or it holds ethanol, which is not given: {_WRITE_ETHANOL}"
    low, high = max(pressure.value - 2 * pressure.sigma, 0), pressure.value + 2 * pressure.sigma
    sentence += f". Or the vapour pressure is wrong: with the other figures it is {span('vapour_pressure_kpa', low, high, shown)}"
    return _doubt(data, name, sentence, disagreement_degc)


def _as_a_rule(name: str, expected: Expected, shown: Shown) -> str:
    return f"{span(name, expected.value - 2 * expected.sigma, expected.value + 2 * expected.sigma, shown)} as a rule"


def _low_t50(data: Measurements) -> float:
    """The least T50 of gasolines without ethanol at this vapour pressure, degC, if the given T50 is below it; else 0.

    Source: least T50 of ASTM D4814-18 table 1, classes AA to C (up to 79 kPa) and D and E.
    """
    least = 77.0 if data.vapour_pressure_kpa <= 79 else 66.0
    return least if data.t50_degc is not None and data.t50_degc < least else 0.0


def _ethanol_not_given(data: Measurements, found: Route, asked: bool, shown: Shown) -> Doubt | None:
    """Ethanol not stated and counted as none: the limit is no more certain than with the pump's usual share, and its 95 % include the limit of that fuel.

    A T50 below that of gasolines without ethanol raises a question, unless one is `asked` already. None where ethanol was given, and where
    T(V/L=20) was measured, which settles the limit.
    """
    if data.ethanol_given or data.t_vl20_degc is not None:
        return None
    blend = replace(data, ethanol_vol=_PUMP_ETHANOL_VOL, ethanol_given=True)
    said, apart_degc = "Ethanol is not given: counted as 0 %", 0.0
    low_t50 = _low_t50(data)
    asks = bool(low_t50) and not asked and "t50_degc" not in data.as_printed
    if asks:
        least = f"{number('t50_degc', low_t50, shown, 3)} {unit_of('t50_degc', shown)}"
        said += f", but {data.words('vapour_pressure_kpa', 't10_degc', 't90_degc', 'e70_vol', 'e100_vol', shown=shown)} is below {least}, the least of "
        said += "gasolines without ethanol (ASTM D4814): most likely it holds ethanol"
    said += "."
    try:
        ordinary = usual(data.vapour_pressure_kpa, _PUMP_ETHANOL_VOL)
        other = None if beyond_any_gasoline(blend, ordinary) else route(blend, ordinary)
    except InputError:
        other = None
    if other is not None:
        lower = found.t_vl20_degc - other.t_vl20_degc
        less_sure = np.sqrt(max(other.sigma_degc**2 - found.sigma_degc**2, 0.0))
        apart_degc = float(max(lower / COVERAGE_95, less_sure))
        limit, by = shown.text(other.t_vl20_degc, "temperature", 0), shown.text(abs(lower), "temperature difference")
        said += f" Most pump gasoline holds 10 %: then the limit is {limit}, {by} {'lower' if lower > 0 else 'higher'}, which the 95 % include."
    return Doubt(f"{said} {_WRITE_ETHANOL[0].upper()}{_WRITE_ETHANOL[1:]}.", asks, apart_degc)


def _fraction(data: Measurements, found: Route) -> Doubt | None:
    """Ethanol below one per cent that, read as a fraction, would be a blend on sale."""
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
        return Doubt(f"{sentence} Kept as printed; the limit is less certain.", False, disagreement_degc)
    ask = f'Check the data sheet; if it says so, write as_printed = ["{short(name)}"] under [fuel] in the car file. The limit is less certain.'
    return Doubt(f"{sentence} {ask}", True, disagreement_degc)


def apart(data: Measurements, shown: Shown | None = None) -> str:
    """The sentence, in the units of `shown`, about figures no gasoline has together."""
    given = data.for_fit()
    if data.t_vl20_degc is not None:
        given["t_vl20_degc"] = data.t_vl20_degc, 1.0
    expected = usual_vapour_pressure_kpa(data.ethanol_vol, given)
    low, high = max(expected.value - 2 * expected.sigma, 0), expected.value + 2 * expected.sigma
    others = data.words("vapour_pressure_kpa", shown=shown) or "a gasoline without ethanol"
    pressure = in_words("vapour_pressure_kpa", data.vapour_pressure_kpa, shown)
    ethanol = ""
    if not data.ethanol_given and _low_t50(data):
        ethanol = f"; or it holds ethanol, which is not given: {_WRITE_ETHANOL}"
    if low <= data.vapour_pressure_kpa <= high:
        return (
            f"no fuel of many components boils as {pressure} with {others} says, and a single substance is not covered; check each figure and its unit on "
            f"the data sheet, or leave one out{ethanol}"
        )
    return (
        f"{pressure} does not fit {others}: with that it is {span('vapour_pressure_kpa', low, high, shown)} as a rule; "
        f"check each figure and its unit on the data sheet, or leave one out{ethanol}"
    )


def widened(sigma_degc: float, found: list[Doubt]) -> float:
    """An uncertainty that includes the disagreements, degC."""
    return float(np.hypot(sigma_degc, max((doubt.disagreement_degc for doubt in found), default=0.0)))

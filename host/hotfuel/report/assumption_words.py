"""What a forecast assumes, in sentences: one for each of hotfuel.study.line.assumed's records."""

import numpy as np

from hotfuel.places import place_words
from hotfuel.study.line import assumed, ranges
from hotfuel.study.line.change import RETURN, Share, bounds
from hotfuel.study.line.cooling import IDLE_AIR_SHARE
from hotfuel.study.line.tank import LOST_ON_THE_WAY, WALL_PER_HOUR, WALL_TIMES
from hotfuel.units import Shown, expanded


def sentence(one: assumed.Assumption, shown: Shown) -> str:
    """One assumption, for a person."""
    match one:
        case assumed.OtherFuel():
            return f"{one.fuel} instead of the session's fuel, and otherwise the same drive."
        case assumed.ThinnerAir():
            return (
                f"Air pressure lower by {shown.text(one.fall_kpa, 'pressure')} (standard atmosphere), and the same outside air."
            )
        case assumed.HotterAir():
            return _hotter(one, shown)
        case assumed.Boiling():
            where = ", ".join(place_words(p) for p in one.places)
            return (
                f"Where it boils ({where}), boiling takes up heat and holds the temperature down: by {percent(ranges.BOILED_FLOWING)} of the degrees past "
                f"its onset, of standing fuel by {percent(ranges.BOILED_HOSE)} in a hose and by {percent(ranges.BOILED_METAL)} in a pump or a bowl."
            )
        case assumed.LongerStop():
            return f"The stop of {one.was_min:.0f} min lasts {one.minutes:g} min instead, as the soak forecast says, from this session's own readings."
        case assumed.CoolerAir() | assumed.CoolerWater() | assumed.CoolerSpray() | assumed.IceWater() | assumed.CoolerSize():
            return _cooler(one, shown)
        case assumed.ReturnIntoTank():
            fuel: str = shown.text(one.least_l, "volume")
            if one.least_l != one.most_l:
                fuel = f"{shown.value(one.least_l, 'volume'):.0f} to {shown.text(one.most_l, 'volume', 0)}"
            return (
                f"The return carries its heat or cold into {fuel} of fuel in the tank, less what it loses on the way ({percent(LOST_ON_THE_WAY)}), and the "
                f"tank follows the air with {WALL_PER_HOUR:g} per hour (EPA MOVES), to a factor of {WALL_TIMES:g}."
            )
        case assumed.SwirlPot():
            return "The return ends in a swirl pot that the pump draws from: a swirl pot holds so little that all of it warms at once."
        case _:
            return _along_the_line(one, shown)


def _hotter(one: assumed.HotterAir, shown: Shown) -> str:
    if one.engine_degc is None:
        less = percent((ranges.AIR_UNKNOWN * ranges.FOLLOWS[0], ranges.AIR_UNKNOWN * ranges.FOLLOWS[1]))
        return f"Fuel outside the tank rises less than the outside air, by {less} of its degrees: the session does not say how hot the air was."
    return (
        "What stands in outside air rises with it degree for degree; what the engine heats rises less, because a thermostat holds the "
        f"engine: by {percent(ranges.FOLLOWS)} of the share it stands on the way from the air to the engine's {shown.text(one.engine_degc, 'temperature', 0)}."
    )


def _along_the_line(
    one: assumed.Section | assumed.Spacer | assumed.MoreFlow | assumed.PumpMoved | assumed.NeverRan, shown: Shown
) -> str:
    match one:
        case assumed.Section():
            rise = f"the rise from {place_words(one.before)} to {place_words(one.place)}"
            if one.fix == "shield":
                part = f"With a shield, {percent(ranges.SHONE)} of {rise} is heat that shines on the line"
            elif one.pumped:
                part = (
                    f"With {one.fix}, {percent(ranges.THROUGH_WALL)} of {rise} is heat from outside, the rest is the pump itself"
                )
            else:
                part = f"With {one.fix}, {rise} is heat from outside (±{100 * expanded(assumed.WALL_U):.0f} %)"
            return f"{part}; while fuel flows it is cut by {percent(bounds(one.share))}, and standing fuel warms later rather than less."
        case assumed.Spacer():
            return (
                f"Of the heat that the {one.under} puts into the fuel, {percent(ranges.CONDUCTED)} comes through its flange; "
                f"the spacer cuts that by {percent(bounds(one.share))}."
            )
        case assumed.MoreFlow():
            known = "" if one.flow_known else "; the flow is not known, so how much faster the fuel passes is not included"
            more = " to ".join(dict.fromkeys(f"{shown.text(end, 'volume flow').digits}" for end in bounds(one.l_h)))
            lost = f"returning fuel loses {percent(LOST_ON_THE_WAY)} of its heat on the way"
            return f"{more} {shown.unit('volume flow')} more flow through the whole line; {lost}{known}."
        case assumed.PumpMoved():
            return _pump(one)
        case assumed.NeverRan():
            return "The engine never ran in this session, and without flow a fix in the line does nothing."


def _pump(one: assumed.PumpMoved) -> str:
    rise = f"the rise from {place_words(one.tank)} to {place_words(one.pump)}"
    if not (one.tank and one.pump):
        heat = "no probes at tank and pump show what the old pump's heat does, so the temperatures are left as recorded"
    elif one.mechanical:
        heat = f"the old pump's heat is {percent(ranges.OLD_PUMP)} of {rise} and goes while fuel flows"
    else:
        heat = f"the temperatures are left as recorded, to within {100 * expanded(ranges.OLD_ELECTRIC_U):.0f} % of {rise}"
    what = (
        "With a pump in the tank the line to the engine stands under its pressure while it runs, and under the air's as soon as it stops"
        if one.submerged
        else "With an electric pump near the tank the line to the engine stands under its pressure while it runs, and the pump draws through a short line"
    )
    return f"{what}; {heat}."


def _cooler(
    one: assumed.CoolerAir | assumed.CoolerWater | assumed.CoolerSpray | assumed.IceWater | assumed.CoolerSize, shown: Shown
) -> str:
    match one:
        case assumed.CoolerAir():
            over, half = (shown.text(float(degc), "temperature difference", 0) for degc in (one.over_degc, expanded(one.u_degc)))
            still = (
                ""
                if one.air_when_standing
                else f"; the cooler keeps {percent(IDLE_AIR_SHARE)} of its UA while the car idles (common practice, no source)"
            )
            return f"The air at the cooler is {over} (±{half}) hotter than outside air{still}."
        case assumed.CoolerWater(over):
            return f"The cooler's water is {_degrees(over, shown)} above outside air (common practice, no source)."
        case assumed.CoolerSpray(below):
            return f"The spray keeps the cooler {_degrees(below, shown)} below outside air (common practice, no source)."
        case assumed.IceWater():
            lasts = (
                f"for {one.minutes:g} min"
                if one.minutes is not None
                else f"until {shown.text(one.kg, 'mass')} of ice are melted by the fuel and through the can's wall"
            )
            return f"Ice water at {shown.text(0.0, 'temperature', 0)} {lasts}."
    where = (
        "in the return"
        if one.before == RETURN
        else f"none to all of the rise before the {place_words(one.before)} comes after the cooler"
    )
    if one.effectiveness is None:
        size = f"A UA of {share(one.ua_w_k or 0.0, 'W/K')}, less effective at more flow (NTU)"
        if one.flow_assumed:
            size += (
                f", at {shown.text(one.flow_l_h, 'volume flow')}, the car file's idle flow, because the session's is not known"
            )
    else:
        at = (
            f"at {shown.text(one.flow_l_h, 'volume flow')}"
            if np.isfinite(one.flow_l_h)
            else "at this session's flow, which is not known"
        )
        size = f"An effectiveness of {share(one.effectiveness)} {at}, lower at more flow and higher at less (NTU)"
    return f"{size}, only while fuel flows; {where}."


def _degrees(ends: tuple[float, float], shown: Shown) -> str:
    low, high = ends
    return f"{shown.value(low, 'temperature difference'):.0f} to {shown.text(high, 'temperature difference', 0)}"


def percent(ends: tuple[float, float]) -> str:
    """A range of shares, e.g. "14 to 82 %"; one that does not begin above 0 as "up to 82 %"."""
    low, high = (100 * end for end in ends)
    if low == high:
        return f"{high:.0f} %"
    return f"up to {high:.0f} %" if low <= 0 else f"{low:.0f} to {high:.0f} %"


def share(value: Share, unit: str = "") -> str:
    """A share or another range, e.g. "0.2 to 0.6"."""
    least, greatest = bounds(value)
    number = f"{least:g}" if least == greatest else f"{least:g} to {greatest:g}"
    return f"{number} {unit}".strip()

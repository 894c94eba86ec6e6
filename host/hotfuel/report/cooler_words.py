"""A cooler in the line, in sentences: what was measured, what it would do under other conditions, and why nothing can be said about it."""

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.report.line_words import FLOW
from hotfuel.study.line.cooler import LEAST_SPAN_DEGC, Cooler, NoUa, SpanError, capacity_flow_w_k
from hotfuel.study.line.line_cooler import CoolantError, Ice, LineCooler, NotCooledError, There
from hotfuel.text import first_upper
from hotfuel.units import Shown, expanded

ASSUMPTION = "UA goes with the fuel's flow to the power 0.4 (0 to 0.8); the air or water side is as it was measured."


def with_doubt(value: float, u: float) -> str:
    """A number with its 95 % half width, both with the decimals at which that has one figure. Example: with_doubt(0.618, 0.05) -> "0.62 ±0.10"."""
    half = float(expanded(u))
    decimals = int(np.clip(-np.floor(np.log10(half)), 0, 2)) if half > 0 else 2
    return f"{value:.{decimals}f} ±{half:.{decimals}f}"


def effectiveness(one: Cooler) -> str:
    """With its 95 %; only what it is at most, where it may be nothing."""
    half = float(expanded(one.effectiveness_u))
    if half < one.effectiveness:
        return with_doubt(one.effectiveness, one.effectiveness_u)
    return f"at most {min(max(one.effectiveness + half, 0.0), 1.0):.1f}"


def watts(value: float, u: float) -> str:
    """Heat with its 95 % half width; where that is more than half of it, only what it is at most. Example: watts(26.0, 12.0) -> "at most 50 W"."""
    half = float(expanded(u))
    return f"{with_doubt(value, u)} W" if half <= value / 2 else f"at most {max(value + half, 0.0):.0f} W"


def sentences(seen: LineCooler, shown: Shown) -> list[str]:
    """What was measured, for a person."""
    one = seen.cooler
    seen_at = "" if seen.behind and seen.behind.warmed_degc else f" ({place_words(seen.place)})"
    return [
        f"Over {seen.steady_s / 60:.0f} min of running at about {shown.text(one.fuel_l_h, 'volume flow')} (±{100 * expanded(seen.flow_relative_u):.0f} %, "
        f"{FLOW[seen.flow_basis]}) fuel entered at {shown.text(seen.inlet_degc, 'temperature')} ({place_words(seen.before)}) and left at "
        f"{shown.text(seen.outlet_degc, 'temperature')}{seen_at}, with the coolant at {shown.text(seen.coolant_degc, 'temperature')}.",
        f"Effectiveness {effectiveness(one)}; heat taken out of the fuel {watts(one.heat_w, one.heat_u_w)}. "
        f"{size(one)} ± in 95 of 100 cases.",
        hose(seen, shown),
    ]


def size(one: Cooler) -> str:
    """UA with its 95 %, or why it is not known."""
    if one.no_ua is None:
        return f"UA {with_doubt(one.ua_w_k, one.ua_u_w_k)} W/K ({one.arrangement})."
    why = {
        NoUa.NOT_COOLED: "the cooling is within the uncertainty of the readings",
        NoUa.NEARLY_ALL: (
            f"it is at least {one.least_ua_w_k:.1f} W/K, but so much of the fuel's heat is taken out that a larger one would read the same; "
            "measure it at more flow"
        ),
        NoUa.VAGUE: (
            f"its uncertainty is more than half of it; at this flow ({capacity_flow_w_k(one.fuel_l_h):.1f} W/K of fuel) the readings or the flow are not "
            "known well enough; calibrate the two probes against each other or fit a flow meter"
        ),
    }[one.no_ua]
    return f"Its UA cannot be told here: {why}."


def hose(seen: LineCooler, shown: Shown) -> str:
    """What lies between the cooler and the place."""
    place, where = place_words(seen.place), f"from {place_words(seen.before)} to {place_words(seen.place)}"
    one = seen.behind
    if one is None:
        return (
            f"All of the line {where} counts as the cooler: what the fuel takes up behind it makes it look smaller than it is; a probe in the air beside the "
            "hose and the hose's volume would show how much."
        )
    if not one.litres:
        return f"{first_upper(place)} is read right behind the cooler, as given."
    litres, air = shown.text(one.litres, "volume"), shown.text(one.air_degc, "temperature")
    warmed, u = (shown.text(abs(degc), "temperature difference") for degc in (one.warmed_degc, expanded(one.warmed_u_degc)))
    if not one.given:
        return (
            f"How much of the {litres} of line {where} lies behind the cooler, in air of {air}, was not given: what the fuel takes up "
            f"there makes it look smaller than it is, and is in the uncertainty with {u} (calculated, rubber hose)."
        )
    return (
        f"Behind the cooler {litres} of hose lie in air of {air}, as given: the fuel {'warmed' if one.warmed_degc >= 0 else 'cooled'} there by about "
        f"{warmed} ±{u} (calculated, rubber hose), which is subtracted."
    )


def elsewhere(one: There, shown: Shown) -> str:
    """The same cooler under other conditions."""
    cooled = one.cooled
    return (
        f"The same cooler at {shown.text(one.fuel_l_h, 'volume flow')}, with fuel entering at {shown.text(one.inlet_degc, 'temperature')} and its "
        f"coolant at {shown.text(one.coolant_degc, 'temperature')}: fuel would leave at {shown.text(cooled.outlet_degc, 'temperature')} "
        f"(±{shown.text(expanded(cooled.outlet_u_degc), 'temperature difference')}), effectiveness {cooled.effectiveness:.2f}, "
        f"{watts(cooled.heat_w, cooled.heat_u_w)}. {ASSUMPTION}"
    )


def ice(one: Ice, written: str = "") -> str:
    """How long ice lasts. written: the amount as a person gave it."""
    half = float(expanded(one.u_minutes))
    if half <= one.minutes / 2:
        lasts = f"takes up {one.heat_w:.0f} W for {one.minutes:.0f} min (±{half:.0f})"
    else:  # the heat is hardly known, so only what it is at most says something
        more = 1 + half / one.minutes
        lasts = f"takes up at most {one.heat_w * more:.0f} W, so it lasts {one.minutes / more:.0f} min or longer"
    return f"{written or f'{one.ice_kg:.1f} kg'} of ice {lasts}, counting the heat from the fuel alone: heat through the can's wall makes it less."


def refused(error: SpanError | NotCooledError | CoolantError, shown: Shown) -> InputError:
    """The same error in the reader's units, with what the command line offers."""
    if isinstance(error, SpanError):
        by = f"{shown.text(abs(error.span_degc), 'temperature difference')} {'above' if error.span_degc >= 0 else 'below'}"
        least = shown.text(LEAST_SPAN_DEGC, "temperature difference", 0)
        return InputError(f"fuel enters {by} the coolant: at least {least} above it are needed to say anything about a cooler")
    if isinstance(error, NotCooledError):
        outlet, inlet = (shown.text(degc, "temperature") for degc in (error.outlet_degc, error.inlet_degc))
        return InputError(
            f"fuel came to the {place_words(error.place)} at {outlet}, no cooler than the {inlet} of the {place_words(error.before)}: nothing between them "
            "cools it"
        )
    example = "88 degF" if shown.system == "us" else "31 degC"
    return InputError(f'{error} (--coolant "{example}"; or hotfuel review {error.session} --about ambient_degc="{example}")')

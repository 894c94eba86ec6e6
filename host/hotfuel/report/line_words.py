"""What the line did to the fuel, in sentences: a section between two places, and full-throttle pulls of a variant."""

from collections.abc import Callable
from typing import Any

import numpy as np

from hotfuel.places import place_words
from hotfuel.report.unknown_words import named
from hotfuel.study.line.hose import LEAST_SAMPLES, FlowBasis, Hose
from hotfuel.study.line.overlaid import VariantPulls
from hotfuel.study.line.reasons import Lacking, Reason, Untold
from hotfuel.study.line.transport import Section
from hotfuel.units import Shown, expanded

_SPEED, _POWER, _IN_PART = "engine speed, displacement and mixture", "specific consumption", "measured by a meter in part, else "
_SPEED_AND_POWER = f"{_SPEED}; in pulls {_POWER}"
FLOW = {  # where a flow comes from
    FlowBasis.UNKNOWN: "unknown",
    FlowBasis.GIVEN: "flow meter",
    FlowBasis.METER: "measured by a meter",
    FlowBasis.SPEED: _SPEED,
    FlowBasis.SPEED_AND_POWER: _SPEED_AND_POWER,
    FlowBasis.POWER: f"{_POWER}, full throttle only",
    FlowBasis.METER_OR_UNKNOWN: f"{_IN_PART}unknown",
    FlowBasis.METER_OR_SPEED: f"{_IN_PART}{_SPEED}",
    FlowBasis.METER_OR_SPEED_AND_POWER: f"{_IN_PART}{_SPEED_AND_POWER}",
}


def in_words(plain: Any) -> Any:
    """Plain fields of a study of the line for JSON: `carried_by` ("" where nothing carries the range) and `flow_basis` in words."""
    if isinstance(plain, dict):
        return {key: _WORDS[key](value) if key in _WORDS else in_words(value) for key, value in plain.items()}
    return [in_words(one) for one in plain] if isinstance(plain, list | tuple) else plain


_WORDS: dict[str, Callable[[Any], str]] = {"carried_by": named, "flow_basis": FLOW.__getitem__}


def section(one: Section, shown: Shown) -> str:
    """Why the section's place changed most, or why nothing can be said about the section; with a capital unless it begins with the fuel."""
    names = (f"the {place_words(one.before)}", f"the {place_words(one.place)}")
    if one.hose is not None:
        return hose(one.hose, names, shown)
    return _untold(one.untold, names[0]) if one.untold is not None else ""


def as_dict(one: Section, shown: Shown) -> dict[str, Any]:
    """A section's fields for JSON, with its sentence."""
    plain, sentence = in_words(one.as_dict()), section(one, shown)
    if plain["hose"] is not None:
        plain["hose"]["sentence"] = sentence
    return plain | {"sentence": sentence}


def hose(one: Hose, names: tuple[str, str], shown: Shown) -> str:
    """Why the second place changed most, or the delay alone where the flow is unknown. names: of the place before and of this place."""
    before, place = names
    if one.reason is Reason.DELAY_ONLY:
        return (
            f"Changes at {before} arrive at {place} about {one.delay_s:.0f} s later (±{expanded(one.delay_u_s):.0f}); the flow is not known, so "
            "neither volume nor heat can be worked out."
        )
    if one.reason is Reason.NO_DELAY:
        return f"Changes at {place} do not follow those at {before} clearly enough to show a delay."
    if one.reason is Reason.HARDLY_CHANGED:
        return f"The fuel at {place} hardly changed in this stretch."
    hotter, longer, more = ("hotter", "longer", "more") if one.changed_degc > 0 else ("cooler", "less time", "less")
    turned = f"the fuel at {place} became {hotter} by {shown.text(abs(one.changed_degc), 'temperature difference', 0)}"
    if one.reason is Reason.ARRIVED:
        after = f"{one.inside_s:.0f} s after it left there" if one.inside_s >= 1 else "almost at once"
        return f"{turned} because {hotter} fuel arrived from {before}, {after}."
    if one.reason is Reason.TIME_IN_HOSE:
        return f"{turned} because fuel arrived that had spent {longer} in the hose ({one.inside_s:.0f} s)."
    if one.reason is Reason.HEAT_TAKEN_OUT:
        taken = "less" if one.changed_degc > 0 else "more"
        return f"{turned} because {taken} heat was taken out of it on the way, not because {hotter} fuel arrived from {before}."
    return f"{turned} because it took up {more} heat on the way, not because {hotter} fuel arrived from {before}."


def _untold(one: Untold, before: str) -> str:
    if one.lacking is Lacking.STEADY_SPEED:
        return (
            f"The engine ran at {one.least_rpm:.0f} to {one.most_rpm:.0f} rpm, and the fuel's flow changed with it by an unknown amount, so no single delay "
            "fits. Give the engine's displacement in the car file."
        )
    return {
        Lacking.SAMPLES: f"There are only {one.samples} samples with both temperatures, and a hose needs at least {LEAST_SAMPLES}.",
        Lacking.CHANGE: f"The temperature at {before} hardly changes, so nothing shows when its fuel arrives.",
        Lacking.FLOW: "No fuel flows in this stretch, so there is no transport.",
        Lacking.FLOWING_SAMPLES: f"Fuel flows in only {one.samples} samples of this stretch, and a hose needs at least {LEAST_SAMPLES}.",
        Lacking.ENGINE_SPEED: (
            "Neither the fuel's flow nor the engine's speed was read, and the delay depends on the flow, so there is none to give. "
            "Record the engine's speed, or put a meter in the line."
        ),
    }[one.lacking]


def pulls(one: VariantPulls, place: str, shown: Shown) -> str:
    """For example "shield: carb inlet 141 to 118 °F (mean of 6 pulls in 3 sessions)"; "" where the place was not read."""
    at = one.places.get(place)
    if at is None or not np.isfinite((at.start_degc, at.lowest_degc)).all():
        return ""
    first = shown.text(at.start_degc, "temperature", 0).digits
    counted = f"{one.count} pull{'' if one.count == 1 else 's'} in {one.sessions} session{'' if one.sessions == 1 else 's'}"
    mean = counted if one.count == 1 else f"mean of {counted}"
    return f"{one.variant}: {place_words(place)} {first} to {shown.text(at.lowest_degc, 'temperature', 0)} ({mean})"

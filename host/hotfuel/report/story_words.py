"""A drive's story in sentences: which place came nearest its limit, when, why, what the driver would have noticed, and how sure that is."""

import numpy as np
import pandas as pd

from hotfuel.places import place_words
from hotfuel.report import complaint_words, heat_words, limit_words, line_words
from hotfuel.report.words import where
from hotfuel.risk.findings import TRAPPED_FUEL, Finding
from hotfuel.risk.level import is_beyond
from hotfuel.study.drive import restarts
from hotfuel.study.drive.phases import RESTART
from hotfuel.study.line import transport
from hotfuel.study.story import Hottest, Nearest, SoakStory, Story, Why, WithoutLimit
from hotfuel.units import Shown, expanded

WHY = {
    Why.STOPPED_HOT: "the engine went on heating it after the stop, with no fuel flowing to carry the heat away",
    Why.FLOW_ROSE: "hotter fuel that had stood further back arrived when the flow rose",
    Why.RESTARTED: "fuel heated while the engine stood was drawn through",
    Why.IDLED: "at idle little fuel flows, so each litre takes up more heat",
    Why.PRESSURE_FELL: "the pressure there fell, as it does with height and suction, which lowers the limit",
    Why.WARMING_UP: "the engine was still warming up",
    Why.TANK_WARMED: "the whole of the fuel had grown warmer since the start",
    Why.ON_THE_WAY: "heat picked up on the way from the tank",
}


def sentences(told: Story, shown: Shown) -> list[str]:
    """The whole story, what matters most first."""
    clock = Clock(told)
    said = [_without_limit(one, clock, shown) for one in told.without_limit]
    if told.nearest is not None:
        said += [_nearest(told.nearest, clock, shown), _noticed(told.nearest, told)]
    elif told.hottest is not None:
        said.append(_hottest(told.hottest, clock, shown))
    said += [_soak(told, one, shown) for one in told.soaks]
    said += [_restart(one, clock, shown) for one in told.restarts]
    if told.judgement is not None:
        said += complaint_words.judgement(told.judgement, shown)
    most = transport.changed_most(told.sections)
    if most is not None and most.hose is not None:
        said.append(f"At {clock.text(most.hose.changed_at_s)} {line_words.section(most, shown)}")
    if told.heat is not None:
        said.append(heat_words.sentence(told.heat, shown))
    said += [f"At {clock.text(one.time_s)} {pressure(one, shown, told.needle)}." for one in told.pressures]
    if told.own_limit.troubles + told.own_limit.ran_through:
        said.append(limit_words.own_limit(told.own_limit, shown))
    return [*filter(None, said), _how_sure(told, shown)]


def pressure(one: Finding, shown: Shown, needle: bool = True) -> str:
    """What a pressure shows by itself, and what to look for; a clause for a sentence. needle: the car has a carburettor."""
    size = shown.text(one.size_kpa, "pressure")
    if one.kind == TRAPPED_FUEL:
        past, flooded = (" and may be pushed past the needle", " and for a flooded carburettor") if needle else ("", "")
        return (
            f"line pressure rose by {size} after the stop: trapped fuel expands and boils{past}; look for leaks{flooded}, and do not open the line while "
            "it is hot"
        )
    return f"the tank's vacuum grew to {size}: its vent is blocked, which lowers the pressure at the pump by as much; let it cool before opening the cap"


class Clock:
    """Moments as a person reads them: time of day where known (UTC if the local offset is not), else minutes since the first reading."""

    def __init__(self, told: Story) -> None:
        self._start = told.start_s + 60.0 * (told.utc_offset_min or 0)
        self._zone = "" if told.utc_offset_min else " UTC"

    def text(self, at_s: float) -> str:
        """For example "14:03" or "12 min in"."""
        if np.isnan(self._start):
            return f"{at_s / 60:.0f} min in"
        return f"{pd.Timestamp(self._start + at_s, unit='s'):%H:%M}{self._zone}"


def _without_limit(one: WithoutLimit, clock: Clock, shown: Shown) -> str:
    """It counts as beyond the limit and comes before every smallest margin."""
    return (
        f"From {clock.text(one.at_s)} on, for {one.lasted_s / 60:.1f} min altogether, {where(one.place)}: {one.level.text(shown)}. "
        f"It counts as beyond the limit; the lowest pressure worked out was {shown.text(one.lowest_kpa, 'pressure')} absolute."
    )


def _nearest(one: Nearest, clock: Clock, shown: Shown) -> str:
    left = shown.text(abs(one.margin_degc), "temperature difference")
    came = f"The fuel {where(one.place)} came nearest its limit, at {clock.text(one.at_s)} in {one.phase}"
    state = f"{left} were left" if not is_beyond(one.margin_degc) else f"it was {left} beyond"
    because = f", because {WHY[one.reason]}" if one.reason is not None else ""
    return (
        f"{came}: {state}, at {shown.text(one.temperature_degc, 'temperature')} and {shown.text(one.pressure_kpa, 'pressure')} "
        f"(limit {shown.text(one.limit_degc, 'temperature')}){because}."
    )


def _hottest(one: Hottest, clock: Clock, shown: Shown) -> str:
    hottest = shown.text(one.temperature_degc, "temperature")
    return f"The hottest fuel was at the {place_words(one.place)}: {hottest} at {clock.text(one.at_s)}; no limit is known without a car file."


def _noticed(one: Nearest, told: Story) -> str:
    """What the driver would have noticed, from what sets the pressure at the place and how far beyond the limit the fuel was."""
    if one.margin_degc > expanded(one.uncertainty_degc):
        return "The driver would have noticed nothing."
    maybe = "is likely to" if is_beyond(one.margin_degc) else "may"
    restarted = any(p.kind == RESTART for p in told.phases)
    if told.pressure_of == "bowl":
        return f"The bowl {maybe} percolate then: it floods the engine or runs empty, and a restart is hard." + (
            "" if restarted else " No restart is in the recording to tell."
        )
    if told.pressure_of == "suction":
        return f"Vapour {maybe} form at the pump then: fuel pressure falls, the engine leans out, stumbles under load, or dies."
    return f"Vapour {maybe} form at the {place_words(one.place)} then: the engine runs unevenly, and a restart can be hard."


def _soak(told: Story, soak: SoakStory, shown: Shown) -> str:
    how = complaint_words.hardness(soak.hardness, shown)
    if told.nearest is None and not told.without_limit:
        return f"{soak.phase.capitalize()}: {how}."
    if not soak.first_place:
        return f"{soak.phase.capitalize()} ({how}): no place passed its limit."
    if soak.crossed_min < 0.5:
        return f"{soak.phase.capitalize()} ({how}): the fuel {where(soak.first_place)} was beyond its limit from the stop on."
    first = f"the fuel {where(soak.first_place)} passed its limit first"
    return f"{soak.phase.capitalize()} ({how}): {first}, {soak.crossed_min:.0f} min after the stop."


def _restart(one: restarts.Restart, clock: Clock, shown: Shown) -> str:
    parts = [f"Restart at {clock.text(one.at_s)}, {one.stopped_min:.0f} min after the stop"]
    if np.isfinite(one.cranking_s):
        parts.append(f"{one.cranking_s:.0f} s of cranking in {one.tries} {'try' if one.tries == 1 else 'tries'}")
    if np.isfinite(one.pressure_s):
        parts.append(f"fuel pressure after {one.pressure_s:.0f} s")
    known = {p: m for p, m in one.margins_degc.items() if np.isfinite(m)}
    if known:
        place = min(known, key=lambda p: known[p])
        left = f"{shown.text(abs(known[place]), 'temperature difference')} {'left' if known[place] > 0 else 'beyond the limit'}"
        parts.append(f"smallest margin then {left}, {where(place)}")
    if one.trouble:
        parts.append(f'marked "{one.trouble}"')
    return ", ".join(parts) + "."


def _how_sure(told: Story, shown: Shown) -> str:
    basis = {
        "high": "phases are told apart by engine speed",
        "medium": "phases are told apart by ignition or marks, which do not tell idling from driving",
        "low": "phases are guessed from fuel pressure or temperatures alone",
    }[told.confidence]
    if told.doubt:
        basis = f"phases are told apart by engine speed, with one doubt: {told.doubt}"
    if told.nearest is None:
        return f"How sure: {basis}."
    return f"How sure: the margin is known to ±{shown.text(expanded(told.nearest.uncertainty_degc), 'temperature difference')} (95 %); {basis}."

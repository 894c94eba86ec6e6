"""The first page of a review: one sentence a customer keeps, what it rests on, and what to do next.

"Boiled" is said only of fuel beyond its limit by more than the doubt, which is 95 % as everywhere a reader sees one. No number is finer than its doubt.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.log.ending import Ending
from hotfuel.places import is_named_air, place_words, probe_of
from hotfuel.report import boiled_words, probe_words
from hotfuel.report.story_words import WHY
from hotfuel.report.words import Clock, hottest_words, how_long_beyond, minute, of_all, rough, spoken, where
from hotfuel.risk.level import Level, is_beyond, words_in_units
from hotfuel.session.summary import PlaceSummary, Summary
from hotfuel.study.drive.phases import SOAK, STANDING
from hotfuel.study.story import Story
from hotfuel.text import first_upper, is_nothing, listed
from hotfuel.units import Shown, expanded

BOILED, WITHIN_DOUBT, CLOSE, BELOW = "boiled", "within doubt", "close", "below"
TOO_LITTLE, NO_LIMIT, NOTHING = "too little", "no limit", "nothing"
KEEP_UNDESCRIBED = (
    "Keep the folder, the readings are in it: a recording of the same board with the same settings holds that description, but no command of this "
    "version takes it from there."
)
_READ_AGAIN = (
    "Find why there was no reading (plug, wire and probe, the board's supply and lead, the recorder), then repeat the drive."
)
_SHORT_S, _COLD_DEGC = 600.0, 30.0  # less says nothing about hot fuel: common practice, no source
_HOLDS = "Every ± and grey band in this report holds in 95 of 100 cases."


@dataclass(frozen=True)
class Headline:
    """kind: one of BOILED, WITHIN_DOUBT, CLOSE, BELOW, TOO_LITTLE, NO_LIMIT, NOTHING; the rest are words. why: how near it was, when and why, for the
    terminal, "" where it is not known. places: those that were beyond their limit, in the order of the sentence."""

    kind: str
    sentence: str
    basis: str
    next_steps: tuple[str, ...]
    why: str = ""
    places: tuple[str, ...] = ()


def headline(
    summary: Summary,
    told: Story | None,
    shown: Shown,
    clock: Clock,
    refused: str = "",
    undescribed: int = 0,
    ending: Ending | None = None,
) -> Headline:
    """What happened to the fuel, for its owner. told: the session's story, None for a recording without a temperature. refused: why its car file was
    left out, a sentence. undescribed: readings without the board's description (`Losses.readings_without_description`). ending: how its log breaks off."""
    unread, suspected = not_read(summary), probe_words.suspected(summary)
    found = _broken_off(_found(summary, told, shown, clock, refused, undescribed, unread), summary, told, clock, ending)
    if found.kind == NOTHING or not (unread or suspected):
        return found
    sentence, steps = found.sentence, found.next_steps if found.kind != BELOW else ()
    if unread and unread not in sentence:
        sentence = f"{sentence.removesuffix('.')}; {unread[0].lower()}{unread[1:]}."
    if suspected:
        sentence, steps = f"{sentence.removesuffix('.')}; {suspected}.", (probe_words.warm_them(summary), *steps)
    return replace(found, sentence=sentence, next_steps=(_READ_AGAIN, *steps) if unread else steps)


def _broken_off(found: Headline, summary: Summary, told: Story | None, clock: Clock, ending: Ending | None) -> Headline:
    """The answer, with where its recording breaks off; a log that only may have been cut says so where its engine ran to the last reading."""
    last = told.phases[-1] if told is not None and told.phases else None
    running = last is not None and last.kind not in (SOAK, STANDING)
    if ending is None or found.kind == NOTHING or not (ending.sure or running):
        return found
    doing = boiled_words.when_nearest([last], last.start_s) if last is not None else ""
    sentence = f"{found.sentence.removesuffix('.')}; the recording breaks off at {minute(clock, summary.ended)}{doing}, and what followed is not known."
    steps = ("Record the whole drive, with the stop and the start after it.",) if found.kind == BELOW else found.next_steps
    return replace(found, sentence=sentence, next_steps=steps, basis=f"{found.basis} {ending.sentence()}".strip())


def _found(
    summary: Summary, told: Story | None, shown: Shown, clock: Clock, refused: str, undescribed: int, unread: str
) -> Headline:
    near, hot = summary.smallest, summary.hottest
    if (without := summary.without_limit) is not None:
        kind = BOILED if without.no_limit == Level.LOW_PRESSURE else NO_LIMIT
        lowest = shown.text(without.no_limit_kpa, "pressure")
        return Headline(
            kind,
            f"The fuel had no room left to boiling {where(without.place)} for {spoken(without.no_limit_s)}: {words_in_units(without.no_limit, shown)}.",
            f"Worked out from {minute(clock, without.no_limit_from)} on; the lowest pressure there was {lowest}.",
            ("Check the pressure's sensor and line first, then measure again.",),
        )
    if near is None and hot is None and undescribed:
        are, them = ("reading is", "it") if undescribed == 1 else ("readings are", "they")
        return Headline(
            NOTHING,
            f"{undescribed} {are} in this recording, but the board's description of its channels is missing or damaged, so {them} cannot be turned "
            "into temperatures.",
            KEEP_UNDESCRIBED,
            ("Before the next drive, record for a minute and check that temperatures are shown.",),
        )
    if near is None and hot is None:
        return Headline(
            NOTHING, "No temperature was recorded, so nothing can be said of the fuel.", "",
            ("Check the probes' plugs and the board's lamp, then drive again.",),
        )  # fmt: skip
    if near is None:
        assert hot is not None
        return Headline(
            NO_LIMIT,
            f"How near the fuel was to boiling is not known{', because its car file cannot be used' if refused else ''}; the {hottest_words(summary)} was "
            f"{listed([f'{_degrees(shown, one.hottest_degc)} {where(one.place)}' for one in _hottest_first(summary)])}.",
            f"{first_upper(place_words(hot.place))} was hottest at {minute(clock, hot.hottest_at)}. "
            f"{refused or 'What is missing is the car file with fuel, pressures and altitude.'}",
            (
                "Correct the car file, and make this page again."
                if refused
                else "Give the car file with fuel, pressures and altitude, and make this page again.",
            ),
        )  # fmt: skip
    doubt_degc = float(expanded(near.uncertainty_degc))
    margin = near.smallest_margin_degc
    phases = told.phases if told is not None else ()
    beyond = boiled_words.places_beyond(summary, phases, told.held_unseen if told is not None else ())
    at_s = told.nearest.at_s if told is not None and told.nearest is not None and told.nearest.place == near.place else np.nan
    when = boiled_words.when_nearest(phases, at_s)
    gap = rough(shown, abs(margin), doubt_degc)
    if any(one.surely for one in beyond):
        kind, sentence = BOILED, boiled_words.boiled(beyond)
    elif margin <= 0:  # "reached": at zero it is, though not beyond
        kind, sentence = WITHIN_DOUBT, boiled_words.reached(beyond, near.place, when)
    elif margin < doubt_degc:
        kind = CLOSE
        sentence = f"It cannot be told whether the fuel boiled {where(near.place)}{when}: it came within {gap} of its limit, less than the uncertainty."
    elif too_little := _too_little(summary):
        kind, sentence = TOO_LITTLE, f"{too_little}: the fuel stayed below its boiling limit, which a hot drive can change."
    elif unread:  # first what is not known: a verdict of the rest alone would calm
        kind = BELOW
        sentence = (
            f"{unread}; wherever it was read, the fuel stayed below its boiling limit, nearest {where(near.place)}, {gap} below."
        )
    else:
        kind, sentence = (
            BELOW,
            f"The fuel stayed below its boiling limit at every probe; nearest {where(near.place)}, {gap} below.",
        )
    rests_on = [one.place for one in beyond if one.surely] or [near]
    basis = " ".join(_basis(one, shown, clock, first=one is rests_on[0]) for one in rests_on) + f" {_HOLDS}"
    steps = _next(kind, beyond, shown)
    wrong = ""
    if told is not None and told.apart is not None:
        off = probe_words.apart_words(told.apart, shown)
        basis += f" {first_upper(off)}: {probe_words.apart_why(told.apart)}."
        named = [near.place, *(one.name for one in beyond)]
        if kind == BOILED and told.apart.place == probe_of(near.place) and margin <= -doubt_degc < margin + told.apart.by_degc:
            there = "there" if len(beyond) == 1 else where(told.apart.place)
            sentence = f"{sentence.removesuffix('.')}, if the probe {there} reads right."
        elif wrong := probe_words.apart_clause(told.apart, summary, named, shown):
            sentence = f"{sentence.removesuffix('.')}; {wrong}."
        if place := probe_words.turned_by(told.apart, summary):
            kind, sentence = CLOSE, f"It cannot be told whether the fuel boiled {where(place)}: {off}."
            steps = (
                f"Check the probe at the {place_words(told.apart.place)} in ice water and in boiling water, then measure again.",
            )
    if told is not None and told.exchanged is not None:
        sentence = f"{sentence.removesuffix('.')}, unless two probes are swapped."
        basis += f" {first_upper(probe_words.exchanged_words(told.exchanged, shown))}."
        steps = (
            "Warm one probe's tip after the other by hand and see which place rises; exchange the plugs if they are swapped.",
            *steps,
        )
    alone = len(beyond) <= 1 and not (unread or summary.suspected or wrong)
    why = _why(near, told, shown, clock, doubt_degc, alone=alone)
    return Headline(kind, sentence, basis, steps, why, tuple(one.name for one in beyond))


def _degrees(shown: Shown, degc: float) -> str:
    return shown.text(degc, "temperature", 0)


def _basis(near: PlaceSummary, shown: Shown, clock: Clock, *, first: bool) -> str:
    """How near a place came to its limit, and how sure that is. first: with what its limit is."""
    doubt_degc = float(expanded(near.uncertainty_degc))
    limit, there = (_degrees(shown, degc) for degc in (near.limit_there_degc, near.temperature_there_degc))
    gap = rough(shown, abs(near.smallest_margin_degc), doubt_degc)
    side = "at" if is_nothing(gap) else f"{gap} {'above' if is_beyond(near.smallest_margin_degc) else 'below'}"
    what = ", at which it makes more vapour than can be pumped or metered" if first else ""
    return (
        f"At {minute(clock, near.smallest_margin_at)} the fuel {where(near.place)} was at {there}, {side} its limit there of about {limit}{what}. "
        f"That distance is known to ±{rough(shown, doubt_degc, doubt_degc)}. {_beyond(near)}"
    ).rstrip()


def _hottest_first(summary: Summary) -> list[PlaceSummary]:
    """Every probe in the fuel that read, the hottest first; where no car file tells which are, those not named air, if there are any."""
    read = [one for one in summary.fuel if np.isfinite(one.hottest_degc)]
    if not summary.hottest_is_fuel:
        read = [one for one in read if not is_named_air(one.place)] or read
    return sorted(read, key=lambda one: -one.hottest_degc)


def _why(near: PlaceSummary, told: Story | None, shown: Shown, clock: Clock, doubt_degc: float, *, alone: bool) -> str:
    """How near the fuel was to its limit, when and why; "" where the story tells of another place. alone: no other place is in the sentence before."""
    if told is None or told.nearest is None or told.nearest.place != near.place:
        return ""
    gap, doubt = (rough(shown, abs(degc), doubt_degc) for degc in (near.smallest_margin_degc, doubt_degc))
    most, side = ("furthest", "beyond") if is_beyond(near.smallest_margin_degc) else ("nearest", "below")
    there = "at its limit" if is_nothing(gap) else f"{gap} {side} its limit"
    which = "it" if alone else f"the fuel {where(near.place)}"
    because = f", because {WHY[told.nearest.reason]}" if told.nearest.reason is not None else ""
    return f"At its {most}, at {minute(clock, near.smallest_margin_at)}, {which} was {there} (±{doubt}){because}."


def _beyond(near: PlaceSummary) -> str:
    """How long it was beyond the limit at all, if that is longer than it certainly boiled."""
    if near.beyond_doubt_s <= 0 or spoken(near.beyond_limit_s) == spoken(near.beyond_doubt_s):
        return ""
    return f"It {how_long_beyond(near)}. "


def not_read(summary: Summary) -> str:
    """At which fuel places there was no reading for long, without a full stop; "" without one."""
    long = summary.unread
    if not long:
        return ""
    all_s = summary.duration_s + summary.unheard_s
    lengths = [of_all(place.unread_s, all_s) for place in long]
    if len(long) == len(summary.fuel) > 1 and len(set(lengths)) == 1:
        why = {place.doubt for place in long}
        true, because = ("true ", f" ({why.pop().replace('its', 'each', 1)})") if len(why) == 1 and why != {""} else ("", "")
        return f"There was no {true}reading at any probe for {lengths[0]}{because}, and nothing is known of the fuel then"
    told = listed(
        [
            f"at the {place_words(place.place)} for {length}{f' ({place.doubt})' if place.doubt else ''}"
            for place, length in zip(long, lengths, strict=True)
        ]
    )
    then = (
        "" if all(np.isnan(place.hottest_degc) for place in long) else " then"
    )  # where there was none at all, no time is left over
    return f"There was no {'true ' if any(place.doubt for place in long) else ''}reading {told}, and nothing is known of the fuel there{then}"


def _too_little(summary: Summary) -> str:
    """Why a recording without trouble proves nothing, "" if it does."""
    if summary.recorded_s < _SHORT_S:
        return f"Too short to tell anything of hot fuel, {spoken(summary.recorded_s)} in all"
    hot = summary.hottest
    if hot is not None and hot.hottest_degc < _COLD_DEGC:
        return "The fuel never got hot, so nothing is shown"
    return ""


def _next(kind: str, beyond: Sequence[boiled_words.Beyond], shown: Shown) -> tuple[str, ...]:
    if kind == TOO_LITTLE:
        return ("Record a warm drive of twenty minutes or more, the stop after it, and the start after that.",)
    if kind == BELOW:
        return (
            "Nothing calls for a change under these conditions.",
            "A hotter day, a longer stop, more altitude or winter fuel can change that: measure again then.",
        )
    if kind == CLOSE:
        return (
            "Measure again on a hotter day or after a longer stop.",
            "The fuel's own vapour pressure, from its data sheet or a test, narrows the uncertainty most.",
        )
    return (
        *boiled_words.steps([one for one in beyond if one.surely] or beyond, shown),
        "Then repeat the run on an equally warm day, and compare both recordings.",
    )

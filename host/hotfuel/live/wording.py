"""A situation in words and the reader's units: the text that page and terminal share. None of it promises anything or states a probability.

`panel` returns plain dicts, lists, text and numbers, so that it can go to a browser as JSON. Control characters never get in.
"""

import math
from typing import Any

from hotfuel.live.actions import ENDED, UNREAD, Action, action_for
from hotfuel.live.link_rows import link_rows, not_done, remedy
from hotfuel.live.outlook_words import forecasts, restart
from hotfuel.live.plain import Clock, Steady, clean, number, place_label, pull_text, spell_of, step_of
from hotfuel.live.situation import PlaceNow, Situation
from hotfuel.places import HOSES, narrow_words, probe_of
from hotfuel.risk.level import BEYOND, NO_LIMIT, Level, is_beyond
from hotfuel.risk.trend import GREATEST_MIN, WINDOW_S, Way
from hotfuel.temperature.counts import NO_NEW_CONVERSION, REASONS
from hotfuel.units import Shown, expanded

STALE_S = 2.0  # numbers older than this are not shown as if they were now
DRIVER = "The driver does not operate this and does not read it while moving."
CAUTION = "No warning does not mean safe: fuel can boil where there is no probe."
CHECK_BOARD = "Check the plug at the board and at the computer, the board's supply, and whether its lamp blinks."
CHECK_SIMULATOR = "The simulated board is silent: its drive is over, unless a fault was asked for. End the recording with Ctrl-C."
BAND = "Ranges hold 95 in 100."
ORDER = ("act", "warn", "ahead", "lost", "back", "note", "quiet", "none")  # the worst first
WORDS = {"ahead": "limit ahead", "note": "percolation", "lost": "sensor lost"}
HOT_INJECTOR = "may boil"  # with the engine stopped; what its line holds is not known
PASSED, WAS_LOST, DOUBTFUL = "at its limit", "was lost", "sensor doubtful"
FELL = "fell faster than its probe can: check probe and wire"
STOPPED = "the amplifier answers but measures nothing new"
# the trend's arrow, a key of page.js's arrows, and its words
_WAYS = {
    Way.CLOSING: ("closing", "closing"),
    Way.OPENING: ("opening", "opening"),
    Way.LEVEL: ("level", "level"),
    Way.BOILING: ("vapour", "first vapour"),
    Way.UNKNOWN: ("unknown", "not enough seen yet"),
}
_PERCOLATES_BY = 1000.0  # degC: a note after a hot stop must not hide a place that can still be warned of


def panel(now: Situation, shown: Shown, steady: Steady | None = None) -> dict[str, Any]:
    """Everything that is shown, in words; see page.js and terminal for who reads what. steady: kept from call to call, so that numbers do not flicker."""
    clock = Clock(now.wall_offset_s, now.at)
    steady = steady or Steady()
    standing = now.inputs.get("running") == 0
    told = [(_place(place, shown, clock, standing, steady, now.live), place) for place in now.places]
    told.sort(key=lambda pair: _urgency(*pair))
    places = [words for words, _ in told]
    return {
        "name": clean(now.name, 80),
        "live": now.live,
        "reading": None if now.read_share >= 1 else f"reading the recording, {100 * now.read_share:.0f} %",
        "age_s": round(now.age_s, 2) if math.isfinite(now.age_s) else None,
        "time": clock.moment(now.at),
        "day": "" if now.live else clock.day(now.at),
        "units": shown.system,
        "head": _head(places),
        # in place of "no warning" and "nothing to do" when there is no current reading
        "instead": {
            "unread": {"word": "no reading", **_told(UNREAD)},
            "ended": {"word": "ended", **_told(ENDED)},
        },
        "flags": _flags(now, clock),
        "places": places,
        "forecasts": forecasts(now, shown),
        "restart": restart(now, clock),
        "pull": _pull(now, shown, clock),
        "marks": [{"time": clock.moment(at), "text": clean(text)} for at, text in reversed(now.marks)][:12],
        "health": link_rows(now, shown, clock),
        "notes": [clean(note, 400) for note in now.notes],
        "driver": DRIVER,
        "caution": CAUTION,
        "check": CHECK_SIMULATOR if now.health["description"].get("simulated") else CHECK_BOARD,
        "band": BAND,
    }


def _urgency(words: dict[str, Any], place: PlaceNow) -> tuple[int, float, float]:
    """Sorts the worst place first: by state, then by the margin as it is shown, which does not flicker; without one the hottest first."""
    size = words["size"] if words["size"] is not None else -math.inf if place.state in NO_LIMIT else math.inf  # no margin is left
    warmth = round(place.degc) if math.isinf(size) and math.isfinite(place.degc) else 0
    return ORDER.index(words["key"]), size + (_PERCOLATES_BY if place.percolates else 0.0), -warmth


def _key(place: PlaceNow) -> str:
    """The state as shown. An alarm held on only by its off-delay, and a limit announced ahead, are separate states."""
    key = place.state.look
    if key in ("warn", "act"):
        if not math.isfinite(place.back_since):
            return key
        # no longer beyond, still close: a warning, not something past
        return "warn" if key == "act" and place.margin_degc < place.uncertainty_degc else "back"
    if not math.isfinite(place.degc) or place.doubted:
        return "lost"
    if place.percolates:
        return "note"
    # a limit passed a moment ago: its alarm comes on in a few seconds, and "no warning" would be untrue until then
    return "ahead" if key == "quiet" and (place.ahead or is_beyond(place.margin_degc)) else key


def _word(place: PlaceNow, key: str) -> str:
    if key == "back":
        return "was beyond" if place.state == Level.ACT else "was close"
    if key == "ahead" and is_beyond(place.margin_degc):
        return PASSED
    if key == "lost" and math.isfinite(place.degc):
        return DOUBTFUL if place.doubted else WAS_LOST
    if key == "note" and place.role in HOSES:
        return HOT_INJECTOR
    return WORDS.get(key) or (Level.ACT.words if key == "act" else Level.WARN.words if key == "warn" else place.state.words)


def _lost(place: PlaceNow) -> str:
    """Why there is no margin to show, "" where there is one."""
    if not math.isfinite(place.degc):
        return STOPPED if _has_stopped(place) else REASONS.get(place.reason, "no reading")
    return FELL if place.doubted else place.state.short if place.state in NO_LIMIT else ""


def _has_stopped(place: PlaceNow) -> bool:
    """No new conversion for longer than any chip takes; a slow one has none at some ticks."""
    return place.reason == NO_NEW_CONVERSION and not place.last_age_s <= STALE_S


def _place(place: PlaceNow, shown: Shown, clock: Clock, standing: bool, steady: Steady, live: bool) -> dict[str, Any]:
    seen, key = math.isfinite(place.degc), _key(place)
    told = seen and not place.doubted
    word, lost = _word(place, key), _lost(place)
    has_limit = math.isfinite(place.limit_degc)
    size, margin, left, span = _margin(place.name, place.margin_degc, place.uncertainty_degc, shown, steady)
    was_brief, was = _was(place, "" if key == "lost" else word, shown, clock, live)
    action = action_for(key, place.role, standing, seen, place.doubted, _has_stopped(place))
    return {
        "place": place.name,
        "name": place_label(place.name),
        "narrow": clean(narrow_words(place.name), 40),
        "key": key,
        "word": word,
        "temperature": _degrees(f"{place.name} now", place.degc, shown, steady),
        "unit": shown.unit("temperature"),
        "limit": _with_unit(_degrees(f"{place.name} limit", place.limit_degc, shown, steady), shown) if has_limit else "",
        "size": None if math.isnan(size) or not told else size,
        "margin": margin if told and has_limit else "–" if has_limit else "",
        "left": left if told and has_limit else "",
        "difference": shown.unit("temperature difference"),
        "range": span if told and has_limit else "",
        "arrow": _arrow(place, clock) if has_limit and told else "unknown",
        "trend": _trend(place, clock) if has_limit and told else "",
        "eta": "" if _turned(place, clock) or is_beyond(place.margin_degc) else _eta(place),
        "lost": lost,
        "was": was,
        "was_brief": was_brief,
        **_told(action),
        "history": _history(place, clock, key),
        "detail": _detail(place, shown),
        "indicative": "clamp-on probe: indicative, never says act"
        if place.margins is not None and place.margins.indicative
        else "",
    }


def _detail(place: PlaceNow, shown: Shown) -> str:
    """The pressure and how much vapour counts as the limit."""
    if place.margins is None or not math.isfinite(place.limit_degc):
        return "no limit here"
    return f"{shown.text(place.pressure_kpa, 'pressure')} absolute; {place.margins.criterion.text}"


def _told(action: Action) -> dict[str, str]:
    return {"short": action.short, "brief": action.brief, "action": action.whole}


def _degrees(name: str, degc: float, shown: Shown, steady: Steady) -> str:
    return number(steady(name, float(shown.value(degc, "temperature")), 1.0))


def _with_unit(text: str, shown: Shown) -> str:
    return f"{text} {shown.unit('temperature')}"


def _margin(name: str, margin_degc: float, uncertainty_degc: float, shown: Shown, steady: Steady) -> tuple[float, str, str, str]:
    """(signed, "10", "left", "5 to 15") in the reader's units, rounded to what the margin's uncertainty allows."""
    margin, doubt = (float(shown.value(value, "temperature difference")) for value in (margin_degc, uncertainty_degc))
    if not math.isfinite(margin):
        return math.nan, "–", "", ""
    step = step_of(doubt)
    size = steady(f"{name} margin", margin, step)
    low, high = (steady(f"{name} {end}", abs(margin) + end * expanded(doubt), step) for end in (-1, 1))
    return size, number(abs(size)), "past" if is_beyond(margin) else "left", f"{number(low)} to {number(high)}"


def _was(place: PlaceNow, state: str, shown: Shown, clock: Clock, live: bool) -> tuple[str, str]:
    """What was last known here, shown once it is out of date, brief and whole: "was 15 °F past", "was 15 °F past, act, 05:39:44". state: in words, "" for
    a lost sensor. Of a recording that has ended the margin is as fine as a review or an export gives it; before, as coarse as the number it replaces."""
    at, more = clock.now - place.last_age_s, ""
    if place.state not in NO_LIMIT and math.isfinite(place.known.margin_degc):
        _, size, left, _ = _margin("", place.known.margin_degc, place.known.uncertainty_degc, shown, Steady())
        size = size if live else number(abs(float(shown.value(place.known.margin_degc, "temperature difference"))), 1)
        what, at, more = f"{size} {shown.unit('temperature difference')} {left}", place.known.at, state
    elif math.isfinite(place.last_degc):
        what = _with_unit(number(float(shown.value(place.last_degc, "temperature"))), shown)
        more = (
            place.state.short if place.state in NO_LIMIT else ""
        )  # its last margin is older than that, and was of another pressure
    else:
        return "", ""
    return f"was {what}", ", ".join(part for part in (f"was {what}", more, clock.moment(at)) if part)


def _turned(place: PlaceNow, clock: Clock) -> bool:
    """True while the trend's window still reaches back to when the limit was passed: it would report the recovery as an approach."""
    return clock.now - place.back_since < WINDOW_S


def _arrow(place: PlaceNow, clock: Clock) -> str:
    """Which way the margin is moving: a key of page.js's arrows, "unknown" without a trend."""
    if _turned(place, clock):
        return "unknown"
    if place.ahead or math.isfinite(place.trend.minutes):
        return "closing"
    return _WAYS[place.trend.way][0]


def _trend(place: PlaceNow, clock: Clock) -> str:
    if _turned(place, clock):
        return ""
    if place.trend.way == Way.BOILING and is_beyond(place.margin_degc):
        return "boiling"
    return _WAYS[place.trend.way][1]


def _eta(place: PlaceNow) -> str:
    told = (place.trend.minutes, place.trend.minutes_least, place.trend.minutes_greatest)
    if not math.isfinite(told[0]):
        told = place.ahead_min
    middle, least, greatest = told
    if not math.isfinite(middle):
        return ""
    about = "a minute" if middle < 1.5 else f"{middle:.0f} min"
    return (
        f"limit in about {about} ({least:.0f} to {greatest:.0f})"
        if greatest <= GREATEST_MIN
        else f"limit in about {about} ({least:.0f} or more)"
    )


def _history(place: PlaceNow, clock: Clock, key: str) -> str:
    if math.isfinite(place.back_since):
        was = "was beyond, back below" if place.state == Level.ACT else "was close, back"
        return f"{was} since {clock.moment(place.back_since)} ({clock.ago(place.back_since)})"
    if not math.isfinite(place.spell.begin):
        return ""
    if not math.isfinite(place.spell.end):
        if not math.isfinite(place.degc):  # its alarm is held on, and nobody knows whether it still is
            began, read = clock.moment(place.spell.begin), clock.now - place.last_age_s
            return f"was hot since {began}, not read since {clock.moment(read)}" if math.isfinite(read) else ""
        return f"hot now, since {clock.moment(place.spell.begin)}" if key in ("warn", "act") else ""
    return f"was hot {clock.moment(place.spell.begin)}, quiet {clock.ago(place.spell.end)}"


def _head(places: list[dict[str, Any]]) -> dict[str, Any]:
    """The worst place; its word, number, arrow and action belong together. Without a place, that the first reading is awaited."""
    if not places:
        empty = (
            "place",
            "name",
            "narrow",
            "word",
            "left",
            "difference",
            "range",
            "trend",
            "eta",
            "lost",
            "was",
            "was_brief",
            "short",
            "brief",
            "action",
            "history",
            "unit",
        )
        known = {"key": "none", "margin": "–", "temperature": "–", "arrow": "unknown", "note": "waiting for the first reading"}
        return dict.fromkeys(empty, "") | known
    worst = places[0]
    note = "" if any(place["limit"] for place in places) else "no margin can be told"
    if not worst["limit"] and not worst["lost"]:  # what is known of it instead
        return {**worst, "margin": worst["temperature"], "difference": worst["unit"], "note": note}
    return {**worst, "note": note}


def _pull(now: Situation, shown: Shown, clock: Clock) -> str:
    """For example "last pull: carb inlet 141 to 118 °F in 9 s (14:03:26)"; "" before the first."""
    if now.pull is None:
        return ""
    said = pull_text(now.pull.extent, now.pull.place, shown)
    return f"last pull: {clean(said)} ({clock.moment(now.pull.at)})" if said else ""


def _flags(now: Situation, clock: Clock) -> list[str]:
    flags = []
    if now.not_on_disk:
        flags.append('a part of this drive is not on its disk: see the row "disk"')
    if missing := not_done(now.health["board"]):
        flags.append(f"part of the board could not start: {missing}; {remedy(now.health['board']['failed'])}")
    if now.unnamed and not any(place.state.urgency >= now.unnamed.urgency for place in now.places):
        flags.append(
            f"the board's lamp shows {now.unnamed.words} for a place it named before this recording began: go by the lamp"
        )
    if now.first:
        flags.append(f"warned of first: {place_label(now.first)}")
    if now.winks and not any(place.state in (Level.WARN, *BEYOND) for place in now.places):
        flags.append(
            "something happened, look later"
            + ("; the lamp winks until the button in the car is pressed" if now.board_warns else "")
        )
    unsteady = dict.fromkeys(
        probe_of(place.name) for place in now.places if place.unsteady and not place.doubted and not place.reason
    )
    if unsteady:
        flags.append(f"lost a moment ago: {', '.join(map(place_label, unsteady))}; check the plug, probe and wire")
    if doubted := dict.fromkeys(probe_of(place.name) for place in now.places if place.doubted):
        flags.append(f"not believed: {', '.join(map(place_label, doubted))}, which {FELL}")
    if now.unseen_places:
        flags.append("not seen: " + ", ".join(place_label(name) for name in now.unseen_places))
    if now.disagreement:
        names = ", ".join(place_label(name) for name in now.disagreement)
        flags.append(f"the car file here warns of {names}, the board's limits do not: load them again (hotfuel board warnings)")
    return flags


__all__ = ["CAUTION", "CHECK_BOARD", "DRIVER", "ORDER", "STALE_S", "clean", "panel", "place_label", "spell_of"]

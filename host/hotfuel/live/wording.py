"""A situation in words and the reader's units: the one text that page and terminal show. No word here promises anything, and none says how likely.

`panel` returns plain dicts, lists, text and numbers, so that it can go to a browser as JSON. Control characters never get in.
"""

import math
import time
import unicodedata
from typing import Any

from hotfuel_wire.messages import FAILED

from hotfuel.car import place_words
from hotfuel.live.alarms import LAMP_NO_LIMITS, LAMP_WINK
from hotfuel.live.forecasts import Outlook, later
from hotfuel.live.situation import PlaceNow, Situation
from hotfuel.risk.level import BEYOND, NO_LIMIT, Level
from hotfuel.risk.margin import NEEDLE
from hotfuel.risk.soak import Band
from hotfuel.risk.trend import BOILING, CLOSING, GREATEST_MIN, LEVEL, OPENING
from hotfuel.temperature.counts import REASONS
from hotfuel.units import Shown

STALE_S = 2.0  # numbers older than this are not shown as if they were now
DRIVER = "The driver does not operate this and does not read it while moving."
CAUTION = "No warning does not mean safe: fuel can boil where there is no probe."
NOTE = "percolation"
KEYS = {Level.QUIET: "quiet", Level.WARN: "warn", Level.ACT: "act", Level.LOST: "lost", Level.NO_MARGIN: "none"}
KEYS |= dict.fromkeys(NO_LIMIT, "act")
_ARROWS = {CLOSING: "closing", OPENING: "opening", LEVEL: "level", BOILING: "boiling"}
_LAMPS = (
    "alive",
    "slow wink: look later",
    "store full",
    "no limits, or old ones",
    "sensor lost",
    "warn",
    "act",
    "lamp test",
    "part of the board failed",
)
_FAILED = {
    FAILED["limits"]: "the limits (no warnings by the board)",
    FAILED["store"]: "the store (nothing is stored on the board)",
    FAILED["power"]: "the power watch (it never sleeps)",
}

_HOT_LINES = "Do not open cap, lines or filters while hot: they hold pressure."
# (state, engine stands) -> what to do; the first of the feed side, the second from the pump on
_ACTIONS = {
    (Level.WARN, False): (
        "Second pump or fan on, if fitted. When standing, raise the idle: fuel that moves stays cooler.",
        "Fan on, if fitted. When standing, raise the idle: fuel that moves stays cooler.",
    ),
    (Level.ACT, False): (
        "Pull over where it is safe, clear of traffic. Second pump or fan on. " + _HOT_LINES,
        "Pull over where it is safe, clear of traffic. Fan on, fast idle. " + _HOT_LINES,
    ),
    (Level.WARN, True): ("Give it air outdoors, no flame or spark near; someone stays with the car. " + _HOT_LINES,) * 2,
    (Level.ACT, True): (
        "Hard restart to be expected: wait, outdoors, no flame or spark near; someone stays with the car. " + _HOT_LINES,
    ) * 2,
}  # fmt: skip
_LOST_ACTION = "Not seen. Stop where it is safe to look at probe and wire; until then take it as hot."
_QUIET_ACTION = "Go on watching."
_PERCOLATION_ACTION = (
    "Usual on today's fuel after a hot stop: expect a flooded restart, foot down, no pumping. No flame or spark near."
)


def clean(text: str, most: int = 200) -> str:
    """Text of unknown origin for a screen: no control or formatting characters, single blanks, at most `most` characters."""
    kept = "".join(" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in text[: 20 * most])
    return " ".join(kept.split())[:most]


def place_name(name: str) -> str:
    """As a person reads it: "carb inlet, behind the needle"."""
    return clean(place_words(name), 40)


def panel(now: Situation, shown: Shown) -> dict[str, Any]:
    """Everything that is shown, in words; see page.js and terminal for who reads what."""
    clock = _Clock(now.wall_offset_s, now.at)
    standing = now.inputs.get("running") == 0
    fresh = math.isfinite(now.age_s)
    places = [_place(place, shown, clock, standing) for place in now.places]
    return {
        "name": clean(now.name, 80),
        "live": now.live,
        "reading": None if now.read_share >= 1 else f"reading the recording, {100 * now.read_share:.0f} %",
        "age_s": round(now.age_s, 2) if fresh else None,
        "time": clock.moment(now.at),
        "head": _head(now, places, shown),
        "flags": _flags(now, clock),
        "places": places,
        "forecasts": _forecasts(now, shown),
        "marks": [{"time": clock.moment(at), "text": clean(text)} for at, text in reversed(now.marks)][:12],
        "health": _health(now, shown, clock),
        "notes": [clean(note, 400) for note in now.notes],
        "sounding": now.sounding,
        "driver": DRIVER,
        "caution": CAUTION,
    }


class _Clock:
    """Axis seconds as this computer's time of day, or as time since the board started where no wall time is known."""

    def __init__(self, wall_offset_s: float, now: float) -> None:
        self._offset_s, self._now = wall_offset_s, now

    def moment(self, at: float) -> str:
        if not math.isfinite(at):
            return "–"
        if math.isfinite(self._offset_s):
            return time.strftime("%H:%M:%S", time.localtime(at + self._offset_s))
        return f"{int(at // 3600)}:{int(at // 60) % 60:02d}:{int(at) % 60:02d} h"

    def ago(self, at: float) -> str:
        return spell_of(self._now - at)


def spell_of(seconds: float) -> str:
    """A length of time at a glance: "12 s", "10 min", "2 h 05 min"."""
    whole = max(round(seconds), 0) if math.isfinite(seconds) else 0
    if whole < 120:
        return f"{whole} s"
    return f"{whole // 60} min" if whole < 7200 else f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def _number(value: float, decimals: int) -> str:
    if not math.isfinite(value):
        return "–"
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")


def _range(middle: float, spread: float, shown: Shown) -> str:
    low, high = (_number(float(shown.value(value, "temperature difference")), 0) for value in (middle - spread, middle + spread))
    return f"{low} to {high}"


def _margin(place: PlaceNow, shown: Shown) -> str:
    """What is left with its range: "9 left (4 to 14)", or past the limit "3 past (−2 to 8)"."""
    size = _number(abs(float(shown.value(place.margin_degc, "temperature difference"))), 0)
    return (
        f"{size} {'past' if place.margin_degc < 0 else 'left'} ({_range(abs(place.margin_degc), place.uncertainty_degc, shown)})"
    )


def _band(band: Band, shown: Shown) -> str:
    """A temperature with its band: "143 (135 to 158) °F"."""
    least, middle, greatest = (
        _number(float(shown.value(value, "temperature")), 0) for value in (band.least, band.middle, band.greatest)
    )
    return f"{middle} ({least} to {greatest}) {shown.unit('temperature')}"


def _minutes(band: Band) -> str:
    """Minutes with their band; the end of what a forecast looks at is "or more"."""
    if band.least >= 55:
        return "55 min or more"
    if band.middle >= 55:
        return f"55 min or more (from {band.least:.0f})"
    greatest = "55 or more" if band.greatest >= 55 else f"{band.greatest:.0f}"
    return f"{band.middle:.0f} min ({band.least:.0f} to {greatest})"


def _place(place: PlaceNow, shown: Shown, clock: _Clock, standing: bool) -> dict[str, Any]:
    seen = math.isfinite(place.degc)
    key = KEYS[place.state]
    word = place.state.words
    if not seen and key not in ("warn", "act"):
        key, word = "lost", "sensor lost"
    if place.percolates and key in ("quiet", "none"):
        key, word = "note", NOTE
    eta = ""
    if math.isfinite(place.trend.minutes):
        greatest = place.trend.minutes_greatest
        span = (
            f"{place.trend.minutes_least:.0f} to {greatest:.0f}"
            if greatest <= GREATEST_MIN
            else f"{place.trend.minutes_least:.0f} or more"
        )
        eta = f"limit in about {place.trend.minutes:.0f} min ({span})"
    lost = "" if seen else REASONS.get(place.reason, "no reading")
    if lost and math.isfinite(place.last_degc):
        lost += f"; was {shown.text(place.last_degc, 'temperature')} {spell_of(place.last_age_s)} ago"
    has_limit = math.isfinite(place.limit_degc)
    return {
        "place": place.name,
        "name": place_name(place.name),
        "key": key,
        "word": word,
        "temperature": _number(float(shown.value(place.degc, "temperature")), 1),
        "unit": shown.unit("temperature"),
        "limit": shown.text(place.limit_degc, "temperature") if has_limit else "",
        "margin": _margin(place, shown) if has_limit and seen else "",
        "arrow": _ARROWS.get(place.trend.words, "unknown"),
        "trend": place.trend.words if has_limit and seen else "",
        "eta": eta,
        "lost": lost,
        "action": _action(place, key, standing),
        "history": _spell(place, clock, key),
        "detail": f"{shown.text(place.pressure_kpa, 'pressure')} absolute; {place.criterion}" if has_limit else "no limit here",
        "indicative": "clamp-on probe: indicative, never says act" if place.indicative else "",
    }


def _action(place: PlaceNow, key: str, standing: bool) -> str:
    if key == "lost":
        return _LOST_ACTION
    if key == "note":
        return _PERCOLATION_ACTION
    actions = _ACTIONS.get((Level.ACT if place.state.beyond else place.state, standing))
    if actions is None:
        return _QUIET_ACTION if key == "quiet" else ""
    return actions[0 if place.role in ("tank", "suction", "pump") else 1]


def _spell(place: PlaceNow, clock: _Clock, key: str) -> str:
    if not math.isfinite(place.spell.begin):
        return ""
    if not math.isfinite(place.spell.end):
        return f"hot now, since {clock.moment(place.spell.begin)}" if key in ("warn", "act") else ""
    return f"was hot {clock.moment(place.spell.begin)}, quiet {clock.ago(place.spell.end)}"


def _head(now: Situation, places: list[dict[str, Any]], shown: Shown) -> dict[str, Any]:
    """The place with the smallest margin, that margin with its range, an arrow. The state is the worst one anywhere."""
    order = ("act", "warn", "lost", "note", "quiet", "none")
    worst = min(places, key=lambda place: order.index(place["key"]), default=None)
    key = worst["key"] if worst else "none"
    if now.smallest is None:
        words = "no margin can be told" if places else "waiting for the first reading"
        return {
            "key": key, "word": worst["word"] if worst else "", "place": "", "margin": "–", "left": "", "range": words, "arrow": "unknown", "trend": "",
            "eta": "", "action": worst["action"] if worst else "", "unit": "",
        }  # fmt: skip
    nearest = next(place for place in places if place["place"] == now.smallest.name)
    margin = float(shown.value(now.smallest.margin_degc, "temperature difference"))
    past = margin < 0
    acting = worst if worst is not None and key in ("act", "warn", "lost") else nearest
    return {
        "key": key,
        "word": worst["word"] if worst else "",
        "where": "" if acting is nearest else acting["name"],
        "place": nearest["name"],
        "margin": _number(abs(margin), 0),
        "unit": shown.unit("temperature difference"),
        "left": "past the limit" if past else "left",
        "range": _range(abs(now.smallest.margin_degc), now.smallest.uncertainty_degc, shown),
        "arrow": nearest["arrow"],
        "trend": nearest["trend"],
        "eta": nearest["eta"],
        "action": acting["action"],
    }


def _flags(now: Situation, clock: _Clock) -> list[str]:
    flags = []
    if now.first:
        flags.append(f"first: {place_name(now.first)}")
    if now.winks and not any(place.state in (Level.WARN, *BEYOND) for place in now.places):
        flags.append(
            "something happened, look later"
            + ("; the lamp winks until the button in the car is pressed" if now.board_warns else "")
        )
    if now.unseen_places:
        flags.append("not seen: " + ", ".join(place_name(name) for name in now.unseen_places))
    if now.disagreement:
        names = ", ".join(place_name(name) for name in now.disagreement)
        flags.append(f"the car file here warns of {names}, the board's limits do not: load them again (hotfuel board warnings)")
    return flags


def _forecasts(now: Situation, shown: Shown) -> dict[str, Any]:
    if not now.outlooks:
        return {"title": "", "note": "", "rows": []}
    rows = [{"name": place_name(outlook.place), "text": _outlook(outlook, shown)} for outlook in now.outlooks]
    note = "model only, until ten hot stops of this car are stored" if any(outlook.model_only for outlook in now.outlooks) else ""
    title = "After this stop" if now.outlooks[0].soak else "At this idle"
    return {"title": title, "note": note, "rows": rows}


def _outlook(outlook: Outlook, shown: Shown) -> str:
    if outlook.idle is not None:
        margin = outlook.idle.margin_degc
        least, middle, greatest = (
            _number(float(shown.value(value, "temperature difference")), 0)
            for value in (margin.least, margin.middle, margin.greatest)
        )
        return f"in {outlook.idle.ahead_min:.0f} min: {middle} {shown.unit('temperature difference')} left, {least} to {greatest}"
    assert outlook.soak is not None
    soak = outlook.soak
    peak_min = later(soak.peak_min, outlook.elapsed_min)
    if peak_min.middle < 1:
        words = [f"highest {_band(soak.peak_degc, shown)}, about now or over"]
    else:
        words = [f"highest {_band(soak.peak_degc, shown)}, in about {_minutes(peak_min)}"]
    words.append(soak.onset_words)
    below = later(soak.below_onset_min, outlook.elapsed_min)
    if math.isfinite(below.middle) and below.greatest > 0:
        words.append(f"below boiling onset in about {_minutes(below)}")
    return "; ".join(words)


def _health(now: Situation, shown: Shown, clock: _Clock) -> list[dict[str, Any]]:
    """Rows (name, text, bad) of link, board, store, sensors, warnings."""
    health, board, description = now.health, now.health["board"], now.health["description"]
    rows = []

    def row(name: str, text: str, bad: bool = False) -> None:
        rows.append({"name": name, "text": clean(text, 300), "bad": bad})

    gaps = (
        f"{health['gaps']} gaps, {spell_of(health['gap_s'])} in all, last: {health['gap_reason'].replace('_', ' ')}"
        if health["gaps"]
        else "no gap"
    )
    damaged = f", {health['damaged_pieces']} damaged pieces" if health["damaged_pieces"] else ""
    unknown = f", {health['unknown']} messages of a newer protocol" if health["unknown"] else ""
    row(
        "link",
        ("recording" if now.live else "the recording has ended") + f", {gaps}{damaged}{unknown}",
        bool(health["damaged_pieces"]),
    )
    if description:
        version = ".".join(str(description[f"firmware_{part}"]) for part in ("major", "minor", "patch"))
        simulated = "simulated board" if description["simulated"] else "board"
        dropped = board.get("frames_dropped", 0) + board.get("readings_dropped", 0)
        starts = f", started {health['boots']} times" if health["boots"] > 1 else ""
        late = f", {dropped} frames or readings not sent in time" if dropped else ""
        battery = now.inputs.get("battery_v", math.nan)
        volts = f", supply {battery:.1f} V" if math.isfinite(battery) else ""
        row("board", f"{simulated}, firmware {version}, every {description['period_ms']} ms{starts}{late}{volts}", bool(dropped))
    if board:
        room = board["store_free_kb"]
        store = "no store on the board" if room == 65535 else "full: it takes no more" if room == 0 else f"{room} kB free"
        row("store", f"{store}, {board['frames_stored']} frames stored", room == 0)
    failed = [words for bit, words in _FAILED.items() if board.get("failed", 0) & bit]
    if failed:
        row(
            "board",
            "part of it could not start: " + "; ".join(failed) + ": install the firmware again, see `hotfuel board info`",
            True,
        )
    lost = [
        f"{place_name(place.name)}: {REASONS.get(place.reason, 'no reading')}"
        for place in now.places
        if place.reason and not place.name.endswith(NEEDLE)
    ]
    row("sensors", "; ".join(lost) if lost else f"{len([p for p in now.places if not p.name.endswith(NEEDLE)])} read", bool(lost))
    lamp = health["lamp"]
    if now.board_warns:
        wink = lamp == LAMP_WINK
        row("warnings", "by the board; lamp: " + (_LAMPS[lamp] if lamp < len(_LAMPS) else f"pattern {lamp}"), wink)
    else:
        why = "the board has no limits, or old ones" if lamp == LAMP_NO_LIMITS else "the board has not said that it has limits"
        row("warnings", f"by this computer: {why}", lamp == LAMP_NO_LIMITS)
    running = now.inputs.get("running", math.nan)
    if math.isnan(running):
        row("engine", "not known whether it runs: the lower pressure of both is used")
    else:
        rpm = now.inputs.get("engine_rpm", math.nan)
        gauge = now.inputs.get("fuel_pressure_kpa", math.nan)
        speed = f", {rpm:.0f} rpm" if math.isfinite(rpm) and running else ""
        pressure = f", fuel pressure {shown.text(gauge, 'pressure')}" if math.isfinite(gauge) else ""
        row("engine", ("runs" if running else "stands") + speed + pressure)
    for at, words in now.health["events"]:
        row(clock.moment(at), words)
    return rows

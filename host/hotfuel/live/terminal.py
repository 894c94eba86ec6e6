"""The live state in a terminal, for a laptop or an ssh session, from 100 x 30 down to 40 x 12. The same words as the page.

The worst place, its action and the caution are always shown; the rest gets the lines that are left. Words are never broken.
"""

import math
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from hotfuel.live.keys import keyboard
from hotfuel.live.plain import Steady, spell_of
from hotfuel.live.sounds import ACT_SOUND, Quieting
from hotfuel.live.state import LiveState
from hotfuel.live.wording import STALE_S, panel
from hotfuel.record import requests
from hotfuel.units import Shown

TURN_S = 0.2
NARROW = 60  # columns; below, an action is said in one line
MARK_KEYS = {"m": "mark", "1": "stumbled", "2": "died", "3": "hard start", "4": "fan on", "5": "fan off"}
_EVERY_S = 10.0  # how often a snapshot is written where the output is no terminal
_BELL_S = {ACT_SOUND: 2.0, "heed": 6.0}
# a sign beside the word, so that nothing depends on colour
_SIGNS = {"quiet": "-", "note": "o", "warn": "/!\\", "act": "***", "lost": "x ?", "ahead": ">|", "back": "<*", "none": " "}
_STYLES = {
    "quiet": "",
    "note": "italic",
    "ahead": "bold underline",
    "warn": "black on yellow",
    "act": "bold white on magenta",
    "back": "italic underline",
    "lost": "reverse",
    "none": "",
}
_KEYS = (  # (columns, what is said of the keys): one line wherever it is shown
    (80, "keys: " + ", ".join(f"{key} {text}" for key, text in MARK_KEYS.items()) + ", q quiet"),
    (NARROW, "m mark, 1-5 stumbled, died, hard start, fan on, off, q quiet"),
    (0, f"{'/'.join(MARK_KEYS)}: marks, q: quiet"),
)
_ARROWS = {"closing": "v", "opening": "^", "level": ">", "vapour": "~", "unknown": ""}
_SHORT_CAUTION = "No warning does not mean safe. Not for the driver under way."  # what a terminal of 12 lines has room for


def show(
    session_path: str | Path,
    *,
    units: str | None = None,
    console: Console | None = None,
    sleep: Callable[[float], None] = time.sleep,
    bell: bool = False,
) -> None:
    """Show a session until its recording has ended, or Ctrl-C. A finished one is shown once. Raises InputError if there is no recording.

    bell: ring the terminal's bell while an alarm sounds. Keys: MARK_KEYS put a mark, q quiets.
    """
    out = console or Console(highlight=False)
    with LiveState(session_path) as state:
        shown = Shown(units) if units else state.shown
        try:
            if out.is_terminal:
                _on_a_terminal(state, shown, out, sleep, bell)
            else:
                _as_text(state, shown, out, sleep)
        except KeyboardInterrupt:
            return
        except BrokenPipeError:
            sys.stderr.close()  # the reader of our output has gone


def _on_a_terminal(state: LiveState, shown: Shown, out: Console, sleep: Callable[[float], None], bell: bool) -> None:
    steady, quieting, said, rung = Steady(), Quieting(), "", -math.inf
    with keyboard() as pressed, Live(console=out, auto_refresh=False, screen=False, vertical_overflow="crop") as live:
        while True:
            was_live = state.live
            came = state.advance(TURN_S)
            now = panel(state.situation(), shown, steady)
            quieting.update(now)
            for key in pressed():
                said = answer(key, state, quieting, now["time"]) or said
            pattern = "heed" if quieting.now and _stale(now) else quieting.sound()
            if bell and pattern and time.monotonic() - rung >= _BELL_S[pattern]:
                rung = time.monotonic()
                out.bell()
            live.update(picture(now, out.width, out.height - 1, said), refresh=True)
            if state.caught_up and not was_live and not came:
                return
            if state.caught_up:
                sleep(TURN_S)


def answer(key: str, state: LiveState, quieting: Quieting, moment: str) -> str:
    """Do what a key asks; returns what to say about it, "" for a key without a meaning."""
    if key == "q":
        quieted = quieting.quiet("", moment)
        if quieted and state.live:
            requests.ask(state.folder.path, "acknowledge")
        return f"sound quieted {moment}"
    if key not in MARK_KEYS:
        return ""
    if not state.live:
        return "the recording has ended: no mark can be added"
    try:
        requests.ask(state.folder.path, "mark", MARK_KEYS[key])
    except OSError as error:
        return f"the mark could not be passed on ({error.strerror}): press again"
    return f"mark passed on: {MARK_KEYS[key]}"


def _as_text(state: LiveState, shown: Shown, out: Console, sleep: Callable[[float], None]) -> None:
    written, steady = -math.inf, Steady()
    while True:
        was_live = state.live
        came = state.advance(TURN_S)
        ended = state.caught_up and not was_live and not came
        if ended or (was_live and state.caught_up and time.monotonic() - written >= _EVERY_S):
            written = time.monotonic()
            out.print(picture(panel(state.situation(), shown, steady), out.width))
        if ended:
            return
        if state.caught_up:
            sleep(TURN_S)


def picture(now: dict[str, Any], width: int = 100, height: int | None = None, said: str = "") -> Group:
    """A panel of live.wording as lines that fit `width` x `height` (None: as many as it takes). Text is never taken as markup."""
    old, narrow = _old(now), width < NARROW
    now = _unread(now) if old else now
    style = "" if old else _STYLES[now["head"]["key"]]
    top: list[Text] = [*_lines(old, width, "reverse bold")] if old else []
    top += [_line(text, width, style) for text in _head(now["head"], bool(old), width)]
    action = now["head"]["brief" if narrow or (height or 99) < 20 else "action"]
    top += _lines(action, width, "bold")
    tight = height is not None and height < 20
    foot = _lines(_SHORT_CAUTION if tight else f"{now['driver']} {now['caution']}", width)
    keys = next(words for least, words in _KEYS if width >= least)
    if now["live"]:
        foot += _lines(said or keys, width, "dim")
    left = 10**6 if height is None else height - len(top) - len(foot)
    rows = _places(now["places"][1:], bool(old), width, left)
    more: list[Text] = []
    for text, look in _rest(now, bool(old)):
        lines = _lines(text, width, look)
        if len(rows) + len(more) + len(lines) > left:
            break  # half an instruction can mean the opposite of the whole
        more += lines
    return Group(*top, *rows, *more, *foot)


def _stale(now: dict[str, Any]) -> bool:
    return bool(now["live"]) and (now["age_s"] is None or now["age_s"] > STALE_S)


def _old(now: dict[str, Any]) -> str:
    """Why the numbers are not of this moment; "" if they are."""
    if now["reading"]:
        return str(now["reading"])
    if not now["live"]:
        return f"This recording has ended. Numbers are of its last moment, {now['day']}{now['time']}."
    if now["age_s"] is None:
        return "Waiting for the first reading of the board."
    if now["age_s"] > STALE_S:
        return f"NOT CURRENT: last reading {spell_of(now['age_s'])} ago, at {now['time']}. {now['check']}"
    return ""


def _unread(now: dict[str, Any]) -> dict[str, Any]:
    """The panel without what only a current reading can say: while it is recorded "no warning" and "nothing to do", after its end any state or action."""
    unread, ended = now["instead"]["unread"], {"key": "none", **now["instead"]["ended"]}

    def told(row: dict[str, Any]) -> dict[str, Any]:
        return {**row, **ended} if not now["live"] else {**row, **unread} if row["key"] == "quiet" else row

    return {**now, "places": [told(place) for place in now["places"]], "head": told(now["head"])}


def _head(head: dict[str, Any], old: bool, width: int) -> list[str]:
    """The worst place in two lines: state and place; number, range and trend."""
    first = " ".join(part for part in (_SIGNS[head["key"]], head["word"], head["name"]) if part)
    if head["note"]:
        return [first, head["note"]]
    if old or head["lost"]:
        return [first, " ".join(part for part in ("–", _known(head, old), head["lost"]) if part)]
    second = f"{head['margin']} {head['difference']} {head['left']}"
    more = (f"({head['range']})", _ARROWS[head["arrow"]], head["trend"], head["eta"] or head["history"])
    return [first, _fitting(second, more, width)]


def _known(place: dict[str, Any], old: bool, brief: bool = False) -> str:
    """What is shown in place of a margin: the temperature if it can be read, else what was last known."""
    return (
        str(place["was_brief" if brief else "was"])
        if old or place["temperature"] == "–"
        else f"now {place['temperature']} {place['unit']}"
    )


def _fitting(start: str, more: tuple[str, ...], width: int) -> str:
    """`start` and as many whole parts as fit."""
    for part in more:
        if part and len(start) + 1 + len(part) <= width:
            start += " " + part
    return start


def _places(places: list[dict[str, Any]], old: bool, width: int, room: int) -> list[Text]:
    """One line per place, the worst first; places without room are counted by state."""
    if not places or room < 1:
        return []
    kept = places if len(places) <= room else places[: room - 1]
    name_width = max(len(place["name"]) for place in kept) if kept else 0
    if name_width > width // 3:
        name_width = 0
    lines = []
    for place in kept:
        sign, name = _SIGNS[place["key"]], place["name"]
        left = f"{place['margin']} {place['difference']} {place['left']}" if place["left"] else ""
        if old or place["lost"]:
            left = _known(place, old, brief=width < NARROW)
        if width < NARROW:
            words = " ".join(part for part in (f"{sign:<3}", place["word"], place["narrow"]) if part)
            start = f"{_cut(words, width - len(left) - 1)} {left}".rstrip()  # never a number without its "left" or "past"
            parts: tuple[str, ...] = (place["eta"],)
        else:
            start = f"{sign:<3} {place['word']:<11} {name:<{name_width}} {left}"
            parts = (f"now {place['temperature']} {place['unit']}", f"({place['range']})" if place["range"] else "",
                     f"limit {place['limit']}" if place["limit"] else "", place["trend"], place["eta"], place["history"])  # fmt: skip
        if old or place["lost"]:
            parts = () if old else (place["lost"],)
        lines.append(_line(_fitting(start, parts, width), width, "" if old else _STYLES[place["key"]]))
    if len(kept) < len(places):
        rest = ["quiet" if place["key"] == "quiet" else place["word"] or place["name"] for place in places[len(kept) :]]
        counted = ", ".join(f"+{rest.count(word)} {word}" for word in dict.fromkeys(rest))
        lines.append(_line(counted, width))
    return lines


def _rest(now: dict[str, Any], old: bool) -> list[tuple[str, str]]:
    """(text, style) of what follows where there is room, the most useful first. Nothing out of date is shown as if it were current."""
    rows: list[tuple[str, str]] = []
    if old:
        rows += [(f"mark {mark['time']} {mark['text']}", "") for mark in now["marks"][:3]]
        return rows + [(note, "dim") for note in now["notes"]]
    for place in now["places"][1:]:
        if place["key"] not in ("quiet", "none") and place["action"] != now["head"]["action"]:
            rows.append((f"{place['name']}: {place['action']}", ""))
    rows += [(flag, "") for flag in now["flags"]]
    if now["restart"]:
        rows.append((now["restart"], "bold"))
    if now["pull"]:
        rows.append((now["pull"], ""))
    if now["forecasts"]["rows"]:
        title = now["forecasts"]["title"] + (f" ({now['forecasts']['note']})" if now["forecasts"]["note"] else "")
        rows += [(title, "bold"), *((f"  {row['name']}: {row['text']}", "") for row in now["forecasts"]["rows"])]
    rows += [(f"mark {mark['time']} {mark['text']}", "") for mark in now["marks"][:3]]
    rows += [(f"{'! ' if row['bad'] else ''}{row['name']}: {row['text']}", "dim") for row in now["health"]]
    return rows + [(note, "dim") for note in now["notes"]]


def _lines(text: str, width: int, style: str = "") -> list[Text]:
    """The text wrapped between words."""
    return [Text(line, style=style) for line in textwrap.wrap(text, width, break_on_hyphens=False)]


def _line(text: str, width: int, style: str = "") -> Text:
    """One line; what is longer loses whole words at its end."""
    return Text(_cut(text, width), style=style)


def _cut(text: str, width: int) -> str:
    return textwrap.wrap(text, width, break_on_hyphens=False, drop_whitespace=False)[0].rstrip() if len(text) > width else text

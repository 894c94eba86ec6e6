"""The live state in a terminal, for a laptop or an ssh session. The same words as the page."""

import math
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from hotfuel.live.state import LiveState
from hotfuel.live.wording import STALE_S, panel, spell_of
from hotfuel.units import Shown

TURN_S = 0.2
_EVERY_S = 10.0  # how often a snapshot is written where the output is no terminal
# a sign beside the word, so that nothing hangs on colour
_SIGNS = {"quiet": "-", "note": "o", "warn": "/!\\", "act": "***", "lost": "x ?", "none": " "}
_STYLES = {
    "quiet": "",
    "note": "italic",
    "warn": "black on yellow",
    "act": "bold white on magenta",
    "lost": "reverse",
    "none": "",
}
_ARROWS = {"closing": "v", "opening": "^", "level": ">", "boiling": "~~", "unknown": ""}


def show(
    session_path: str | Path,
    *,
    units: str | None = None,
    console: Console | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Show a session until its recording has ended, or Ctrl-C. A finished one is shown once. Raises InputError if there is no recording."""
    out = console or Console(highlight=False)
    with LiveState(session_path) as state:
        shown = Shown(units) if units else state.shown
        try:
            if out.is_terminal:
                _on_a_terminal(state, shown, out, sleep)
            else:
                _as_text(state, shown, out, sleep)
        except KeyboardInterrupt:
            return
        except BrokenPipeError:
            sys.stderr.close()  # whoever read our output has gone: nothing is left to say


def _on_a_terminal(state: LiveState, shown: Shown, out: Console, sleep: Callable[[float], None]) -> None:
    with Live(console=out, auto_refresh=False, screen=False, vertical_overflow="crop") as live:
        while True:
            was_live = state.live
            came = state.advance(TURN_S)
            live.update(picture(panel(state.situation(), shown)), refresh=True)
            if state.caught_up and not was_live and not came:
                return
            if state.caught_up:
                sleep(TURN_S)


def _as_text(state: LiveState, shown: Shown, out: Console, sleep: Callable[[float], None]) -> None:
    written = -math.inf
    while True:
        was_live = state.live
        came = state.advance(TURN_S)
        ended = state.caught_up and not was_live and not came
        if ended or (was_live and state.caught_up and time.monotonic() - written >= _EVERY_S):
            written = time.monotonic()
            out.print(picture(panel(state.situation(), shown)))
        if ended:
            return
        if state.caught_up:
            sleep(TURN_S)


def picture(now: dict[str, Any]) -> Group:
    """A panel of live.wording as something rich can print. Text is never taken as markup."""
    old = _old(now)
    parts: list[Any] = []
    if old:
        parts.append(Text(old, style="reverse bold"))
    parts += [_head(now["head"], bool(old)), _places(now["places"], bool(old))]
    for place in now["places"]:
        action = place["action"] if place["key"] != "quiet" and place["action"] != now["head"]["action"] else ""
        parts += [Text(f"  {place['name']}: {words}") for words in (action, place["history"], place["indicative"]) if words]
    parts += [Text(f"  {flag}") for flag in now["flags"]]
    if now["forecasts"]["rows"]:
        title = now["forecasts"]["title"] + (f" ({now['forecasts']['note']})" if now["forecasts"]["note"] else "")
        parts.append(Text(title, style="bold"))
        parts += [Text(f"  {row['name']}: {row['text']}") for row in now["forecasts"]["rows"]]
    parts += [Text(f"  mark {mark['time']} {mark['text']}") for mark in now["marks"][:3]]
    health = "; ".join(f"{'! ' if row['bad'] else ''}{row['name']}: {row['text']}" for row in now["health"])
    parts += [Text(health, style="dim"), *(Text(f"  {note}", style="dim") for note in now["notes"])]
    parts.append(Text(f"{now['driver']} {now['caution']}"))
    return Group(*parts)


def _old(now: dict[str, Any]) -> str:
    """Why the numbers are not of this moment; "" if they are."""
    if now["reading"]:
        return str(now["reading"])
    if not now["live"]:
        return f"This recording has ended. Numbers are of its last moment, {now['time']}."
    if now["age_s"] is None:
        return "Waiting for the first reading of the board."
    if now["age_s"] > STALE_S:
        return f"NOT CURRENT: last reading {spell_of(now['age_s'])} ago, at {now['time']}."
    return ""


def _number(text: str, old: bool) -> Text:
    return Text(text, style="strike dim" if old else "bold")


def _head(head: dict[str, Any], old: bool) -> Panel:
    first = Text(f"{_SIGNS[head['key']]} {head['word']}" + (f": {head['where']}" if head.get("where") else ""))
    line = Text.assemble(
        f"{head['place']}  ", _number(f"{head['margin']} {head['unit']}", old), f" {head['left']}  ", _number(f"({head['range']})", old),
        f"  {_ARROWS[head['arrow']]} {head['trend']}  ", _number(head["eta"], old),
    )  # fmt: skip
    return Panel(Group(first, line, Text(head["action"])), style="dim" if old else _STYLES[head["key"]])


def _places(places: list[dict[str, Any]], old: bool) -> Table:
    table = Table(expand=True, pad_edge=False)
    for name in ("place", "state", "now", "limit now", "margin", "trend"):
        table.add_column(name, overflow="fold")
    for place in places:
        word = Text(f"{_SIGNS[place['key']]} {place['word']}", style="" if old else _STYLES[place["key"]])
        now = _number(f"{place['temperature']} {place['unit']}", old) if not place["lost"] else Text(place["lost"])
        trend = " ".join(
            part for part in (_ARROWS[place["arrow"]] if place["margin"] else "", place["trend"], place["eta"]) if part
        )
        table.add_row(
            Text(place["name"]), word, now, _number(place["limit"], old), _number(place["margin"], old), Text(trend),
        )  # fmt: skip
    return table

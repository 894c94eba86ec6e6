"""Rows about link, board, store, sensors, warnings and engine, in words."""

import math
from typing import Any

from hotfuel_wire.messages import FAILED

from hotfuel.live.alarms import LAMP_NO_LIMITS, LAMP_WINK
from hotfuel.live.plain import Clock, clean, place_label, spell_of
from hotfuel.live.situation import Situation
from hotfuel.places import is_behind_needle
from hotfuel.session.inputs import NAMES
from hotfuel.temperature.counts import REASONS
from hotfuel.text import counted
from hotfuel.units import Shown
from hotfuel.wired import text_of, words_of

_LAMPS = (
    "alive", "slow wink: look later", "store full", "no limits, or old ones", "sensor lost", "warn", "act", "lamp test",
    "part of the board could not start",
)  # fmt: skip
_NOT_DONE = {
    "limits": "its lamp gives no warning",
    "store": "it stores nothing",
    "power": "it never sleeps, so it can drain the battery",
    "more_inputs": "its converter does not answer, so voltages are not read",
    "receiver": "its satellite receiver sends nothing, so no position is stored",
    "settings": "its settings are damaged and it uses the defaults, so places may have the wrong names",
}


def lamp_shows(lamp: int) -> str:
    """What the lamp shows, in words; lamp: as in the board's health message."""
    return _LAMPS[lamp] if lamp < len(_LAMPS) else f"pattern {lamp}"


def not_done(board: dict[str, Any]) -> str:
    """What a board does not do because a part of it could not start, "" if all of it did. board: its last health message."""
    return ", ".join(words for name, words in _NOT_DONE.items() if board.get("failed", 0) & FAILED[name])


def remedy(failed: int) -> str:
    """What to do about the parts that failed: bits of `messages.FAILED`."""
    by_hand = {
        "settings": "set them again (hotfuel board settings)",
        "more_inputs": "look at the converter's leads and its address (converter_address)",
        "receiver": "look at the receiver's leads and at receiver_baud",
    }
    todo = [words for name, words in by_hand.items() if failed & FAILED[name]]
    install = failed & ~sum(FAILED[name] for name in by_hand)
    return " and ".join([*todo, "install the firmware again (hotfuel board install)"] if install else todo)


def link_rows(now: Situation, shown: Shown, clock: Clock) -> list[dict[str, Any]]:
    """Rows (name, text, bad) of link, board, store, sensors, warnings."""
    health, board, description = now.health, now.health["board"], now.health["description"]
    rows = []

    def row(name: str, text: str, bad: bool = False) -> None:
        rows.append({"name": name, "text": clean(text, 600), "bad": bad})

    gaps = (
        f"{counted(health['gaps'], 'gap')}, {spell_of(health['gap_s'])} in all, last: {health['gap_reason'].replace('_', ' ')}"
        if health["gaps"]
        else "no gap"
    )
    damaged = f", {counted(health['damaged_pieces'], 'damaged piece')}" if health["damaged_pieces"] else ""
    unknown = f", {counted(health['unknown'], 'message')} of a newer protocol" if health["unknown"] else ""
    row(
        "link",
        ("recording" if now.live else "the recording has ended") + f", {gaps}{damaged}{unknown}",
        bool(health["damaged_pieces"]),
    )
    if now.not_on_disk:
        row("disk", now.not_on_disk, True)
    if description:
        version = ".".join(str(description[f"firmware_{part}"]) for part in ("major", "minor", "patch"))
        simulated = "simulated board" if description["simulated"] else "board"
        dropped = board.get("frames_dropped", 0) + board.get("readings_dropped", 0)
        starts = f", started {health['boots']} times" if health["boots"] > 1 else ""
        late = f", {counted(dropped, 'frame or reading', 'frames or readings')} not sent in time" if dropped else ""
        battery = now.inputs.get("battery_v", math.nan)
        volts = f", supply {battery:.1f} V" if math.isfinite(battery) else ""
        row("board", f"{simulated}, firmware {version}, every {description['period_ms']} ms{starts}{late}{volts}", bool(dropped))
    if board:
        room = board["store_free_kb"]
        full = "full, it stores nothing more: fetch its drives (hotfuel download), delete files that are not its own"
        store = "no store on the board" if room == 65535 else full if room == 0 else f"{room} kB free"
        row("store", f"{store}, {counted(board['frames_stored'], 'frame')} stored", room == 0)
        if board.get("failed"):
            row(
                "board failed",
                f"{not_done(board) or 'a part unknown here'}: {remedy(board['failed'])}",
                True,
            )
    lost = [
        f"{place_label(place.name)}: {REASONS.get(place.reason, 'no reading')}"
        for place in now.places
        if place.reason and not is_behind_needle(place.name)
    ]
    row(
        "sensors", "; ".join(lost) if lost else f"{len([p for p in now.places if not is_behind_needle(p.name)])} read", bool(lost)
    )
    lamp = health["lamp"]
    if now.board_warns:
        wink = lamp == LAMP_WINK
        row("warnings", "by the board; lamp: " + lamp_shows(lamp), wink)
    else:
        why = "the board has no limits, or old ones" if lamp == LAMP_NO_LIMITS else "the board has not said that it has limits"
        row("warnings", f"by this computer: {why}", lamp == LAMP_NO_LIMITS)
    running = now.inputs.get("running", math.nan)
    if math.isnan(running):
        row("engine", "not known whether it runs: the lower of the two pressures is used")
    else:
        rpm = now.inputs.get("engine_rpm", math.nan)
        gauge = now.inputs.get("fuel_pressure_kpa", math.nan)
        speed = f", {rpm:.0f} rpm" if math.isfinite(rpm) and running else ""
        pressure = f", fuel pressure {shown.text(gauge, 'pressure')}" if math.isfinite(gauge) else ""
        row("engine", ("runs" if running else "stands") + speed + pressure)
    wired = [
        f"{words_of(name)} {text_of(name, value, shown) if math.isfinite(value) else 'not known'}"
        for name, value in now.inputs.items()
        if name not in (*NAMES, "running")
    ]
    if wired:
        row("inputs", ", ".join(wired))
    for at, words in now.health["events"]:
        row(clock.moment(at), words)
    return rows

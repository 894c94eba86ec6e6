"""`hotfuel board check`: what the box can test by itself, and steps by hand for the rest, as a table to tick off."""

import datetime
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from hotfuel_wire import more
from hotfuel_wire.amplifiers import ROWS
from hotfuel_wire.status import faults

from hotfuel.cli.shared import Json, Port, note, show, the_port
from hotfuel.errors import LinkError
from hotfuel.files import whole
from hotfuel.places import place_words
from hotfuel.text import counted

if TYPE_CHECKING:
    from hotfuel.link.talk import Talk

STEP_S = 6.0
MORE_S = 2.5  # between two readings of the counters: a receiver sends something every second
_NOTHING_V = 0.02
FINE, TROUBLE, BY_HAND = "fine", "trouble", "cannot be seen"
_TICK = {FINE: "[x]", TROUBLE: "[!]", BY_HAND: "[ ]"}
_VSYS_MV = (4300, 5500)  # 5 V less a Schottky diode, to the Pico's most (Pico datasheet)


def chip_row(place: str, said: dict[str, str]) -> tuple[str, str, str]:
    """(what, state, words) of one amplifier, from its step's answer."""
    what = f"{said.get('name', 'chip')}, {place_words(place)}"
    answer = said.get("answer", "?")
    if said.get("others_quiet") == "0":
        return what, TROUBLE, "another module drives the data line while none is selected: unplug the others one by one"
    if answer == "ok":
        row = ROWS[said["name"]]
        found = faults(row["number"], int(said["status"]))
        if found:
            named = ", ".join(found).replace("_", " ")
            return what, TROUBLE, f"answers, but reports a probe fault ({named}): look at plug and wires"
        terminals_degc = int(said["cold"]) / row["cold"][0]
        return what, FINE, f"answers and is selected, terminals at {terminals_degc:.1f} °C"
    if answer == "silent" and said.get("pulled_up") == "1":
        return (
            what,
            TROUBLE,
            "this chip is never selected: its module has a pull-up; is the select's resistor 1k (not 10k), and on this pin?",
        )
    if answer == "silent":
        return what, TROUBLE, "no answer: is the module on this select, fed by 3V3S, and is its data lead whole?"
    if answer == "configuration_lost":
        return (
            what,
            TROUBLE,
            "answers, but does not keep what is written to it: check data and clock lead, and its supply for dips",
        )
    return what, TROUBLE, f"no reading ({answer.replace('_', ' ')}): look at its probe and plug"


def rail_rows(said: dict[str, str]) -> list[tuple[str, str, str]]:
    """Rows of the rails' step."""
    rows = []
    vsys = int(said.get("vsys_mv", "0"))
    if vsys:
        state = FINE if _VSYS_MV[0] <= vsys <= _VSYS_MV[1] else TROUBLE
        rows.append(
            ("VSYS", state, f"{vsys / 1000:.2f} V" + ("" if state == FINE else "; allowed 4.3 to 5.5 V: look at U2 and D2"))
        )
    else:
        rows.append(("VSYS", BY_HAND, "measure it: 4.3 to 5.5 V"))
    before, off, after = (said.get(name, "").split(",") for name in ("before", "off", "after"))
    if "ok" not in before:
        rows.append(("3V3S", BY_HAND, "no amplifier answers: measure it, 3.3 V while the board measures"))
    elif any(was == "ok" and then == "answers" for was, then in zip(before, off, strict=True)):
        rows.append(("3V3S", TROUBLE, "an amplifier answers while its rail is off: U3 does not switch, or does not discharge"))
    elif any(was == "ok" and then != "ok" for was, then in zip(before, after, strict=True)):
        rows.append(("3V3S", TROUBLE, "an amplifier did not come back after its rail was off: U3, or a short on 3V3S"))
    else:
        rows.append(("3V3S", FINE, "switches: the amplifiers stop answering and come back"))
    rows.append(
        ("5VS", BY_HAND, "measure it at the sender's plug with the car's supply: 5.0 V awake, 0 V asleep; by USB alone 0 V")
    )
    return rows


def input_rows(said: dict[str, str]) -> list[tuple[str, str, str]]:
    """Rows of the inputs' step; an input that is not set up is only mentioned."""
    fitted = said.get("fitted", "").split(",")
    millivolt, code = int(said["battery_mv"]), int(said["fuel_pressure_code"])
    rows = []
    if "battery" in fitted:
        fine = 6000 <= millivolt <= 16000
        rows.append(
            ("battery", FINE if fine else TROUBLE, f"{millivolt / 1000:.1f} V" + ("" if fine else ": SENSE lead, R3 and R4"))
        )
    if "fuel_pressure" in fitted:
        share = code / 65535
        fine = 0.08 <= share <= 0.92
        words = f"{100 * share:.0f} % of its supply" + ("" if fine else ": outside 8 to 92 %; wire, or no supply from the car")
        rows.append(("fuel pressure", FINE if fine else TROUBLE, words))
    if "ignition" in fitted:
        rows.append(
            (
                "ignition",
                BY_HAND,
                f"now {'on' if said['ignition'] == '1' else 'off'}: turn the key and run this again, it must change",
            )
        )
    if "engine_pulses" in fitted:
        rows.append(("engine pulses", BY_HAND, f"{said['pulses']} so far: compare with the car's gauge once it runs"))
    if "barometer" in fitted:
        chip = said["barometer"]
        rows.append(("barometer", TROUBLE if chip == "None" else FINE, "no answer: SDA, SCL, 3V3S" if chip == "None" else chip))
    clocks = {"ok": "runs", "stopped": "answers, not set: `hotfuel board clock`", "silent": "none, or SDA, SCL, 3V3S"}
    clock = said.get("clock", "silent")
    rows.append(("clock chip", FINE if clock == "ok" else BY_HAND, clocks.get(clock, clock)))
    pressed = said["button"] == "1"
    rows.append(
        ("button", TROUBLE, "reads pressed: its wire touches ground")
        if pressed
        else ("button", BY_HAND, "press it: a mark must come")
    )
    return rows


def more_rows(said: dict[str, str], later: dict[str, str], seconds: float) -> list[tuple[str, str, str]]:
    """Rows of the further inputs, from two answers to their step so many seconds apart; none where none is set up."""
    rows = []
    for name in filter(None, said.get("fitted", "").split(",")):
        what = name.replace("_", " ")
        if name == more.RECEIVER:
            rows.append((what, *_receiver_words(said, later, seconds)))
        elif name not in later or later[name] == "silent":
            rows.append(
                (what, TROUBLE, "no answer from the ADS1115: SDA, SCL, 3V3S, and its address as in the setting converter_address")
            )
        elif name.startswith("analogue"):
            volts = int(later[name]) * more.CONVERTER_V_PER_CODE
            words = f"{volts:.2f} V at the converter" + ("" if volts > _NOTHING_V else ": its sender's supply, or a lead")
            rows.append((what, FINE if volts > _NOTHING_V else BY_HAND, words))
        else:
            count = int(later[name]) - int(said[name])
            words = f"{counted(count, 'pulse')} in {seconds:.0f} s" if count else f"quiet ({later[name]} so far)"
            hint = "it must count while the pump runs" if not count else "right while the pump runs; with it off this is noise"
            rows.append((what, BY_HAND, f"{words}: {hint}"))
    return rows


def _receiver_words(said: dict[str, str], later: dict[str, str], seconds: float) -> tuple[str, str]:
    good, bad = (int(later[name]) - int(said[name]) for name in ("receiver_good", "receiver_bad"))
    if not good:
        found = f"only damaged sentences ({bad})" if bad else "no sentence"
        return TROUBLE, f"{found} in {seconds:.0f} s: its feed, its TX on the board's RX, and receiver_baud as it sends"
    if later["receiver_fixed"] != "1":
        return (
            BY_HAND,
            f"speaks ({counted(good, 'sentence')} in {seconds:.0f} s), no position yet: its aerial under open sky for some minutes",
        )
    return FINE, f"speaks, with a position ({counted(good, 'sentence')} in {seconds:.0f} s)"


def _confirmed(talk: "Talk", step: str, what: str, asked: bool) -> tuple[str, str, str]:
    talk.ask("selftest", step.encode(), STEP_S)
    if not asked:
        return step, BY_HAND, f"was switched on for a moment: did {what}?"
    seen = typer.confirm(f"Did {what} just now?", default=True, err=True)
    return step, (FINE if seen else TROUBLE), "confirmed by the builder" if seen else "not seen: its wires, polarity, transistor"


def board_check(
    port: Port = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Where the table is kept. Default: board-check-<board id>.json here.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Self-test of a built box: rails, chips and selects, inputs, store, clock, lamp. Example: hotfuel board check

    Engine off, no open fuel near the wiring. Readings and warnings pause for some seconds; stored drives are not touched. Refused while the engine runs.
    """
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Refusal, Talk, fields

    note("engine off, no open fuel near the wiring; readings and warnings pause for some seconds")
    with open_port(the_port(port)) as opened:
        talk = Talk(opened)
        about = fields(talk.ask("info")) | fields(talk.ask("version"))
        places = fields(talk.ask("settings_get", b"places"))["places"].split(",")
        try:
            rows = _rows(talk, places, asked=sys.stdin.isatty() and not as_json)
        except Refusal as refusal:
            if refusal.outcome in ("unknown_command", "not_fitted"):
                raise LinkError("this board's firmware has no self-test; run `hotfuel board install` first") from None
            raise
    for place in places:
        rows.append(
            (
                f"probe, {place_words(place)}",
                BY_HAND,
                "warm its tip: this channel must rise. Falls: wires swapped. Another rises: leads swapped",
            )
        )
    table = [{"what": what, "state": state, "words": words} for what, state, words in rows]
    path = out or Path(f"board-check-{about['board_id']}.json")
    kept: dict[str, Any] = {
        "board_id": about["board_id"],
        "firmware": about.get("firmware"),
        "checked": f"{datetime.datetime.now().astimezone():%Y-%m-%d %H:%M:%S%z}",
        "rows": table,
    }
    with whole(path) as part:
        part.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    width = max(len(what) for what, *_ in rows)
    lines = [f"{_TICK[state]} {what:<{width}}  {state + ': ' if state != FINE else ''}{words}" for what, state, words in rows]
    count = sum(state == TROUBLE for _, state, _ in rows)
    lines.append(f"{count} with trouble; kept in {path} with this board's identity")
    lines.append("Steps marked [ ] are for the builder to do; `hotfuel check` takes you through the probes.")
    show({**kept, "file": str(path), "trouble": count}, lines, as_json)
    if count:
        raise typer.Exit(1)


def _rows(talk: "Talk", places: list[str], asked: bool) -> list[tuple[str, str, str]]:
    from hotfuel.link.talk import fields

    step = lambda words: fields(talk.ask("selftest", words.encode(), STEP_S))  # noqa: E731
    rows = rail_rows(step("rail"))
    rows += [chip_row(place, step(f"chip {channel}")) for channel, place in enumerate(places)]
    rows += input_rows(step("inputs"))
    rows += _more(talk)
    store = step("store")
    fine = store.get("store") == "ok"
    rows.append(
        ("store", FINE if fine else TROUBLE, f"written and read back, {store.get('free_kb')} kB free" if fine else f"{store}")
    )
    rows.append(_confirmed(talk, "lamp", "the lamp light up", asked))
    rows.append(_confirmed(talk, "buzzer", "the buzzer sound (if one is fitted)", asked))
    return rows


def _more(talk: "Talk") -> list[tuple[str, str, str]]:
    """Firmware that predates the further inputs has no such step; without it there are no rows."""
    from hotfuel.link.talk import Refusal, fields

    try:
        said = fields(talk.ask("selftest", b"more", STEP_S))
    except Refusal as refusal:
        if refusal.outcome == "bad_argument":
            return []
        raise
    if not said.get("fitted"):
        return []
    time.sleep(MORE_S)
    return more_rows(said, fields(talk.ask("selftest", b"more", STEP_S)), MORE_S)

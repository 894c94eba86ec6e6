"""Trials of faults in a box: full flash, damaged settings, the wrong amplifier in a socket, a data line held low, the self-test."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from hotfuel.link.talk import Refusal
from hotfuel.temperature.counts import NO_NEW_CONVERSION
from hotfuel_wire.messages import EVENTS

from emulated import ready, talk
from emulated.board import EmulatedBoard, in_a_copy
from emulated.chips import Fitted
from emulated.lamp import shown
from emulated.rig import Rig, Row, degrees, described, event_codes, health, started
from emulated.usb import serve

BLOCKS_LEFT = 8  # less than the store reserves for settings and firmware
STOPPED_S = 6.0
MEASURED_S = 12.0  # one health message, and one flush
WITHIN_DEGC = 0.5
CHECK_MOST_S = 900.0  # s of real time
PATIENT_CHECK = "from hotfuel.cli import board_check, main; board_check.STEP_S = 300.0; main()"


def _good(board: EmulatedBoard, seconds: float) -> tuple[bytes, np.ndarray, int]:
    """Result of so many seconds: the bytes, the error of each channel's good readings (degC, nan without one), the number of readings."""
    data = described(board, seconds)
    degc, reason = degrees(data, board)
    off = np.full(degc.shape[1], np.nan)
    for channel, true in enumerate(board.fitted.surroundings.hot_degc):
        good = degc[reason[:, channel] == 0, channel]
        if good.size:
            off[channel] = np.abs(good - true).max()
    return data, off, len(degc)


def _set_rate(board: EmulatedBoard) -> tuple[str, bytes]:
    """The answer to a change of a setting, and what the board reports about it then."""
    try:
        talk.ask(board, "settings_set", b"stored_rate_hz=5")
        said = "taken"
    except Refusal as refusal:
        said = f"refused ({refusal.outcome})"
    return said, talk.ask(board, "settings_get", b"stored_rate_hz")


def full_flash(rig: Rig) -> list[Row]:
    """The owner's own file leaves no room: the board measures, reports that it stores nothing, and keeps its old settings or
    takes the new ones whole."""

    def with_left(blocks: int) -> list[Row]:
        board = ready.board(rig.image)
        board.flash.fill(blocks)
        started(board)
        data, off, count = _good(board, MEASURED_S)
        told = health(data)
        named = talk.ask(board, "info").decode().partition("failed=")[2].partition("\n")[0]
        said, now = _set_rate(board)
        started(board.power_cut())
        after = talk.ask(board, "settings_get", b"stored_rate_hz")
        wanted = b"stored_rate_hz=5" if said == "taken" else b"stored_rate_hz=2"
        no_store = told["store_free_kb"] == 0 or named == "store"
        return [
            Row(
                f"{blocks} blocks of flash left: measures, and reports it",
                f"{count} readings, off by {np.nanmax(off):.2f} °C at most; {told['store_free_kb']} kB free, failed={named}",
                bool(count > 50 and (off <= WITHIN_DEGC).all() and no_store and told["late_ticks"] == 0),
            ),
            Row(f"{blocks} blocks of flash left: a setting", f"{said}, {after.decode()} after a restart", now == after == wanted),
        ]

    return [*in_a_copy(lambda: with_left(BLOCKS_LEFT)), *in_a_copy(lambda: with_left(0))]


def damaged_settings(rig: Rig) -> list[Row]:
    """One copy of the settings damaged, both, and an intact one whose text is not allowed."""
    old, new = b"places=tank,pump,needle\ninputs=battery", b"places=tank,pump,rail\ninputs=battery"

    def corrupted(content: bytes) -> bytes:
        return content[:10] + bytes([content[10] ^ 0x10]) + content[11:]

    def boots_with(more: dict[str, bytes]) -> EmulatedBoard:
        return started(ready.board(rig.image, more={"boots_a": ready.twin(b"7"), **more}))

    def one() -> list[Row]:
        board = boots_with({"settings_a": ready.twin(old), "settings_b": corrupted(ready.twin(new, 2))})
        places = talk.ask(board, "settings_get", b"places").decode()
        return [Row("settings: the newer copy damaged", f"the older copy is used: {places}", places == "places=tank,pump,needle")]

    def both(what: str, more: dict[str, bytes]) -> list[Row]:
        board = boots_with(more)
        board.run(1.5)
        seen = shown(board)
        info = talk.ask(board, "info").decode()
        named, why = info.partition("failed=")[2].partition("\n")[0], info.partition("failure=")[2].partition("\n")[0]
        inputs = talk.ask(board, "settings_get", b"inputs").decode()
        _, off, count = _good(board, 2.0)
        rows = [
            Row(
                f"settings: {what}",
                f"failed={named} ({why}), {inputs}, {count} readings of the defaults' channels, lamp {seen}",
                bool(named == "settings" and inputs == "inputs=" and seen == "failed" and (off <= WITHIN_DEGC).all()),
            )
        ]
        talk.ask(board, "settings_set", b"places=tank,pump,needle")
        named = talk.ask(board, "info").decode().partition("failed=")[2].partition("\n")[0]
        started(board.power_cut())
        places = talk.ask(board, "settings_get", b"places").decode()
        mended = named == "" and places == "places=tank,pump,needle"
        return [*rows, Row(f"settings: {what}, set anew", f"failed={named}, after a restart {places}", mended)]

    damaged = {"settings_a": corrupted(ready.twin(old)), "settings_b": corrupted(ready.twin(new, 2))}
    return [
        *in_a_copy(one),
        *in_a_copy(lambda: both("both copies damaged", damaged)),
        *in_a_copy(lambda: both("not allowed", {"settings_a": ready.twin(b"rate_hz=7")})),
    ]


def swapped_chips(rig: Rig) -> list[Row]:
    """Another amplifier in the socket than the settings name: none of its readings goes out as good, unless it is read alike."""
    named = ("MAX31856", "MAX31855", "MCP9601")
    there = ("MAX31855", "MAX31856", "MCP9600")
    text = b"chips=" + ",".join(named).encode()

    def work() -> list[Row]:
        board = started(ready.board(rig.image, Fitted(there), more={"settings_a": ready.twin(text)}))
        begun = bytes(board.usb.received)
        data = described(board, 5.0)
        degc, reason = degrees(data, board)
        codes = event_codes(begun + data)
        rows = []
        for channel in (0, 1):
            good = int((reason[:, channel] == 0).sum())
            rows.append(
                Row(
                    f"a {there[channel]} where a {named[channel]} is set",
                    f"{good} of {len(degc)} readings good",
                    good == 0 < len(degc),
                )
            )
        good = degc[reason[:, 2] == 0, 2]
        off = np.abs(good - board.fitted.surroundings.hot_degc[2]).max() if good.size else np.inf
        rows.append(
            Row(
                "an MCP9600 where an MCP9601 is set",
                f"{good.size} readings, off by {off:.2f} °C at most",
                bool(off <= WITHIN_DEGC),
            )
        )
        told = EVENTS["configuration_lost"] in codes or EVENTS["chip_lost"] in codes
        return [*rows, Row("swapped amplifiers are reported", f"{len(codes)} events", told and len(codes) < 20)]

    return in_a_copy(work)


def held_bus(rig: Rig) -> list[Row]:
    """SDA shorted to ground while it measures, then released: the amplifiers on the other bus keep their rate, and the barometer comes back."""

    def work() -> list[Row]:
        board = started(ready.board(rig.image, Fitted(("MAX31856", "MAX31856", "MCP9601"), "BMP280"), {"inputs": ("barometer",)}))
        board.run(2.0)
        board.i2c.hold()
        data, off, count = _good(board, MEASURED_S)
        told = health(data)
        _, reason = degrees(data, board)
        rows = [
            Row(
                "SDA held low for 12 s: the other bus",
                f"{count} readings, off by {np.nanmax(off[:2]):.2f} °C at most, {told['late_ticks']} late ticks, "
                f"longest {told['longest_tick_us'] / 1000:.1f} ms, {int((reason[5:, 2] == 0).sum())} good from the bus held low",
                bool(
                    told["late_ticks"] == 0
                    and count >= 5 * MEASURED_S - 3
                    and (off[:2] <= WITHIN_DEGC).all()
                    and not (reason[5:, 2] == 0).any()
                ),
            )
        ]
        board.i2c.let_go()
        board.run(14.0)  # it is skipped for up to 64 ticks
        _, off, _ = _good(board, 3.0)
        return [*rows, Row("SDA released: it comes back", f"off by {off[2]:.2f} °C at most", bool(off[2] <= WITHIN_DEGC))]

    return in_a_copy(work)


def stopped_amplifier(rig: Rig) -> list[Row]:
    """An amplifier that answers and no longer converts gives its old value for three seconds at most; it is read again when it converts."""

    board = rig.three

    def work() -> list[Row]:
        board.run(3.0)
        amplifier = board.amplifiers[1]
        amplifier.set_fault("frozen")
        board.fitted.surroundings.hot_degc[1] += 20.0
        _, reason = degrees(described(board, STOPPED_S), board)
        found = np.flatnonzero(reason[:, 1] == NO_NEW_CONVERSION)
        late_s = found[0] / 5 if found.size else np.inf
        stays = bool(found.size) and bool((reason[found[0] :, 1] == NO_NEW_CONVERSION).all())
        others = int((reason[:, [0, 2]] != 0).sum())
        rows = [
            Row(
                "an amplifier stops converting",
                f"found after {late_s:.1f} s, {'for good' if stays else 'NOT for good'}; {others} readings of the others lost",
                late_s <= 3.0 and stays and others == 0,
            )
        ]
        amplifier.set_fault("frozen", False)
        board.run(3.0)
        _, off, count = _good(board, 2.0)
        return [*rows, Row("it converts again", f"{count} readings, off by {off[1]:.2f} °C at most", bool(off[1] <= WITHIN_DEGC))]

    return in_a_copy(work)


def self_test(rig: Rig) -> list[Row]:
    """`hotfuel board check` over the emulated USB: a complete box, then one probe unplugged; the stored drive is untouched."""

    def check(board: EmulatedBoard) -> tuple[int, dict[str, str]]:
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "check.json"

            def program(path: str) -> int:
                told = [sys.executable, "-c", PATIENT_CHECK, "board", "check", "--port", path, "--out", str(out), "--json"]
                done = subprocess.run(told, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL, env=os.environ, check=False)
                return done.returncode

            code = serve(board, program, CHECK_MOST_S)
            rows = json.loads(out.read_text(encoding="utf-8"))["rows"] if out.is_file() else []
        return code, {row["what"]: f"{row['state']}: {row['words']}" for row in rows}

    def work(faulty: bool) -> list[Row]:
        board = ready.board(rig.image, Fitted(barometer="BMP390"), {"inputs": ("barometer", "battery")})
        board.feed_analogue("battery", 12.4 / 11 / 3.3)
        started(board)
        talk.ask(board, "mark", b"a stored drive")
        board.run(0.5)
        before = {name: content for name, content in board.flash.files().items() if name.endswith((".seg", ".key"))}
        if faulty:
            board.amplifiers[1].set_fault("open_circuit")
        code, told = check(board)
        kept = board.flash.files()
        untouched = bool(before) and all(kept.get(name, b"").startswith(content) for name, content in before.items())
        trouble = sorted(what for what, words in told.items() if words.startswith("trouble"))
        wanted = ["MAX31856, pump"] if faulty else []
        _, off, _ = _good(board, 2.0)
        name = "one probe unplugged" if faulty else "a whole box"
        return [
            Row(
                f"board check, {name}",
                f"exit {code}, {len(told)} rows, trouble: {'; '.join(trouble) or 'none'}; stored drive {'untouched' if untouched else 'CHANGED'}",
                code == len(wanted)
                and trouble == wanted
                and len(told) > 12
                and untouched
                and bool((off[[0, 2]] <= WITHIN_DEGC).all()),
            )
        ]

    return [*in_a_copy(lambda: work(False)), *in_a_copy(lambda: work(True))]

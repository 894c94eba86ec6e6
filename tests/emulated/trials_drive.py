"""Trials of a drive: the lamp at its pin, a host that stops reading, loose plugs, and the download."""

import random
import tempfile
from pathlib import Path

import numpy as np
from hotfuel import car as car_file
from hotfuel import samples
from hotfuel.record.download import Fetcher
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel_wire.alarm import ACT, UNACKNOWLEDGED
from hotfuel_wire.messages import EVENTS

from emulated import ready, talk
from emulated.board import EmulatedBoard, in_a_copy
from emulated.lamp import shown
from emulated.rig import Rig, Row, event_codes, health

PUMP = 1  # the channel that gets hot
TOO_HOT_DEGC = -5.0  # margin
SETTLED_S = 5.5
LAMP_TEST_S = 2.0
SILENT_S = 30.0
LOOSE_S = 16.0
LOOSE_SHARE = 0.2
ACT_MOST_S = 12.0
FLUSHES_MORE = 1  # two alarms close together may share one flush
FLUSH_APART_MS = 300
DRIVE_S = 15.0


def pump_degc(margin_degc: float, *, in_uncertainty: bool = False) -> float:
    """The temperature at the example car's pump that gives this margin (or with half its uncertainty), the lower of running and standing."""
    car = car_file.load(car_file.EXAMPLE)
    degc = np.arange(30.0, 110.0, 0.02)
    found = []
    for running in (0.0, 1.0):
        place = margins(car, car.fuel(), {"pump": degc}, Conditions(running=running))["pump"]
        wanted = place.uncertainty_degc / 2 if in_uncertainty else margin_degc
        found.append(float(degc[np.argmin(np.abs(place.margin_degc - wanted))]))
    return min(found)


def load_limits(board: EmulatedBoard) -> None:
    """What `hotfuel board warnings` does."""
    with talk.boards_time(board) as port:
        asking = talk.Talk(port)
        for piece in ready.example_limits():
            asking.ask("warnings", piece)


def lamp(rig: Rig) -> list[Row]:
    """Without limits; then with the example car's: quiet, warn, act, lost."""
    board = rig.three

    def state(what: str) -> Row:
        around = board.fitted.surroundings
        if what == "warn":
            around.hot_degc[PUMP] = pump_degc(0, in_uncertainty=True)
        elif what == "act":
            around.hot_degc[PUMP] = pump_degc(TOO_HOT_DEGC)
        elif what == "lost":
            board.amplifiers[PUMP].set_fault("gone")
        board.run(LAMP_TEST_S if what in ("no_limits", "alive") else SETTLED_S)
        seen = shown(board)
        return Row(f"lamp at its pin: {what}", seen, seen == what)

    def with_limits() -> list[Row]:
        load_limits(board)
        return [in_a_copy(lambda what=what: state(what)) for what in ("alive", "warn", "act", "lost")]  # type: ignore[misc]

    return [in_a_copy(lambda: state("no_limits")), *in_a_copy(with_limits)]


def silent_host(rig: Rig) -> list[Row]:
    """The host does not read for 30 s: no tick is late, losses are counted, and the latest readings arrive first."""

    board = rig.three

    def work() -> list[Row]:
        board.usb.take()
        talk.ask(board, "info")
        with talk.boards_time(board) as port:
            talk.Talk(port).ask("info")
            log = bytearray(port.log)
        board.usb.read_on(False)
        board.run(SILENT_S)
        board.usb.read_on(True)
        board.run(11.0)
        log += board.usb.take()
        told, losses = health(bytes(log)), samples.decode(bytes(log)).losses
        late = told["late_ticks"]
        counted = told["frames_dropped"]
        alive = len([1 for name, _ in talk.messages(bytes(log[-3000:])) if name == "reading"])
        return [
            Row(
                "host silent for 30 s",
                f"{late} late ticks, {losses.ticks_missing} readings missing, {counted} frames counted as dropped, {losses.pieces_damaged} damaged",
                late == 0 and losses.ticks_missing <= counted and alive > 10 and losses.pieces_damaged <= 1,
            )
        ]

    return in_a_copy(work)


def loose_plug(rig: Rig) -> list[Row]:
    """The pump at a margin of -5 degC behind a plug that fails in one tick of five at random: act comes on, and the flash is not worn by it."""

    board = rig.three

    def drive(loose: bool) -> tuple[float | None, int, int]:
        load_limits(board)
        # no other place moves: a sudden fall would be taken for a short and reported
        board.fitted.surroundings.hot_degc[PUMP] = pump_degc(TOO_HOT_DEGC)
        board.usb.take()
        chance, begun, flushes = random.Random(7), board.now_s, board.flash.flushes
        for tick in range(int(LOOSE_S * 5)):

            def plug(missing: bool = loose and chance.random() < LOOSE_SHARE) -> None:
                board.amplifiers[PUMP].set_fault("gone", missing)

            board.at(tick * 0.2 + 0.01, plug)
        board.run(LOOSE_S)
        data = board.usb.take()
        alarms = [values for name, values in talk.messages(data) if name == "event" and values["code"] == EVENTS["alarm"]]
        acts = [
            values["time_ms"] / 1000
            for values in alarms
            if values["value"] >> 8 & 15 == ACT and values["value"] & 15 == UNACKNOWLEDGED
        ]
        changes = sum(code in (EVENTS["chip_lost"], EVENTS["chip_found"]) for code in event_codes(data))
        # an alarm is flushed at once, as intended
        by_alarms = len({values["time_ms"] // FLUSH_APART_MS for values in alarms})
        return (acts[0] - begun if acts else None), board.flash.flushes - flushes - by_alarms, changes

    steady = in_a_copy(lambda: drive(False))
    loose = in_a_copy(lambda: drive(True))
    return [
        Row(
            "one tick in five missing, pump 5 °C past its limit",
            f"act after {loose[0]:.1f} s" if loose[0] is not None else f"no act in {LOOSE_S:.0f} s",
            loose[0] is not None and loose[0] <= ACT_MOST_S,
        ),
        Row(
            "flushes with that plug, those of alarms apart",
            f"{loose[1]} against {steady[1]} without, {loose[2]} events",
            loose[1] <= steady[1] + FLUSHES_MORE and loose[2] <= 4,
        ),
    ]


def download(rig: Rig) -> list[Row]:
    """What a download brings equals what is in flash, byte for byte."""

    board = rig.three

    def work() -> list[Row]:
        board.run(DRIVE_S)
        with talk.boards_time(board) as port, tempfile.TemporaryDirectory() as folder:
            fetcher = Fetcher(port, Path(folder))
            here = fetcher.fetch_all()
            brought = {segment.number: fetcher._path(segment).read_bytes() for segment in here}
            decoded = samples.decode(fetcher.write_log(here))
        flash = {int(name[-9:-4]): content for name, content in board.flash.files().items() if name.endswith((".seg", ".key"))}
        equal = bool(brought) and all(flash[number][: len(content)] == content for number, content in brought.items())
        stored = decoded.losses.readings
        return [
            Row(
                f"download after {DRIVE_S:.0f} s",
                f"{sum(map(len, brought.values()))} bytes, equal to flash: {equal}, {stored} readings, {decoded.losses.pieces_damaged} damaged",
                equal and stored >= 2 * (DRIVE_S - 1) and decoded.losses.pieces_damaged == 0,
            )
        ]

    return in_a_copy(work)

"""Trials of starting: time to the first reading, installation and upgrade over USB, power cuts, after a hang, at the prompt."""

import subprocess
import sys
import tempfile
from pathlib import Path

from hotfuel.link.receive import command
from hotfuel.record.download import Fetcher
from hotfuel_wire.messages import EVENTS, RESET_CAUSES

from emulated import ready, talk
from emulated.board import EmulatedBoard, in_a_copy
from emulated.lamp import shown
from emulated.rig import BUTTON_LEAD_US, Rig, Row, started
from emulated.usb import serve

FIRST_READING_MOST_S = 1.2
LAMP_MOST_S = 0.5
INSTALL_MOST_S = 1500.0  # s of real time: the emulator is slower than a board
# `hotfuel board install` with longer time-outs, because the emulator is slow
PATIENT_INSTALL = f"from hotfuel import cli; from hotfuel.install import run; run.COPY_S = {INSTALL_MOST_S:.0f}; cli.main()"
BEFORE = "d0e574d"  # the commit of the version before: its segments were in a folder called store, its modules were sources
PROMPT_LOOKED_S = 4.5
STORED_S = 11.0  # a flush happens every 10 s
INSTALL_CUT_AT = 60  # about half way through several hundred writes and erases
FLUSHES_CUT = (2, 5, 9)  # the write or erase of the second boot's flush at which the power fails


def boot_time(rig: Rig) -> list[Row]:
    """Eight channels at 10 Hz, the button on a long lead: time to the first readings frame and to the lamp."""
    board = rig.eight
    readings = [values for name, values in talk.messages(bytes(board.usb.received)) if name == "reading"]
    lit = next(us for us, on in board.lamp if on) / 1e6
    first = board.usb.at_ns[-1][0] / 1e9
    channels = len(readings[0]["channels"])

    def next_start() -> float:
        board.run(1.0)
        again = board.power_cut()
        again.slow_button(BUTTON_LEAD_US)
        return float(started(again).usb.at_ns[-1][0]) / 1e9

    later = in_a_copy(next_start)
    return [
        Row(
            "boot: first readings frame",
            f"{first:.2f} s after power, {channels} channels in it",
            first <= FIRST_READING_MOST_S and channels == 8,
        ),
        Row("boot: the same at the next start", f"{later:.2f} s after power", later <= FIRST_READING_MOST_S),
        Row("boot: lamp lit", f"{lit:.2f} s after power", lit <= LAMP_MOST_S),
        Row("boot: 1 nF at the button is not a press", "it measures", bool(readings)),
    ]


def _install(board: EmulatedBoard) -> int | None:
    def program(path: str) -> int:
        install = [sys.executable, "-c", PATIENT_INSTALL, "board", "install", "--port", path]
        done = subprocess.run(install, capture_output=True, text=True, check=False)
        sys.stderr.write(done.stdout + done.stderr)
        sys.stderr.flush()
        return done.returncode

    return serve(board, program, INSTALL_MOST_S)


def _readings_come(board: EmulatedBoard, most_s: float = 6.0) -> bool:
    board.usb.take()
    try:
        board.until(lambda: any(name == "reading" for name, _ in talk.messages(bytes(board.usb.received))), most_s, 0.02)
    except TimeoutError:
        return False
    return True


def install(rig: Rig) -> list[Row]:
    """`hotfuel board install` over USB to a board with nothing on it."""

    def work() -> list[Row]:
        board = EmulatedBoard(rig.image, None).power_on()
        board.run(0.5)  # the image formats the file system
        board.usb.take()
        code = _install(board)
        measures = _readings_come(board)
        found, wanted = board.flash.files(), ready.installed()
        same = sum(found.get(name) == content for name, content in wanted.items())
        return [
            Row(
                "install into an empty file system over USB",
                f"exit {code}, {same} of {len(wanted)} files equal, {'measures' if measures else 'does not measure'} after its reset",
                code == 0 and same == len(wanted) and measures,
            )
        ]

    return in_a_copy(work)


def install_cut(rig: Rig) -> list[Row]:
    """The power fails while files are copied over those of a board that was installed as sources: it waits at its prompt, and
    installing again repairs it.

    Over equal files nothing would be written: mpremote skips files that are there already.
    """

    def work() -> list[Row]:
        board = started(ready.board(rig.image, settings={"stored_rate_hz": 5}, bytecode=False), 8.0)
        talk.ask(board, "mark", b"a stored drive")
        board.run(0.5)
        before = _stored(board)
        talk.ask(board, "service")
        board.until(lambda: b">>>" in board.usb.received, 6.0, 0.02)
        board.usb.take()
        board.flash.cut_at = board.flash.writes + INSTALL_CUT_AT
        cut = _install(board) is None
        board.power_cut().power_on()
        board.until(lambda: b">>>" in board.usb.received, 6.0, 0.02)
        seen = shown(board, PROMPT_LOOKED_S)
        board.usb.take()
        code = _install(board)
        measures = _readings_come(board)
        found, wanted = board.flash.files(), ready.installed()
        same = sum(found.get(name) == content for name, content in wanted.items())
        kept = bool(before) and all(_stored(board).get(number, b"").startswith(content) for number, content in before.items())
        rate = talk.ask(board, "settings_get", b"stored_rate_hz").decode()
        return [
            Row(
                f"power cut in flash write {INSTALL_CUT_AT} of an installation",
                f"lamp {seen}, at its prompt",
                cut and seen == "prompt",
            ),
            Row(
                "the same, installed again",
                f"exit {code}, {same} of {len(wanted)} files equal, {'measures' if measures else 'does not measure'}, {rate}, "
                f"stored drive {'kept' if kept else 'LOST'}",
                code == 0 and same == len(wanted) and measures and kept and rate == "stored_rate_hz=5",
            ),
        ]

    return in_a_copy(work)


def files_before(root: Path, commit: str = BEFORE) -> dict[str, bytes]:
    """The board's files of an earlier commit. Raises LookupError where the checkout does not have it."""
    listed = subprocess.run(
        ["git", "-C", str(root), "ls-tree", "-r", "--name-only", commit, "firmware", "protocol/hotfuel_wire"],
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode:
        raise LookupError(f"commit {commit} is not in this checkout; fetch its history to try an upgrade from it")
    files = {}
    for name in listed.stdout.split():
        if name.endswith(".py") and not name.endswith("meanings.py"):
            on_board = name.replace("firmware/", "", 1).replace("protocol/hotfuel_wire/", "lib/hotfuel_wire/")
            files[on_board] = subprocess.run(
                ["git", "-C", str(root), "show", f"{commit}:{name}"], capture_output=True, check=True
            ).stdout
    return files


def upgrade(rig: Rig) -> list[Row]:
    """The version before, with the owner's settings and a stored drive, then `hotfuel board install` over it."""
    old = files_before(Path(__file__).parents[2])

    def work() -> list[Row]:
        settings = ready.twin(b"places=tank,pump,needle\nstored_rate_hz=5")
        board = EmulatedBoard(rig.image, {**old, "settings_a": settings})
        started(board, 8.0)
        board.run(2.0)
        talk.ask(board, "mark", b"before the upgrade")
        board.run(0.5)
        drive = {name: content for name, content in board.flash.files().items() if name.endswith((".seg", ".key"))}
        talk.ask(board, "service")
        board.run(2.5)
        board.usb.take()
        code = _install(board)
        measures = _readings_come(board)
        board.run(1.0)
        found = board.flash.files()
        kept = {name.rpartition("/")[2][:5]: content for name, content in found.items() if name.endswith((".seg", ".key"))}
        whole = bool(drive) and all(
            kept.get(name.rpartition("/")[2][:5], b"").startswith(content) for name, content in drive.items()
        )
        stale = sorted(
            name for name in found if name.endswith(".py") and name not in ready.installed() and name[:-3] + ".mpy" in found
        )
        answer = {name: talk.ask(board, "settings_get", name) for name in (b"places", b"stored_rate_hz", b"inputs")}
        owners = answer[b"places"] == b"places=tank,pump,needle" and answer[b"stored_rate_hz"] == b"stored_rate_hz=5"
        inputs = answer[b"inputs"].count(b",") == 5  # the old default was all six
        return [
            Row(
                "upgrade from the version before",
                f"exit {code}, {'measures' if measures else 'does not measure'}, {len(stale)} old sources left in front of new modules",
                code == 0 and measures and not stale,
            ),
            Row("upgrade: settings kept", f"{answer[b'places'].decode()}; {answer[b'inputs'].decode()}", owners and inputs),
            Row("upgrade: stored drive kept", f"{sum(map(len, drive.values()))} bytes, whole: {whole}", whole),
        ]

    return in_a_copy(work)


def _segments(board: EmulatedBoard) -> dict[int, bytes]:
    """The segments that a download brings."""
    with talk.boards_time(board) as port, tempfile.TemporaryDirectory() as folder:
        fetcher = Fetcher(port, Path(folder))
        return {segment.number: fetcher._path(segment).read_bytes() for segment in fetcher.fetch_all()}


def _stored(board: EmulatedBoard) -> dict[int, bytes]:
    """The segments in flash."""
    return {
        int(name.rpartition("/")[2][:5]): content
        for name, content in board.flash.files().items()
        if name.endswith((".seg", ".key"))
    }


def _mark(board: EmulatedBoard) -> None:
    """A mark is flushed at once."""
    talk.ask(board, "mark", b"here")


def power_cuts(rig: Rig) -> list[Row]:
    """Three boots: the power fails between two of them, and then inside a write or an erase of a flush."""
    board = rig.three

    def second_boot() -> list[Row]:
        board.run(2.0)
        _mark(board)
        board.run(0.7)  # at whatever point it has reached
        first = _stored(board)
        started(board.power_cut())
        attached = b"store" in talk.ask(board, "info")
        brought = _segments(board)
        kept = bool(first) and all(brought.get(number, b"").startswith(content) for number, content in first.items())
        rows = [_row("boot 2, power cut between two flushes", 2, board, attached, kept, first)]
        _mark(board)
        before = _stored(board)
        for cut_at in FLUSHES_CUT:
            rows += in_a_copy(lambda cut_at=cut_at: third_boot(cut_at, before))  # type: ignore[misc]
        return rows

    def third_boot(cut_at: int, before: dict[int, bytes]) -> list[Row]:
        board.flash.cut_at = board.flash.writes + cut_at
        board.usb.write(command("mark", b"into the cut", 9))
        board.run(STORED_S)
        if not board.flash.is_cut:
            return [Row(f"power cut in flash write {cut_at}", f"only {board.flash.writes} writes came", False)]
        started(board.power_cut())
        attached = b"store" in talk.ask(board, "info")
        again = _segments(board)
        kept = all(again.get(number, b"").startswith(content) for number, content in before.items())
        return [_row(f"boot 3, power cut inside flash write {cut_at} of a flush", 3, board, attached, kept, before)]

    return in_a_copy(second_boot)


def _row(trial: str, boot: int, board: EmulatedBoard, attached: bool, kept: bool, flushed: dict[int, bytes]) -> Row:
    said = int(talk.ask(board, "info").decode().partition("boot_count=")[2].partition("\n")[0])
    found = (
        f"boot count {said}, store {'attached' if attached else 'NOT attached'}, {sum(map(len, flushed.values()))} flushed bytes "
        f"{'all downloaded' if kept else 'NOT all downloaded'}"
    )
    return Row(trial, found, attached and kept and said == boot)


def causes(rig: Rig) -> list[Row]:
    """The reported cause of a start: a hang is "watchdog", a requested reset is not; and the way to the prompt and back."""

    board = rig.three

    def hang() -> list[Row]:
        board.flash.hangs = True  # the flash chip reports busy: the processor waits with interrupts off
        board.usb.write(command("mark", b"into the hang", 9))
        board.run(0.5)
        board.mcu.watchdog.timer.set(20_000)  # near its end, to save the time of 8 s of waiting
        resets = len(board.resets)
        board.until(lambda: len(board.resets) > resets, 9.0, 0.01)
        board.flash.hangs = False
        measures = _readings_come(board)
        cause = talk.last(board.usb.take() + _described(board), "description")["reset_cause"]
        return [
            Row(
                "a hang, ended by the watchdog",
                f"cause {_name(cause)}, measures: {measures}",
                _name(cause) == "watchdog" and measures,
            )
        ]

    def prompt() -> list[Row]:
        resets = len(board.resets)
        talk.ask(board, "service")
        board.until(lambda: len(board.resets) > resets, 3.0, 0.01)
        board.until(lambda: b">>>" in board.usb.received, 4.0, 0.02)
        seen = shown(board, PROMPT_LOOKED_S)
        board.usb.write(b"import machine\r\nmachine.reset()\r\n")
        resets = len(board.resets)
        board.until(lambda: len(board.resets) > resets, 3.0, 0.01)
        measures = _readings_come(board)
        cause = _name(talk.last(_described(board), "description")["reset_cause"])
        return [
            Row("lamp at its pin: prompt", seen, seen == "prompt"),
            Row("from the prompt back to measuring", f"cause {cause}, measures: {measures}", measures and cause != "watchdog"),
        ]

    return in_a_copy(hang) + in_a_copy(prompt)


def _name(number: int) -> str:
    return next((name for name, value in RESET_CAUSES.items() if value == number), str(number))


def _described(board: EmulatedBoard) -> bytes:
    with talk.boards_time(board) as port:
        talk.Talk(port).ask("info")
        return bytes(port.log)


def failed_module(rig: Rig) -> list[Row]:
    """The warnings module cannot start: the lamp shows it, `board info` names it, and it is in flash for the next host."""

    def work() -> list[Row]:
        files = {name: content for name, content in ready.installed().items() if name != "limits.mpy"}
        board = EmulatedBoard(rig.image, {**files, "limits.py": b"raise ValueError('as a damaged file would')\n"})
        started(board)
        board.run(1.5)
        seen = shown(board)
        board.usb.take()
        named = talk.ask(board, "info").decode().partition("failed=")[2].partition("\n")[0]
        started(board.power_cut())
        data = bytes(board.usb.received) + _described(board)
        told = sum(values["code"] == EVENTS["module_failed"] for name, values in talk.messages(data) if name == "event")
        return [
            Row("lamp at its pin: a module failed", seen, seen == "failed"),
            Row("a failed module is named", f"failed={named}, {told} events for the next host", named == "limits" and told >= 1),
        ]

    return in_a_copy(work)

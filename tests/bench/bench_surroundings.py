"""The surroundings of a recording: folders, links, a second recorder, ports that disappear, sleep, clocks, zones, alphabets, full
disks. One line each.

python tests/bench/bench_surroundings.py
"""

import locale
import os
import pty
import resource
import signal
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable
from pathlib import Path
from unittest import mock

import bench_faults
import crash_frames
from bench_faults import in_a_process
from hotfuel import samples, session
from hotfuel.errors import HotfuelError, InputError
from hotfuel.link.receive import Link
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.report.session_notes import all_notes
from hotfuel.session import archive, export
from hotfuel.session import folder as session_folder

TURNS, EACH = 30, 5  # a reading every 20 ms, five in each tenth of a second
COUNT = TURNS * EACH


def recorded(folder: Path, *, step: Callable[[crash_frames.Played, int], None] = lambda link, turn: None) -> samples.Decoded:
    """Record a drive of COUNT readings into `folder` (created); step(link, turn) is called before each tenth of a second."""
    if not folder.exists():
        session_folder.create(folder)
    frames = [crash_frames.frame(number) for number in range(COUNT + 1)]
    link = crash_frames.Played([frames[0] + frames[1], *(b"".join(frames[at : at + EACH]) for at in range(2, COUNT + 1, EACH))])
    with LogWriter(folder / "wire.log", clock=link.monotonic, wall=link.wall) as writer:
        recorder = Recorder(link, writer, monotonic=link.monotonic, wall=lambda: link.wall(), anchor_every_s=0.5)
        for turn in range(len(link.pieces)):
            step(link, turn)
            recorder.turn(0.1)
    return samples.decode(folder)


def whole(decoded: samples.Decoded, count: int = COUNT) -> bool:
    """True if every reading is there, once, in order."""
    return crash_frames.numbers(decoded) == list(range(1, count + 1))


def refused(work: Callable[[], object], words: str) -> bool:
    """True if `work` ends in one sentence that contains `words`."""
    try:
        work()
    except HotfuelError as error:
        return words in str(error)
    return False


def read_only_folders(folder: Path) -> tuple[int, int]:
    """A folder that cannot be written: one sentence, by every command that would write there; reading from it works."""
    recorded(folder / "drive")
    nowhere = Path("/proc/hotfuel") if Path("/proc").is_dir() else Path("/dev/null/hotfuel")
    opened = session.open(folder / "drive")
    good = [
        refused(lambda: session_folder.create(nowhere), "cannot be written"),
        refused(lambda: archive.add(nowhere, folder / "drive"), "cannot be written"),
        refused(lambda: export.write(opened, nowhere / "a.csv"), "cannot be written"),
        refused(lambda: export.write(opened, nowhere / "a.parquet"), "cannot be written"),
    ]
    with mock.patch.object(os, "open", side_effect=PermissionError(13, "Permission denied")):
        try:
            LogWriter(folder / "drive" / "wire.log")
            good.append(False)
        except OSError as error:
            good.append("Permission denied" in str(error))
    good.append(len(session.open(folder / "drive").temperatures()) == COUNT)
    return len(good), sum(good)


def links(folder: Path) -> tuple[int, int]:
    """The session's folder, or its log, is a link to another place: recorded there, archived whole, and exports through links keep the links."""
    (folder / "disk").mkdir()
    (folder / "drive").symlink_to(folder / "disk", target_is_directory=True)
    session_folder.create(folder / "drive")
    good = [whole(recorded(folder / "drive")), (folder / "disk" / "wire.log").exists()]
    (folder / "other").mkdir()
    (folder / "other" / "wire.log").symlink_to(folder / "elsewhere.log")
    good += [whole(recorded(folder / "other")), (folder / "other" / "wire.log").is_symlink()]
    identity = archive.add(folder / "archive", folder / "other")
    copy = folder / "archive" / "sessions" / identity / "wire.log"
    good += [not copy.is_symlink(), copy.read_bytes() == (folder / "elsewhere.log").read_bytes()]
    return len(good), sum(good)


def two_recorders(folder: Path) -> tuple[int, int]:
    """The second is refused in one sentence, and the first loses nothing."""

    def second() -> None:
        told, ended = in_a_process(lambda tell: tell(LogWriter(folder / "drive" / "wire.log").path.name))
        found.append(ended == 1 and "being written by another recording" in told[0])

    found: list[bool] = []
    decoded = recorded(folder / "drive", step=lambda link, number: second() if number % 10 == 5 else None)
    return len(found) + 1, sum(found) + whole(decoded)


def a_port_that_goes_and_returns(folder: Path) -> tuple[int, int]:
    """A real pseudo-terminal is closed and another takes its name, three times: every reading sent is stored, each absence is a gap."""
    session_folder.create(folder / "drive")
    name = folder / "port"
    sent = 0
    with LogWriter(folder / "drive" / "wire.log") as writer:
        link, recorder = None, None
        for _ in range(4):
            master, slave = pty.openpty()
            tty.setraw(slave)
            name.unlink(missing_ok=True)
            name.symlink_to(os.ttyname(slave))
            if link is None:
                link = Link(str(name))
                recorder = Recorder(link, writer, silence_s=60)
            end = time.monotonic() + 20
            while not link.connected and time.monotonic() < end:
                recorder.turn(0.1)
            for _ in range(5):
                os.write(master, crash_frames.frame(sent))
                sent += 1
                before = recorder.counts.frames
                while recorder.counts.frames == before and time.monotonic() < end:
                    recorder.turn(0.1)
            os.close(slave)
            os.close(master)
            while link.connected and time.monotonic() < end:
                recorder.turn(0.1)
        link.close()
    decoded = samples.decode(folder / "drive")
    good = [whole(decoded, sent - 1), [gap.reason for gap in decoded.losses.gaps] == ["port_gone"] * 3]
    return len(good), sum(good)


def asleep_for_ten_minutes(folder: Path) -> tuple[int, int]:
    """The laptop sleeps: one gap of ten minutes, times right before and after."""

    def step(link: crash_frames.Played, number: int) -> None:
        link.now += 600.0 if number == 15 else 0.0

    decoded = recorded(folder / "drive", step=step)
    gaps = decoded.losses.gaps
    good = [whole(decoded), len(gaps) == 1 and gaps[0].reason == "silence" and abs(gaps[0].length_s - 600) < 1]
    return len(good), sum(good)


def clocks_that_step(folder: Path) -> tuple[int, int]:
    """The computer's clock is set by an hour, forward and back: every reading stays, times rise, and it is noted."""
    good = []
    for by_s in (3600.0, -3600.0):
        shift = [0.0]

        def step(link: crash_frames.Played, number: int, shift: list[float] = shift, by_s: float = by_s) -> None:
            shift[0] = by_s if number >= 15 else 0.0
            link.wall = lambda: link.now + 1_780_000_000.0 + shift[0]  # type: ignore[method-assign]

        decoded = recorded(folder / f"drive {by_s:g}", step=step)
        opened = session.open(folder / f"drive {by_s:g}")
        good += [whole(decoded), opened.temperatures().index.is_monotonic_increasing]
        good.append(any("clock was set" in note for note in all_notes(opened)))
    return len(good), sum(good)


def summer_time_both_ways(folder: Path) -> tuple[int, int]:
    """A drive over each change of the clocks in Berlin: times are UTC and rise by 20 ms a reading."""
    good = []
    # 2026-03-29 and 2026-10-25, 01:00 UTC less 1.5 s
    for name, at_s in (
        ("spring", 1_774_745_998.5),
        ("autumn", 1_792_889_998.5),
    ):
        with mock.patch.dict(os.environ, TZ="Europe/Berlin"):
            time.tzset()

            def step(link: crash_frames.Played, number: int, at_s: float = at_s) -> None:
                link.wall = lambda: link.now - 50.0 + at_s  # type: ignore[method-assign]

            decoded = recorded(folder / name, step=step)
            index = session.open(folder / name).temperatures().index
            good += [whole(decoded), bool((abs((index[1:] - index[:-1]).total_seconds() - 0.02) < 0.005).all())]
        time.tzset()
    return len(good), sum(good)


def a_decimal_comma(folder: Path) -> tuple[int, int]:
    """A locale that writes 1,5: the exported table is the same, byte for byte. Where no such locale is installed, Python's is faked."""
    recorded(folder / "drive")
    plain = export.write(session.open(folder / "drive"), folder / "plain.csv").read_bytes()
    before = locale.setlocale(locale.LC_ALL)
    named = ""
    for name in ("de_DE.UTF-8", "fr_FR.UTF-8", "de_DE.utf8"):
        try:
            named = locale.setlocale(locale.LC_ALL, name)
            break
        except locale.Error:
            continue
    with mock.patch.object(locale, "localeconv", return_value={"decimal_point": ",", "thousands_sep": "."}):
        again = export.write(session.open(folder / "drive"), folder / "comma.csv").read_bytes()
    locale.setlocale(locale.LC_ALL, before)
    if not named:
        print("(no locale with a decimal comma is installed here: only Python's was faked)", file=sys.stderr)
    return 1, int(plain == again)


def no_utf_8(folder: Path) -> tuple[int, int]:
    """PYTHONUTF8=0 in the C locale: folders with an umlaut and with a name that is not UTF-8 are exported, and the output can be read."""
    environment = {**os.environ, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "LC_ALL": "C"}
    good = []
    for name in ("Überholspur".encode(), b"caf\xe9"):
        target = os.fsdecode(os.fsencode(folder) + b"/" + name)
        recorded(Path(target))
        words = [sys.executable, "-m", "hotfuel", "decode", os.fsencode(target), "--out", os.fsencode(folder) + b"/out.csv"]
        done = subprocess.run(words, env=environment, capture_output=True, check=False)
        good.append(done.returncode == 0 and b"Traceback" not in done.stderr and f"{COUNT} rows".encode() in done.stdout)
    return len(good), sum(good)


def a_full_disk_during_archive_add(folder: Path) -> tuple[int, int]:
    """The system itself limits the bytes per file: refused in a sentence or done; nothing half-written stays, and afterwards it can be added."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    recorded(folder / "drive")
    size = (folder / "drive" / "wire.log").stat().st_size
    good = []
    for number, limit in enumerate((0, 10, size // 2, size - 1, size + 10, 4 * size)):
        root = folder / f"archive {number}"

        def fill(tell: Callable[[str], None], limit: int = limit, root: Path = root) -> None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            archive.add(root, folder / "drive")

        told, ended = in_a_process(fill)
        good.append(ended in (0, 1) or "File too large" in " ".join(told))
        try:
            archive.add(root, folder / "drive")
        except InputError as error:
            good.append(ended == 0 and "already" in str(error))
        good.append(len(archive.listed(root)) == 1)
    return len(good), sum(good)


ROWS: list[Callable[[Path], tuple[int, int]]] = [
    read_only_folders, links, two_recorders, a_port_that_goes_and_returns, asleep_for_ten_minutes, clocks_that_step, summer_time_both_ways,
    a_decimal_comma, no_utf_8, a_full_disk_during_archive_add,
]  # fmt: skip


def run(row: Callable[[Path], tuple[int, int]]) -> tuple[int, int]:
    """(checks, checks held) of one row, in its own folder."""
    with (
        tempfile.TemporaryDirectory() as name,
        mock.patch.dict(os.environ, {bench_faults.spill.FALLBACK_VARIABLE: f"{name}/kept"}),
    ):
        return row(Path(name))


def main() -> None:
    print(f"{'':38s} {'checks':>6s} {'held':>5s}")
    missed = 0
    for row in ROWS:
        tried, held = run(row)
        missed += tried - held
        print(f"{row.__name__.replace('_', ' '):38s} {tried:6d} {held:5d}")
    raise SystemExit(1 if missed else 0)


if __name__ == "__main__":
    main()

"""Every disk call of recorder, download, archive and export failing once, and the process killed after each: is everything there, or reported lost?

python tests/bench/bench_faults.py [every n-th call, default 1]

Each trial is a forked process (so Linux or macOS) that does the job with one call failing: an error, a full disk, a write of half
its bytes; or that is killed right after the call. Another process then checks that what was received is in the folder, kept
elsewhere, in the fallback folder, or was reported lost; and that the next command works. bench_surroundings.py has the rest: two
recorders, clocks, links, sleep, ports.
"""

import importlib.util
import os
import shutil
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

import pyarrow.csv
import pyarrow.parquet

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "host" / "samples")]
import crash_frames  # noqa: E402
from failing_calls import Calls  # noqa: E402
from hotfuel import samples, session  # noqa: E402
from hotfuel.errors import HotfuelError  # noqa: E402
from hotfuel.log import rescue, spill  # noqa: E402
from hotfuel.log.append import LogWriter  # noqa: E402
from hotfuel.record.download import Fetcher  # noqa: E402
from hotfuel.record.recorder import Recorder  # noqa: E402
from hotfuel.session import archive, export  # noqa: E402
from hotfuel.session import folder as session_folder  # noqa: E402

HOW = ("EIO", "ENOSPC", "short", "kill")
READINGS = 25


def _stored_board() -> Any:
    spec = importlib.util.spec_from_file_location("stored_board", HERE.parent / "host" / "record" / "test_download.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@dataclass
class Job:
    """do(folder, tell): the job; tell(number) reports how much has been taken in so far. good(folder, told, said): afterwards, "" or what was wrong."""

    name: str
    prepare: Callable[[Path], None]
    do: Callable[[Path, Callable[[str], None]], None]
    good: Callable[[Path, list[str]], str]


def record_prepare(folder: Path) -> None:
    """No preparation."""


def record_do(folder: Path, tell: Callable[[str], None]) -> None:
    """A drive of READINGS readings into folder/drive; reports the number of each reading once the recorder has taken it in."""
    made = session_folder.create(folder / "drive", None, {"title": "faults"})

    def elsewhere() -> Path:
        return session_folder.create(folder / "fallback" / "drive").log_path

    frames = [crash_frames.frame(number) for number in range(READINGS + 1)]
    link = crash_frames.Played(frames)
    clocks = {"clock": link.monotonic, "wall": link.wall}
    calls = {"write": os.write, "fsync": os.fsync}  # as they are now: the defaults were bound before anything failed
    with LogWriter(
        made.log_path, **clocks, **calls, warn=lambda sentence: tell("said " + sentence), fallback=elsewhere
    ) as writer:
        recorder = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall, anchor_every_s=1.0)
        for number in range(READINGS + 1):
            recorder.turn(0.1)
            tell(f"lost {writer.bytes_lost}" if writer.bytes_lost else f"took {number}")
        for _ in range(12):
            recorder.turn(0.1)


def record_good(folder: Path, told: list[str]) -> str:
    """Every reading taken in is readable, now and after the next recording into the same folder."""
    taken = max((int(line.split()[1]) for line in told if line.startswith("took ")), default=0)
    lost = any(line.startswith("lost ") for line in told)
    if not taken:
        return ""  # it did not begin, and reported that
    for step in ("at once", "after rescue", "recorded on"):
        kept = crash_frames.numbers(samples.decode(folder / "drive"))
        wanted = list(range(1, taken + 1))
        if step == "recorded on":
            kept = None if kept is None else [number for number in kept if number <= READINGS]
        if kept is None or (not lost and kept[: len(wanted)] != wanted):
            return f"{step}: readings {kept} of {taken}"
        if step == "at once":
            rescue.put_back(folder / "drive" / "wire.log")
        elif step == "after rescue":
            if not lost and rescue.standing(folder / "drive" / "wire.log") is not None:
                return "not whole after rescue"
            with LogWriter(folder / "drive" / "wire.log") as writer:
                writer.received(crash_frames.frame(READINGS + 1))
    return "" if not list(spill.everything()) else "something is left in another place"


def download_do(folder: Path, tell: Callable[[str], None]) -> None:
    """The board's stored frames, fetched into folder/drive."""
    if not (folder / "drive").is_dir():
        session_folder.create(folder / "drive", None, {})
    fetcher = Fetcher(_BOARD.Board(), folder / "drive")
    fetcher.write_log(fetcher.fetch_all())


def download_good(folder: Path, told: list[str]) -> str:
    """The next download ends with every stored frame."""
    if (folder / "drive").is_dir() and not (folder / "drive" / "segments").is_dir():
        shutil.rmtree(folder / "drive")  # a folder in which nothing was begun is refused, so the user takes another
    download_do(folder, lambda line: None)
    return "" if _BOARD.whole_log(folder / "drive" / "wire.log")[1:-2] == _BOARD.expected() else "frames are missing"


def session_prepare(folder: Path) -> None:
    """A session to work with, and an older file of each export."""
    record_do(folder, lambda line: None)
    for ending in ("csv", "parquet"):
        export.write(session.open(folder / "drive"), folder / f"drive.{ending}")


def archive_do(folder: Path, tell: Callable[[str], None]) -> None:
    """The session added to an archive."""
    archive.add(folder / "archive", folder / "drive")


def archive_good(folder: Path, told: list[str]) -> str:
    """The source is untouched; list and add agree afterwards: the session is there once, with its results."""
    if crash_frames.numbers(samples.decode(folder / "drive")) != list(range(1, READINGS + 1)):
        return "the session itself was damaged"
    try:
        before = len(archive.listed(folder / "archive"))
    except HotfuelError:
        before = 0
    try:
        archive.add(folder / "archive", folder / "drive")
        if before:
            return "listed, and added again"
    except HotfuelError as error:
        if not before:
            return f"not listed, and refused: {error}"
    table = archive.listed(folder / "archive")
    (copy,) = (path for path in (folder / "archive" / "sessions").iterdir() if not path.name.endswith(".part"))
    same = (copy / "wire.log").read_bytes() == (folder / "drive" / "wire.log").read_bytes()
    return "" if len(table) == 1 and same else "not there once and whole"


def export_do(folder: Path, tell: Callable[[str], None]) -> None:
    """Written over older exports."""
    opened = session.open(folder / "drive")
    for ending in ("csv", "parquet"):
        export.write(opened, folder / f"drive.{ending}")


def export_good(folder: Path, told: list[str]) -> str:
    """Each file is whole, older or newer; and the next export works."""
    for again in (False, True):
        if again:
            export_do(folder, lambda line: None)
        if len(pyarrow.csv.read_csv(folder / "drive.csv")) != READINGS:
            return "drive.csv is not whole"
        if len(pyarrow.parquet.read_table(folder / "drive.parquet")) != READINGS:
            return "drive.parquet is not whole"
    return ""


_BOARD = _stored_board()
JOBS = [
    Job("recorder", record_prepare, record_do, record_good),
    Job("download", record_prepare, download_do, download_good),
    Job("archive add", session_prepare, archive_do, archive_good),
    Job("export", session_prepare, export_do, export_good),
]


def in_a_process(work: Callable[[Callable[[str], None]], None]) -> tuple[list[str], int]:
    """The lines reported by `work`, and how its process ended (0; 1 for an error of one sentence; 2 for anything else; minus a signal)."""
    read, write = os.pipe()
    pid = os.fork()
    if not pid:
        os.close(read)
        real_write, code = os.write, 0

        def tell(line: str) -> None:
            real_write(write, line.encode() + b"\n")

        try:
            work(tell)
        except (HotfuelError, OSError) as error:
            tell(f"refused {error}".replace("\n", " "))
            code = 1
        except BaseException:
            tell("broke " + traceback.format_exc().replace("\n", " | "))
            code = 2
        os._exit(code)
    os.close(write)
    with os.fdopen(read, encoding="utf-8") as file:
        lines = file.read().splitlines()
    _, status = os.waitpid(pid, 0)
    return lines, -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)


def trial(job: Job, folder: Path, ready: Path, fails_at: int, how: str) -> str:
    """One job with one call failing; "" or what was wrong."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(ready, folder)
    os.environ[spill.FALLBACK_VARIABLE] = str(folder / "kept")
    calls = Calls(folder, fails_at, how)

    def with_it_failing(tell: Callable[[str], None]) -> None:
        with calls.patched():
            job.do(folder, tell)

    told, ended = in_a_process(with_it_failing)
    if ended not in (0, 1, -signal.SIGKILL):
        return next((line for line in told if line.startswith("broke")), f"ended with {ended}")
    found: list[str] = []

    def look(tell: Callable[[str], None]) -> None:
        tell("verdict " + job.good(folder, told))

    said, ended = in_a_process(look)
    found = [line.removeprefix("verdict ") for line in said if line.startswith("verdict ")]
    return found[0] if found else f"afterwards: {said[-1:]}"


@dataclass
class Row:
    """One line of the table."""

    tried: int = 0
    lost: int = 0
    wrong: list[str] = field(default_factory=list)


def calls_of(job: Job, ready: Path, folder: Path) -> list[str]:
    """The names of the calls the job makes when nothing fails."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(ready, folder)
    os.environ[spill.FALLBACK_VARIABLE] = str(folder / "kept")

    def count(tell: Callable[[str], None]) -> None:
        calls = Calls(folder)
        with calls.patched():
            job.do(folder, lambda line: None)
        for name in calls.names:
            tell("call " + name)

    told, ended = in_a_process(count)
    assert ended == 0, told[-1:]
    return [line.removeprefix("call ") for line in told]


def table(every: int = 1, jobs: list[Job] | None = None, how: tuple[str, ...] = HOW) -> dict[str, Row]:
    """Every n-th call of each job failing in each way."""
    rows: dict[str, Row] = {}
    before = os.environ.get(spill.FALLBACK_VARIABLE)
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        for job in JOBS if jobs is None else jobs:
            ready = root / f"{job.name} ready"
            ready.mkdir()
            os.environ[spill.FALLBACK_VARIABLE] = str(ready / "kept")
            _, ended = in_a_process(lambda tell, job=job, ready=ready: job.prepare(ready))
            assert ended == 0
            names = calls_of(job, ready, root / "trial")
            for number in range(0, len(names), every):
                for one in how:
                    if one == "short" and "write" not in names[number]:
                        continue
                    row = rows.setdefault(f"{job.name}: {names[number]}, {one}", Row())
                    row.tried += 1
                    wrong = trial(job, root / "trial", ready, number, one)
                    if wrong:
                        row.lost += 1
                        row.wrong.append(f"call {number}: {wrong}")
    if before is None:
        os.environ.pop(spill.FALLBACK_VARIABLE, None)
    else:
        os.environ[spill.FALLBACK_VARIABLE] = before
    return rows


def main() -> None:
    # Bytes that other recordings of this user left elsewhere do not belong to this trial.
    with tempfile.TemporaryDirectory() as state, mock.patch.dict(os.environ, XDG_STATE_HOME=state):
        rows = table(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
    print(f"{'':38s} {'tried':>6s} {'survived':>13s} {'lost':>5s}")
    for title, row in rows.items():
        print(f"{title:38s} {row.tried:6d} {row.tried - row.lost:13d} {row.lost:5d}")
        for wrong in row.wrong[:3]:
            print(f"    {wrong[:400]}")
    tried, lost = sum(row.tried for row in rows.values()), sum(row.lost for row in rows.values())
    print(f"{tried} tried, {tried - lost} kept everything or reported the loss, {lost} did not")
    raise SystemExit(1 if lost else 0)


if __name__ == "__main__":
    main()

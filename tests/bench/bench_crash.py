"""What a crash costs: recorders killed at random times, logs cut at every byte, each disk call failing once.

python tests/bench/bench_crash.py [kills, default 300] [seed]

Each killed recorder is a separate process that reads a pseudo-terminal, as in the car. Survived: the session opens, every frame
and mark older than one second is in it, in order, and nothing that was never sent.
"""

import contextlib
import errno
import heapq
import os
import pty
import random
import signal
import sys
import tempfile
import time
import tty
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from crash_frames import PLACES, Played, frame, numbers
from hotfuel import car, samples, session
from hotfuel.link.receive import Link
from hotfuel.log import reserve
from hotfuel.log.append import LogWriter
from hotfuel.record import requests
from hotfuel.record.recorder import Recorder
from hotfuel.session import folder as session_folder
from hotfuel_wire import framing

PERIOD_S = 0.02
AT_ONCE = 10
OLD_S = 1.0
LIVES_S = (0.2, 7.0)  # past the first fsync, which comes after 5 s
MARK_EVERY = 20


@dataclass
class Trial:
    """One recorder on its pseudo-terminal, until it is killed."""

    path: Path
    dies_s: float  # after its start
    just_after_a_frame: bool
    master: int = -1
    pid: int = 0
    began: float = 0.0
    killed: float = 0.0
    sent: list[float] = field(default_factory=list)  # when frame n was sent
    marks: list[float] = field(default_factory=list)

    def start(self) -> None:
        session_folder.create(self.path, car.EXAMPLE)
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        device = os.ttyname(slave)
        self.pid = os.fork()
        if self.pid == 0:
            with contextlib.suppress(BaseException), Link(device) as link, LogWriter(self.path / "wire.log") as writer:
                Recorder(link, writer, folder=self.path).run()
            os._exit(1)
        self._wait_for_the_hello()
        os.close(slave)
        self.began = time.monotonic()

    def _wait_for_the_hello(self) -> None:
        """Wait until the recorder has asked the board for its description."""
        end = time.monotonic() + 10
        while time.monotonic() < end:
            with contextlib.suppress(BlockingIOError):
                if os.read(self.master, 4096):
                    return
            time.sleep(0.001)
        raise SystemExit("the recorder did not start")

    def send(self) -> None:
        number = len(self.sent)
        data = frame(number)
        half = len(data) // 2
        self.sent.append(time.monotonic())
        if number % 3 == 0:  # some in two writes, as a serial port delivers them
            os.write(self.master, data[:half])
            data = data[half:]
        os.write(self.master, data)
        if number % MARK_EVERY == MARK_EVERY - 1:
            self.marks.append(time.monotonic())
            requests.ask(self.path, "mark", f"mark {len(self.marks) - 1}")

    def kill(self) -> None:
        if self.pid:
            os.kill(self.pid, signal.SIGKILL)
            self.killed = time.monotonic()
            _, status = os.waitpid(self.pid, 0)
            self.pid = 0
            os.close(self.master)
            if not os.WIFSIGNALED(status):
                raise SystemExit("a recorder ended before it was killed")

    def verdict(self) -> str:
        """Empty if it survived, otherwise what was wrong. Frames younger than a second may be missing: see newest_lost."""
        opened = session.open(self.path)
        kept = numbers(opened.decoded)
        if kept is None:
            return "invented a reading"
        if kept != list(range(1, len(kept) + 1)):
            return "order or a frame between others lost"
        if len(kept) > len(self.sent) - 1:
            return "more than was sent"
        old = sum(when <= self.killed - OLD_S for when in self.sent)
        if len(kept) < old - 1:
            return "a frame older than 1 s lost"
        if kept and len(opened.temperatures()) != len(kept):
            return "temperatures are not those of the frames"
        marks = [text.decode() for text in opened.decoded.messages["mark"]["text"]]
        if marks != [f"mark {number}" for number in range(len(marks))] or len(marks) > len(self.marks):
            return "marks out of order or invented"
        if len(marks) < sum(when <= self.killed - OLD_S for when in self.marks):
            return "a mark older than 1 s lost"
        return ""

    def newest_lost(self) -> int:
        return len(self.sent) - 1 - len(samples.decode(self.path / "wire.log").readings) // len(PLACES)


def kills(count: int, folder: Path, seed: int = 1, lives_s: tuple[float, float] = LIVES_S) -> list[Trial]:
    """`count` recorders killed, a few at a time. Every second one dies within half a millisecond after bytes were given to it."""
    draw = random.Random(seed)
    waiting = [Trial(folder / f"{number:04d}", draw.uniform(*lives_s), number % 2 == 1) for number in range(count)]
    done: list[Trial] = []
    alive: list[Trial] = []
    due: list[tuple[float, int, Trial, bool]] = []
    order = iter(range(10**9))
    try:
        while waiting or alive:
            while waiting and len(alive) < AT_ONCE:
                trial = waiting.pop()
                alive.append(trial)
                trial.start()
                heapq.heappush(due, (trial.began, next(order), trial, False))
                heapq.heappush(due, (trial.began + trial.dies_s, next(order), trial, True))
            when, _, trial, dies = heapq.heappop(due)
            time.sleep(max(0.0, when - time.monotonic()))
            if trial not in alive:
                continue
            if not dies:
                trial.send()
                heapq.heappush(due, (when + PERIOD_S, next(order), trial, False))
                continue
            if trial.just_after_a_frame:
                trial.send()
                time.sleep(draw.uniform(0, 0.0005))
            trial.kill()
            alive.remove(trial)
            done.append(trial)
    finally:
        for trial in alive:
            trial.kill()
    return done


class Disk:
    """os.write and os.fsync, of which call number `fails_at` fails once: an errno ("ENOSPC", "EIO") or a short write of so many bytes."""

    def __init__(self, fails_at: int = -1, how: str | int = "EIO") -> None:
        self.fails_at, self.how = fails_at, how
        self.calls: list[str] = []

    def _fails(self, call: str) -> bool:
        self.calls.append(call)
        if len(self.calls) - 1 != self.fails_at:
            return False
        if isinstance(self.how, str):
            number = getattr(errno, self.how)
            raise OSError(number, os.strerror(number))
        return True

    def write(self, descriptor: int, data: bytes) -> int:
        return os.write(descriptor, data[: int(self.how)]) if self._fails("write") else os.write(descriptor, data)

    def fsync(self, descriptor: int) -> None:
        self._fails("fsync")
        os.fsync(descriptor)


def record(path: Path, disk: Disk, readings: int = 40) -> bytes:
    """A log of so many readings, an anchor every second and a mark, made by the recorder on `disk`; the bytes it left."""
    data = b"".join(frame(number) for number in range(readings + 1))
    link = Played([data[at : at + 37] for at in range(0, len(data), 37)])  # pieces that end inside frames
    calls = {"write": disk.write, "fsync": disk.fsync}
    with LogWriter(path, clock=link.monotonic, wall=link.wall, log_id=b"benchlog", **calls) as writer:
        recorder = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall, anchor_every_s=1.0)
        while link.pieces:
            recorder.turn(0.1)
            if len(link.pieces) == 20:
                recorder.mark("a mark")
        for _ in range(12):
            recorder.turn(0.1)  # the disk is tried again every second
    data = path.read_bytes()
    # a frame marks where a disk was full; a zero in it says that nothing was kept elsewhere after all
    for payload in framing.FrameReader().feed(data):
        note = framing.encode(payload)
        if reserve.went_on_elsewhere(note) is not None:
            before, _, behind = data.partition(note)
            data = before + (behind[1:] if behind == b"\0" or behind.startswith(b"\0\0") else behind)
    return data


def cut_at_every_byte(folder: Path, readings: int = 40) -> dict[str, int]:
    """The result for the recorder's log of so many readings cut at each byte: read as it is, and recording continued."""
    whole = record(folder / "whole.log", Disk(), readings)
    ends = [whole.index(frame(number)) + len(frame(number)) for number in range(1, readings + 1) if frame(number) in whole]
    counts = {"tried": 0, "survived": 0, "lost": 0}
    path = folder / "wire.log"
    later = frame(readings + 1)
    for size in range(len(whole) + 1):
        path.write_bytes(whole[:size])
        kept = numbers(samples.decode(path))
        complete = sum(end <= size for end in ends)
        with_open_end = sum(end - 1 <= size for end in ends)  # only the closing zero is missing
        good = kept is not None and kept == list(range(1, len(kept) + 1)) and complete <= len(kept) <= with_open_end
        with LogWriter(path) as writer:
            writer.received(later)
        again = numbers(samples.decode(path))
        good = good and path.read_bytes().startswith(whole[:size]) and again == [*range(1, with_open_end + 1), readings + 1]
        counts["tried"] += 1
        counts["survived" if good else "lost"] += 1
    return counts


def each_call_fails_once(folder: Path, readings: int = 40) -> dict[str, dict[str, int]]:
    """The recorder's log with each disk call failing once, against the log of a disk that works: the bytes must be equal."""
    clean = Disk()
    expected = record(folder / "clean.log", clean, readings)
    table: dict[str, dict[str, int]] = {}
    for number, call in enumerate(clean.calls):
        for how in ("ENOSPC", "EIO", *((0, 1, 7) if call == "write" else ())):
            path = folder / "failing.log"
            path.unlink(missing_ok=True)
            row = table.setdefault(
                f"{call}: {how if isinstance(how, str) else f'{how} bytes taken'}", {"tried": 0, "survived": 0, "lost": 0}
            )
            row["tried"] += 1
            row["survived" if record(path, Disk(number, how), readings) == expected else "lost"] += 1
    return table


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    rows: dict[str, dict[str, int]] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        began = time.monotonic()
        done = kills(count, folder, seed)
        wrong: Counter[str] = Counter()
        for trial in done:
            wrong[trial.verdict()] += 1
            row = rows.setdefault(
                "killed just after bytes came" if trial.just_after_a_frame else "killed at any time",
                dict.fromkeys(("tried", "survived", "lost"), 0),
            )
            row["tried"] += 1
            row["lost" if trial.verdict() else "survived"] += 1
        took_s = time.monotonic() - began
        rows["log cut at a byte, recording continued"] = cut_at_every_byte(folder)
        rows |= each_call_fails_once(folder)
        newest = [trial.newest_lost() for trial in done]
    print(f"{'trial':38s} {'tried':>6s} {'survived':>9s} {'lost':>5s}")
    for title, row in rows.items():
        print(f"{title:38s} {row['tried']:6d} {row['survived']:9d} {row['lost']:5d}")
    sent = sum(len(trial.sent) for trial in done)
    print(
        f"kills: {sent} frames sent, {took_s:.0f} s; frames of the last second not kept: {sum(newest)} in all, at most {max(newest)} a kill"
    )
    for reason, times in wrong.items():
        if reason:
            print(f"  {times} x {reason}")


if __name__ == "__main__":
    main()

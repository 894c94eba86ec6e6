"""From a frame's arrival to the alarm, and what recording costs the processor, on a pseudo-terminal.

python tests/bench/bench_link.py [seconds a row, default 15, at least 10: the alarm waits some seconds before it says anything]

The board is a process of its own that notes when it wrote each frame; latency counts from there. The floor in the same run: select and os.read on the same
pseudo-terminal, and nothing else. The alarm's row ends when the example car's alarm has judged the frame (and said so, where it had to).
"""

import mmap
import os
import pty
import select
import signal
import struct
import sys
import tempfile
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "host" / "session"))

import synthetic
from hotfuel import car as car_file
from hotfuel.link.receive import Link
from hotfuel.live.warner import Warner
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.units import Shown
from hotfuel_wire import codec
from hotfuel_wire.messages import TYPES

EIGHT = ("tank", "pump", "carb_inlet", "hose", "bowl", "line", "return", "bonnet")
LEAD_S = 0.5  # before the first frame


def drive(places: tuple[str, ...], rate_hz: int, seconds: float) -> tuple[list[bytes], int]:
    """Frames to send, one a period, and how many there are before the first reading: cool for a third of the time, then a pump far over its limit."""
    made = synthetic.Recording(places, period_ms=1000 // rate_hz)
    before = len(made.frames)
    for number in range(int(seconds * rate_hz)):
        hot = 95.0 if number > seconds * rate_hz / 3 else 35.0
        made.reading(number / rate_hz, [30.0, hot, 40.0, 41.0, 42.0, 43.0, 44.0, 45.0][: len(places)])
    return made.frames, before


@dataclass
class Board:
    """Sends frames at their times from a process of its own."""

    frames: list[bytes]
    before: int
    rate_hz: int
    device: str = ""
    pid: int = 0
    slave: int = -1

    def __enter__(self) -> "Board":
        master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        self.device = os.ttyname(self.slave)
        self._times = mmap.mmap(-1, 8 * len(self.frames))
        self.pid = os.fork()
        if self.pid == 0:
            try:
                self._send(master)
            finally:
                os._exit(0)
        os.close(master)
        return self

    def _send(self, master: int) -> None:
        begin = time.monotonic() + LEAD_S
        for number, data in enumerate(self.frames):
            time.sleep(max(0.0, begin + (number - self.before) / self.rate_hz - time.monotonic()))
            struct.pack_into("<d", self._times, 8 * number, time.monotonic())
            os.write(master, data)
        time.sleep(60)

    def sent_s(self) -> np.ndarray:
        """When each reading was written, seconds of time.monotonic."""
        return np.frombuffer(self._times[:], dtype="<f8")[self.before :]

    def __exit__(self, *_: object) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.slave)


@dataclass
class Row:
    title: str
    latency_us: np.ndarray = field(default_factory=lambda: np.empty(0))
    share: float = 0.0
    said: int = 0

    def __str__(self) -> str:
        p50, p99 = np.percentile(self.latency_us, [50, 99])
        return f"{self.title:56s} {len(self.latency_us):7d} {p50:8.0f} {p99:8.0f} {self.latency_us.max():8.0f} {100 * self.share:7.2f} {self.said:7d}"


def floor(board: Board, seconds: float) -> Row:
    """The bare floor: select and os.read, a frame a read."""
    arrived: list[float] = []
    end = time.monotonic() + seconds + LEAD_S + 0.5
    began_cpu, began = time.process_time(), time.monotonic()
    pending = b""
    while (left := end - time.monotonic()) > 0:
        if select.select([board.slave], [], [], min(left, 0.1))[0]:
            pending += os.read(board.slave, 65536)
            now = time.monotonic()
            whole = pending.count(b"\0") // 2  # two zeros a frame
            if whole:
                arrived.extend([now] * whole)
                pending = b""
    del arrived[: board.before]
    sent = board.sent_s()
    if len(arrived) != len(sent):
        raise SystemExit(f"the floor read {len(arrived)} of {len(sent)} frames")
    return Row("", 1e6 * (np.array(arrived) - sent), (time.process_time() - began_cpu) / (time.monotonic() - began))


def recorded(board: Board, seconds: float, folder: Path, alarm: bool) -> Row:
    """The recorder as `hotfuel record` runs it, with or without the alarm of the example car."""
    arrived: dict[int, float] = {}
    said: list[str] = []
    warn: Callable[[list[bytes]], None] = (
        Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said.append).hear if alarm else lambda payloads: None
    )

    def heard(payloads: list[bytes]) -> None:
        warn(payloads)
        now = time.monotonic()
        for payload in payloads:
            if payload[0] == TYPES["reading"]:
                arrived[codec.unpack(payload)[1]["tick"]] = now

    troubles: list[str] = []
    with Link(board.device) as link, LogWriter(folder / f"{time.monotonic_ns()}.log") as writer:
        recorder = Recorder(link, writer, heard=heard, say=troubles.append, folder=folder)
        began_cpu, began = time.process_time(), time.monotonic()
        recorder.run(seconds + LEAD_S + 0.5)
        share = (time.process_time() - began_cpu) / (time.monotonic() - began)
    sent = board.sent_s()
    if sorted(arrived) != list(range(len(sent))) or troubles:
        raise SystemExit(f"{len(arrived)} of {len(sent)} readings heard; {troubles}")
    if alarm and not any("ACT" in sentence for sentence in said):
        raise SystemExit("the alarm said nothing about a pump far over its limit")
    return Row("", 1e6 * (np.array([arrived[number] for number in range(len(sent))]) - sent), share, len(said))


def main() -> None:
    seconds = max(10.0, float(sys.argv[1])) if len(sys.argv) > 1 else 15.0
    print(f"{'':56s} {'frames':>7s} {'p50 us':>8s} {'p99 us':>8s} {'max us':>8s} {'CPU %':>7s} {'alarms':>7s}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for rate_hz in (10, 50):
            frames, before = drive(EIGHT, rate_hz, seconds)
            for title, measure in (
                ("select + os.read, the floor", lambda board: floor(board, seconds)),
                ("recorder, frame in the log", lambda board: recorded(board, seconds, folder, False)),
                ("recorder, frame judged by the alarm", lambda board: recorded(board, seconds, folder, True)),
            ):
                with Board(frames, before, rate_hz) as board:
                    row = measure(board)
                row.title = f"8 channels x {rate_hz} Hz: {title}"
                print(row, flush=True)


if __name__ == "__main__":
    main()

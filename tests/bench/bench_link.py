"""From a frame's arrival to the alarm, and the processor time of recording, on a pseudo-terminal.

python tests/bench/bench_link.py [seconds a run, default 15, at least 10: the alarm waits some seconds before it says anything] [runs a row, default 3]

The board is a separate process that notes when it wrote each frame; the readings' latency counts from there. The floor in the
same run: select and os.read on the same pseudo-terminal, and nothing else. The alarm's rows end when the example car's alarm has
evaluated the reading (and raised its alarm, if any); "own" is the processor time of that evaluation alone, which does not depend
on how busy the machine is. "page open": the page's server follows the same log and a browser shows it. 50 Hz is five times what
is promised. Each row is the run with the smallest p99: other load can only add to it.
"""

import contextlib
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
sys.path.insert(0, str(Path(__file__).parent.parent / "browser"))

import live_rig
import synthetic
from hotfuel import car as car_file
from hotfuel.link.receive import Link
from hotfuel.live.warner import Warner
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.session import folder as session_folder
from hotfuel.units import Shown
from hotfuel_wire import codec
from hotfuel_wire.messages import TYPES

EIGHT = ("tank", "pump", "carb_inlet", "hose", "bowl", "line", "return", "bonnet")
LEAD_S = 0.5  # before the first frame


@dataclass(frozen=True)
class Frame:
    """What the board sends `due_s` after its first reading."""

    due_s: float
    data: bytes
    is_reading: bool = False


def drive(places: tuple[str, ...], rate_hz: int, seconds: float) -> list[Frame]:
    """A description, a reading each period, the other inputs once a second: cool for a third of the time, then a pump far over its limit."""
    made = synthetic.Recording(places, period_ms=1000 // rate_hz)
    frames = [Frame(-0.1, made.data)]
    for number in range(int(seconds * rate_hz)):
        at_s = number / rate_hz
        if number % rate_hz == 0:
            made.auxiliary(at_s, 50 * at_s, fuel_pressure_percent=40 + number // rate_hz % 7, battery_v=13.8)
            frames.append(Frame(at_s - 0.5 / rate_hz, made.frames[-1]))
        made.reading(at_s, [30.0, 95.0 if at_s > seconds / 3 else 35.0, 40.0, 41.0, 42.0, 43.0, 44.0, 45.0][: len(places)])
        frames.append(Frame(at_s, made.frames[-1], True))
    return frames


@dataclass
class Board:
    """Sends frames at their times from a separate process."""

    frames: list[Frame]
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
        for number, frame in enumerate(self.frames):
            time.sleep(max(0.0, begin + frame.due_s - time.monotonic()))
            struct.pack_into("<d", self._times, 8 * number, time.monotonic())
            os.write(master, frame.data)
        time.sleep(60)

    @property
    def readings(self) -> np.ndarray:
        """Which frames are readings."""
        return np.array([frame.is_reading for frame in self.frames])

    def sent_s(self) -> np.ndarray:
        """When each frame was written, seconds of time.monotonic."""
        return np.frombuffer(self._times[:], dtype="<f8")

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
    own_us: np.ndarray = field(default_factory=lambda: np.zeros(1))

    def __str__(self) -> str:
        p50, p99 = np.percentile(self.latency_us, [50, 99])
        own50, own99 = np.percentile(self.own_us, [50, 99])
        own = f"{own50:8.0f} {own99:8.0f}"
        return f"{self.title:62s} {len(self.latency_us):7d} {p50:8.0f} {p99:8.0f} {self.latency_us.max():8.0f} {own} {100 * self.share:6.2f} {self.said:7d}"


def floor(board: Board, seconds: float) -> Row:
    """The minimum: select and os.read, one frame per read."""
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
    sent = board.sent_s()
    if len(arrived) != len(sent):
        raise SystemExit(f"the minimum read {len(arrived)} of {len(sent)} frames")
    return Row(
        "", 1e6 * (np.array(arrived) - sent)[board.readings], (time.process_time() - began_cpu) / (time.monotonic() - began)
    )


def recorded(board: Board, seconds: float, folder: Path, warn: Callable[[list[bytes]], None]) -> Row:
    """The recorder as `hotfuel record` runs it; `warn` receives its payloads."""
    arrived: dict[int, float] = {}

    own_s: list[float] = []

    def heard(payloads: list[bytes]) -> None:
        began = time.thread_time()
        warn(payloads)
        spent, now = time.thread_time() - began, time.monotonic()
        for payload in payloads:
            if payload[0] == TYPES["reading"]:
                arrived[codec.unpack(payload)[1]["tick"]] = now
                own_s.append(spent)

    troubles: list[str] = []
    with Link(board.device) as link, LogWriter(folder / "wire.log") as writer:
        recorder = Recorder(link, writer, heard=heard, say=troubles.append, folder=folder)
        began_cpu, began = time.process_time(), time.monotonic()
        recorder.run(seconds + LEAD_S + 0.5)
        share = (time.process_time() - began_cpu) / (time.monotonic() - began)
    sent = board.sent_s()[board.readings]
    if sorted(arrived) != list(range(len(sent))) or troubles:
        raise SystemExit(f"{len(arrived)} of {len(sent)} readings received; {troubles}")
    return Row("", 1e6 * (np.array([arrived[number] for number in range(len(sent))]) - sent), share, own_us=1e6 * np.array(own_s))


def measured(title: str, frames: list[Frame], seconds: float, alarm: bool | None, page: bool = False) -> Row:
    """One run. alarm: None for the floor."""
    with tempfile.TemporaryDirectory() as name, contextlib.ExitStack() as open_things:
        folder = session_folder.create(Path(name) / "drive", car_file.EXAMPLE).path
        (folder / "wire.log").touch()
        view = None
        if page:
            server = live_rig.Server(folder)
            open_things.callback(server.close)
            view = open_things.enter_context(live_rig.browser()).new_page(viewport={"width": 390, "height": 844})
            view.goto(server.url)
        said: list[str] = []
        warn = Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said.append).hear if alarm else lambda payloads: None
        board = open_things.enter_context(Board(frames))
        row = floor(board, seconds) if alarm is None else recorded(board, seconds, folder, warn)
        row.said = len(said)
        if alarm and not any("ACT" in sentence for sentence in said):
            raise SystemExit("the alarm did not report a pump far over its limit")
        if view is not None:  # it was open and showed this drive
            view.wait_for_selector("[data-place=pump]", timeout=20000)
    row.title = title
    return row


def main() -> None:
    seconds = max(10.0, float(sys.argv[1])) if len(sys.argv) > 1 else 15.0
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print(
        f"{'':62s} {'frames':>7s} {'p50 us':>8s} {'p99 us':>8s} {'max us':>8s} {'own p50':>8s} {'own p99':>8s} {'CPU %':>6s} {'alarms':>7s}"
    )
    for rate_hz in (10, 50):
        frames = drive(EIGHT, rate_hz, seconds)
        rows: list[tuple[str, bool | None, bool]] = [
            ("select + os.read, the minimum", None, False), ("recorder, frame in the log", False, False),
            ("recorder, reading evaluated by the alarm", True, False),
        ]  # fmt: skip
        if live_rig.missing():
            print(f"page open: not measured, {live_rig.missing()}")
        else:
            rows.append(("recorder, evaluated by the alarm, page open", True, True))
        for what, alarm, page in rows:
            title = f"8 channels x {rate_hz} Hz: {what}"
            tried = [measured(title, frames, seconds, alarm, page) for _ in range(runs)]
            print(min(tried, key=lambda row: float(np.percentile(row.latency_us, 99))), flush=True)


if __name__ == "__main__":
    main()

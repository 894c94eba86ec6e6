"""A simulated drive, the real recorder, and the page in its own process: the common base of the live page's tests and bench."""

import contextlib
import math
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from hotfuel import car as car_file
from hotfuel.link.receive import Link
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.session import folder as session_folder
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.feed import Senders

CHROMIUM = "/usr/bin/chromium"
BROWSER_OPTIONS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
SLOWEST_S = 90.0  # how long a busy machine may take; no result depends on it
_SERVE = (
    "import sys; from hotfuel.live.serve import serve; "
    "serve(sys.argv[1], address=sys.argv[2], units=sys.argv[3] or None, port=int(sys.argv[4]))"
)


def missing() -> str:
    """Why browser tests cannot run here; "" if they can."""
    if not (Path(CHROMIUM).exists() or shutil.which("chromium")):
        return f"no Chromium at {CHROMIUM}"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "playwright is not installed"
    return ""


@contextlib.contextmanager
def browser():
    """A headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        program = CHROMIUM if Path(CHROMIUM).exists() else shutil.which("chromium")
        started = playwright.chromium.launch(executable_path=program, args=BROWSER_OPTIONS)
        try:
            yield started
        finally:
            started.close()


class From:
    """A model's drive from `start_s` on; from `unhurried_s` after that, a second of it takes half of one at least."""

    def __init__(self, model: CarModel, start_s: float, unhurried_s: float = math.inf) -> None:
        self.model, self.start_s, self.unhurried_s = model, start_s, unhurried_s

    def blocks(self) -> Any:
        for block in self.model.blocks():
            if block.time_s[0] >= self.start_s:
                made = replace(block, time_s=block.time_s - self.start_s)
                if made.time_s[0] >= self.unhurried_s:
                    time.sleep((made.time_s[-1] - made.time_s[0]) / 2)
                yield made


class Server:
    """The page's process. `url` is its link."""

    def __init__(self, folder: Path, address: str = "127.0.0.1", units: str = "", port: int = 0) -> None:
        command = [sys.executable, "-c", _SERVE, str(folder), address, units, str(port)]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
        )
        assert self.process.stdout is not None
        self.said = self.process.stdout.readline()
        found = re.search(r"http://\S+", self.said)
        assert found, self.said + (self.process.stderr.read() if self.process.stderr else "")
        self.url = found.group()

    def kill(self) -> None:
        """Kill it, as a crash would."""
        self.process.kill()
        self.process.wait()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(5)
            except subprocess.TimeoutExpired:
                self.kill()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe:
                pipe.close()


@dataclass
class Drive:
    """Board, recorder and session folder; `truth` is the model's table, whose times are the board's plus `start_s`.

    unhurried_s: the board's time from which it goes at most twice as fast as the real one, for what a busy machine needs seconds to work out.
    """

    path: Path
    model: CarModel
    start_s: float = 0.0
    speed: float = 1.0
    unhurried_s: float = math.inf
    board: Any = None
    said: list[str] = field(default_factory=list)

    def __enter__(self) -> "Drive":
        car = car_file.load(car_file.EXAMPLE)
        self.folder = session_folder.create(self.path, car_file.EXAMPLE, {"title": "page on trial"}).path
        self.board = SimulatedBoard(From(self.model, self.start_s, self.unhurried_s), speed=self.speed, senders=Senders.of(car))
        self.board.__enter__()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._record, daemon=True)
        self._thread.start()
        return self

    def _record(self) -> None:
        with Link(self.board.device) as link, LogWriter(self.folder / "wire.log") as writer:
            Recorder(link, writer, folder=self.folder, say=self.said.append).run(None, self._stop.is_set)

    def truth(self, column: str) -> float:
        """The model's value at the board's present time."""
        table = self.model.truth
        return float(np.interp(self.start_s + self.board.time_s, table["time_s"], table[column]))

    def stop(self) -> None:
        """End the recording; the board keeps running."""
        self._stop.set()
        self._thread.join(SLOWEST_S)

    def __exit__(self, *_: object) -> None:
        self.stop()
        self.board.close()


def wait_for(what, timeout_s: float = SLOWEST_S, every_s: float = 0.05):
    """The first true value of what(); AssertionError when the time is up."""
    end = time.monotonic() + timeout_s
    while not (value := what()):
        assert time.monotonic() < end, f"waited {timeout_s} s without result"
        time.sleep(every_s)
    return value

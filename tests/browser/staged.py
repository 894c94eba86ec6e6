"""Recordings that stand in one state, and go on standing there in real time: what the page's screenshots and the tests of its states look at."""

import threading
import time
from pathlib import Path

from hotfuel import car as car_file
from hotfuel.log.append import LogWriter
from hotfuel.session import folder as session_folder
from hotfuel_wire.messages import NO_ANSWER

HISTORY_S = 320.0
NEEDED_S = 5.0  # what every scene holds at least before it counts
QUIET = (32.0, 45.0, 48.0)


def _act(t):
    return (32.0, 63.0 if t > -40 else 50.0, 50.0)


# name -> (seconds from now, negative before) -> (tank, pump, carb inlet); None for a place that gives no answer
SCENES = {
    "quiet": lambda t: QUIET,
    "ahead": lambda t: (32.0, min(52.0 + 3.0 * t / 60, 54.0), 48.0),
    "warn": lambda t: (32.0, 55.8 if t > -30 else 52.0, 48.0),
    "act": _act,
    "back": lambda t: (32.0, 60.0 if -90 < t < -26 else 49.0, 48.0),
    "percolation": lambda t: (30.0, 36.0, 47.0 + max(t + 200, 0) / 12),
    "lost": lambda t: (32.0, 45.0 if t < -30 else None, 48.0),
    "act and lost": lambda t: (32.0, None if t > -15 else 63.0 if t > -60 else 50.0, 50.0),
    "hot stop": lambda t: (33.0, 44.0 + max(t + 240, 0) / 13, 49.0 + max(t + 240, 0) / 18),
}
STOPPED = {"percolation": -200.0, "hot stop": -240.0}  # since when the engine stands
MANY = tuple(f"place_{number}" for number in range(4))  # more places than fit, for "many"


class Staged:
    """Context manager. `folder` is the session's. `stop()` ends the readings, `end()` the recording."""

    def __init__(self, path: Path, scene: str, car_text: str = car_file.EXAMPLE) -> None:
        import synthetic

        self.scene = scene
        self._made = synthetic.Recording()
        self._degc = SCENES.get(scene, SCENES["quiet"])
        self._stop = threading.Event()
        self.folder = session_folder.create(path, car_text, {"title": "Sunday at the pass"}).path
        self._pulses, self._number = 0.0, 0

    def __enter__(self) -> "Staged":
        self.writer = LogWriter(self.folder / "wire.log")
        self._wall = time.time() - HISTORY_S
        if self.scene == "waiting":
            self.writer.received(b"\0")
            self._thread = threading.Thread(target=self._stop.wait)
        else:
            self._made.anchor(0.0, self._wall)
            while self._number * 0.2 < HISTORY_S:
                self._tick()
            self._send()
            self._thread = threading.Thread(target=self._go_on, daemon=True)
        self._thread.start()
        return self

    def _tick(self) -> None:
        at = self._number * 0.2
        t = at - HISTORY_S
        running = not t > STOPPED.get(self.scene, 1e9)
        self._pulses += 850 / 60 * 4 * 0.2 if running else 0
        self._made.reading(at, [NO_ANSWER if value is None else value for value in self._degc(t)])
        if self._number % 5 == 0:
            gauge = 10 + 80 * 5.5 / 15 if running else 10.5
            self._made.auxiliary(at, self._pulses, fuel_pressure_percent=gauge, battery_v=13.8, ignition=running)
        if self._number % 50 == 0:
            self._made.anchor(at, self._wall + at)
        self._number += 1

    def _send(self) -> None:
        data, self._made.frames = self._made.data, []
        self.writer.received(data)

    def _go_on(self) -> None:
        while not self._stop.wait(0.1):
            while self._number * 0.2 < time.time() - self._wall:
                self._tick()
            self._send()

    def stop(self) -> None:
        """No more readings."""
        self._stop.set()
        self._thread.join()

    def end(self) -> None:
        """The recording is over."""
        self.stop()
        self.writer.close()

    def __exit__(self, *_: object) -> None:
        self.end()

"""Recordings held in one state in real time, for the page's screenshots and the tests of its states."""

import threading
import time
from pathlib import Path

import numpy as np
from hotfuel import car as car_file
from hotfuel.log.append import LogWriter
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.session import folder as session_folder
from hotfuel_wire.messages import HEALTH, NO_ANSWER

HISTORY_S = 320.0
NEEDED_S = 5.0  # the shortest history of every scene, s
QUIET = (32.0, 43.0, 48.0)


def _health(failed: int) -> dict[str, int]:
    """A health message that reports only what could not start."""
    return dict.fromkeys((row[0] for row in HEALTH), 0) | {"lamp": 8, "failed": failed}


# the example car's limit at the pump while it idles
_CAR = car_file.load(car_file.EXAMPLE)
LIMIT = float(margins(_CAR, _CAR.fuel(), {"pump": np.array([50.0])}, Conditions(running=1.0)).places["pump"].limit_degc[-1])


def _act(t):
    return (32.0, LIMIT + 7 if t > -40 else LIMIT - 7, 50.0)


# name -> (seconds from now, negative before) -> (tank, pump, carb inlet); None for a place that does not answer
SCENES = {
    "quiet": lambda t: QUIET,
    "ahead": lambda t: (32.0, min(LIMIT - 3.4 + 3.0 * t / 60, LIMIT - 3.2), 48.0),
    "warn": lambda t: (32.0, LIMIT - 0.6 if t > -30 else LIMIT - 5, 48.0),
    "act": _act,
    "back": lambda t: (32.0, LIMIT + 4 if -90 < t < -26 else LIMIT - 7, 48.0),
    "percolation": lambda t: (30.0, 36.0, 47.0 + max(t + 200, 0) / 12),
    "lost": lambda t: (32.0, 45.0 if t < -30 else None, 48.0),
    "act and lost": lambda t: (32.0, None if t > -15 else LIMIT + 7 if t > -60 else LIMIT - 7, 50.0),
    "many": lambda t: (
        32.0,
        LIMIT + 7 if t > -40 else LIMIT - 7,
        50.0,
        46.0,
        55.5 if t > -30 else 50.0,
        None if t > -20 else 40.0,
        44.0,
        38.0,
    ),
    "hot stop": lambda t: (33.0, 44.0 + max(t + 240, 0) / 13, 49.0 + max(t + 240, 0) / 18),
}
STOPPED = {"percolation": -200.0, "hot stop": -240.0}  # when the engine stopped
MORE = ("suction", "filter", "return_line", "bowl", "underhood")  # besides the example's three, for the scene "many"
_ROLES = ("suction", "line", "line", "bowl", "air")
_MANY = car_file.EXAMPLE + "".join(
    f'\n[[place]]\nname = "{name}"\nchannel = {3 + number}\nrole = "{role}"\n'
    for number, (name, role) in enumerate(zip(MORE, _ROLES, strict=True))
)
CARS = {
    "many": _MANY,
    "no limits": None,
    "low pressure": car_file.EXAMPLE.replace('"600 m"', '"4500 m"')
    .replace('# suction_idle = "1 inHg"', 'suction_idle = "8 inHg"')
    .replace('# suction_full = "3 inHg"', 'suction_full = "8 inHg"')
    .replace('acceleration = "0 g"', 'acceleration = "1.2 g"', 1),
}
FAILED = {"part failed": 3}  # health.failed of the board: limits and store


class Staged:
    """Context manager. `folder` is the session's. `stop()` ends the readings, `end()` the recording. still: no readings after the history."""

    def __init__(self, path: Path, scene: str, still: bool = False) -> None:
        import synthetic

        self.scene, self._still = scene, still
        self._step_s = 0.5 if still else 0.2
        self._made = synthetic.Recording(
            (*synthetic.DEFAULT_PLACES, *MORE) if scene == "many" else synthetic.DEFAULT_PLACES, round(1000 * self._step_s)
        )
        self._degc = SCENES.get(scene, SCENES["quiet"])
        self._stop = threading.Event()
        self.folder = session_folder.create(path, CARS.get(scene, car_file.EXAMPLE), {"title": "Sunday at the pass"}).path
        self._pulses, self._number = 0.0, 0

    def __enter__(self) -> "Staged":
        self.writer = LogWriter(self.folder / "wire.log")
        self._wall = time.time() - HISTORY_S
        if self.scene == "waiting":
            self.writer.received(b"\0")
        else:
            self._made.anchor(0.0, self._wall)
            while self._number * self._step_s < HISTORY_S:
                self._tick()
            self._send()
        wait = self._still or self.scene == "waiting"
        self._thread = threading.Thread(target=self._stop.wait if wait else self._go_on, daemon=True)
        self._thread.start()
        return self

    def _tick(self) -> None:
        at = self._number * self._step_s
        t = at - HISTORY_S
        running = not t > STOPPED.get(self.scene, 1e9)
        self._pulses += 850 / 60 * 4 * self._step_s if running else 0
        self._made.reading(at, [NO_ANSWER if value is None else value for value in self._degc(t)])
        if self._number % 5 == 0:
            gauge = 10 + 80 * 5.5 / 15 if running else 10.5
            self._made.auxiliary(at, self._pulses, fuel_pressure_percent=gauge, battery_v=13.8, ignition=running)
        if self._number % 50 == 0:
            self._made.anchor(at, self._wall + at)
            if self.scene in FAILED:
                self._made.add("health", at, **_health(FAILED[self.scene]))
        self._number += 1

    def _send(self) -> None:
        data, self._made.frames = self._made.data, []
        self.writer.received(data)

    def _go_on(self) -> None:
        while not self._stop.wait(0.1):
            while self._number * self._step_s < time.time() - self._wall:
                self._tick()
            self._send()

    def stop(self) -> None:
        """Send no more readings."""
        self._stop.set()
        self._thread.join()

    def end(self) -> None:
        """End the recording."""
        self.stop()
        self.writer.close()

    def __exit__(self, *_: object) -> None:
        self.end()

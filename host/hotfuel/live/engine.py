"""Whether the engine runs, in a log that grows: hotfuel.session.engine's answer over the last minutes; and the last full-throttle pull."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hotfuel.car import Car
from hotfuel.live.history import History
from hotfuel.risk.engine import engine_course
from hotfuel.session import engine
from hotfuel.session.pulls import AFTER_S, Extent, extent, sweeps

SPEED = "engine rpm"  # the history's name for it
KEPT_S = 180.0  # looked back on: a change of state is decided by seconds
_NAMES = ("engine_rpm", "fuel_pressure_kpa", "ignition")
_LOOK_EVERY_S = 2.0


class EngineNow:
    """Feed it every batch's inputs in order: `running` is 1, 0 or nan for each tick. Recomputed once a second, and when the ignition changes."""

    def __init__(self, car: Car) -> None:
        self._car = car
        self._kept: dict[str, np.ndarray] = {}
        self._answer = math.nan

    def running(self, seconds: np.ndarray, inputs: Mapping[str, np.ndarray]) -> np.ndarray:
        """seconds (n,): rising through all boots, behind those fed before, so that an engine runs on while a board starts again; inputs: engine_rpm,
        fuel_pressure_kpa, ignition, each (n,). Returns (n,)."""
        now = {"seconds": seconds, **{name: np.asarray(inputs[name], dtype=float) for name in _NAMES}}
        kept = self._kept
        joined = {name: np.concatenate((kept[name], values)) for name, values in now.items()} if kept else now
        recent = joined["seconds"] >= math.floor(seconds[-1]) - KEPT_S
        self._kept = {name: values[recent] for name, values in joined.items()}
        if kept and math.floor(kept["seconds"][-1]) == math.floor(seconds[-1]) and _same(kept, now):
            return np.full(len(seconds), self._answer)
        found = engine.running(joined, joined["seconds"], self._car, goes_on=True, last=len(seconds))
        self._answer = float(found[-1])
        return found


def _same(kept: Mapping[str, np.ndarray], now: Mapping[str, np.ndarray]) -> bool:
    """True if the ignition is unchanged and engine speed is known, or unknown, as before."""
    last = kept["ignition"][-1]
    known = np.isnan(kept["engine_rpm"][-1]) == np.isnan(now["engine_rpm"])
    return bool(known.all()) and bool(np.array_equal(now["ignition"], np.full(len(now["ignition"]), last), equal_nan=True))


@dataclass(frozen=True)
class PullNow:
    """The last full-throttle pull: axis second of its start, and what it did at the place nearest the carburettor that can be read."""

    at: float
    place: str
    extent: Extent


class LastPull:
    """Looks for pulls in the history every two seconds. `pull`: the last one that is over, None before."""

    def __init__(self, car: Car) -> None:
        self._idle_rpm = car.engine.idle_speed_rpm
        self._places = [place.name for place in car.places if place.kind.has_limit]
        self._looked_at = -math.inf
        self.pull: PullNow | None = None

    def look(self, history: History, at: float) -> None:
        """at: the last reading's axis second."""
        if at - self._looked_at < _LOOK_EVERY_S:
            return
        self._looked_at = at
        seconds, rpm = history.column(SPEED)
        if not np.isfinite(rpm).any() or np.nanmax(rpm) < 4 * self._idle_rpm:
            return
        rows = np.floor(seconds - seconds[0]).astype(int)
        by_second = np.full(rows[-1] + 1, np.nan)
        by_second[rows] = rpm
        course = engine_course(by_second, np.full(len(by_second), np.nan), self._idle_rpm)
        over = [(first, last) for first, last in sweeps(course.rpm, course.idle_rpm) if last + AFTER_S < len(by_second)]
        if not over:
            return
        start, end = (float(seconds[0] + row) for row in (over[-1][0], over[-1][1] + 1))
        if self.pull is not None and start <= self.pull.at + AFTER_S:
            return
        for place in reversed(self._places):
            times, degc = history.column(place)
            found = extent(times, degc, start, end)
            if math.isfinite(found.start_degc):
                self.pull = PullNow(start, place, found)
                return

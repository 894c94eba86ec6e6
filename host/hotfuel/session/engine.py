"""The engine's course over a recording: hotfuel.risk.engine on the one-second grid that study uses too, mapped back to the readings."""

from typing import Any, Protocol

import numpy as np

from hotfuel.car import Car
from hotfuel.risk.engine import STOP_S, EngineCourse, engine_course
from hotfuel.risk.pressure import Conditions, running_state
from hotfuel.session.means import Rows

LONGEST_S = 14 * 86400.0  # a longer recording has a clock that was set


class Columns(Protocol):
    """Columns by name, arrays (n,): a mapping or a DataFrame."""

    def __getitem__(self, name: str, /) -> Any: ...


def running(columns: Columns, seconds: np.ndarray, car: Car, *, goes_on: bool = False, last: int | None = None) -> np.ndarray:
    """1 running, 0 standing, nan unknown, per reading (n,): by the engine's course where its speed is measured, bridging holes up to STOP_S; elsewhere
    by risk.pressure.running_state. columns, a table or a dict: engine_rpm, fuel_pressure_kpa, ignition, each (n,); seconds (n,): rising.

    goes_on: the recording continues, so fewer than STOP_S silent seconds at its end are not a stop yet, unless the ignition is off.
    last: only of so many readings at its end, (last,); None: of all.
    """
    wanted = slice(None if last is None else len(seconds) - last, None)
    rpm, ignition = (np.asarray(columns[name], dtype=float) for name in ("engine_rpm", "ignition"))
    given = {"engine_rpm": rpm, "fuel_pressure_kpa": np.asarray(columns["fuel_pressure_kpa"], dtype=float), "ignition": ignition}
    known_inputs = {name: values[wanted] for name, values in given.items() if np.isfinite(values[wanted]).any()}
    at_s = seconds[wanted]
    stated = np.broadcast_to(running_state(car, Conditions(**known_inputs)), at_s.shape)
    course = of_recording(columns, seconds, car)
    if course is None:
        return stated
    on = _still(course.running, ignition[-1]) if goes_on else course.running
    known = np.flatnonzero(np.isfinite(rpm))  # before the first of them no pulse had come yet: not a gap
    rows = np.arange(len(seconds))[wanted]
    after = np.minimum(np.searchsorted(known, rows), len(known) - 1)
    before = np.maximum(after - 1, 0)
    hole_s = np.minimum(np.abs(at_s - seconds[known[after]]), np.abs(at_s - seconds[known[before]]))
    measured = np.isfinite(rpm[wanted]) | (np.isnan(stated) & (hole_s < STOP_S) & (rows >= known[0]))
    return np.where(measured, on[_rows(seconds)[wanted]].astype(float), stated)


def _still(running: np.ndarray, ignition: float) -> np.ndarray:
    """Running, second by second (n,); short silence at its end counts as running, because pulses may still follow."""
    on = np.flatnonzero(running)
    silent = len(running) - 1 - int(on[-1]) if on.size else 0
    if not 0 < silent < STOP_S or ignition == 0:
        return running
    return np.concatenate((running[:-silent], np.ones(silent, bool)))


def of_recording(columns: Columns, seconds: np.ndarray, car: Car) -> EngineCourse | None:
    """The course by the second, None if engine speed is never known or the recording longer than LONGEST_S; arguments as in `running`."""
    rpm = np.asarray(columns["engine_rpm"], dtype=float)
    if not np.isfinite(rpm).any() or seconds[-1] - seconds[0] > LONGEST_S:
        return None
    of = _rows(seconds)
    rows = Rows(of, int(of[-1]) + 1)
    ignition = rows.largest(np.asarray(columns["ignition"], dtype=float))
    return engine_course(rows.mean(rpm), ignition, car.engine.idle_speed_rpm, car.engine.pulses_per_revolution)


def _rows(seconds: np.ndarray) -> np.ndarray:
    answer: np.ndarray = np.floor(seconds - seconds[0]).astype(int)
    return answer

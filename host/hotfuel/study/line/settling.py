"""After a switch during a drive a place keeps some of the earlier state for a while: how long, and how much of each stretch is left out for it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise

import numpy as np

from hotfuel.study.drive.course import Course
from hotfuel.study.line import transport
from hotfuel.study.line.plug_flow import lagged

LAGS = 3.0  # after three time constants a twentieth of the change remains
LEAST_LEFT_S = 60.0
NOTICED_DEGC, NOTICED_SHARE = 0.5, 0.5  # a smaller change, or one that explains less of the movement, gives no time constant
_SHORTEST_LAG_S, _GRID = 2.0, 60
_MOST_DRIFT = 3  # degree of the polynomial for the drift
_STEP = 5  # seconds to a mean


@dataclass(frozen=True)
class Settling:
    """One place of a session that was cut at its marks. left_out_s: after each switch; lag_s: the time constant with which the place followed the
    switches, nan where it changed too little; left_s: what remains of the shortest stretch."""

    session: str
    place: str
    left_out_s: float
    lag_s: float
    left_s: float

    @property
    def usable(self) -> bool:
        """Whether enough remains of every stretch."""
        return self.left_s >= LEAST_LEFT_S

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return asdict(self) | {"usable": self.usable}


def settlings(course: Course, switches: Sequence[tuple[float, str]], end_s: float) -> list[Settling]:
    """One for each fuel place of a whole session up to end_s. switches: (second, name of the state from then on)."""
    edges = [*(second for second, _ in switches), end_s]
    shortest = min(b - a for a, b in pairwise(edges))
    found = []
    for place in course.fuel_places:
        lag = _lag_s(course, place, switches, end_s)
        out = max(LAGS * lag if np.isfinite(lag) else 0.0, _flushed_s(course, place))
        found.append(Settling(course.name, place, float(np.ceil(out)), lag, float(shortest - np.ceil(out))))
    return found


def _flushed_s(course: Course, place: str) -> float:
    """Seconds for three lags of the probe and one volume of the line before it."""
    if course.car is None:
        return 0.0
    one = course.car.place(place)
    flows = transport.flow_of(course).litres_h
    flowing = flows[np.isfinite(flows) & (flows > 0)]
    litres_h = float(np.median(flowing)) if flowing.size else course.car.engine.idle_flow_l_h
    filling = (one.volume_from_previous_l or 0.0) / litres_h * 3600 if litres_h > 0 else 0.0
    return float(LAGS * one.probe.lag_s + filling)


def _lag_s(course: Course, place: str, switches: Sequence[tuple[float, str]], end_s: float) -> float:
    """Time constant with which the place followed the switches: a first-order response to them and a smooth drift, by least squares; nan where unclear."""
    first = switches[0][0]
    rows = (course.time_s >= first) & (course.time_s < end_s)
    time_s, degc = (_means(values[rows]) for values in (course.time_s, course.degc[place]))
    holds = np.array([name for _, name in switches])[
        np.clip(np.searchsorted([second for second, _ in switches], time_s, side="right") - 1, 0, None)
    ]
    states = np.column_stack([(holds == name).astype(float) for name in sorted(set(holds))[1:]] or [np.zeros(len(time_s))])
    good = np.isfinite(degc)
    if good.sum() < 20 or not states.any():
        return np.nan
    span = np.linspace(-1, 1, len(time_s))
    drift = np.vander(span, min(_MOST_DRIFT, len(switches) - 1) + 1)
    longest = max(b - a for a, b in pairwise([*(second for second, _ in switches), end_s]))
    alone = _misfit(drift[good], degc[good])[0]
    best = (np.inf, np.nan, 0.0)
    for lag in np.geomspace(_SHORTEST_LAG_S, max(longest, 2 * _SHORTEST_LAG_S), _GRID):
        answer = np.column_stack([lagged(time_s, column, lag) for column in states.T])
        misfit, solution = _misfit(np.column_stack([answer, drift])[good], degc[good])
        if misfit < best[0]:
            best = (misfit, float(lag), float(np.abs(solution[: states.shape[1]]).max()))
    return best[1] if best[2] >= NOTICED_DEGC and best[0] <= (1 - NOTICED_SHARE) * alone else np.nan


def _misfit(design: np.ndarray, degc: np.ndarray) -> tuple[float, np.ndarray]:
    """(residual sum of squares, coefficients)."""
    solution = np.linalg.lstsq(design, degc, rcond=None)[0]
    return float(np.sum((degc - design @ solution) ** 2)), solution


def _means(values: np.ndarray) -> np.ndarray:
    whole = values[: len(values) // _STEP * _STEP].reshape(-1, _STEP)
    known = np.isfinite(whole)
    with np.errstate(invalid="ignore"):
        return np.where(known.any(axis=1), np.where(known, whole, 0.0).sum(axis=1) / known.sum(axis=1), np.nan)

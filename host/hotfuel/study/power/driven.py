"""In which order pulls were driven, and what that order allows: a warming engine looks like a gain, a cooling one like a loss."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import intervals
from hotfuel.study.evidence.order import is_balanced, is_one_after_the_other
from hotfuel.study.power.pulls import Pull

DRIFT_FROM_PULLS = 6  # both sides together; three degrees of freedom then remain
_LEVEL_PLACES = (
    1e-9  # sides whose mean places in the order are equal: a straight drift drops out of the difference without being fitted
)

FITTED, LEVEL, AFTER, LOPSIDED, UNKNOWN = "drift fitted", "level", "one after the other", "lopsided", "unknown"
PAUSED = "paused"  # balanced, but for a longer pause at a place where the pulls cannot tell it from the change
ALLOWS_VERDICT = (FITTED, LEVEL)


@dataclass(frozen=True)
class Order:
    """Two sides' order: its kind (one of the words above), and the trend from pull to pull within the sides, % a pull with its 95 % half-width."""

    kind: str
    trend_percent: float = np.nan
    trend_half_percent: float = np.nan


def places(groups: Mapping[str, Sequence[Pull]], order: Sequence[str] | None) -> dict[str, np.ndarray]:
    """{variant: place in the order of each of its pulls}, by `order` (names), else by the running numbers in the pulls' names; empty if unknown.

    Raises InputError where `order` does not name every pull once.
    """
    names = [pull.name for pulls in groups.values() for pull in pulls]
    if order is None:
        return _by_number(groups)
    if sorted(order) != sorted(names) or len(set(names)) != len(names):
        raise InputError(f"the order must name every pull once: the pulls are {', '.join(names)}")
    return {name: np.array([order.index(pull.name) for pull in pulls], dtype=float) for name, pulls in groups.items()}


def _by_number(groups: Mapping[str, Sequence[Pull]]) -> dict[str, np.ndarray]:
    """Places by the last number in each name, where every pull has its own: run 3, run 4 ... of one day's sheet. A number that comes twice counts a side."""
    found = {name: [re.findall(r"\d+", pull.name) for pull in pulls] for name, pulls in groups.items()}
    numbers = {name: [int(each[-1]) if each else -1 for each in texts] for name, texts in found.items()}
    every = [number for each in numbers.values() for number in each]
    if min(every) < 0 or len(set(every)) < len(every):
        return {}
    ranks = {number: float(rank) for rank, number in enumerate(sorted(every))}
    return {name: np.array([ranks[number] for number in each]) for name, each in numbers.items()}


def judged(base_at: np.ndarray | None, at: np.ndarray | None, base_values: np.ndarray, values: np.ndarray) -> Order:
    """What the order of two sides allows; places (n,) and (m,), values in per cent."""
    if base_at is None or at is None:
        return Order(UNKNOWN)
    place = np.concatenate([base_at, at])
    place = np.argsort(np.argsort(place)).astype(float)  # among these two sides alone
    side = np.repeat([False, True], [len(base_at), len(at)])
    turn = side[np.argsort(place)].tolist()
    trend = _trend(place, side, np.concatenate([base_values, values]))
    if is_one_after_the_other(turn) and len(turn) > 2:
        return Order(AFTER, *trend)
    if len(turn) >= DRIFT_FROM_PULLS and is_balanced(turn):
        return Order(FITTED, *trend)
    if abs(place[side].mean() - place[~side].mean()) <= _LEVEL_PLACES:
        return Order(LEVEL, *trend)
    return Order(LOPSIDED, *trend)


def _trend(place: np.ndarray, side: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """(slope per pull within the sides, its 95 % half-width); nan where too few pulls show one."""
    x, y = place.copy(), values.copy()
    for rows in (side, ~side):
        x[rows] -= x[rows].mean()
        y[rows] -= y[rows].mean()
    freedom = len(y) - 3
    if freedom < 1 or not (x @ x) > 0:
        return np.nan, np.nan
    slope = float(x @ y / (x @ x))
    residual = y - slope * x
    error = float(np.sqrt(residual @ residual / freedom / (x @ x)))
    one = intervals.Estimate(slope, error, freedom, error, len(y), len(y), "")
    return slope, one.half_width() if error > 0 else 0.0

"""In which order pulls were driven, and what that order allows: a warming engine looks like a gain, a cooling one like a loss."""

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import intervals
from hotfuel.study.evidence.order import is_balanced, is_one_after_the_other
from hotfuel.study.power.pulls import Pull

DRIFT_FROM_PULLS = 6  # both sides together; three degrees of freedom then remain
_LEVEL_TURNS = 1e-9  # sides whose mean turns are equal: a straight drift cancels in the difference without being fitted

FITTED, LEVEL, AFTER, LOPSIDED, UNKNOWN = "drift fitted", "level", "one after the other", "lopsided", "unknown"
PAUSED = "paused"  # balanced, except for a longer pause whose effect the pulls cannot tell from the change
ALLOWS_VERDICT = (FITTED, LEVEL)

# What tells the order.
BY_ORDER_GIVEN, BY_TIMES, BY_TIMES_AND_POSITIONS = "order given", "times", "times and positions"
BY_RUNNING_NUMBERS, BY_POSITIONS, BY_NAMES, NOT_KNOWN = "running numbers", "positions in the file", "numbers in the names", ""


@dataclass(frozen=True)
class Order:
    """The order of two sides: its kind (one of the words above), and the trend from pull to pull within the sides, % a pull with its 95 % half-width."""

    kind: str
    trend_percent: float = np.nan
    trend_half_percent: float = np.nan


@dataclass(frozen=True)
class Driven:
    """The order all pulls were driven in: {variant: turn of each of its pulls, from 0} (empty: unknown), what tells it (BY_...), and the turns before which
    the engine stood longer than between the others."""

    turns: dict[str, np.ndarray]
    by: str
    pauses: tuple[float, ...] = ()


def in_order(groups: Mapping[str, Sequence[Pull]], order: Sequence[str] | None) -> Driven:
    """The order by `order` (names of all pulls), else by the times in the files, by running numbers, by their positions in the one file, by their names.

    Raises InputError where `order` does not name every pull once.
    """
    every = [pull for pulls in groups.values() for pull in pulls]
    names = [pull.name for pull in every]
    if order is not None:
        if sorted(order) != sorted(names) or len(set(names)) != len(names):
            raise InputError(f"the order must name every pull once (--order): the pulls are {', '.join(names)}")
        return Driven(_ranked(groups, [order.index(name) for name in names]), BY_ORDER_GIVEN)
    times = [pull.facts.driven_at.timestamp() for pull in every if pull.facts.driven_at is not None]
    if len(set(times)) == len(every):
        return Driven(_ranked(groups, times), BY_TIMES, _pauses(np.sort(times)))
    if len(times) == len(every) and _one_file_a_time(every):
        keys = [(time, pull.position) for time, pull in zip(times, every, strict=True)]
        return Driven(_ranked(groups, keys), BY_TIMES_AND_POSITIONS)
    numbers = [pull.number for pull in every if pull.number is not None]
    if len(set(numbers)) == len(every):
        return Driven(_ranked(groups, numbers), BY_RUNNING_NUMBERS)
    if every and every[0].file and len({pull.file for pull in every}) == 1:
        return Driven(_ranked(groups, [pull.position for pull in every]), BY_POSITIONS)
    named = _numbers_in(names)
    return Driven(_ranked(groups, named), BY_NAMES) if named else Driven({}, NOT_KNOWN)


def _one_file_a_time(pulls: Sequence[Pull]) -> bool:
    """Whether pulls with the same time come from the same file, so that their positions in it tell their order."""
    files: dict[datetime.datetime | None, set[str]] = {}
    for pull in pulls:
        files.setdefault(pull.facts.driven_at, set()).add(pull.file)
    return all(len(each) == 1 and "" not in each for each in files.values())


def _ranked(groups: Mapping[str, Sequence[Pull]], keys: Sequence[float] | Sequence[tuple[float, ...]]) -> dict[str, np.ndarray]:
    """{variant: ranks of its pulls} by one key a pull, given in the groups' order."""
    ranks = iter(np.argsort(sorted(range(len(keys)), key=lambda i: keys[i])).astype(float))
    return {name: np.array([next(ranks) for _ in pulls]) for name, pulls in groups.items()}


def _numbers_in(names: Sequence[str]) -> list[tuple[int, ...]]:
    """A key for each name: all its numbers where the names differ in nothing else, else its last number; empty where two are the same or one has none."""
    found = [tuple(map(int, re.findall(r"\d+", name))) for name in names]
    if len({re.sub(r"\d+", "#", name) for name in names}) > 1:
        found = [numbers[-1:] for numbers in found]
    return found if all(found) and len(set(found)) == len(found) else []


def _pauses(times_s: np.ndarray) -> tuple[float, ...]:
    """Turns before which the gap is more than 2.5 times the usual one, and more than five minutes longer (common practice, no source)."""
    gaps = np.diff(times_s)
    if len(gaps) < 3:
        return ()
    usual = float(np.median(gaps))
    return tuple(float(i + 1) for i in np.flatnonzero((gaps > 2.5 * usual) & (gaps > usual + 300)))


def judged(base_at: np.ndarray | None, at: np.ndarray | None, base_values: np.ndarray, values: np.ndarray) -> Order:
    """What the order of two sides allows; turns (n,) and (m,), values in per cent."""
    if base_at is None or at is None:
        return Order(UNKNOWN)
    turn = np.concatenate([base_at, at])
    turn = np.argsort(np.argsort(turn)).astype(float)  # among these two sides alone
    side = np.repeat([False, True], [len(base_at), len(at)])
    sides_in_turn = side[np.argsort(turn)].tolist()
    trend = _trend(turn, side, np.concatenate([base_values, values]))
    if is_one_after_the_other(sides_in_turn) and len(sides_in_turn) > 2:
        return Order(AFTER, *trend)
    if len(sides_in_turn) >= DRIFT_FROM_PULLS and is_balanced(sides_in_turn):
        return Order(FITTED, *trend)
    if abs(turn[side].mean() - turn[~side].mean()) <= _LEVEL_TURNS:
        return Order(LEVEL, *trend)
    return Order(LOPSIDED, *trend)


def _trend(turn: np.ndarray, side: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """(slope per pull within the sides, its 95 % half-width); nan with too few pulls to show one."""
    x, y = turn.copy(), values.copy()
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

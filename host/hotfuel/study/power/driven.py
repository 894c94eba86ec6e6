"""In which order pulls were driven, and what that order allows: a warming engine looks like a gain, a cooling one like a loss."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True)
class Driven:
    """The order all pulls were driven in: {variant: place of each of its pulls} (empty: unknown), by what it is known, and the places before which the
    engine stood longer than between the others."""

    places: dict[str, np.ndarray]
    by: str
    pauses: tuple[float, ...] = ()


def in_order(groups: Mapping[str, Sequence[Pull]], order: Sequence[str] | None) -> Driven:
    """The order by `order` (names of all pulls), else by the times in the files, else by running numbers, else by their place in the one file.

    Raises InputError where `order` does not name every pull once.
    """
    every = [pull for pulls in groups.values() for pull in pulls]
    names = [pull.name for pull in every]
    if order is not None:
        if sorted(order) != sorted(names) or len(set(names)) != len(names):
            raise InputError(f"the order must name every pull once (--order): the pulls are {', '.join(names)}")
        return Driven(_ranked(groups, [order.index(name) for name in names]), "the order given")
    times = [pull.facts.driven_at.timestamp() for pull in every if pull.facts.driven_at is not None]
    if len(set(times)) == len(every):
        return Driven(_ranked(groups, times), "the times in the files", _pauses(np.sort(times)))
    if len(times) == len(every) and _one_file_a_time(every):
        keys = [(time, pull.position) for time, pull in zip(times, every, strict=True)]
        return Driven(_ranked(groups, keys), "the times in the files and the places in them")
    numbers = [pull.number for pull in every if pull.number is not None]
    if len(set(numbers)) == len(every):
        return Driven(_ranked(groups, numbers), "the running numbers in the files")
    if every and every[0].file and len({pull.file for pull in every}) == 1:
        return Driven(_ranked(groups, [pull.position for pull in every]), "their places in the file")
    named = _numbers_in(names)
    return Driven(_ranked(groups, named), "the numbers in the names") if named else Driven({}, "")


def _one_file_a_time(pulls: Sequence[Pull]) -> bool:
    """Whether pulls with the same time stand in the same file, so that their places in it tell their order."""
    files: dict[Any, set[str]] = {}
    for pull in pulls:
        files.setdefault(pull.facts.driven_at, set()).add(pull.file)
    return all(len(each) == 1 and "" not in each for each in files.values())


def _ranked(groups: Mapping[str, Sequence[Pull]], keys: Sequence[Any]) -> dict[str, np.ndarray]:
    """{variant: ranks of its pulls} by one key a pull, given in the groups' order."""
    ranks = iter(np.argsort(sorted(range(len(keys)), key=lambda i: keys[i])).astype(float))
    return {name: np.array([next(ranks) for _ in pulls]) for name, pulls in groups.items()}


def _numbers_in(names: Sequence[str]) -> list[tuple[int, ...]]:
    """A key for each name: all its numbers where the names are alike but for them, else its last; empty where two have the same or one has none."""
    found = [tuple(map(int, re.findall(r"\d+", name))) for name in names]
    if len({re.sub(r"\d+", "#", name) for name in names}) > 1:
        found = [numbers[-1:] for numbers in found]
    return found if all(found) and len(set(found)) == len(found) else []


def _pauses(times_s: np.ndarray) -> tuple[float, ...]:
    """Places before which the gap is more than 2.5 times the usual one, and more than five minutes longer (common practice, no source)."""
    gaps = np.diff(times_s)
    if len(gaps) < 3:
        return ()
    usual = float(np.median(gaps))
    return tuple(float(i + 1) for i in np.flatnonzero((gaps > 2.5 * usual) & (gaps > usual + 300)))


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

"""Runs that are not evidence: a fault, defined before the answer is seen, excludes a run where it touches it and is reported; an outlying value never does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hotfuel.places import probe_of

if TYPE_CHECKING:
    from hotfuel.study.fixes.summaries import Cell, Run

PARKED, DEAD, CUT, SWAPPED, NO_LAP = "parked", "dead channel", "cut short", "swapped probes", "no single lap"
CUT_SHARE = 0.5  # of the length of the other runs: a shorter run was broken off
SWAPPED_DEGC = 2.0  # the tank is hotter, or colder, by more than this in every run
DISAGREE_DEGC = 2.5  # tolerance of a class 2 type K thermocouple near room temperature (IEC 60584-1)
_OUTLYING_P = 0.01  # of all runs of a comparison together
_LEAST_OUTLYING_RUNS = 5


@dataclass(frozen=True)
class Fault:
    """What is wrong with one run: the kind (above), and the places and phases it touches, all where empty. own_side: seen against its own side only."""

    kind: str
    places: tuple[str, ...] = ()
    phases: tuple[str, ...] = ()
    own_side: bool = False

    def touches(self, cell: "Cell") -> bool:
        """Whether this run is no evidence on that question."""
        place = probe_of(cell.place)
        return (not self.places or place in self.places) and (not self.phases or cell.phase in self.phases)


def excused(run: "Run", cell: "Cell") -> bool:
    """Whether a fault takes this run out of that question."""
    return any(fault.touches(cell) for fault in run.faults)


def swapped(running: Mapping[str, Sequence[float]], number: Mapping[str, Sequence[int]]) -> list[int]:
    """Runs whose tank and last place look exchanged, from {variant: tank minus last place while running, degC, a run each} and their numbers.

    Every other run of its own side and every run of the others must show the opposite, each by SWAPPED_DEGC, and there must be three of them at least:
    an ice can really makes the last place colder, in all runs of its side.
    """
    every = [(i, value) for name, values in running.items() for i, value in zip(number[name], values, strict=True)]
    found = []
    for i, value in every:
        others = [other for j, other in every if j != i]
        if len(others) >= 3 and abs(value) > SWAPPED_DEGC and all(-other * np.sign(value) > SWAPPED_DEGC for other in others):
            found.append(i)
    return found


def exchanged(levels: Mapping[str, Sequence[tuple[float, float]]], number: Mapping[str, Sequence[int]]) -> list[int]:
    """Runs whose tank reads like the last place in the other runs of their side, and the last place like the tank; arguments as `swapped`.

    levels: {variant: (tank, last place) while running, degC, a run each}. This finds a swap on the side of an ice can, whose last place really is the
    colder one; a run in which the fix was forgotten changes the last place and leaves the tank as it was.
    """
    found = []
    for name, pairs in levels.items():
        for i, (tank, last) in enumerate(pairs):
            others = np.array([pair for j, pair in enumerate(pairs) if j != i])
            if len(others) < 2:
                continue
            sign = np.sign(tank - last)
            if abs(tank - last) <= SWAPPED_DEGC or not ((others[:, 1] - others[:, 0]) * sign > SWAPPED_DEGC).all():
                continue
            usual_tank, usual_last = np.median(others, axis=0)
            if abs(tank - usual_last) < abs(tank - usual_tank) and abs(last - usual_tank) < abs(last - usual_last):
                found.append(number[name][i])
    return found


def outlying(runs: Sequence["Run"], cell: "Cell") -> list["Run"]:
    """Runs that lie apart from their own side at that question, by the deletion residual's t with its p shared among all runs (Bonferroni).

    Needs at least five runs in all; at most one run a side is looked at, the furthest.
    """
    sides = {name: [run for run in runs if run.variant == name] for name in dict.fromkeys(run.variant for run in runs)}
    usable = {name: side for name, side in sides.items() if len(side) > 2}
    count = sum(map(len, sides.values()))
    freedom = count - len(sides)
    if count < _LEAST_OUTLYING_RUNS or freedom < 3:
        return []
    values = {name: np.array([run.values[cell] for run in side]) for name, side in sides.items()}
    squares = sum(float(((v - v.mean()) ** 2).sum()) for v in values.values())
    found = []
    for name, side in usable.items():
        n = len(side)
        away = values[name] - values[name].mean()
        i = int(np.argmax(np.abs(away)))
        left = (squares - away[i] ** 2 * n / (n - 1)) / (freedom - 1)
        if left <= 0:
            continue
        t = abs(away[i]) / np.sqrt(left * (n - 1) / n)
        if 2 * special.stdtr(freedom - 1, -t) < _OUTLYING_P / count:
            found.append(side[i])
    return found

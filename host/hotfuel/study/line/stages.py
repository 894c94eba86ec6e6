"""A drive by phase: how hot each place is while idling, driving, at full throttle and after the stop, with and without a change."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hotfuel.study.line.draws import COVERED, Interval
from hotfuel.study.line.grid import STEP_S, Grid
from hotfuel.study.line.heat import DRIVING, LEAST_S, PULLING, STANDING_STILL, STOPPED


@dataclass(frozen=True)
class Stage:
    """One place in one phase, degC: its mean, after the stop its maximum. seconds: of the phase, of all stops together. told: with the change."""

    place: str
    phase: str
    seconds: float
    before_degc: float
    told: Interval


def rows(grid: Grid) -> dict[str, np.ndarray]:
    """Rows of the grid by phase, of phases that last LEAST_S."""
    found = {STANDING_STILL: grid.idle, DRIVING: grid.on & ~grid.idle, PULLING: grid.pull, STOPPED: grid.soak}
    return {phase: where for phase, where in found.items() if where.sum() * STEP_S >= LEAST_S}


def value(phase: str, degc: np.ndarray, where: np.ndarray) -> np.ndarray:
    """The mean of temperatures (..., m) in a phase's rows (m,), after a stop their maximum."""
    return np.asarray(degc[..., where].max(axis=-1) if phase == STOPPED else degc[..., where].mean(axis=-1))


def stages(grid: Grid, degc: Mapping[str, np.ndarray]) -> tuple[Stage, ...]:
    """One for each place along the line and phase. degc: with the change, (DRAWS, m) by place."""
    found = []
    for phase, where in rows(grid).items():
        for place in grid.chain:
            seen = where & grid.rows_of(place)
            if seen.any():
                was = float(value(phase, grid.degc[place], seen))
                least, middle, greatest = (float(x) for x in np.quantile(value(phase, degc[place], seen), COVERED))
                told = Interval(least, middle, greatest)
                found.append(Stage(place, phase, float(where.sum()) * STEP_S, was, told))
    return tuple(found)

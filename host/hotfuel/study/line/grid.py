"""A drive sampled every five seconds for forecasts: ten-second means with gaps filled, and what the engine did."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hotfuel.places import probe_of
from hotfuel.session.means import smoothed
from hotfuel.stretches import stretches
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import IDLE, PULL, SOAK, fired, kinds_per_second
from hotfuel.study.line import transport
from hotfuel.study.line.draws import COVERED

STEP = 5  # rows of a course, of one second each
STEP_S = float(STEP)


@dataclass(frozen=True)
class Grid:
    """Arrays (m,) every STEP_S. degc: ten-second means by place, gaps filled, only of places with readings; known: where there was a reading.

    litres_h: through the line while the engine runs, return included, nan where unknown; flow_u: its relative standard uncertainty.
    """

    course: Course
    time_s: np.ndarray
    on: np.ndarray
    idle: np.ndarray
    pull: np.ndarray
    soak: np.ndarray
    litres_h: np.ndarray
    flow_u: float
    degc: dict[str, np.ndarray]
    known: dict[str, np.ndarray]

    @classmethod
    def of(cls, course: Course, places: list[str]) -> "Grid":
        """The grid of a course, for the places of these names."""
        kinds = kinds_per_second(course)[0]
        on = fired(course)
        flow = transport.flow_of(course)
        litres = np.broadcast_to(flow.litres_h, course.time_s.shape)
        degc, known = {}, {}
        for place in (p for p in course.degc if p in places):
            mean = sampled(course, course.degc[place])
            good = np.isfinite(mean)
            if good.any():
                rows = np.arange(len(mean))
                degc[place], known[place] = np.interp(rows, rows[good], mean[good]), good
        return cls(
            course,
            course.time_s[::STEP],
            on[::STEP],
            (kinds == IDLE)[::STEP] & on[::STEP],
            (kinds == PULL)[::STEP] & on[::STEP],
            (kinds == SOAK)[::STEP],
            np.where(on, litres, 0.0)[::STEP],
            flow.relative_u if np.isfinite(flow.relative_u) else 0.0,
            degc,
            known,
        )

    @property
    def chain(self) -> tuple[str, ...]:
        """Fuel places with readings, in the direction of flow."""
        return tuple(p for p in self.course.fuel_places if p in self.degc)

    def before(self, place: str) -> str | None:
        """The place upstream in the chain, None for the first."""
        at = self.chain.index(place)
        return self.chain[at - 1] if at else None

    @property
    def flow_known(self) -> bool:
        """Whether the flow is known wherever the engine runs."""
        return bool(self.on.any() and np.isfinite(self.litres_h[self.on]).all() and (self.litres_h[self.on] > 0).all())

    def standing(self) -> list[tuple[int, int]]:
        """[(first row, one past the last)] of each stretch in which no fuel flows."""
        return stretches(~self.on)

    def starts(self, seconds: float) -> list[tuple[int, slice]]:
        """(first row after it, the rows of the given seconds from there) of each start after fuel stood, where the stop is in the session too."""
        count = len(self.on)
        return [
            (end, slice(end, min(end + int(seconds / STEP_S), count))) for first, end in self.standing() if first and end < count
        ]

    def rows_of(self, place: str) -> np.ndarray:
        """Where the place was read, (m,)."""
        return self.known[probe_of(place)]


@dataclass(frozen=True, eq=False)
class Curve:
    """A place over the drive, arrays (m,): before; with the change the median and the 95 % band; the limit with the change, nan without one."""

    time_s: np.ndarray
    before_degc: np.ndarray
    least_degc: np.ndarray
    middle_degc: np.ndarray
    greatest_degc: np.ndarray
    limit_degc: np.ndarray


def curves(grid: Grid, degc: Mapping[str, np.ndarray], margin: Mapping[str, np.ndarray]) -> dict[str, Curve]:
    """One for each place along the line. degc, margin: with the change, (DRAWS, m) by place."""
    found = {}
    for place in grid.chain:
        least, middle, greatest = np.quantile(degc[place], COVERED, axis=0)
        limit = np.median(margin[place] + degc[place], axis=0) if place in margin else np.full_like(middle, np.nan)
        found[place] = Curve(grid.time_s, grid.degc[place], least, middle, greatest, limit)
    return found


def sampled(course: Course, values: np.ndarray) -> np.ndarray:
    """Ten-second means of a course's values (n,) on the grid, (m,)."""
    return smoothed(course.time_s, np.broadcast_to(values, course.time_s.shape))[::STEP]

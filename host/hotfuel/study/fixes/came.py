"""A forecast compared with what came: the session it was made from and one with the fix, at like conditions, and how large the fix turned out.

Both drives are cut into phases; the second one's temperatures are brought to the first one's outside air. What two days differ by adds to the uncertainty
of what came. How large the fix turned out is a factor on its own number (share kept out, UA): the one for which the forecast gives the measured rise
along the fix's section, everything else being as uncertain as in the forecast.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.difference import DAY_U_DEGC, SLOPE, SLOPE_U
from hotfuel.study.fixes.kept import Kept
from hotfuel.study.line import stages as by_phase
from hotfuel.study.line.change import RETURN, Change
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.draws import Draws, Own
from hotfuel.study.line.grid import STEP_S, Grid
from hotfuel.study.line.heat import STOPPED
from hotfuel.study.line.stages import Stage
from hotfuel.units import expanded

SIZED = ("insulation", "shield", "spacer", "cooler", "ice")  # kinds whose number a factor says something about
RISE_U_DEGC, RISE_SHARE_U = 0.3, 0.1  # what one section's rise differs by between two days of one car, standard (assumption)
# beyond it the sessions tell nothing of how much of the fix came; up to here it is said of a single fix
MOST_LOG_U, SAID_LOG_U = (
    1.5,
    0.5,
)
_WIDE_U = 0.6  # of the logarithm, a start from which what two sessions say is worked out, and which is taken out again
_LOGS = np.linspace(-2.0, 1.6, 15)
_LIKE_SHARE = 0.7  # a stop of at least this share of the other's length counts as long enough


@dataclass(frozen=True)
class Outcome:
    """What was forecast of one place in one phase, and what came, at the first session's outside air: degC, came_u_degc standard."""

    told: Stage
    came_degc: float
    came_u_degc: float

    @property
    def miss_degc(self) -> float:
        """By how much it came beyond the forecast's range, allowing for the uncertainty of what came: plus is hotter, 0 within it."""
        least, greatest = self.told.told.least, self.told.told.greatest
        room = float(expanded(self.came_u_degc))
        return max(self.came_degc - greatest - room, 0.0) + min(self.came_degc - least + room, 0.0)


@dataclass(frozen=True)
class Came:
    """One forecast beside what came. log_factor, log_u: how much of the fix there was, logarithm with its standard uncertainty; nan where the kind has no
    number of its own, or the sessions do not tell."""

    change: str
    kinds: tuple[str, ...]
    made: str
    outcomes: tuple[Outcome, ...]
    log_factor: float
    log_u: float
    simulated: bool = False  # of either session

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self)


def held(kept: Kept, before: Course, after: Course, car: Car) -> Came:
    """A kept forecast compared with the session with the fix. car: the first session's. Raises InputError for sessions without a common place and phase."""
    first, second = (Grid.of(course, [p.name for p in car.places]) for course in (before, after))
    rows = by_phase.rows(second)
    warmer = after.ambient_degc - before.ambient_degc
    moved = SLOPE * warmer if np.isfinite(warmer) else 0.0
    day_u = np.hypot(np.sqrt(2) * DAY_U_DEGC, SLOPE_U * warmer if np.isfinite(warmer) else SLOPE * 5.0)
    outcomes = []
    for told in kept.stages:
        where = _alike(rows.get(told.phase), told)
        if where is None or told.place not in second.degc or not (where & second.rows_of(told.place)).any():
            continue
        came = float(by_phase.value(told.phase, second.degc[told.place], where & second.rows_of(told.place))) - moved
        outcomes.append(Outcome(told, came, float(day_u)))
    if not outcomes:
        raise InputError(
            f"{after.name} has no phase at a place that the forecast of {before.name} is about: drive the same road, with the same places"
        )
    factor, u = _factor(kept, first, second, car)
    return Came(kept.change.name, kept.kinds, kept.made, tuple(outcomes), factor, u, before.simulated or after.simulated)


def _alike(where: np.ndarray | None, told: Stage) -> np.ndarray | None:
    """The rows that correspond to the forecast's phase; None where there are none, or where the stop was shorter."""
    if where is None or told.phase != STOPPED:
        return where
    return where & (np.cumsum(where) * STEP_S <= told.seconds) if where.sum() * STEP_S >= _LIKE_SHARE * told.seconds else None


def section_of(change: Change, grid: Grid, car: Car) -> tuple[str, str] | None:
    """(place before, place) of the section in which a single fix acts; None where there is none."""
    place = change.insulated_before or change.shielded_before or change.cooler_before
    if change.spacer_share is not None:
        role = ("pump", "suction") if change.spacer_under == "pump" else ("bowl",)
        place = next((p.name for p in car.places if p.role in role and p.name in grid.chain), "")
    if not place or place == RETURN or place not in grid.chain:
        return None
    before = grid.before(place)
    return (before, place) if before else None


def _factor(kept: Kept, first: Grid, second: Grid, car: Car) -> tuple[float, float]:
    """(logarithm of how much of the fix came, its standard uncertainty), by the rise along its section while the engine runs."""
    if len(kept.kinds) != 1 or kept.kinds[0] not in SIZED:
        return np.nan, np.nan
    section = section_of(kept.change, first, car)
    if section is None or not set(section) <= set(second.degc):
        return np.nan, np.nan
    before, place = section
    rows = {phase: (where, then) for phase, where in by_phase.rows(first).items()
            if phase != STOPPED and (then := by_phase.rows(second).get(phase)) is not None}  # fmt: skip
    if not rows:
        return np.nan, np.nan
    likely = []
    for log in _LOGS:
        made = Changed(first, car, Draws(), {kept.kinds[0]: Own(float(np.exp(log)), 0.0, 1.0)})
        made.fix(kept.change)
        weight = np.zeros(made.degc[place].shape[0])
        for where, then in rows.values():
            rise = np.mean((made.degc[place] - made.degc[before])[:, where], axis=1)
            was = float(np.mean((first.degc[place] - first.degc[before])[where]))
            came = float(np.mean((second.degc[place] - second.degc[before])[then]))
            u = np.hypot(RISE_U_DEGC, RISE_SHARE_U * was) * np.sqrt(len(rows))  # phases of one day share what the day does
            weight = weight - 0.5 * ((came - rise) / u) ** 2
        likely.append(float(np.mean(np.exp(weight))))
    shares = (np.array(likely) + 1e-12) * np.exp(-0.5 * (_LOGS / _WIDE_U) ** 2)
    shares = shares / shares.sum()
    middle = float(shares @ _LOGS)
    told = 1 / float(shares @ (_LOGS - middle) ** 2)
    own = told - 1 / _WIDE_U**2
    return (middle * told / own, float(own**-0.5)) if own > MOST_LOG_U**-2 else (np.nan, np.nan)

"""A forecast compared with what came: the session it was made from and one with the fix, at like conditions, and how large the fix turned out.

Both drives are cut into phases; the second one's temperatures are brought to the first one's outside air. What two days differ by adds to the uncertainty
of what came. How large the fix turned out is a factor on its own number (share kept out, UA): the one for which the forecast gives the measured rise
along the fix's section, everything else being as uncertain as in the forecast.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.fixes.difference import DAY_U_DEGC, SLOPE, SLOPE_U
from hotfuel.study.fixes.kept import Kept
from hotfuel.study.line import stages as by_phase
from hotfuel.study.line.change import RETURN, Change
from hotfuel.study.line.changed import Changed
from hotfuel.study.line.draws import Draws, Own
from hotfuel.study.line.forecast import Before
from hotfuel.study.line.grid import STEP_S, Grid
from hotfuel.study.line.heat import STOPPED
from hotfuel.study.line.stages import Stage
from hotfuel.units import expanded

SIZED = ("insulation", "shield", "spacer", "cooler", "ice")  # kinds whose number a factor says something about
RISE_U_DEGC, RISE_SHARE_U = 0.3, 0.1  # what one section's rise differs by between two days of one car, standard (assumption)
# Above the first, the effect cannot be estimated; below the second, it is reported for a single fix.
MOST_LOG_U, SAID_LOG_U = (
    1.5,
    0.5,
)
_WIDE_U = 0.6  # of the logarithm: a wide prior, removed from the result
_LOGS = np.linspace(-2.0, 1.6, 15)
HELD, MISSED, UNTOLD, UNMOVED = "yes", "no", "cannot be told", "not counted"
LEAST_HALF_DEGC = 0.05  # a forecast smaller than this means no change
OTHER_FLOW, OTHER_PULLS = (
    1.5,
    0.15,
)  # times as much flow while driving, and share of the running time at full throttle, that make it another kind of drive
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

    @property
    def held(self) -> str:
        """HELD, MISSED, UNTOLD, where what came is too uncertain to tell the forecast from no change, or UNMOVED, where no change was forecast."""
        told, before, room = self.told.told, self.told.before_degc, float(expanded(self.came_u_degc))
        if self.miss_degc:
            return MISSED
        if max(told.half, abs(told.middle - before)) < LEAST_HALF_DEGC:
            return UNMOVED
        as_before = abs(self.came_degc - before) <= room and not told.least <= before <= told.greatest
        return UNTOLD if as_before or room > abs(told.middle - before) else HELD


@dataclass(frozen=True)
class Came:
    """One forecast beside what came. log_factor, log_u: how much of the fix there was, logarithm with its standard uncertainty; nan where the kind has no
    number of its own, or the sessions do not tell.

    room: the smallest margin anywhere (degC; its place and phase in `told`), None where the forecast kept none; where it came, room_place, and a nan value
    where the drive with the fix does not tell. missing: phases of the forecast that this drive does not have, or not as long. flow_ratio, pulls_more: times
    as much flow while driving, nan where unknown, and by how much more of the running time was at full throttle.
    """

    change: str
    kinds: tuple[str, ...]
    made: str
    outcomes: tuple[Outcome, ...]
    log_factor: float
    log_u: float
    simulated: bool = False  # of either session
    room: Outcome | None = None
    room_place: str = ""
    missing: tuple[str, ...] = ()
    flow_ratio: float = np.nan
    pulls_more: float = 0.0

    def counted(self, held: str) -> int:
        """How many outcomes of this kind there are."""
        return sum(one.held == held for one in self.outcomes)

    @property
    def other_drive(self) -> bool:
        """Whether the two drives differ in kind."""
        return abs(np.log(self.flow_ratio)) > np.log(OTHER_FLOW) or abs(self.pulls_more) > OTHER_PULLS

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        plain = asdict(self) | {"outcomes": [asdict(one) | {"held": one.held} for one in self.outcomes]}
        return plain | {"room": asdict(self.room) | {"held": self.room.held} if self.room is not None else None}


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
    missing = tuple(dict.fromkeys(told.phase for told in kept.stages if _alike(rows.get(told.phase), told) is None))
    room, room_place = _room(kept, after, car, missing, moved, float(day_u))
    return Came(
        kept.change.name,
        kept.kinds,
        kept.made,
        tuple(outcomes),
        factor,
        u,
        before.simulated or after.simulated,
        room,
        room_place,
        missing,
        _flow(second) / _flow(first),
        _pulls(second) - _pulls(first),
    )


def _flow(grid: Grid) -> float:
    """L/h while driving, mean; nan where it is unknown or the car was not driven."""
    driven = grid.litres_h[grid.on & ~grid.idle]
    return float(np.mean(driven)) if len(driven) and np.mean(driven) > 0 else np.nan


def _pulls(grid: Grid) -> float:
    return float(np.mean(grid.pull[grid.on])) if grid.on.any() else 0.0


def _room(kept: Kept, after: Course, car: Car, missing: Sequence[str], moved: float, u_degc: float) -> tuple[Outcome | None, str]:
    """(the smallest margin that was forecast and came, the place where it came); what came is nan where the drive does not tell."""
    told = kept.room
    if told is None:
        return None, ""
    untold = Outcome(told, np.nan, u_degc), ""
    used = after.car or car
    soaked = kept.room_kind == SOAK
    there = STOPPED not in missing if soaked else any(one.kind == kept.room_kind for one in phases(after))
    if not there or used.fuel().name != car.fuel().name:
        return untold
    second = Before(after, used)
    longest = next((one.seconds for one in kept.stages if one.phase == STOPPED), 0.0)
    use = ~second.grid.soak | (np.cumsum(second.grid.soak) * STEP_S <= longest)
    least = {p: float(np.nanmin(m[use])) for p, m in second.margin_degc.items() if np.isfinite(m[use]).any()}
    if not least:
        return untold
    place = min(least, key=lambda name: least[name])
    return Outcome(told, least[place] + moved, u_degc), place


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

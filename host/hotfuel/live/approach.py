"""The state between quiet and warn: the limit is ahead. Judged by how fast a margin is closing and how long it would last, each with its uncertainty.

A margin is followed in heat as well as in degrees: fuel that has begun to boil takes several times the heat for a degree, so that at a steady heating
degrees slow down exactly when the limit is near; where the heating grows they do not, and heat alone would promise too much time. The time to the
limit is the mean of the two. It is announced when the margin is closing beyond doubt and would be used up within ANNOUNCE_S, and withdrawn when that has not
been so for a while. Only page and terminal show it: no lamp pattern, no alarm, nothing in the log.

How well it does on drives it was not made with: tests/bench/bench_approach.py.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from hotfuel.fuel import Fuel
from hotfuel.places import probe_of
from hotfuel.risk.margin import PlaceMargin

STEP_S = 2.0
ANNOUNCE_S, FORGET_S = (
    150.0,
    300.0,
)  # time to the limit below which it is announced, and above which the announcement is withdrawn
# for REMEMBERED_S after a false announcement, the next one waits until the limit is within WARY_S
WARY_S, REMEMBERED_S = (
    80.0,
    3600.0,
)
HOLD_S, CALM_S = 8.0, 60.0  # for how long closing in, or calm, must have lasted
LOOK_S, LEAST_S = 100.0, 30.0  # how far it looks back, and how far at least
_MOST = round(LOOK_S / STEP_S) + 1  # points in that time
DOUBTS = 3.0  # standard errors by which the margin must be closing
WORTH_DEGC = 25.0  # margins larger than this are not looked at
JUMP_DEGC = (
    1.0  # a limit that moves this much within one step means a stop or a start: earlier points say nothing about what follows
)
_HEAT_KJ_KG_K = 2.1  # liquid gasoline: heat is expressed in degrees of liquid


class HeatScale:
    """Enthalpy by temperature and absolute pressure, in degC of liquid, read from curves worked out once for each whole kPa."""

    def __init__(self, fuel: Fuel) -> None:
        self._fuel = fuel
        self._curves: dict[int, list[float]] = {}

    def __call__(self, degc: float, kpa: float) -> float:
        """nan where the temperature or the pressure is unknown or outside what a fuel line can have."""
        if not (math.isfinite(degc) and math.isfinite(kpa)) or not 30 <= kpa <= 500 or not -10 <= degc <= 140:
            return math.nan
        low = int(kpa)
        share = kpa - low
        return (1 - share) * self._on_curve(degc, low) + share * self._on_curve(degc, low + 1)

    def _on_curve(self, degc: float, kpa: int) -> float:
        """Linear between whole degrees, from -10 to 140."""
        if kpa not in self._curves:
            enthalpy = self._fuel.enthalpy_kj_per_kg(np.arange(-10.0, 141.0), float(kpa))
            self._curves[kpa] = (np.asarray(enthalpy) / _HEAT_KJ_KG_K).tolist()
        curve = self._curves[kpa]
        left = min(int(degc + 10), len(curve) - 2)
        return curve[left] + (degc - (left - 10)) * (curve[left + 1] - curve[left])


class _Points:
    """The newest _MOST points: seconds, margin in heat, margin in degrees. They lie side by side, so that a step need not gather them."""

    def __init__(self) -> None:
        self._rows = np.empty((4 * _MOST, 3))
        self._begin = self._end = 0

    def append(self, point: tuple[float, float, float]) -> None:
        if self._end == len(self._rows):
            kept = self.rows()[-_MOST + 1 :]
            self._rows[: len(kept)] = kept
            self._begin, self._end = 0, len(kept)
        self._rows[self._end] = point
        self._end += 1
        self._begin = max(self._begin, self._end - _MOST)

    def clear(self) -> None:
        self._begin = self._end = 0

    def rows(self) -> np.ndarray:
        """One row a point, the oldest first."""
        return self._rows[self._begin : self._end]


@dataclass
class _Course:
    """What is known of one place: seconds, its margin in heat and in degrees, its limit; and how long it has been closing in or calm."""

    points: _Points = field(default_factory=_Points)
    at: float = -math.inf
    limit_degc: float = math.nan
    closing_s: float = 0.0
    calm_s: float = 0.0
    on: bool = False
    minutes: tuple[float, float, float] = (math.nan, math.nan, math.nan)
    warned: bool = False  # the margin was below its uncertainty since it was announced
    vain_at: float = -math.inf


class Approaches:
    """Feed it batches in order; `ahead(place)` is the state now, `minutes(place)` the time left as it was judged."""

    def __init__(self, fuel: Fuel) -> None:
        self._heat = HeatScale(fuel)
        self._courses: dict[str, _Course] = {}

    def update(self, seconds: np.ndarray, margins: dict[str, PlaceMargin]) -> None:
        """Rising seconds (n,), margins of these ticks. A tick without a margin pauses its place and resets nothing."""
        for name, place in margins.items():
            course = self._courses.setdefault(name, _Course())
            line = margins.get(probe_of(name), place)
            for row in _due(seconds, course.at):
                self._step(
                    course, float(seconds[row]), float(place.temperature_degc[row]), float(place.limit_degc[row]),
                    float(place.margin_degc[row]), float(place.uncertainty_degc[row]), float(line.pressure_kpa[row]),
                )  # fmt: skip

    def ahead(self, place: str) -> bool:
        """True while the limit of this place is announced."""
        course = self._courses.get(place)
        return course is not None and course.on

    def minutes(self, place: str) -> tuple[float, float, float]:
        """About how long until its limit, min: (middle, least, greatest at two standard errors of how fast it closes); nan while nothing is announced."""
        course = self._courses.get(place)
        return course.minutes if course is not None and course.on else (math.nan, math.nan, math.nan)

    def _step(
        self, course: _Course, at: float, degc: float, limit_degc: float, margin_degc: float, uncertainty_degc: float, kpa: float
    ) -> None:
        passed = min(at - course.at, 2 * STEP_S) if math.isfinite(course.at) else STEP_S
        if at - course.at > LOOK_S:
            course.points.clear()
        course.at = at
        if not math.isfinite(margin_degc):
            return
        if abs(limit_degc - course.limit_degc) > JUMP_DEGC:
            course.points.clear()
        course.limit_degc = limit_degc
        if margin_degc > WORTH_DEGC:
            course.points.clear()
            course.on, course.closing_s, course.calm_s = False, 0.0, 0.0  # far from any limit
            return
        heat_left = self._heat(limit_degc, kpa) - self._heat(degc, kpa)
        if not math.isfinite(heat_left):
            return
        course.points.append((at, heat_left, margin_degc))
        (seconds_left, least, greatest), sure = self._time_left(course)
        if math.isfinite(seconds_left):
            course.minutes = (seconds_left / 60, least / 60, greatest / 60)
        near = sure and seconds_left <= (WARY_S if at - course.vain_at < REMEMBERED_S else ANNOUNCE_S)
        course.warned = course.warned or margin_degc < uncertainty_degc
        course.closing_s = course.closing_s + passed if near else 0.0
        course.calm_s = course.calm_s + passed if not seconds_left <= FORGET_S else 0.0
        if not course.on and course.closing_s >= HOLD_S:
            course.on, course.warned = True, margin_degc < uncertainty_degc
        elif course.on and course.calm_s >= CALM_S:
            course.on = False
            if not course.warned:
                course.vain_at = at

    @staticmethod
    def _time_left(course: _Course) -> tuple[tuple[float, float, float], bool]:
        """(seconds until the margin is used up: middle, least, greatest; inf if it does not close or too little was seen), whether it closes beyond
        doubt."""
        points = course.points.rows()
        times = points[:, 0]
        if times[-1] - times[0] < LEAST_S:
            return (math.inf, math.inf, math.inf), False
        centre = times - np.add.reduce(times) / len(times)
        spread = float(centre @ centre)
        slopes = [float(centre @ points[:, column] / spread) for column in (1, 2)]
        if slopes[0] >= 0 or slopes[1] >= 0:
            return (math.inf, math.inf, math.inf), False
        estimates = []
        for column, slope in zip((1, 2), slopes, strict=True):
            error, now = _line(centre, spread, points[:, column], slope)
            rates = (-slope, -slope + 2 * error, max(-slope - 2 * error, 1e-9))
            estimates.append(([max(now, 0.0) / rate for rate in rates], -slope >= DOUBTS * error))
        middle, least, greatest = (sum(pair) / 2 for pair in zip(*(seconds for seconds, _ in estimates), strict=True))
        return (middle, least, greatest), all(sure for _, sure in estimates)


def _due(seconds: np.ndarray, last: float) -> list[int]:
    """Rows at least a step apart, the first one at least a step after `last`."""
    rows = []
    for row, at in enumerate(seconds.tolist()):
        if at - last >= STEP_S - 1e-6:
            rows.append(row)
            last = at
    return rows


def _line(centre: np.ndarray, spread: float, values: np.ndarray, slope: float) -> tuple[float, float]:
    """Of the straight line through the points: (standard error of its slope, widened for neighbours that resemble each other; value at the end).
    centre: times less their mean; spread: the sum of its squares."""
    count = len(centre)
    mean = float(np.add.reduce(values)) / count
    rest = values - mean - slope * centre
    left = float(rest @ rest)
    resemblance = min(max(float(rest[1:] @ rest[:-1]) / max(left, 1e-300), 0.0), 0.95)
    error = math.sqrt((1 + resemblance) / (1 - resemblance) * left / max(count - 2, 1) / spread)
    return error, mean + slope * float(centre[-1])

"""What happened, as data: which place came nearest its limit, when, why, what the driver would have noticed, and how sure that is."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
from hotfuel_wire.alarm import ON_DELAY_MS

from hotfuel.places import probe_of
from hotfuel.risk.findings import Finding, pressure_findings
from hotfuel.risk.level import NO_LIMIT, Level, is_beyond
from hotfuel.risk.pressure import TANK_GAUGE
from hotfuel.session.means import smoothed
from hotfuel.session.recording import Session
from hotfuel.study.drive import own_limit, restarts
from hotfuel.study.drive.complaint import Judgement, judge
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import COLD_START, DRIVE, IDLE, LAP, PULL, RESTART, SOAK, Phase, engine_of, phases
from hotfuel.study.line import full_throttle, overlaid, transport
from hotfuel.study.line.exchanged import Exchanged, exchanged
from hotfuel.study.line.heat import HeatBudget, budget
from hotfuel.study.line.parked import Apart, apart

_FLOW_RISES = 1.5  # engine speed by this factor: fuel that was heated before arrives
_LOOK_BACK_S = 180.0
_CLIMB_KPA = 1.0


class Why(StrEnum):
    """What made a place come near its limit just then."""

    STOPPED_HOT = "stopped_hot"  # the engine's heat after the stop, without flow
    FLOW_ROSE = "flow_rose"  # hotter fuel from further back arrived
    RESTARTED = "restarted"  # fuel heated while the engine stood was drawn through
    IDLED = "idled"  # little flow takes up more heat a litre
    PRESSURE_FELL = "pressure_fell"  # with height or suction
    WARMING_UP = "warming_up"  # the engine
    TANK_WARMED = "tank_warmed"  # the whole of the fuel, since the start
    ON_THE_WAY = "on_the_way"  # heat picked up from the tank on


@dataclass(frozen=True)
class Nearest:
    """The smallest margin of the session. at_s: seconds since its first reading."""

    place: str
    at_s: float
    margin_degc: float
    uncertainty_degc: float
    temperature_degc: float
    limit_degc: float
    pressure_kpa: float
    vapour_liquid_ratio: float
    phase: str
    reason: Why | None  # None: the reading is in doubt


@dataclass(frozen=True)
class SoakStory:
    """One hot soak: the first place to cross its limit and how long after the stop, and how hard a run it was."""

    phase: str
    first_place: str
    crossed_min: float
    hardness: restarts.Hardness


@dataclass(frozen=True)
class WithoutLimit:
    """A place without a limit for as long as an alarm needs, first at at_s, for lasted_s altogether; lowest_kpa: the lowest pressure worked out then."""

    place: str
    level: Level
    at_s: float
    lasted_s: float
    lowest_kpa: float


@dataclass(frozen=True)
class Hottest:
    """The hottest fuel, where no limit is known."""

    place: str
    at_s: float
    temperature_degc: float


@dataclass(frozen=True)
class Story:
    """The whole story as data; `hotfuel.report.story_words` says it. Moments are seconds since the first reading, which was at `start_s` unix time.

    start_s is nan and utc_offset_min None where unknown. pressure_of: whose pressure the nearest place has, as in places.Role.
    doubt: what makes the phases doubtful, "" for nothing.
    """

    phases: tuple[Phase, ...]
    nearest: Nearest | None
    hottest: Hottest | None
    without_limit: tuple[WithoutLimit, ...]
    soaks: tuple[SoakStory, ...]
    restarts: tuple[restarts.Restart, ...]
    own_limit: own_limit.OwnLimit
    confidence: str
    doubt: str
    start_s: float
    utc_offset_min: int | None
    pressure_of: str = ""
    judgement: Judgement | None = None  # of its stops against a complaint's, where one was named
    sections: tuple[transport.Section, ...] = ()  # of the line, between two places each
    pressures: tuple[Finding, ...] = ()
    needle: bool = False  # the car file has a carburettor's place, so trapped fuel can be pushed past a needle
    pulls: tuple[full_throttle.Pull, ...] = ()
    laid: overlaid.Overlay | None = None  # the pulls over each other, for a picture
    heat: HeatBudget | None = None  # where the fuel takes up its heat
    apart: Apart | None = None  # a probe that seems to read wrong
    exchanged: Exchanged | None = None  # two probes that look swapped
    held_unseen: tuple[str, ...] = ()  # places of an injected line: nothing measured what pressure it held after a stop

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        plain = {name: value for name, value in asdict(replace(self, laid=None, phases=())).items() if name != "laid"}
        return plain | {"phases": [phase.as_dict() for phase in self.phases]}


def tell(session_or_course: Session | Course, complaint: Session | Course | None = None) -> Story:
    """The story of a session. complaint: the session (or course) of a complaint, with which its hot stops are compared.

    Raises InputError for a session without a temperature, and for a complaint without a hot soak or of another car.
    """
    course = full_throttle.as_course(session_or_course)
    found = phases(course)
    nearest = _nearest(course, found)
    pulled = full_throttle.pulls(course, found)
    rpm_known = np.isfinite(course.inputs["engine_rpm"]).mean() > 0.5
    doubts = engine_of(course).doubts if rpm_known else ()
    return Story(
        phases=tuple(found),
        nearest=nearest,
        hottest=_hottest(course),
        without_limit=tuple(_without_limit(course)),
        soaks=tuple(_soaks(course, [phase for phase in found if phase.kind == SOAK])),
        restarts=tuple(restarts.restarts(course)),
        own_limit=own_limit.own_limit(own_limit.events(course)),
        confidence=found[0].confidence if found else "low",
        doubt=doubts[0].rstrip(".") if doubts else "",
        start_s=course.start_s,
        utc_offset_min=course.utc_offset_min,
        pressure_of=course.car.limit_places[nearest.place][1].pressure if course.car and nearest else "",
        judgement=judge(full_throttle.as_course(complaint), course, found) if complaint is not None else None,
        sections=transport.sections(course),
        pressures=_pressures(course),
        needle=course.car is not None and any(place.kind.needle for place in course.car.places),
        held_unseen=_held_unseen(course),
        pulls=pulled,
        laid=overlaid.last_place(course, pulled),
        heat=budget(course),
        apart=apart(course),
        exchanged=exchanged(course),
    )


def _pressures(course: Course) -> tuple[Finding, ...]:
    degc = [course.degc[place] for place in course.fuel_places]
    inputs, car = course.inputs, course.car
    return tuple(
        pressure_findings(
            course.time_s,
            inputs["running"],
            inputs["fuel_pressure_kpa"],
            inputs.get(TANK_GAUGE),
            inputs["ignition"],
            hottest_degc=np.fmax.reduce(degc) if degc else None,
            electric_pump=car is None or car.regulated or car.pump.kind != "mechanical",
        )
    )


def _nearest(course: Course, found: Sequence[Phase]) -> Nearest | None:
    least: tuple[float, str, int] | None = None
    for place, columns in course.margins.items():
        margin = smoothed(course.time_s, columns["margin_degc"])
        if np.isfinite(margin).any():
            at = int(np.nanargmin(margin))
            if least is None or margin[at] < least[0]:
                least = float(margin[at]), place, at
    if least is None:
        return None
    margin_degc, place, at = least
    columns = course.margins[place]
    phase = next(p for p in found if p.start_s <= course.time_s[at] < p.end_s)

    def there(values: np.ndarray) -> float:
        near = values[max(0, at - 5) : at + 6]
        return float(np.nanmean(near)) if np.isfinite(near).any() else np.nan

    return Nearest(
        place=place,
        at_s=float(course.time_s[at]),
        margin_degc=margin_degc,
        uncertainty_degc=there(columns["uncertainty_degc"]),
        temperature_degc=there(course.degc[probe_of(place)]),
        limit_degc=there(columns["limit_degc"]),
        pressure_kpa=there(columns["pressure_kpa"]),
        vapour_liquid_ratio=there(columns["vapour_liquid_ratio"]),
        phase=phase.name,
        reason=_reason(course, place, at, phase) if probe_of(place) not in course.suspected else None,
    )


def _reason(course: Course, place: str, at: int, phase: Phase) -> Why:
    """Why it came near just then, from what changed in the minutes before."""
    if phase.kind == SOAK:
        return Why.STOPPED_HOT
    rpm = course.inputs["engine_rpm"]
    before, now = rpm[max(0, at - int(_LOOK_BACK_S)) : max(1, at - 30)], rpm[max(0, at - 20) : at + 1]
    if np.isfinite(before).any() and np.isfinite(now).any() and phase.kind in (DRIVE, PULL, LAP, RESTART):
        slow = float(np.nanmin(smoothed(np.arange(len(before)), before, 20.0)))
        if float(np.nanmean(now)) > _FLOW_RISES * max(slow, 1.0) and _upstream_cooler(course, place, at):
            return Why.FLOW_ROSE
    if phase.kind == RESTART:
        return Why.RESTARTED
    if phase.kind == IDLE:
        return Why.IDLED
    ambient = course.margins[place]["pressure_kpa"]
    early = ambient[max(0, at - 600) : max(1, at - 300)]
    if np.isfinite(early).any() and np.isfinite(ambient[at]) and float(np.nanmean(early)) - ambient[at] > _CLIMB_KPA:
        return Why.PRESSURE_FELL
    if phase.kind == COLD_START:
        return Why.WARMING_UP
    tank = course.fuel_places[0] if course.fuel_places else place
    start = course.degc[tank][:300]
    if np.isfinite(start).any() and np.isfinite(course.degc[tank][at]) and course.degc[tank][at] - float(np.nanmean(start)) > 4.0:
        return Why.TANK_WARMED
    return Why.ON_THE_WAY


def _upstream_cooler(course: Course, place: str, at: int) -> bool:
    """Whether the place before was cooler then: the heat was not there, it came along."""
    names = course.fuel_places
    base = probe_of(place)
    position = names.index(base) if base in names else 0
    if position == 0:
        return False
    return bool(course.degc[names[position - 1]][at] < course.degc[base][at])


def _soaks(course: Course, soaks: Sequence[Phase]) -> Iterator[SoakStory]:
    for phase, hard in zip(soaks, restarts.hardness(course, soaks), strict=True):
        first, crossed_min = _first_to_cross(course, phase)
        yield SoakStory(phase.name, first, crossed_min, hard)


def _first_to_cross(course: Course, phase: Phase) -> tuple[str, float]:
    """(place, minutes into the phase) of the first to cross its limit; "" and nan for none."""
    crossed: dict[str, float] = {}
    rows = course.rows(phase.start_s, phase.end_s)
    for place, columns in course.margins.items():
        margin = smoothed(course.time_s[rows], columns["margin_degc"][rows])
        with np.errstate(invalid="ignore"):
            beyond = np.flatnonzero(is_beyond(margin))
        if beyond.size:
            crossed[place] = float(beyond[0]) / 60
    first = min(crossed, key=lambda p: crossed[p]) if crossed else ""
    return first, crossed.get(first, np.nan)


def _without_limit(course: Course) -> Iterator[WithoutLimit]:
    for place, columns in course.margins.items():
        for level in reversed(NO_LIMIT):
            rows = np.flatnonzero(columns["state"] == level)
            if 1000 * len(rows) >= ON_DELAY_MS:
                lowest_kpa = float(columns["pressure_kpa"][rows].min())
                yield WithoutLimit(place, level, float(course.time_s[rows[0]]), float(len(rows)), lowest_kpa)


def _hottest(course: Course) -> Hottest | None:
    peaks = {}
    for place in course.fuel_places:
        mean = smoothed(course.time_s, course.degc[place])
        if np.isfinite(mean).any():
            peaks[place] = (float(np.nanmax(mean)), float(course.time_s[int(np.nanargmax(mean))]))
    if not peaks:
        return None
    place = max(peaks, key=lambda p: peaks[p][0])
    return Hottest(place, peaks[place][1], peaks[place][0])


def _held_unseen(course: Course) -> tuple[str, ...]:
    if course.car is None or np.isfinite(course.inputs.get("fuel_pressure_kpa", np.nan)).any():
        return ()
    return tuple(name for name, (_, role) in course.car.limit_places.items() if role.criterion == "injection")

"""What happened, in sentences: which place came nearest its limit, when, why, what the driver would have noticed, and how sure that is."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd
from hotfuel_wire.alarm import ON_DELAY_MS

from hotfuel.places import ROLES, Role, is_behind_needle, place_words, probe_of
from hotfuel.risk.findings import pressure_findings
from hotfuel.risk.level import NO_LIMIT
from hotfuel.risk.pressure import TANK_GAUGE
from hotfuel.session.means import smoothed
from hotfuel.session.recording import Session
from hotfuel.study.drive import own_limit, restarts
from hotfuel.study.drive.complaint import Judgement, judge
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import COLD_START, DRIVE, IDLE, LAP, PULL, RESTART, SOAK, Phase, engine_of, phases
from hotfuel.study.line import full_throttle, overlaid, transport
from hotfuel.study.line.heat import HeatBudget, budget
from hotfuel.units import Shown, expanded

_FLOW_RISES = 1.5  # engine speed by this factor: fuel that was heated before arrives
_LOOK_BACK_S = 180.0
_CLIMB_KPA = 1.0


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
    reason: str


@dataclass(frozen=True)
class SoakStory:
    """One hot soak: the first place to cross its limit and how long after the stop, and how hard a run it was."""

    phase: str
    first_place: str
    crossed_min: float
    hardness: restarts.Hardness


@dataclass(frozen=True)
class Story:
    """The whole story. `sentences` for a person; the rest for those who count."""

    sentences: tuple[str, ...]
    phases: tuple[Phase, ...]
    nearest: Nearest | None
    soaks: tuple[SoakStory, ...]
    restarts: tuple[restarts.Restart, ...]
    own_limit: own_limit.OwnLimit
    confidence: str
    judgement: Judgement | None = None  # of its stops against a complaint's, where one was named
    sections: tuple[transport.Section, ...] = ()  # of the line, between two places each
    pulls: tuple[full_throttle.Pull, ...] = ()
    laid: overlaid.Overlay | None = None  # the pulls over each other, for a picture
    heat: HeatBudget | None = None  # where the fuel takes up its heat

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return {name: value for name, value in asdict(self).items() if name != "laid"}


def tell(session_or_course: Session | Course, shown: Shown | None = None, complaint: Any = None) -> Story:
    """The story of a session. complaint: the session (or course) of a complaint, against which its hot stops are held.

    Raises InputError for a session without a temperature, and for a complaint without a hot soak or of another car.
    """
    course = _course(session_or_course)
    units = shown or Shown(course.car.units if course.car is not None else "si")
    found = phases(course)
    clock = Clock(course)
    nearest = _nearest(course, found)
    soaks = tuple(_soak(course, phase) for phase in found if phase.kind == SOAK)
    starts = restarts.restarts(course)
    shift = own_limit.own_limit(own_limit.events(course), shown=units)
    judged = judge(_course(complaint), course, units, found) if complaint is not None else None
    sentences = [
        *_without_limit(course, clock, units),
        _nearest_sentence(nearest, clock, units) if nearest else _hottest_sentence(course, clock, units),
    ]
    if nearest:
        sentences.append(_noticed(nearest, _role(course, nearest.place), found))
    sentences += [_soak_sentence(course, soak, units) for soak in soaks]
    sentences += [_restart_sentence(one, clock, units) for one in starts]
    sentences += judged.sentences if judged else ()
    line = transport.sections(course, units)
    most = transport.told(line)
    if most is not None and most.hose is not None:
        sentences.append(f"At {clock.text(most.hose.changed_at_s)} the fuel at {most.sentence}")
    taken_up = budget(course, units)
    if taken_up is not None:
        sentences.append(taken_up.sentence)
    said = pressure_findings(
        course.time_s, course.inputs["running"], course.inputs["fuel_pressure_kpa"], course.inputs.get(TANK_GAUGE), shown=units
    )
    sentences += [f"At {clock.text(one.time_s)} {one.sentence}." for one in said]
    if shift.troubles + shift.ran_through:
        sentences.append(shift.sentence)
    confidence = found[0].confidence if found else "low"
    sentences.append(_how_sure(course, nearest, confidence, units))
    pulled = full_throttle.pulls(course, found)
    return Story(tuple(s for s in sentences if s), tuple(found), nearest, soaks, tuple(starts), shift, confidence, judged, line, pulled,
                 overlaid.last_place(course, pulled), taken_up)  # fmt: skip


def _course(session_or_course: Session | Course) -> Course:
    return session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)


class Clock:
    """Moments as a person reads them: time of day where known (UTC if the local offset is not), else minutes since the first reading."""

    def __init__(self, course: Course) -> None:
        self._start = course.start_s + 60.0 * (course.utc_offset_min or 0)
        self._zone = "" if course.utc_offset_min else " UTC"

    def text(self, at_s: float) -> str:
        """For example "14:03" or "12 min in"."""
        if np.isnan(self._start):
            return f"{at_s / 60:.0f} min in"
        return f"{pd.Timestamp(self._start + at_s, unit='s'):%H:%M}{self._zone}"


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
        reason=_reason(course, place, at, phase),
    )


def _reason(course: Course, place: str, at: int, phase: Phase) -> str:
    """Why it came near just then, from what changed in the minutes before."""
    if phase.kind == SOAK:
        return "the engine's heat went on coming after the stop, with no fuel flowing to carry it away"
    rpm = course.inputs["engine_rpm"]
    before, now = rpm[max(0, at - int(_LOOK_BACK_S)) : max(1, at - 30)], rpm[max(0, at - 20) : at + 1]
    if np.isfinite(before).any() and np.isfinite(now).any() and phase.kind in (DRIVE, PULL, LAP, RESTART):
        slow = float(np.nanmin(smoothed(np.arange(len(before)), before, 20.0)))
        if float(np.nanmean(now)) > _FLOW_RISES * max(slow, 1.0) and _upstream_cooler(course, place, at):
            return "hotter fuel that had stood further back arrived when the flow rose"
    if phase.kind == RESTART:
        return "fuel heated while the engine stood was drawn through"
    if phase.kind == IDLE:
        return "at idle little fuel flows, so each litre takes up more heat"
    ambient = course.margins[place]["pressure_kpa"]
    early = ambient[max(0, at - 600) : max(1, at - 300)]
    if np.isfinite(early).any() and np.isfinite(ambient[at]) and float(np.nanmean(early)) - ambient[at] > _CLIMB_KPA:
        return "the pressure there fell, as it does with height and suction, which lowers the limit"
    if phase.kind == COLD_START:
        return "the engine was still warming up"
    tank = course.fuel_places[0] if course.fuel_places else place
    start = course.degc[tank][:300]
    if np.isfinite(start).any() and np.isfinite(course.degc[tank][at]) and course.degc[tank][at] - float(np.nanmean(start)) > 4.0:
        return "the whole of the fuel had grown warmer since the start"
    return "heat picked up on the way from the tank"


def _upstream_cooler(course: Course, place: str, at: int) -> bool:
    """Whether the place before was cooler then: the heat was not there, it came along."""
    names = course.fuel_places
    base = probe_of(place)
    position = names.index(base) if base in names else 0
    if position == 0:
        return False
    return bool(course.degc[names[position - 1]][at] < course.degc[base][at])


def _without_limit(course: Course, clock: Clock, shown: Shown) -> list[str]:
    """Where the pressure left no limit for as long as an alarm needs: it counts as beyond the limit and comes before every smallest margin."""
    said = []
    for place, columns in course.margins.items():
        for level in reversed(NO_LIMIT):
            rows = np.flatnonzero(columns["state"] == level)
            if 1000 * len(rows) >= ON_DELAY_MS:
                lowest = shown.text(float(columns["pressure_kpa"][rows].min()), "pressure")
                said.append(
                    f"From {clock.text(course.time_s[rows[0]])} on, for {len(rows) / 60:.1f} min altogether, {_where(place)}: {level.words}. "
                    f"It counts as beyond the limit; the lowest pressure worked out was {lowest} absolute."
                )
    return said


def _nearest_sentence(one: Nearest, clock: Clock, shown: Shown) -> str:
    left = shown.text(abs(one.margin_degc), "temperature difference")
    where = f"The fuel {_where(one.place)} came nearest its limit, at {clock.text(one.at_s)} in {one.phase}"
    state = f"{left} were left" if one.margin_degc > 0 else f"it was {left} beyond"
    return (
        f"{where}: {state}, at {shown.text(one.temperature_degc, 'temperature')} and {shown.text(one.pressure_kpa, 'pressure')} "
        f"(limit {shown.text(one.limit_degc, 'temperature')}), because {one.reason}."
    )


def _where(place: str) -> str:
    name = place_words(probe_of(place))
    return f"behind the needle at the {name}" if is_behind_needle(place) else f"at the {name}"


def _hottest_sentence(course: Course, clock: Clock, shown: Shown) -> str:
    peaks = {}
    for place in course.fuel_places:
        mean = smoothed(course.time_s, course.degc[place])
        if np.isfinite(mean).any():
            peaks[place] = (float(np.nanmax(mean)), float(course.time_s[int(np.nanargmax(mean))]))
    if not peaks:
        return ""
    place = max(peaks, key=lambda p: peaks[p][0])
    hottest, at = peaks[place]
    return f"The hottest fuel was at the {place_words(place)}: {shown.text(hottest, 'temperature')} at {clock.text(at)}; no limit is known without a car file."


def _role(course: Course, place: str) -> Role:
    return course.car.limit_places[place][1] if course.car else ROLES["other"]


def _noticed(one: Nearest, role: Role, found: Sequence[Phase]) -> str:
    """What the driver would have noticed, from the place's role and how far beyond."""
    if one.margin_degc > expanded(one.uncertainty_degc):
        return "The driver would have noticed nothing."
    maybe = "may" if one.margin_degc > 0 else "is likely to"
    restarted = any(p.kind == RESTART for p in found)
    if role.pressure == "bowl":
        return f"The bowl {maybe} percolate there: it floods the engine or runs empty, and a restart is hard." + (
            "" if restarted else " No restart is in the recording to tell."
        )
    if role.pressure == "suction":
        return f"Vapour {maybe} form at the pump there: fuel pressure falls, the engine leans out, stumbles under load, or dies."
    return f"Vapour {maybe} form at the {place_words(one.place)} there: the engine runs unevenly, and a restart can be hard."


def _soak(course: Course, phase: Phase) -> SoakStory:
    crossed: dict[str, float] = {}
    rows = (course.time_s >= phase.start_s) & (course.time_s < phase.end_s)
    for place, columns in course.margins.items():
        margin = smoothed(course.time_s[rows], columns["margin_degc"][rows])
        with np.errstate(invalid="ignore"):
            beyond = np.flatnonzero(margin <= 0)
        if beyond.size:
            crossed[place] = float(beyond[0]) / 60
    first = min(crossed, key=lambda p: crossed[p]) if crossed else ""
    return SoakStory(phase.name, first, crossed.get(first, np.nan), restarts.hardness(course, phase))


def _soak_sentence(course: Course, soak: SoakStory, shown: Shown) -> str:
    how = soak.hardness.words(shown)
    if not course.margins:
        return f"{soak.phase.capitalize()}: {how}."
    if not soak.first_place:
        return f"{soak.phase.capitalize()} ({how}): no place passed its limit."
    if soak.crossed_min < 0.5:
        return f"{soak.phase.capitalize()} ({how}): the fuel {_where(soak.first_place)} was beyond its limit from the stop on."
    first = f"the fuel {_where(soak.first_place)} passed its limit first"
    return f"{soak.phase.capitalize()} ({how}): {first}, {soak.crossed_min:.0f} min after the stop."


def _restart_sentence(one: restarts.Restart, clock: Clock, shown: Shown) -> str:
    parts = [f"Restart at {clock.text(one.at_s)}, {one.stopped_min:.0f} min after the stop"]
    if np.isfinite(one.cranking_s):
        parts.append(f"{one.cranking_s:.0f} s of cranking in {one.tries} {'try' if one.tries == 1 else 'tries'}")
    if np.isfinite(one.pressure_s):
        parts.append(f"fuel pressure after {one.pressure_s:.0f} s")
    known = {p: m for p, m in one.margins_degc.items() if np.isfinite(m)}
    if known:
        place = min(known, key=lambda p: known[p])
        left = f"{shown.text(abs(known[place]), 'temperature difference')} {'left' if known[place] > 0 else 'beyond the limit'}"
        parts.append(f"smallest margin then {left}, {_where(place)}")
    if one.trouble:
        parts.append(f'marked "{one.trouble}"')
    return ", ".join(parts) + "."


def _how_sure(course: Course, nearest: Nearest | None, confidence: str, shown: Shown) -> str:
    basis = {
        "high": "phases are cut by engine speed",
        "medium": "phases are cut by ignition or marks, which do not tell idling from driving",
        "low": "phases are guessed from fuel pressure or temperatures alone",
    }[confidence]
    if np.isfinite(course.inputs["engine_rpm"]).mean() > 0.5 and (doubts := engine_of(course).doubts):
        basis = f"phases are cut by engine speed, with doubts: {doubts[0].rstrip('.')}"
    if nearest is None:
        return f"How sure: {basis}."
    return f"How sure: the margin is known to ±{shown.text(expanded(nearest.uncertainty_degc), 'temperature difference')} (95 %); {basis}."

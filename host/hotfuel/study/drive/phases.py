"""A session cut into phases: cold start, idle, drive or lap, full-throttle pull, stop with hot soak, restart.

From engine speed where it is recorded; else from ignition or marks (idle and drive are then not distinguished); else, with low confidence, from fuel
pressure or the temperatures alone. Every phase states the confidence of its limits.
"""

import re
from collections import Counter
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from hotfuel.errors import UsageError
from hotfuel.places import probe_of
from hotfuel.risk.engine import EngineCourse, engine_course
from hotfuel.risk.level import BEYOND, NO_LIMIT, Level, among
from hotfuel.session.means import smoothed
from hotfuel.session.pulls import sweeps
from hotfuel.session.recording import Session
from hotfuel.stretches import stretches
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.crossings import is_lap

COLD_START, IDLE, DRIVE, LAP, PULL, SOAK, RESTART, STANDING = (
    "cold start",
    "idle",
    "drive",
    "lap",
    "full-throttle pull",
    "hot soak",
    "restart",
    "standing before start",
)
PHASES = (COLD_START, IDLE, DRIVE, LAP, PULL, SOAK, RESTART, STANDING)
_HIGH, _MEDIUM, _LOW = "high", "medium", "low"

COLD_SPREAD_DEGC = 12.0  # with all places this close together, no engine has heated them recently
COLD_START_S = 180.0
RESTART_S = 30.0
SHORTEST_IDLE_S = 45.0  # a stop at a red light belongs to the drive, a queue does not
SHORTEST_DRIVE_S = 20.0  # creeping forward belongs to the queue
_NEVER_HEATED_DEGC = 6.0
# Up to this share of idle speed the engine idled. Less than the live page's (risk.engine.IDLE_SHARE): there an idle that the driver raised on the page's
# advice must still be forecast as one; here slow driving must not be counted to the idle.
_IDLE_SHARE = 1.4
_RUNNING_SHARE = 0.5  # of the pump's pressure, above which the engine counts as running
_STOP = re.compile(r"\b(stop|stopped|key off|engine off|switched off|parked|shut off)\b")
_START = re.compile(r"\b(start|started|restart|restarted|fired|engine on|running)\b")
# A failed start, and a car that stops while its engine keeps running.
_NEITHER = re.compile(
    r"\b(no|not) start|n't start|\bstop(ped)? (and go|sign|(at|in|for|behind)\b.*\b(lights?|traffic|queue|signs?|crossing))"
)


def checked(text: str) -> str:
    """The phase that a person named. Raises UsageError that lists the phases."""
    known = (COLD_START, IDLE, DRIVE, LAP, PULL, SOAK, RESTART)
    if text.strip().casefold() in known:
        return text.strip().casefold()
    raise UsageError(f'"{text}" is not a phase: allowed are {", ".join(known)}')


@dataclass(frozen=True)
class PlacePhase:
    """One place in one phase: degC, degC per minute (straight line through 10 s means), seconds warned and beyond the limit, largest V/L."""

    start_degc: float
    end_degc: float
    peak_degc: float
    rate_degc_min: float
    smallest_margin_degc: float
    smallest_margin_at_s: float
    warn_s: float
    act_s: float
    largest_vapour_liquid_ratio: float
    no_limit_s: float = 0.0  # of act_s: the pressure left no limit
    uncertainty_degc: float = np.nan  # standard, of the smallest margin


@dataclass(frozen=True)
class Phase:
    """One phase: seconds since the session's first reading, the confidence of its limits ("high", "medium", "low"), each place's numbers, and of a lap
    its number, 0 of others. laps: how many it holds, more than one where the line's crossings between were not seen. name: for people; nobody takes it
    apart."""

    kind: str
    name: str
    start_s: float
    end_s: float
    confidence: str
    places: dict[str, PlacePhase]
    lap: int = 0
    laps: int = 0

    @property
    def duration_s(self) -> float:
        """Its length in seconds."""
        return self.end_s - self.start_s

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON, where the name has the lap's number."""
        return {key: value for key, value in asdict(self).items() if key not in ("lap", "laps")}


def phases(session_or_course: Session | Course) -> list[Phase]:
    """The phases of a session (or of a Course) in time order, without gaps. Raises InputError for a session without a temperature."""
    course = session_or_course if isinstance(session_or_course, Course) else of_session(session_or_course)
    kinds, confidence = kinds_per_second(course)
    kinds = _without_slivers(kinds)
    laps, held = _laps(course, kinds)
    spans = _spans(np.where(laps > 0, LAP, kinds), laps)
    counts: dict[str, int] = {}
    total = Counter(kind for kind, _, _ in spans)
    found = []
    for kind, first, last in spans:
        counts[kind] = counts.get(kind, 0) + 1
        lap = int(laps[first])
        many = held.get(lap, 0)
        name = _lap_name(lap, many) if lap else kind if total[kind] == 1 else f"{kind} {counts[kind]}"
        start, end = float(course.time_s[first]), float(course.time_s[last]) + 1.0
        found.append(Phase(kind, name, start, end, confidence, places_between(course, start, end), lap, many))
    return found


def places_between(course: Course, start_s: float, end_s: float) -> dict[str, PlacePhase]:
    """Each place's numbers over a stretch of the course; places (and needles) without a finite temperature there are left out."""
    rows = course.rows(start_s, end_s)
    time_s = course.time_s[rows]
    found = {}
    for place in (*course.degc, *(name for name in course.margins if name not in course.degc)):
        margins = {key: values[rows] for key, values in course.margins.get(place, {}).items()}
        degc = course.degc[probe_of(place)][rows] if probe_of(place) in course.degc else np.zeros(0)
        mean = smoothed(time_s, degc) if degc.size else degc
        good = np.flatnonzero(np.isfinite(mean))
        if not good.size:
            continue
        rate = np.polyfit(time_s[good], mean[good], 1)[0] * 60 if good.size > 10 else np.nan
        smallest, at, ratio, warned, acted, without, spread = np.nan, np.nan, np.nan, 0.0, 0.0, 0.0, np.nan
        margin = smoothed(time_s, margins["margin_degc"]) if margins else np.full(len(time_s), np.nan)
        if np.isfinite(margin).any():
            least = int(np.nanargmin(margin))
            smallest, at = float(margin[least]), float(time_s[least])
            spread = float(smoothed(time_s, margins["uncertainty_degc"])[least])
            ratio = (
                float(np.nanmax(margins["vapour_liquid_ratio"])) if np.isfinite(margins["vapour_liquid_ratio"]).any() else np.nan
            )
        if margins:
            warned = float(np.count_nonzero(margins["state"] == Level.WARN))
            acted = float(np.count_nonzero(among(margins["state"], BEYOND)))
            without = float(np.count_nonzero(among(margins["state"], NO_LIMIT)))
        found[place] = PlacePhase(
            start_degc=float(mean[good[0]]),
            end_degc=float(mean[good[-1]]),
            peak_degc=float(np.fmax.reduce(mean)),
            rate_degc_min=float(rate),
            smallest_margin_degc=smallest,
            smallest_margin_at_s=at,
            warn_s=warned,
            act_s=acted,
            largest_vapour_liquid_ratio=ratio,
            no_limit_s=without,
            uncertainty_degc=spread,
        )
    return found


def kinds_per_second(course: Course) -> tuple[np.ndarray, str]:
    """(kind of each second, (n,) of text; confidence of the limits)."""
    rpm = course.inputs["engine_rpm"]
    if np.isfinite(rpm).mean() > 0.5:
        engine = engine_of(course)
        return _from_speed(course, engine), _MEDIUM if engine.doubts else _HIGH
    on = known_running(course)
    if np.isfinite(on).mean() > 0.5:
        # Fuel trapped in a hot line keeps its pressure for a while after the stop: pressure alone tells little about when that was.
        alone = not np.isfinite(course.inputs["ignition"]).any() and np.isfinite(course.inputs["running"]).any()
        return _from_running(course, _filled(on) > 0.5), _LOW if alone else _MEDIUM
    return _from_temperatures(course), _LOW


def fired(course: Course) -> np.ndarray:
    """Whether the engine runs under its own power, (n,) of bool, one per second; from engine speed, else as `known_running`."""
    rpm = course.inputs["engine_rpm"]
    if np.isfinite(rpm).any():
        return engine_of(course).running
    return _filled(known_running(course)) > 0.5


def engine_of(course: Course) -> EngineCourse:
    """The engine's course where its speed is measured: when it runs, turns and stands, and what is doubtful about the inputs."""
    pulses = course.car.engine.pulses_per_revolution if course.car is not None else None
    return engine_course(course.inputs["engine_rpm"], course.inputs["ignition"], _idle_rpm(course), pulses, known_running(course))


def known_running(course: Course) -> np.ndarray:
    """1 running, 0 standing, nan unknown, (n,), without a measured engine speed: by the input `running`, else by ignition, else by fuel pressure (running
    from half the pump's pressure up); if none of these was recorded, by marks such as "key off" and "restart"."""
    on, ignition, pressure = (course.inputs[key] for key in ("running", "ignition", "fuel_pressure_kpa"))
    if course.car is not None and course.car.pump.pressure_kpa > 0:
        on = np.where(np.isnan(on) & np.isfinite(pressure), pressure >= _RUNNING_SHARE * course.car.pump.pressure_kpa, on)
    on = np.where(ignition == 0, 0.0, np.where(np.isnan(on) & np.isfinite(ignition), 1.0, on))
    return on if np.isfinite(on).any() else _running_from_marks(course)


def _idle_rpm(course: Course) -> float:
    return course.car.engine.idle_speed_rpm if course.car is not None else 800.0


def _filled(values: np.ndarray) -> np.ndarray:
    """Unknown seconds take the last known value before them; those at the beginning, the first known value."""
    good = np.flatnonzero(np.isfinite(values))
    if not good.size:
        return np.zeros(len(values))
    return values[good[np.clip(np.searchsorted(good, np.arange(len(values)), side="right") - 1, 0, None)]]


def _from_speed(course: Course, engine: EngineCourse) -> np.ndarray:
    rpm, idle = engine.rpm, engine.idle_rpm
    kinds = _from_running(course, engine.running, engine.turning)
    driving = kinds == DRIVE
    kinds[driving & (rpm <= _IDLE_SHARE * idle)] = IDLE
    for first, last in sweeps(rpm, idle):
        part = kinds[first : last + 1]
        part[(part == DRIVE) | (part == IDLE)] = PULL
    # A cold start lasts while the engine warms up at idle; from the first driving on it is drive and idle.
    for kind, first, last in _spans(kinds):
        if kind == COLD_START:
            moved = np.flatnonzero(rpm[first : last + 1] > 2.2 * idle)
            if moved.size:
                rest = kinds[first + moved[0] : last + 1]
                rest[:] = np.where(rpm[first + moved[0] : last + 1] > _IDLE_SHARE * idle, DRIVE, IDLE)
    return kinds


def _from_running(course: Course, on: np.ndarray, cranking: np.ndarray | None = None) -> np.ndarray:
    """Drive, hot soak, cold start, restart and standing, from whether the engine runs."""
    kinds = np.where(on, DRIVE, SOAK).astype(object)
    starts = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    first_on = int(np.argmax(on)) if on.any() else len(on)
    kinds[:first_on] = STANDING
    if first_on == 0 and len(on) and _spread(course, 0) <= _NEVER_HEATED_DEGC:
        # The engine was started at the same time as the recording.
        kinds[: min(int(COLD_START_S), int(np.argmin(on)) if not on.all() else len(on))] = COLD_START
    for start in starts.tolist():
        stop = start + int(np.argmax(~on[start:])) if not on[start:].all() else len(on)
        cold = start == first_on and _spread(course, start) <= COLD_SPREAD_DEGC
        length = COLD_START_S if cold else RESTART_S
        kinds[start : min(stop, start + int(length))] = COLD_START if cold else RESTART
    for first, past in stretches(cranking if cranking is not None else np.zeros(len(on), bool)):
        last = past - 1
        # Cranking belongs to the start that follows it, or is a failed try.
        after = kinds[min(last + 1, len(kinds) - 1)]
        kinds[first : last + 1] = COLD_START if after == COLD_START or kinds[first] == STANDING else RESTART
    return kinds


def _spread(course: Course, at: int) -> float:
    near = slice(max(0, at - 10), at + 10)
    medians = [np.nanmedian(course.degc[p][near]) for p in course.fuel_places if np.isfinite(course.degc[p][near]).any()]
    return float(np.ptp(medians)) if len(medians) > 1 else np.nan


def _running_from_marks(course: Course) -> np.ndarray:
    on = np.full(len(course.time_s), np.nan)
    words = sorted((second, sense) for second, text in course.marks if (sense := _sense(text)) is not None)
    if words:
        on[:] = float(not words[0][1])
        for second, state in words:
            on[course.time_s >= second] = float(state)
    return on


def _sense(text: str) -> bool | None:
    plain = text.casefold()
    if _NEITHER.search(plain):
        return None
    if _STOP.search(plain):
        return False
    return True if _START.search(plain) else None


def _from_temperatures(course: Course) -> np.ndarray:
    """Hot soak where the hottest place's fuel warms steadily for minutes, drive elsewhere: a guess, returned with low confidence."""
    if len(course.time_s) < 2 or not course.fuel_places:
        return np.full(len(course.time_s), DRIVE, dtype=object)
    place = max(course.fuel_places, key=lambda p: float(np.nanmax(course.degc[p], initial=-np.inf)))
    mean = smoothed(course.time_s, course.degc[place], 60.0)
    rate = np.gradient(np.nan_to_num(mean, nan=float(np.nanmean(mean)))) * 60
    kinds = np.full(len(course.time_s), DRIVE, dtype=object)
    for first, past in stretches(rate > 0.3):
        last = past - 1
        if last - first >= 180 and mean[last] - mean[first] >= 4.0 and first > 60:
            kinds[first : last + 1] = SOAK
    return kinds


def _without_slivers(kinds: np.ndarray) -> np.ndarray:
    """Short stretches of drive within an idle, then short idles within a drive, are joined to the phase around them, so that traffic makes few phases."""
    out = kinds.copy()
    for kind, shortest, into in ((DRIVE, SHORTEST_DRIVE_S, (IDLE,)), (IDLE, SHORTEST_IDLE_S, (DRIVE, PULL))):
        for found, first, last in _spans(out):
            before = out[first - 1] if first > 0 else ""
            after = out[last + 1] if last + 1 < len(out) else ""
            if found == kind and last - first + 1 < shortest and (before in into or after in into):
                out[first : last + 1] = IDLE if kind == DRIVE else DRIVE
    return out


def _laps(course: Course, kinds: np.ndarray) -> tuple[np.ndarray, dict[int, int]]:
    """(the number of each second's lap, (n,), 0 outside of laps; {number: how many laps it holds}): between two lap marks all driving is one lap, or
    several where the crossings between were not seen."""
    laps = np.zeros(len(kinds), dtype=int)
    held: dict[int, int] = {}
    many = dict(course.unseen_laps)
    number = 1
    for start, end in pairwise(second for second, text in course.marks if is_lap(text)):
        rows = (course.time_s >= start) & (course.time_s < end)
        if not np.isin(kinds[rows].astype(str), (SOAK, STANDING)).any():
            laps[rows] = number
            held[number] = many.get(start, 1)
        number += many.get(start, 1)
    return laps, held


def _lap_name(number: int, count: int) -> str:
    """ "lap #4"; "laps #4 to #5" where the crossings between were not seen."""
    return f"{LAP} #{number}" if count == 1 else f"{LAP}s #{number} to #{number + count - 1}"


def _spans(kinds: np.ndarray, laps: np.ndarray | None = None) -> list[tuple[str, int, int]]:
    """(kind, first, last row) of each stretch of one kind, and of one lap."""
    changes = kinds[1:] != kinds[:-1]
    if laps is not None:
        changes |= laps[1:] != laps[:-1]
    edges = [0, *(np.flatnonzero(changes) + 1).tolist(), len(kinds)]
    return [(str(kinds[a]), a, b - 1) for a, b in pairwise(edges) if b > a]

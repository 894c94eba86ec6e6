"""Hot restarts, each as a record, and how hard a stop was as a test of a repair."""

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import Phase, engine_of, fired, known_running
from hotfuel.study.evidence.intervals import zero_failures_bound

TROUBLE_WORDS = (
    "stumble",
    "died",
    "dies",
    "hard start",
    "no start",
    "stall",
    "quit",
    "cut out",
    "not start",
    "n't start",
    "flooded",
)
RAN_WORDS = ("ran through", "no trouble", "fine", "ran well", "started at once")
_DENIED = re.compile(
    r"(?:\b(?:no|not|never|without)|n't)(?: an?| any)? (?:stumbl\w*|die[sd]?|stall\w*|quit|cut out|flood\w*|hard start)\w*"
)
_PRESSURE_SHARE = 0.8
_TRIES_APART_S = 3.0
AFTER_S = 120.0  # trouble marked within this time after a start belongs to it
_LOOK_BACK_S = 300.0


@dataclass(frozen=True)
class Restart:
    """One start after a stop. Seconds since the session began; nan if not measured; margins degC at the first turn of the engine.

    pressure_s: from the first turn until the fuel pressure reached 80 % of the pump's. trouble: the mark of trouble within two minutes, "" for none.
    """

    at_s: float
    stopped_min: float
    cranking_s: float
    tries: int
    pressure_s: float
    margins_degc: dict[str, float]
    temperatures_degc: dict[str, float]
    trouble: str

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return asdict(self)


def restarts(course: Course) -> list[Restart]:
    """Every start that follows a stop within the recording; empty if nothing is recorded about the engine."""
    if not _known(course):
        return []
    on = fired(course)
    turning = _turning(course) | on
    found = []
    for start in np.flatnonzero(on[1:] & ~on[:-1]) + 1:
        before = np.flatnonzero(on[:start])
        if not before.size:
            continue
        stop = int(before[-1]) + 1
        tries = [int(a) for a in np.flatnonzero(turning[1 : start + 1] & ~turning[:start]) + 1 if a >= stop]
        # Tries more than five minutes before the start are not part of it.
        tries = [a for a in tries if start - a <= _LOOK_BACK_S]
        first = int(tries[0]) if tries else int(start)
        found.append(
            Restart(
                at_s=float(course.time_s[first]),
                stopped_min=float(first - stop) / 60,
                cranking_s=float(np.count_nonzero(turning[first:start]))
                if np.isfinite(course.inputs["engine_rpm"]).any()
                else np.nan,
                tries=max(1, _separate(tries)),
                pressure_s=_pressure_s(course, first),
                margins_degc={p: _around(m["margin_degc"], first) for p, m in course.margins.items()},
                temperatures_degc={p: _around(course.degc[p], first) for p in course.fuel_places},
                trouble=_marked(course, float(course.time_s[first])),
            )
        )
    return found


def _known(course: Course) -> bool:
    return bool(np.isfinite(course.inputs["engine_rpm"]).any() or np.isfinite(known_running(course)).any())


def _turning(course: Course) -> np.ndarray:
    return engine_of(course).turning


def _separate(tries: list[int]) -> int:
    return 1 + sum(b - a > _TRIES_APART_S for a, b in pairwise(tries))


def _pressure_s(course: Course, first: int) -> float:
    pressure = course.inputs["fuel_pressure_kpa"][first : first + 300]
    if course.car is None or not np.isfinite(pressure).any():
        return np.nan
    with np.errstate(invalid="ignore"):
        there = np.flatnonzero(pressure >= _PRESSURE_SHARE * course.car.pump.pressure_kpa)
    return float(there[0]) if there.size else np.nan


def _around(values: np.ndarray, at: int) -> float:
    part = values[max(0, at - 5) : at + 2]
    return float(np.nanmean(part)) if np.isfinite(part).any() else np.nan


def says_trouble(text: str) -> bool | None:
    """Whether a mark tells of trouble: True "stumbled", False "ran through" or "no stumble", None neither. Example: says_trouble("died") -> True."""
    plain, denials = _DENIED.subn("", text.casefold())
    if any(word in plain for word in TROUBLE_WORDS):
        return True
    return False if denials or any(word in plain for word in RAN_WORDS) else None


def _marked(course: Course, at_s: float) -> str:
    for second, text in course.marks:
        if at_s - 10 <= second <= at_s + AFTER_S and says_trouble(text):
            return text
    return ""


@dataclass(frozen=True)
class Hardness:
    """How hard a hot soak was, in numbers; nan if unknown. driven_min: minutes of engine running before the stop.

    limit_degc: where this fuel reaches V/L 20 at the outside air pressure: it depends on fuel and altitude, not on the pump or line repaired.
    peak_degc: hottest fuel. high_speed_min: minutes before the stop above three times idle speed.
    """

    ambient_degc: float
    soak_min: float
    driven_min: float
    limit_degc: float
    peak_degc: float
    high_speed_min: float


def hardness(course: Course, soaks: Sequence[Phase]) -> list[Hardness]:
    """How hard each of these stops with hot soak was."""
    rpm = course.inputs["engine_rpm"]
    idle = course.car.engine.idle_speed_rpm if course.car is not None else 800.0
    ran = fired(course) if soaks and _known(course) else None
    with np.errstate(invalid="ignore"):
        fast = rpm > 3 * idle if np.isfinite(rpm).any() else None

    def minutes(on: np.ndarray | None, past: int) -> float:
        return float(np.count_nonzero(on[:past])) / 60 if on is not None else np.nan

    stood = [course.rows(soak.start_s, soak.end_s) for soak in soaks]
    air_kpa = [course.air_kpa(rows) for rows in stood]
    fuel = course.car.fuel() if course.car is not None else None
    limit_degc = {kpa: float(fuel.limit_degc(kpa)) if fuel is not None else np.nan for kpa in set(air_kpa)}
    return [
        Hardness(
            ambient_degc=course.ambient_degc,
            soak_min=soak.duration_s / 60,
            driven_min=minutes(ran, rows.start),
            limit_degc=limit_degc[kpa],
            peak_degc=max((soak.places[p].peak_degc for p in course.fuel_places if p in soak.places), default=np.nan),
            high_speed_min=minutes(fast, rows.start),
        )
        for soak, rows, kpa in zip(soaks, stood, air_kpa, strict=True)
    ]


# How much easier one condition may be before a repeat shows nothing.
_EASIER = {"ambient_degc": 2.0, "limit_degc": 1.5}
_SHORTER_SHARE = 0.8


class Easier(StrEnum):
    """In which way a stop was easier on the car than another, or that this is unknown; `hotfuel.report.complaint_words` has the words."""

    COOLER_OUTSIDE = "cooler outside"
    OUTSIDE_UNKNOWN = "outside unknown"
    HIGHER_LIMIT = "higher limit"
    LIMIT_UNKNOWN = "limit unknown"
    STOOD_SHORTER = "stood shorter"
    DRIVEN_SHORTER = "driven shorter"
    DRIVEN_UNKNOWN = "driven unknown"
    DRIVEN_SLOWER = "driven slower"


def softer(complaint: Hardness, repeat: Hardness) -> list[Easier]:
    """In which ways a repeat was easier on the car than the stop of the complaint; empty if it was at least as hard. Unknown counts as easier."""
    ways = []
    if not repeat.ambient_degc >= complaint.ambient_degc - _EASIER["ambient_degc"]:
        ways.append(
            Easier.COOLER_OUTSIDE if np.isfinite(repeat.ambient_degc + complaint.ambient_degc) else Easier.OUTSIDE_UNKNOWN
        )
    if not repeat.limit_degc <= complaint.limit_degc + _EASIER["limit_degc"]:
        ways.append(Easier.HIGHER_LIMIT if np.isfinite(repeat.limit_degc + complaint.limit_degc) else Easier.LIMIT_UNKNOWN)
    if not repeat.soak_min >= _SHORTER_SHARE * complaint.soak_min:
        ways.append(Easier.STOOD_SHORTER)
    if not repeat.driven_min >= _SHORTER_SHARE * complaint.driven_min:
        ways.append(Easier.DRIVEN_SHORTER if np.isfinite(repeat.driven_min + complaint.driven_min) else Easier.DRIVEN_UNKNOWN)
    if np.isfinite(complaint.high_speed_min) and not repeat.high_speed_min >= _SHORTER_SHARE * complaint.high_speed_min:
        ways.append(Easier.DRIVEN_SLOWER)
    return ways


@dataclass(frozen=True)
class Proof:
    """Whether stops after a repair show that a complaint is gone: how many were hard enough, how many failed, and the failure rate still possible at 95 %.

    easier: the ways in which stops were easier than the complaint's, each once.
    """

    shown: bool
    stops: int
    hard_enough: int
    failures: int
    still_possible: float
    easier: tuple[Easier, ...]


def proof(complaint: Hardness, repeats: list[tuple[Hardness, bool]]) -> Proof:
    """Judge repeats (hardness, whether it failed) against the complaint's stop. Raises InputError without a repeat.

    Few stops without a failure prove little; `still_possible` is the rate they still allow: 0 of 3 allow 63 % (exact binomial, 95 %).
    """
    if not repeats:
        raise InputError("there is no hot soak after the repair: record one at least as hard as the complaint's")
    hard = [(one, failed) for one, failed in repeats if not softer(complaint, one)]
    failures = sum(failed for _, failed in repeats)
    bound = zero_failures_bound(len(hard))
    easier = tuple(dict.fromkeys(way for one, _ in repeats for way in softer(complaint, one)))
    return Proof(bool(hard) and not failures, len(repeats), len(hard), failures, bound, easier)

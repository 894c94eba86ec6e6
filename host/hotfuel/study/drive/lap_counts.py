"""How many laps lie between two crossings of a line that were seen: where no position was received, the car may have crossed it unseen."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hotfuel.session.recording import Session
from hotfuel.study.drive import crossings
from hotfuel.study.drive.crossings import HOLE_S, Path

_STOOD_M_S = 1.0
LEAST_LAPS = 3  # whole ones, of which a middle one says something
# of a lap, within which laps whose crossing was not seen are counted by time (common practice, no source)
_ALIKE_TIMES, _ALIKE_WAYS = 0.1, 0.25
POSITIONS_MISSING, STOOD_STILL = "positions missing", "stood still"


@dataclass(frozen=True)
class Between:
    """What lies between two crossings: s of the timeline, metres driven, why it is no whole lap (POSITIONS_MISSING, STOOD_STILL, "" for one)."""

    start_s: float
    end_s: float
    length_m: float
    note: str

    @property
    def time_s(self) -> float:
        """Its duration."""
        return self.end_s - self.start_s


def between(path: Path, first: float, last: float) -> Between:
    """What lies between two times of the timeline."""
    fixes = _fixes(path, first, last)
    moved = np.diff(np.interp(fixes, path.seconds, path.driven_m))
    note = ""
    if np.max(np.diff(fixes)) > HOLE_S:
        note = POSITIONS_MISSING
    elif np.count_nonzero(moved < _STOOD_M_S * np.diff(fixes)) * path.period_s > 5.0:
        note = STOOD_STILL
    return Between(first, last, float(moved.sum()), note)


def counts(path: Path, found: list[Between]) -> list[int]:
    """How many laps each one is: what took as long as n laps with no position at the crossings between counts n."""
    whole = [one for one in found if not one.note]
    if len(whole) < LEAST_LAPS:
        return [1] * len(found)
    time_s, length_m = (float(np.median([getattr(one, name) for one in whole])) for name in ("time_s", "length_m"))
    counted = []
    for one in found:
        count = round(one.time_s / time_s)
        many = one.note == POSITIONS_MISSING and count > 1 and _is_many(one, count, path, time_s, length_m)
        counted.append(count if many else 1)
    return counted


def lap_marks(session: Session, marks: tuple[tuple[float, str], ...]) -> tuple[list[tuple[float, str]], list[tuple[float, int]]]:
    """(a mark "lap" at every crossing of the session's line, (second, count) of those that begin more than one lap); none if a person marked laps."""
    if any(crossings.is_lap(text) for _, text in marks):
        return [], []
    found = crossings.of_session(session, marks)
    if found is None:
        return [], []
    path, at = found[0], [float(second) for second in found[1].seconds]
    numbers = counts(path, [between(path, *ends) for ends in pairwise(at)])
    return [(second, "lap") for second in at], [(second, count) for second, count in zip(at, numbers, strict=False) if count > 1]


def _fixes(path: Path, first: float, last: float) -> np.ndarray:
    return np.concatenate([[first], path.seconds[(path.seconds > first) & (path.seconds < last)], [last]])


def _is_many(one: Between, count: int, path: Path, time_s: float, length_m: float) -> bool:
    """Whether it is `count` usual laps, of time_s and length_m, by its time, its way and where its positions are missing."""
    fixes = _fixes(path, one.start_s, one.end_s)
    hole = np.diff(fixes) > HOLE_S
    from_s, to_s = fixes[:-1][hole], fixes[1:][hole]
    meet_s = one.start_s + one.time_s / count * np.arange(1, count)
    near_s = _ALIKE_TIMES * time_s
    unseen = ((meet_s[:, None] > from_s - near_s) & (meet_s[:, None] < to_s + near_s)).any(axis=1).all()
    steps = np.diff(np.interp(fixes, path.seconds, path.driven_m))
    way_m = float(steps[~hole].sum() + np.sum(to_s - from_s) / time_s * length_m)  # a car that stood has driven less
    return (
        bool(unseen)
        and abs(one.time_s / time_s - count) <= near_s / time_s * count
        and abs(way_m / length_m - count) <= _ALIKE_WAYS
    )

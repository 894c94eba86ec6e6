"""The laps of a recording, the path they were driven on, and which sector of the lap costs margin."""

from dataclasses import asdict, dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import special

from hotfuel.errors import InputError
from hotfuel.session.means import smoothed
from hotfuel.session.recording import Session
from hotfuel.study.drive import course as courses
from hotfuel.study.drive import crossings
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.crossings import Basis, Path
from hotfuel.study.drive.ground import Line
from hotfuel.study.drive.lap_counts import LEAST_LAPS, Between, between, counts

HAND_U_S = 0.3  # of a button pressed at a line (common practice, no source)
_SMOOTH_S = 3.0
_SECTOR_M, _SECTORS_LEAST, _SECTORS_MOST = 200.0, 4, 12


@dataclass(frozen=True)
class Lap:
    """One lap: seconds since the session's first reading, its time with one standard uncertainty, metres driven (nan without a receiver).

    hottest and smallest margin: place, degC, and where: metres past the line. note: as in `Between`.
    count: how many laps it is by its time, where no position was received at the crossings between; the first has the number.
    """

    number: int
    start_s: float
    end_s: float
    time_u_s: float
    length_m: float
    hottest_place: str
    hottest_degc: float
    hottest_at_m: float
    margin_place: str
    margin_degc: float
    margin_at_m: float
    note: str
    count: int = 1

    @property
    def time_s(self) -> float:
        """Its duration."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Sector:
    """A sector of the lap, m past the line: how much margin the place loses along it (degC a lap, minus: gains), mean of the laps with the 95 %
    interval of that mean, and the smallest margin on it."""

    from_m: float
    to_m: float
    loss_degc: float
    low_degc: float
    high_degc: float
    smallest_degc: float


@dataclass(frozen=True)
class Laps:
    """All laps of a session; `hotfuel.report.lap_words` puts them into sentences. basis: what they are counted by. path: None without a receiver;
    margin_degc (n,) and state (n,) at its fixes, of `place`, the one nearest its limit on the laps ("" without limits). sectors: empty with fewer than
    three whole laps."""

    laps: tuple[Lap, ...]
    basis: Basis
    line: Line | None
    period_s: float
    place: str
    sectors: tuple[Sector, ...]
    path: Path | None
    margin_degc: np.ndarray
    state: np.ndarray
    notes: tuple[str, ...]
    start_s: float = 0.0  # the timeline's second of the course's time zero

    def as_dict(self, with_positions: bool = False) -> dict[str, object]:
        """Plain fields for JSON. with_positions: the line too, which tells where the car was."""
        told: dict[str, object] = {
            "basis": self.basis,
            "laps": [{**asdict(lap), "time_s": lap.time_s} for lap in self.laps],
            "place": self.place,
            "stretches": [asdict(one) for one in self.sectors],
            "notes": list(self.notes),
        }
        if with_positions:
            told["line"] = str(self.line) if self.line is not None else None
        return told

    def costliest(self) -> Sector | None:
        """The sector that costs most margin; None unless its interval lies above 0."""
        worst = max(self.sectors, key=lambda one: one.loss_degc, default=None)
        return worst if worst is not None and worst.low_degc > 0 else None


def laps(session: Session, line: Line | None = None) -> Laps:
    """The laps of a session: by its line (given, kept, by a mark, or found), else by marks. Raises InputError, one sentence, if there are none.

    Example: `laps(hotfuel.session.open("sunday")).laps[0].time_s`.
    """
    course = courses.of_session(session)
    start = courses.first_second(session)
    marked = courses.marks_of(session)
    by_hand = np.array([at - start for at, text in marked if crossings.is_lap(text)])
    found = crossings.of_session(session, marked, line) if line is not None or not len(by_hand) else None
    path = Path.of(session.positions) if session.positions is not None else None
    notes = list(session.positions.notes) if session.positions is not None else []
    if found is not None:
        _, crossing = found
        at, u_s, basis, used = crossing.seconds - start, crossing.u_s, crossing.basis, crossing.line
    else:
        at, u_s, basis, used = by_hand, np.full(len(by_hand), HAND_U_S), Basis.MARKS, None
    if len(at) < 2:
        raise InputError(
            f"{session.name} holds no lap: mark each one with the button or the word lap, record a receiver's positions (hotfuel record --receiver), "
            'or give the line with --line "LATITUDE LONGITUDE heading DEGREES"'
        )
    told = [
        _lap(number, course, path, start, pair, float(np.hypot(*u)))
        for number, (pair, u) in enumerate(zip(pairwise(at.tolist()), pairwise(u_s.tolist()), strict=True), start=1)
    ]
    told = _numbered(told, path, start) if path is not None else told
    whole = [lap for lap in told if not lap.note]
    nearest = min((lap for lap in told if np.isfinite(lap.margin_degc)), key=lambda lap: lap.margin_degc, default=None)
    place = nearest.margin_place if nearest is not None else ""
    margin, state = _at_fixes(course, path, start, place)
    sectors = _sectors(course, path, start, whole, place) if path is not None and place else ()
    return Laps(
        tuple(told),
        basis,
        used,
        path.period_s if path is not None else np.nan,
        place,
        sectors,
        path,
        margin,
        state,
        tuple(notes),
        start,
    )


def _lap(number: int, course: Course, path: Path | None, start: float, ends: tuple[float, float], u_s: float) -> Lap:
    first, last = ends
    rows = (course.time_s >= first) & (course.time_s < last)
    hot_place, hot, hot_at = _extreme({place: course.degc[place][rows] for place in course.fuel_places}, course.time_s[rows], 1)
    margins = {place: columns["margin_degc"][rows] for place, columns in course.margins.items()}
    place, margin, margin_at = _extreme(margins, course.time_s[rows], -1)
    driven = between(path, first + start, last + start) if path is not None else Between(first, last, np.nan, "")

    def where(at: float) -> float:
        return (
            float(np.interp(at + start, path.seconds, path.driven_m) - np.interp(first + start, path.seconds, path.driven_m))
            if path
            else np.nan
        )

    return Lap(
        number, first, last, u_s, driven.length_m, hot_place, hot, where(hot_at), place, margin, where(margin_at), driven.note
    )


def _numbered(told: list[Lap], path: Path, start: float) -> list[Lap]:
    """The laps numbered as driven, by how many each of them is."""
    numbers = counts(path, [Between(lap.start_s + start, lap.end_s + start, lap.length_m, lap.note) for lap in told])
    found, number = [], 1
    for lap, count in zip(told, numbers, strict=True):
        found.append(replace(lap, number=number, count=count))
        number += count
    return found


def _extreme(values: dict[str, np.ndarray], time_s: np.ndarray, sign: int) -> tuple[str, float, float]:
    """(place, value, second) of the largest (sign 1) or smallest (-1) of all places' means over 3 s; ("", nan, nan) without a value."""
    found = []
    for place, column in values.items():
        mean = smoothed(time_s, column, _SMOOTH_S)
        if np.isfinite(mean).any():
            row = int(np.nanargmax(sign * mean))
            found.append((float(mean[row]), place, float(time_s[row])))
    if not found:
        return "", np.nan, np.nan
    value, place, at = max(found) if sign > 0 else min(found)
    return place, value, at


def _at_fixes(course: Course, path: Path | None, start: float, place: str) -> tuple[np.ndarray, np.ndarray]:
    """(margin, state) of a place at each fix; nan before the first reading and after the last."""
    if path is None or not place:
        none = np.full(len(path.seconds) if path is not None else 0, np.nan)
        return none, none
    rows = np.floor(path.seconds - start).astype(int)
    inside = (rows >= 0) & (rows < len(course.time_s))
    rows = np.clip(rows, 0, len(course.time_s) - 1)
    columns = course.margins[place]
    mean = smoothed(course.time_s, columns["margin_degc"], _SMOOTH_S)
    return np.where(inside, mean[rows], np.nan), np.where(inside, columns["state"][rows], np.nan)


def _sectors(course: Course, path: Path, start: float, whole: list[Lap], place: str) -> tuple[Sector, ...]:
    if len(whole) < LEAST_LAPS:
        return ()
    length = float(np.median([lap.length_m for lap in whole]))
    whole = [lap for lap in whole if abs(lap.length_m / length - 1) <= 0.05]
    if len(whole) < LEAST_LAPS:
        return ()
    count = int(np.clip(round(length / _SECTOR_M), _SECTORS_LEAST, _SECTORS_MOST))
    share = np.linspace(0, 1, count + 1)
    margin = smoothed(course.time_s, course.margins[place]["margin_degc"], _SMOOTH_S)
    at_ends, least = [], []
    for lap in whole:
        inside = (path.seconds >= lap.start_s + start) & (path.seconds <= lap.end_s + start)
        times = np.concatenate([[lap.start_s], path.seconds[inside] - start, [lap.end_s]])
        driven = np.interp(times + start, path.seconds, path.driven_m)
        ends = np.interp(share, (driven - driven[0]) / (driven[-1] - driven[0]), times)
        known = np.isfinite(margin)
        at_ends.append(np.interp(ends, course.time_s[known], margin[known]))
        sectors = [margin[(course.time_s >= a) & (course.time_s < b)] for a, b in pairwise(ends)]
        least.append([float(np.nanmin(one)) if np.isfinite(one).any() else np.nan for one in sectors])
    loss = -np.diff(np.array(at_ends), axis=1)
    mean = loss.mean(axis=0)
    half = special.stdtrit(len(loss) - 1, 0.975) * loss.std(axis=0, ddof=1) / np.sqrt(len(loss))
    smallest = np.nanmin(np.array(least), axis=0)
    edges = share * length
    return tuple(
        Sector(
            float(edges[k]),
            float(edges[k + 1]),
            float(mean[k]),
            float(mean[k] - half[k]),
            float(mean[k] + half[k]),
            float(smallest[k]),
        )
        for k in range(count)
    )

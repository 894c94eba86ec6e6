"""When a car crossed a line on the ground in one direction, and where that line is: as given, by a mark, or where the path crosses itself most often."""

import contextlib
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hotfuel.errors import UsageError
from hotfuel.session.folder import LAP_LINE
from hotfuel.session.positions import Positions
from hotfuel.session.recording import Session
from hotfuel.study.drive.ground import HALF_WIDTH_M, Line, Plane, parse

SHORTEST_LAP_S = 15.0
HOLE_S = 3.0  # over a longer gap between fixes no crossing is counted
POSITION_U_M = 1.5  # of a crossing from lap to lap, one standard uncertainty (common practice, no source)
HARDEST_M_S2 = 10.0  # largest acceleration of a car between two fixes
_TURNED = np.cos(np.radians(60.0))
_MOVING_M_S = 3.0
_CANDIDATE_M = 25.0
_ALIKE = 0.05  # of a lap's length
_MARKS = ("lap line", "start line", "finish line")


@dataclass(frozen=True)
class Path:
    """Where the car was, on a plane: seconds (n,) of the session's timeline, x east and y north in m, metres driven since the first fix."""

    plane: Plane
    seconds: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray
    driven_m: np.ndarray
    period_s: float

    @classmethod
    def of(cls, found: Positions) -> "Path | None":
        """None with fewer than ten fixes."""
        if len(found.seconds) < 10:
            return None
        plane = Plane(float(np.median(found.latitude_deg)), float(found.longitude_deg[len(found.longitude_deg) // 2]))
        x, y = plane.metres(found.latitude_deg, found.longitude_deg)
        steps = np.hypot(np.diff(x), np.diff(y))
        return cls(plane, found.seconds, x, y, np.concatenate([[0.0], np.cumsum(steps)]), found.period_s)


class Basis(StrEnum):
    """What laps are counted by: marks set by hand, or a line, and how that was found; `hotfuel.report.lap_words` has the words."""

    MARKS = "marks"
    GIVEN = "line_given"
    BY_MARK = "line_by_mark"
    OWN = "line_of_path"  # where the path crosses itself


@dataclass(frozen=True)
class Crossings:
    """Times (k,) at which a line was crossed, s of the timeline, with their standard uncertainty u_s (k,); line; how it was found."""

    line: Line
    basis: Basis
    seconds: np.ndarray
    u_s: np.ndarray


def crossed(path: Path, line: Line, basis: Basis = Basis.GIVEN) -> Crossings:
    """Crossings of a line in its direction, at least SHORTEST_LAP_S apart, by linear interpolation between fixes."""
    x, y = path.plane.metres(line.latitude_deg, line.longitude_deg)
    return _crossed(path, float(x), float(y), line, basis)


def _crossed(path: Path, x: float, y: float, line: Line, basis: Basis) -> Crossings:
    east, north = np.sin(np.radians(line.heading_deg)), np.cos(np.radians(line.heading_deg))
    along = (path.x_m - x) * east + (path.y_m - y) * north
    across = (path.x_m - x) * north - (path.y_m - y) * east
    step, gap = np.diff(along), np.diff(path.seconds)
    way = np.hypot(np.diff(path.x_m), np.diff(path.y_m))
    over = (along[:-1] < 0) & (along[1:] >= 0) & (gap <= HOLE_S) & (step >= _TURNED * way) & (way > 0)
    rows = np.flatnonzero(over)
    share = -along[rows] / step[rows]
    rows, share = _beside(rows, share, across)
    at = path.seconds[rows] + share * gap[rows]
    speed = way[rows] / gap[rows]
    # the chord is off by a T^2 / 8 at most, taken as a rectangular distribution
    bent = HARDEST_M_S2 * gap[rows] ** 2 / 8 / np.sqrt(3)
    u_s = np.hypot(POSITION_U_M, bent) / np.maximum(speed, _MOVING_M_S)
    kept: list[int] = []
    for number, when in enumerate(at.tolist()):
        if not kept or when - at[kept[-1]] >= SHORTEST_LAP_S:
            kept.append(number)
    return Crossings(line, basis, at[kept], u_s[kept])


def _beside(rows: np.ndarray, share: np.ndarray, across: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The crossings within the line's width."""
    at = across[rows] + share * (across[rows + 1] - across[rows])
    near = np.abs(at) <= HALF_WIDTH_M
    return rows[near], share[near]


def of_path(path: Path, line: Line | None, marks: tuple[tuple[float, str], ...] = ()) -> Crossings | None:
    """By the line given; else by the first mark "lap line" or "start line" (seconds of the timeline); else where the path crosses itself most often.
    None if no line is crossed three times."""
    if line is not None:
        return crossed(path, line)
    for second, text in marks:
        if text.casefold().strip() in _MARKS and (there := _at(path, second)) is not None:
            return crossed(path, there, Basis.BY_MARK)
    return _own(path)


def _at(path: Path, second: float) -> Line | None:
    """The line across the path at a moment; None if the car stood or there is no fix."""
    row = int(np.clip(np.searchsorted(path.seconds, second), 1, len(path.seconds) - 1))
    if not path.seconds[0] - HOLE_S <= second <= path.seconds[-1] + HOLE_S:
        return None
    return _across(path, row, float(np.interp(second, path.seconds, path.x_m)), float(np.interp(second, path.seconds, path.y_m)))


def _across(path: Path, row: int, x: float, y: float) -> Line | None:
    east, north = path.x_m[row] - path.x_m[row - 1], path.y_m[row] - path.y_m[row - 1]
    gap = path.seconds[row] - path.seconds[row - 1]
    if not (0 < gap <= HOLE_S and np.hypot(east, north) >= _MOVING_M_S * gap):
        return None
    latitude, longitude = _degrees(path.plane, x, y)
    return Line(latitude, longitude, float(np.degrees(np.arctan2(east, north)) % 360))


def _degrees(plane: Plane, x: float, y: float) -> tuple[float, float]:
    """Metres on the plane back to degrees north and east."""
    _, north = plane.metres(plane.latitude_deg + 0.01, plane.longitude_deg)
    latitude = plane.latitude_deg + 0.01 * y / float(north)
    east, _ = plane.metres(latitude, plane.longitude_deg + 0.01)
    return latitude, (plane.longitude_deg + 0.01 * x / float(east) + 180.0) % 360.0 - 180.0


def _own(path: Path) -> Crossings | None:
    """The line across the path that is crossed most often, and of these the one crossed fastest; None if no line makes laps."""
    best: tuple[int, float, Crossings] | None = None
    wanted = np.arange(0.0, path.driven_m[-1], _CANDIDATE_M)
    rows = np.unique(np.clip(np.searchsorted(path.driven_m, wanted), 1, len(path.driven_m) - 1))
    step = max(1, len(rows) // 400)
    for row in rows[::step].tolist():
        line = _across(path, row, float(path.x_m[row]), float(path.y_m[row]))
        if line is None:
            continue
        found = _crossed(path, float(path.x_m[row]), float(path.y_m[row]), line, Basis.OWN)
        speed = (path.driven_m[row] - path.driven_m[row - 1]) / (path.seconds[row] - path.seconds[row - 1])
        if _laps(path, found.seconds) and (best is None or (len(found.seconds), speed) > best[:2]):
            best = len(found.seconds), float(speed), found
    return best[2] if best is not None else None


def _laps(path: Path, crossed_s: np.ndarray) -> bool:
    """Whether a guessed line makes laps: two or more, most of them of the same length. A road driven twice makes none."""
    if len(crossed_s) < 3:
        return False
    lengths = np.diff(np.interp(crossed_s, path.seconds, path.driven_m))
    return bool(np.count_nonzero(np.abs(lengths / np.median(lengths) - 1) <= _ALIKE) >= max(2, len(lengths) / 2))


def of_session(session: Session, marks: tuple[tuple[float, str], ...], line: Line | None = None) -> tuple[Path, Crossings] | None:
    """The path of a session and the crossings of its line: the one given, else the one kept beside the log, else as `of_path`. None without a receiver
    or without laps. marks: (seconds of the timeline, text)."""
    path = Path.of(session.positions) if session.positions is not None else None
    if path is None:
        return None
    kept = session.folder.path / LAP_LINE
    if line is None and session.folder.log_path.name == "wire.log" and kept.is_file():
        with contextlib.suppress(UsageError, OSError, UnicodeDecodeError):  # unreadable: found again from the path
            line = parse(kept.read_text(encoding="utf-8"))
    found = of_path(path, line, marks)
    return (path, found) if found is not None else None


def is_lap(text: str) -> bool:
    """Whether a mark ends one lap and begins the next: "lap", "lap 3", "end of lap"; the mark of the line itself is not one."""
    plain = text.casefold().strip()
    return plain not in _MARKS and ("lap" in plain.split() or plain.startswith("lap"))

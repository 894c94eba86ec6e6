"""Positions of a recording, from the sentences of a satellite receiver at the computer or at the board (NMEA 0183, read by pynmea2), or from those
kept in the board's store, on the session's own timeline.

The receiver's date is not used, and of its time of day only the differences: a wrong date or week, a leap second applied late or a cold start do no harm.
The time a sentence was received is known by the computer's monotonic clock, which the anchors relate to the board's time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd

from hotfuel.samples import table
from hotfuel.samples.decoded import Decoded
from hotfuel.session.timeline import Timeline
from hotfuel.text import counted

FASTEST_M_S = 120.0  # between two fixes; a position further away is a jump
STEP_S = 0.7  # a shift of the receiver's time against the computer's by this much means that it was set
_DRIFTS_S = 600.0
_MINUTE_S = 60.0  # a port does not stall longer than this without a sentence on time
_DAY_S = 86400.0
_EARTH_M = 6_371_000.0
_BACK_AFTER = 3  # this many fixes that agree with one another end a jump
KNOT_M_S = 1852.0 / 3600.0
_SENTENCES = ("RMC", "GGA")
_UNITS_PER_DEGREE = 60e5  # of a track


@dataclass(frozen=True)
class Fix:
    """One sentence with a position. time_s: of day, from the receiver. speed_m_s, heading_deg: nan where the sentence has none."""

    time_s: float
    latitude_deg: float
    longitude_deg: float
    speed_m_s: float
    heading_deg: float


@dataclass(frozen=True)
class Positions:
    """Arrays (n,): seconds on the session's timeline, rising; degrees north and east (WGS 84); m/s, nan where unknown. notes: what was left out.
    ahead_s: of a timeline that is anchored, by how much it was ahead of the receiver's time of day at the end, within half a day; nan without a fix.
    """

    seconds: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    speed_m_s: np.ndarray
    notes: tuple[str, ...] = field(default=())
    ahead_s: float = np.nan

    @property
    def period_s(self) -> float:
        """The usual time from fix to fix; nan with fewer than two."""
        return float(np.median(np.diff(self.seconds))) if len(self.seconds) > 1 else np.nan


def fix_of(sentence: bytes) -> Fix | None:
    """The fix that a sentence states; None for another sentence, one without a fix, and one that is damaged. Never raises.

    Example: fix_of(b"$GPRMC,120000.00,A,0000.000,N,00000.000,E,0.0,0.0,010126,,,A*59").
    """
    import pynmea2  # slow to import: not needed without a receiver

    try:
        read = pynmea2.parse(sentence.decode("ascii"), check=True)
        kind = read.sentence_type
        if kind not in _SENTENCES or (read.status != "A" if kind == "RMC" else int(read.gps_qual or 0) not in (1, 2, 3, 4, 5)):
            return None
        time_s = _of_day(read.data[0])
        latitude, longitude = float(read.latitude), float(read.longitude)
        given = bool(read.lat and read.lon and read.lat_dir in ("N", "S") and read.lon_dir in ("E", "W"))
    except (pynmea2.ParseError, ValueError, TypeError, AttributeError, IndexError, ArithmeticError):
        return None
    if not (given and abs(latitude) <= 90 and abs(longitude) <= 180 and time_s == time_s):
        return None
    speed, heading = (_number(read.spd_over_grnd), _number(read.true_course)) if kind == "RMC" else (np.nan, np.nan)
    return Fix(time_s, latitude, longitude, speed * KNOT_M_S, heading)


def _of_day(text: str) -> float:
    """hhmmss or hhmmss.sss, with the 60th second of a leap second; nan for anything else."""
    whole = text.partition(".")[0]
    if len(whole) != 6 or not whole.isdecimal():
        return np.nan
    hour, minute, second = int(text[:2]), int(text[2:4]), float(text[4:])
    return 3600.0 * hour + 60.0 * minute + second if hour < 24 and minute < 60 and second < 61 else np.nan


def _number(value: object) -> float:
    try:
        number = float(str(value))
    except ValueError:
        return np.nan
    return number if 0 <= number < 1e4 else np.nan


def of_recording(decoded: Decoded, timeline: Timeline) -> Positions | None:
    """The positions of a log; None where no receiver was there."""
    rows, said, tracks = (decoded.messages[name] for name in ("sentence", "receiver_sentence", "track"))
    if not (len(rows) or len(said) or len(tracks)):
        return None
    at_computer = _fixes([bytes(text) for text in rows["text"]], _received(decoded, timeline)) if len(rows) else []
    at_board = _fixes([bytes(text) for text in said["text"]], timeline.seconds(said["boot"], said["time"])) if len(said) else []
    at_board = sorted([*at_board, *_of_tracks(tracks, timeline)], key=lambda one: one[1])
    return _positions(max(at_computer, at_board, key=len))  # of two receivers the one with more fixes


def positions(sentences: Sequence[bytes], received_s: np.ndarray) -> Positions:
    """sentences with the seconds (n,) at which they came, in that order; nan: the sentence is left out."""
    if not len(sentences):
        empty = np.zeros(0)
        return Positions(empty, empty, empty, empty)
    return _positions(_fixes(sentences, received_s))


def _fixes(sentences: Sequence[bytes], received_s: np.ndarray) -> list[tuple[Fix, float]]:
    return [
        (fix, at)
        for text, at in zip(sentences, received_s.tolist(), strict=True)
        if (fix := fix_of(text)) is not None and at == at
    ]


def _of_tracks(rows: np.ndarray, timeline: Timeline) -> list[tuple[Fix, float]]:
    """The positions of the board's messages `track`; the first of one came at the message's time, the others as much later as the receiver's times say."""
    found = []
    came = timeline.seconds(rows["boot"], rows["time"]) - rows["age_ms"] / 1000
    for row, first_s in zip(rows, came.tolist(), strict=True):
        steps = np.frombuffer(row["steps"], table.GROUPS["track"])

        def added(first: str, by: str, row: np.void = row, steps: np.ndarray = steps) -> np.ndarray:
            total: np.ndarray = int(row[first]) + np.concatenate([[0], np.cumsum(steps[by].astype(np.int64))])
            return total

        later = added("time_cs", "later_cs") / 100
        speeds = np.concatenate([[float(row["speed"])], steps["speed"].astype(float)]) / 100 * KNOT_M_S
        north, east = added("latitude", "north") / _UNITS_PER_DEGREE, added("longitude", "east") / _UNITS_PER_DEGREE
        good = (np.abs(north) <= 90) & (np.abs(east) <= 180) & (later < 2 * _DAY_S)
        for at, n, e, v in zip(
            later[good].tolist(), north[good].tolist(), east[good].tolist(), speeds[good].tolist(), strict=True
        ):
            if first_s == first_s:
                found.append((Fix(at % _DAY_S, n, e, v, np.nan), first_s + at - float(row["time_cs"]) / 100))
    return found


def _positions(fixes: Sequence[tuple[Fix, float]]) -> Positions:
    notes = []
    if not fixes:
        empty = np.zeros(0)
        return Positions(empty, empty, empty, empty, ("The receiver never had a position.",))
    came = np.array([at for _, at in fixes])
    day = np.array([fix.time_s for fix, _ in fixes])
    at, set_times = _placed(day, came)
    if set_times:
        notes.append(
            f"The receiver's time was set {'once' if set_times == 1 else f'{set_times} times'} during the drive; positions are placed by when they came."
        )
    ahead_s = float((at[-1] - day[-1] + _DAY_S / 2) % _DAY_S - _DAY_S / 2)
    place = np.array([(fix.latitude_deg, fix.longitude_deg, fix.speed_m_s) for fix, _ in fixes])
    order = np.lexsort((np.isnan(place[:, 2]), at))  # of two of one moment the one with a speed first
    at, place = at[order], place[order]
    new = np.concatenate([[True], np.diff(at) > 0.02])
    at, place = at[new], place[new]
    kept = _without_jumps(at, place)
    if not kept.all():
        jumps = np.count_nonzero(~kept)
        were, are = ("was a jump", "is") if jumps == 1 else ("were jumps", "are")
        notes.append(f"{jumps} of {counted(len(kept), 'position')} {were} and {are} left out.")
    at, place = at[kept], place[kept]
    return Positions(at, place[:, 0], place[:, 1], place[:, 2], tuple(notes), ahead_s)


def _received(decoded: Decoded, timeline: Timeline) -> np.ndarray:
    """When each sentence came, in seconds of the timeline: from the anchors before and after it in monotonic time, else by the board's last frame."""
    rows, anchors = decoded.messages["sentence"], decoded.messages["wall_anchor"]
    coarse = timeline.seconds(rows["boot"], rows["time"])
    anchors = anchors[np.isfinite(anchors["time"]) & (anchors["flags"] == 0)]
    if not len(anchors):
        return coarse
    offset = timeline.seconds(anchors["boot"], anchors["time"]) - anchors["monotonic_us"] / 1e6
    usable = np.isfinite(offset)
    order = np.argsort(anchors["monotonic_us"][usable], kind="stable")
    if not order.size:
        return coarse
    at = rows["monotonic_us"] / 1e6
    fine = at + np.interp(at, anchors["monotonic_us"][usable][order] / 1e6, offset[usable][order])
    # the monotonic clock of another computer, or of one that restarted, is far from the board's frames
    return np.where(np.isfinite(coarse) & (np.abs(fine - coarse) > 10.0), coarse, fine)


def _placed(day_s: np.ndarray, came_s: np.ndarray) -> tuple[np.ndarray, int]:
    """(seconds (n,) of each fix, how often the receiver's time was set): its own steps, shifted to the arrival of the sentences with the least delay."""
    behind = (came_s - day_s + _DAY_S / 2) % _DAY_S - _DAY_S / 2
    shift = np.concatenate(
        [[0.0], np.cumsum(np.where(np.abs(np.diff(behind)) > _DAY_S / 2, -np.sign(np.diff(behind)) * _DAY_S, 0.0))]
    )
    behind = behind + shift
    soonest = _soonest(behind, came_s)
    edges = [0, *(np.flatnonzero(np.abs(np.diff(soonest)) > STEP_S) + 1).tolist(), len(soonest)]
    for first, end in pairwise(edges):  # the two clocks drift apart along a straight line
        at = came_s[first:end] - came_s[first]
        if at[-1] >= _DRIFTS_S:
            soonest[first:end] = np.polyval(np.polyfit(at, soonest[first:end], 1), at)
        else:
            soonest[first:end] = np.median(soonest[first:end])
    return came_s - behind + soonest, len(edges) - 2


def _soonest(behind: np.ndarray, came_s: np.ndarray) -> np.ndarray:
    """How far the receiver's time is behind for a sentence without delay (n,): the least of the minute before or of the minute after, whichever is
    greater. A port that stalls raises neither; a time that is set moves one of them at once. Nothing comes before it was sent."""
    step = float(np.median(np.diff(came_s))) if len(came_s) > 1 else 1.0
    count = int(np.clip(_MINUTE_S / max(step, 0.01), 5, 3000))
    before, after = (pd.Series(way).rolling(count, min_periods=1).min().to_numpy() for way in (behind, behind[::-1]))
    soonest: np.ndarray = np.maximum(before, after[::-1])
    return soonest


def _without_jumps(at_s: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Which fixes (n,) a car can have reached from the last good one, after at most _BACK_AFTER that agree among themselves."""
    kept = np.ones(len(at_s), bool)
    last, apart = 0, 0
    for row in range(1, len(at_s)):
        if _fits(at_s, place, last, row):
            last, apart = row, 0
            continue
        kept[row] = False
        apart = apart + 1 if apart and _fits(at_s, place, row - 1, row) else 1
        if apart >= _BACK_AFTER:  # the car is there: the earlier fix was the jump
            kept[row - apart + 1 : row + 1] = True
            last, apart = row, 0
    return kept


def _fits(at_s: np.ndarray, place: np.ndarray, first: int, second: int) -> bool:
    north, east = np.radians(place[second, :2] - place[first, :2])
    east = (east + np.pi) % (2 * np.pi) - np.pi
    way = _EARTH_M * float(np.hypot(north, east * np.cos(np.radians(place[second, 0]))))
    return way <= 20.0 + FASTEST_M_S * float(at_s[second] - at_s[first])

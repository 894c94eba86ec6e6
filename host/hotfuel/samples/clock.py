"""Board time to wall time, from the wall anchors the host writes into the log.

An anchor says: at this wall time a frame with this board time arrived. The board's crystal drifts (tens of ppm, with temperature), an anchor comes
late when the link was busy, and the laptop's clock may be set during a drive. So: a set clock is recognised by the host's monotonic clock and undone
(the later time counts for the whole boot), one line is fitted through all anchors by medians, and the remainder is followed in ten-minute windows.
A simulated board that runs faster than real time keeps its own seconds, beginning at its first anchor.
"""

import datetime
import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from hotfuel.text import counted, listed

_WINDOW_S = 600.0
_SET_S = 0.2  # a jump of wall time against monotonic time beyond this is a clock that was set
_PAIRS = 401  # anchors used for the drift, evenly picked
_NOTED_S = 60.0  # a clock that was set by less is not reported
_EARLIEST_S = 1_704_067_200.0  # 2024-01-01: nothing was recorded before
_LATEST_US = 7_258_118_400_000_000  # 2200-01-01
DRIFT_MAX = 500e-6  # a crystal is good to 50 ppm; beyond ten times that the anchors are wrong, not the crystal


@dataclass
class _Line:
    """One boot: wall = time + offset(time), offset interpolated between nodes."""

    time_s: np.ndarray
    offset_s: np.ndarray
    drift: float
    uncertainty_s: float


@dataclass
class Clock:
    """`wall_s(boot, time_s)` for every boot that has an anchor. Built with `from_anchors`."""

    lines: dict[int, _Line] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)  # wall times that were impossible or set, in sentences

    @classmethod
    def from_anchors(cls, anchors: np.ndarray, fast_boots: frozenset[int] = frozenset()) -> "Clock":
        """anchors: rows of samples.table.MESSAGES["wall_anchor"] (boot, time, wall_us, monotonic_us, flags), in log order.

        fast_boots: boots of a simulated board that does not run at real time.
        """
        clock = cls()
        usable = anchors[np.isfinite(anchors["time"])]
        possible = usable["wall_us"] < _LATEST_US
        if not possible.all():
            wrong = int((~possible).sum())
            clock.notes.append(
                f"{wrong} of {counted(len(usable), 'time')} of day in this recording {'is' if wrong == 1 else 'are'} impossible (beyond the year 2200) and "
                f"{'was' if wrong == 1 else 'were'} left out."
            )
            usable = usable[possible]
        settings: list[str] = []
        for boot in np.unique(usable["boot"]):
            mine = usable[usable["boot"] == boot]
            # preferred: measured now, then the board's own clock, then what a person stated
            mine = mine[mine["flags"] == mine["flags"].min()]
            clock.lines[int(boot)] = _own_seconds(mine) if int(boot) in fast_boots else _fit(mine, clock.notes, settings)
            first_s = float(clock.wall_s(int(boot), mine["time"].min()))
            if first_s < _EARLIEST_S:
                day = datetime.datetime.fromtimestamp(first_s, datetime.UTC).date()
                clock.notes.append(
                    f"The clock said {day} when this was recorded, which is impossible: dates and times of day are wrong, lengths of time are right."
                )
        told = [how + {1: "", 2: " twice"}.get(often, f" {often} times") for how, often in Counter(settings).items()]
        clock.notes += [
            f"The computer's clock was set {listed(told)} during the recording; times are by the clock as it was after."
            for _ in told[:1]
        ]
        clock.notes = list(dict.fromkeys(clock.notes))
        return clock

    def known(self, boot: int) -> bool:
        """True if this boot has a wall time."""
        return int(boot) in self.lines

    def wall_s(self, boot, time_s) -> np.ndarray:
        """Unix seconds of board times `time_s` (s since that boot); arrays broadcast; nan where the boot has no anchor.

        Example: `decoded.clock.wall_s(decoded.readings["boot"], decoded.readings["time"])`.
        """
        boot, time_s = np.broadcast_arrays(np.asarray(boot), np.asarray(time_s, float))
        wall = np.full(time_s.shape, np.nan)
        for number, line in self.lines.items():
            mine = boot == number
            if mine.any():
                time = time_s[mine]
                outside = np.clip(time, line.time_s[0], line.time_s[-1])
                wall[mine] = time + np.interp(time, line.time_s, line.offset_s) + line.drift * (time - outside)
        return wall

    def uncertainty_s(self, boot: int) -> float:
        """Standard uncertainty of that boot's wall times, s: scatter of its anchors about the fit; nan if it has none."""
        line = self.lines.get(int(boot))
        return line.uncertainty_s if line else math.nan


def _own_seconds(anchors: np.ndarray) -> _Line:
    first = anchors[0]
    return _Line(np.array([first["time"]]), np.array([first["wall_us"] / 1e6 - first["time"]]), 0.0, 0.0)


def _fit(anchors: np.ndarray, notes: list[str], settings: list[str]) -> _Line:
    order = np.argsort(anchors["time"], kind="stable")
    undone, set_by = _undo_setting(anchors)
    wall_s = undone[order]
    settings += _in_words(set_by)
    time_s = anchors["time"][order]
    offset = wall_s - time_s
    drift = _median_slope(time_s, offset)
    flat = offset - drift * time_s
    middle = np.median(flat)
    scatter = 1.4826 * np.median(np.abs(flat - middle))
    good = np.abs(flat - middle) <= max(10 * scatter, 1.0)
    if not good.all() and np.abs(flat - middle)[~good].max() >= _NOTED_S:
        off_s = float(np.abs(flat - middle)[~good].max())
        wrong = int((~good).sum())
        contradict, were = ("contradicts", "was") if wrong == 1 else ("contradict", "were")
        notes.append(f"{wrong} of {len(good)} times of day {contradict} the others by up to {length(off_s)} and {were} left out.")
    time_s, flat = time_s[good], flat[good]
    window = ((time_s - time_s[0]) // _WINDOW_S).astype(int)
    begins = np.flatnonzero(np.diff(window, prepend=-1))
    in_window = flat[np.lexsort((flat, window))]
    node_time, node_flat = _medians(time_s, begins), _medians(in_window, begins)
    left = flat - np.interp(time_s, node_time, node_flat)
    uncertainty = float(1.4826 * np.median(np.abs(left))) if len(left) > 1 else 0.1
    # Between nodes the offset is straight; the drift also holds inside a window, so there are two more nodes at the ends.
    ends = np.array([time_s[0], time_s[-1]])
    all_time = np.concatenate((ends[:1], node_time, ends[1:]))
    all_flat = np.concatenate((node_flat[:1], node_flat, node_flat[-1:]))
    return _Line(all_time, all_flat + drift * all_time, float(drift), uncertainty)


def _medians(values: np.ndarray, begins: np.ndarray) -> np.ndarray:
    """The median of each window of `values`, which ascend within it; `begins`: where each window begins."""
    middle = np.diff(begins, append=len(values)) - 1
    return (values[begins + middle // 2] + values[begins + (middle + 1) // 2]) / 2


def length(seconds: float) -> str:
    """How far a clock is off: "2.0 h", "60 min", "18 s"."""
    return f"{seconds / 3600:.1f} h" if seconds >= 5400 else f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"


def setting(wall_step_s: float, monotonic_step_s: float, board_step_s: float) -> str:
    """How the computer's clock was set between two anchors, "back by 60 min"; "" if it was not, or by too little to tell."""
    by = _set_by(np.array([wall_step_s]), np.array([monotonic_step_s]), np.array([board_step_s]))
    return "".join(_in_words(by))


def _in_words(set_by: np.ndarray) -> list[str]:
    return [f"{'forward' if by > 0 else 'back'} by {length(abs(by))}" for by in set_by.tolist() if abs(by) >= _NOTED_S]


def _undo_setting(anchors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Wall times in s, as if the clock had always been as at the end of the boot; and by how much it was set before each following anchor, s.

    Wall time jumps while monotonic time keeps pace with the board: the clock was set. Both jump against the board: the computer slept, or another
    recording continued; then wall time is right.
    """
    wall_s = anchors["wall_us"].astype(np.int64) / 1e6
    wall_step = np.diff(anchors["wall_us"].astype(np.int64)) / 1e6
    monotonic_step = np.diff(anchors["monotonic_us"].astype(np.int64)) / 1e6
    board_step = np.diff(anchors["time"])
    set_by = _set_by(wall_step, monotonic_step, board_step)
    # each anchor is shifted by all settings that came after it
    return wall_s + np.concatenate((np.cumsum(set_by[::-1])[::-1], [0.0])), set_by


def _set_by(wall_step: np.ndarray, monotonic_step: np.ndarray, board_step: np.ndarray) -> np.ndarray:
    was_set = (np.abs(wall_step - monotonic_step) > _SET_S) & (
        np.abs(monotonic_step - board_step) < _SET_S + DRIFT_MAX * np.abs(board_step)
    )
    return np.where(was_set, wall_step - monotonic_step, 0.0)


def _median_slope(time_s: np.ndarray, offset_s: np.ndarray) -> float:
    """Drift by the median of slopes between anchors half the record apart (after Theil and Sen); 0 while the record is too short to tell."""
    if len(time_s) < 8 or time_s[-1] - time_s[0] < 60:
        return 0.0
    picked = np.unique(np.linspace(0, len(time_s) - 1, _PAIRS).astype(int))
    half = len(picked) // 2
    first, second = picked[:half], picked[len(picked) - half :]
    apart = time_s[second] - time_s[first]
    usable = apart > 0
    slope = float(np.median((offset_s[second] - offset_s[first])[usable] / apart[usable])) if usable.any() else 0.0
    return slope if abs(slope) <= DRIFT_MAX else 0.0

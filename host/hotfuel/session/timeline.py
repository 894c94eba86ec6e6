"""Board times of all boots of a recording on one axis: wall time where the log has anchors, else seconds."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd

from hotfuel.samples.clock import Clock

OVERLAP_S = 60.0  # a start of the board this long before the end of the one before is noted
_FARTHEST_S = 9e12  # in microseconds, as an index has them, this fits into 64 bits
UNPLACED_STEP_S = 1.0  # between two boots whose distance is unknown


@dataclass
class Timeline:
    """`seconds(boot, time_s)`: unix seconds if `anchored`, else seconds since the first boot. `notes`: what was assumed, in sentences."""

    clock: Clock
    anchored: bool
    offsets_s: dict[int, float]
    notes: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, clock: Clock, boot: np.ndarray, time_s: np.ndarray) -> "Timeline":
        """boot, time_s: of all readings, in log order.

        A boot without an anchor is put right after the one before it, or, at the beginning, right before the first one that has an anchor.
        """
        boots = [int(number) for number in np.unique(boot)]
        spans = {number: (float(np.nanmin(time_s[boot == number])), float(np.nanmax(time_s[boot == number]))) for number in boots}
        known = [number for number in boots if clock.known(number)]
        line = cls(clock, bool(known), {})
        if not known:
            end = None
            for number in boots:
                first, last = spans[number]
                line.offsets_s[number] = 0.0 if end is None else end + UNPLACED_STEP_S - first
                end = last + line.offsets_s[number]
            if len(boots) > 1:
                line.notes.append(
                    f"The board started {len(boots)} times and no time of day is known: the parts are shown one right after another, however long it stood "
                    "between them."
                )
            return line
        behind = float(clock.wall_s(known[0], spans[known[0]][0]))
        for number in reversed([number for number in boots if number < known[0]]):
            line.offsets_s[number] = behind - UNPLACED_STEP_S - spans[number][1]
            behind = spans[number][0] + line.offsets_s[number]
        before = 0.0
        for number in (number for number in boots if number >= known[0]):
            first, last = spans[number]
            if number in known:
                before = float(clock.wall_s(number, last))
            else:
                line.offsets_s[number] = before + UNPLACED_STEP_S - first
                before = last + line.offsets_s[number]
        line._note_overlaps([number for number in known if number in spans], spans)
        if line.offsets_s:
            have, they = ("has", "it is put next to its") if len(line.offsets_s) == 1 else ("have", "they are put next to their")
            line.notes.append(
                f"{len(line.offsets_s)} of {len(boots)} starts of the board {have} no time of day: {they} neighbours."
            )
        return line

    def _note_overlaps(self, known: list[int], spans: dict[int, tuple[float, float]]) -> None:
        """Note where a start of the board lies before the end of the one before it: the clock was set between them."""
        for earlier, later in pairwise(known):
            over_s = float(self.clock.wall_s(earlier, spans[earlier][1])) - float(self.clock.wall_s(later, spans[later][0]))
            if over_s > OVERLAP_S:
                days = over_s / 86400
                by = f"{over_s / 60:.0f} min" if days < 1 else f"{over_s / 3600:.0f} h" if days < 3 else f"{days:.0f} days"
                why = "the computer's clock was set back between them"
                if days >= 1:  # a clock is set right by less: a log joined by hand is as likely
                    why = "the computer's clock was wrong in one of them, or the log holds parts of two recordings, which belong apart"
                self.notes.append(
                    f"By their times of day, start {later + 1} of the board lies {by} before the end of start {earlier + 1}: {why}."
                )

    def seconds(self, boot: np.ndarray, time_s: np.ndarray) -> np.ndarray:
        """Any shapes that broadcast; nan for a boot without readings and without an anchor."""
        boot, time_s = np.broadcast_arrays(np.asarray(boot), np.asarray(time_s, dtype=float))
        result = self.clock.wall_s(boot, time_s) if self.anchored else np.full(time_s.shape, np.nan)
        for number, offset in self.offsets_s.items():
            mine = boot == number
            result[mine] = time_s[mine] + offset
        return result

    def index(self, seconds: np.ndarray) -> pd.DatetimeIndex | pd.TimedeltaIndex:
        """Seconds of this line as a pandas index named "time": UTC if anchored, else time deltas; nan becomes NaT."""
        if not len(seconds) or (seconds.min() > -_FARTHEST_S and seconds.max() < _FARTHEST_S):  # False for nan
            micro = seconds * 1e6
            micro = np.rint(micro, out=micro).astype(np.int64)
        else:
            known = np.abs(seconds) < _FARTHEST_S
            micro = np.where(known, np.rint(np.where(known, seconds, 0) * 1e6), np.iinfo(np.int64).min).astype(np.int64)
        if self.anchored:
            return pd.DatetimeIndex(micro.view("datetime64[us]"), name="time").tz_localize("UTC")
        return pd.TimedeltaIndex(micro.view("timedelta64[us]"), name="time")

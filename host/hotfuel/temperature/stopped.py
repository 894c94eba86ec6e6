"""Amplifiers that repeat one result for ever, found by the box they share: some chips cannot say whether a result is new (MAX31855).

All amplifiers sit within a few centimetres in one closed box, and each sends its own temperature in steps of a sixteenth of a degree or finer. Where the
others have warmed or cooled by a whole degree since a channel's two codes last changed, sixteen of its steps or more, it no longer converts. Others are
those that answer and whose own codes changed in the later half of that time: two of them, for one may itself go astray, or the only one that answers at
all. A truly steady reading never looks so: its own temperature follows the box within a few steps; and where nothing moves, nothing is concluded. It
takes minutes. Where of three amplifiers two stop, the third alone does not tell. The board itself finds a MAX31856 within seconds and an MCP9600 or
MCP9601 at once.
"""

import numpy as np

from hotfuel.temperature.counts import NO_NEW_CONVERSION

MOVED_DEGC = 1.0  # of every other amplifier that converts; the coarsest step of an amplifier's own temperature is 1/16 degC
_WITNESSES = 2
LEAST_ROWS = 100  # ten seconds at the fastest rate: a box does not move that far in less


class Stopped:
    """Feed it the scans of a recording in order, whole or in parts: the answer is the same."""

    def __init__(self) -> None:
        self._kind: tuple[int, int, int] | None = None  # boot, description and channels of the scan before
        self._last: tuple[np.ndarray, np.ndarray] = (np.zeros(0), np.zeros(0))  # its codes
        # by channel: every amplifier's own temperature when its codes last changed, scans since then, whether it has stopped
        self._base, self._age, self._stopped = np.zeros((0, 0)), np.zeros(0, int), np.zeros(0, bool)

    def mark(self, scans: np.ndarray, degc: np.ndarray, reason: np.ndarray, cold_degc: np.ndarray) -> None:
        """Take away the temperatures of channels that have stopped and give the reason; the three as of hotfuel.temperature.counts.scans_degc."""
        if not len(scans):
            return
        boot, description = scans["boot"], scans["description_id"]
        edges = (np.flatnonzero((boot[1:] != boot[:-1]) | (description[1:] != description[:-1])) + 1).tolist()
        for begin, end in zip([0, *edges], [*edges, len(scans)], strict=True):
            part = slice(begin, end)
            kind = int(boot[begin]), int(description[begin]), cold_degc.shape[1]
            old = self._see(scans["channels"][part], cold_degc[part], kind)
            for channel, rows in old:
                here = rows[reason[part][rows, channel] == 0] + begin
                degc[here, channel], reason[here, channel] = np.nan, NO_NEW_CONVERSION

    def _see(self, channels: np.ndarray, cold_degc: np.ndarray, kind: tuple[int, int, int]) -> list[tuple[int, np.ndarray]]:
        """(channel, rows) that are old, of scans of one boot and description."""
        hot, cold = (np.ascontiguousarray(channels[name]) for name in ("hot", "cold"))
        changed = np.ones(cold_degc.shape, bool)
        np.not_equal(hot[1:], hot[:-1], out=changed[1:])
        changed[1:] |= cold[1:] != cold[:-1]
        if kind == self._kind:
            changed[0] = (hot[0] != self._last[0]) | (cold[0] != self._last[1])
        else:
            width = kind[2]
            self._base, self._age, self._stopped = np.zeros((width, width)), np.zeros(width, int), np.zeros(width, bool)
        self._kind, self._last = kind, (hot[-1].copy(), cold[-1].copy())
        if changed.all():  # as noise has it
            self._base[:], self._age[:], self._stopped[:] = cold_degc[-1], 1, False
            return []
        ages = self._age.copy()
        found = [(channel, self._channel(channel, changed, ages, cold_degc)) for channel in range(kind[2])]
        return [(channel, rows) for channel, rows in found if len(rows)]

    def _channel(self, channel: int, changed: np.ndarray, ages: np.ndarray, cold_degc: np.ndarray) -> np.ndarray:
        """Rows of one channel that are old; changed: where any channel's codes did; ages: scans since that, before the first row."""
        count = len(cold_degc)
        changes = np.flatnonzero(changed[:, channel])
        old = [self._stretch(channel, slice(0, int(changes[0]) if len(changes) else count), changed, ages, cold_degc)]
        if len(changes):
            ends = np.append(changes[1:], count)
            long = ends - changes >= LEAST_ROWS
            long[-1] = True  # it may go on in the next part
            for begin, end in zip(changes[long].tolist(), ends[long].tolist(), strict=True):
                self._base[channel], self._age[channel], self._stopped[channel] = cold_degc[begin], 0, False
                old.append(self._stretch(channel, slice(begin, end), changed, ages, cold_degc))
        return np.concatenate(old)

    def _stretch(self, channel: int, part: slice, changed: np.ndarray, ages: np.ndarray, cold_degc: np.ndarray) -> np.ndarray:
        """Old rows among those of `part`, in which its codes stay; changed, ages: as `_channel` has them."""
        begin, end = part.start, part.stop
        age, base = int(self._age[channel]), self._base[channel]
        self._age[channel] += end - begin
        if self._stopped[channel]:
            return np.arange(begin, end)
        if begin == end or age + end - begin <= LEAST_ROWS:
            return np.zeros(0, int)
        others = np.flatnonzero(np.isfinite(base))
        others = others[others != channel]
        here = cold_degc[part, others]
        answers = np.isfinite(here)
        moved = np.abs(here - base[others]) >= MOVED_DEGC
        if not moved.any():
            return np.zeros(0, int)
        rows = np.arange(begin, end)[:, None]
        last = np.maximum.accumulate(np.where(changed[part, others], rows, -ages[others]))
        converts = moved | (
            last > rows - (rows - begin + age) / 2
        )  # amplifiers that stop together changed last at about one time
        proven = (moved | ~answers | ~converts).all(axis=1) & (moved.sum(axis=1) >= np.clip(answers.sum(axis=1), 1, _WITNESSES))
        proven[: max(LEAST_ROWS - age, 0)] = False
        self._stopped[channel] = proven.any()
        return np.arange(begin + int(proven.argmax()), end) if proven.any() else np.zeros(0, int)

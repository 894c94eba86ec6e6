"""Amplifiers that repeat one result for ever, found by the box they share: some chips cannot say whether a result is new (MAX31855).

All amplifiers sit within a few centimetres in one closed box, and each sends its own temperature in steps of a sixteenth of a degree or finer. Where all
the others have warmed or cooled by a whole degree since a channel's two codes last changed, sixteen of its steps or more, it no longer converts. A
truly steady reading never looks so: its own temperature follows the box within a few steps; and where nothing moves, nothing is concluded. It takes
minutes. The board itself finds a MAX31856 within seconds and an MCP9600 or MCP9601 at once.
"""

import numpy as np

from hotfuel.temperature.counts import NO_NEW_CONVERSION

MOVED_DEGC = 1.0  # of every other amplifier; the coarsest step of an amplifier's own temperature is 1/16 degC
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
        found = [(channel, self._channel(channel, np.flatnonzero(changed[:, channel]), cold_degc)) for channel in range(kind[2])]
        return [(channel, rows) for channel, rows in found if len(rows)]

    def _channel(self, channel: int, changes: np.ndarray, cold_degc: np.ndarray) -> np.ndarray:
        """Rows of one channel that are old; `changes`: those at which its codes changed."""
        count = len(cold_degc)
        old = [self._stretch(channel, 0, int(changes[0]) if len(changes) else count, cold_degc)]
        if len(changes):
            ends = np.append(changes[1:], count)
            long = ends - changes >= LEAST_ROWS
            long[-1] = True  # it may go on in the next part
            for begin, end in zip(changes[long].tolist(), ends[long].tolist(), strict=True):
                self._base[channel], self._age[channel], self._stopped[channel] = cold_degc[begin], 0, False
                old.append(self._stretch(channel, begin, end, cold_degc))
        return np.concatenate(old)

    def _stretch(self, channel: int, begin: int, end: int, cold_degc: np.ndarray) -> np.ndarray:
        """Old rows among those from `begin` to `end`, in which its codes stay."""
        age, base = int(self._age[channel]), self._base[channel]
        self._age[channel] += end - begin
        if self._stopped[channel]:
            return np.arange(begin, end)
        if begin == end or age + end - begin <= LEAST_ROWS:
            return np.zeros(0, int)
        others = np.flatnonzero(np.isfinite(base))
        others = others[others != channel]
        moved = (np.abs(cold_degc[begin:end, others] - base[others]) >= MOVED_DEGC).all(axis=1) & bool(len(others))
        moved[: max(LEAST_ROWS - age, 0)] = False
        self._stopped[channel] = moved.any()
        return np.arange(begin + int(moved.argmax()), end) if moved.any() else np.zeros(0, int)

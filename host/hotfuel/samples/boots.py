"""Board time: unwrapped beyond 2^32 ms, and told apart from one boot of the board to the next.

A new boot is seen in any of three ways: board time falls back by more than anything the board can hold back (BACK_MS); a reading names another
description and is earlier than the reading before (readings leave the board in order); a description carries another board or boot count.
`step` takes one frame, `steps` a block of them with the same result.
"""

import math

import numpy as np
from hotfuel_wire.messages import TYPES

BACK_MS = 15_000  # a full ring and a blocked link delay a reading behind other frames by less
_READING, _DESCRIPTION, _COMMAND = TYPES["reading"], TYPES["description"], TYPES["command"]
_FIRST_HOST_TYPE = TYPES["wall_anchor"]
_WRAP = 1 << 32


def _signed(difference):
    """A difference of two 32-bit times, as the shorter way round."""
    return (difference + _WRAP // 2) % _WRAP - _WRAP // 2


class Boots:
    """State along one log. `boot`: the current one, -1 before the first board frame."""

    def __init__(self) -> None:
        self.boot = -1
        self._last = 0  # board time of the last frame, ms, unwrapped
        self._most = 0  # greatest of this boot
        self._key: object = None  # board id and boot count, once a description told them
        self._reading_id: int | None = None
        self._reading_ms = 0

    def step(self, kind: int, tick: int, time_ms: int, reading_id: int | None = None, key: object = None) -> tuple[int, float]:
        """(boot, time in s since that boot) of one frame, in log order.

        kind: the message type. reading_id: a reading's description_id. key: anything that tells a description's board and boot count.
        A host frame gets the boot so far and the board time it carries; nan if it carries none.
        """
        if kind >= _FIRST_HOST_TYPE or kind == _COMMAND:
            if self.boot < 0 or not (tick or time_ms):
                return max(self.boot, 0), math.nan
            return self.boot, (self._last + _signed(time_ms - self._last)) / 1000
        self._take(kind, time_ms, reading_id, key)
        return self.boot, self._last / 1000

    def _take(self, kind: int, time_ms: int, reading_id: int | None, key: object) -> bool:
        """Take one board frame; True if it is the first of a new boot."""
        now = self._last + _signed(time_ms - self._last)
        new = (
            self.boot < 0
            or now < self._most - BACK_MS
            or (kind == _READING and self._reading_id is not None and reading_id != self._reading_id and now < self._reading_ms)
            or (kind == _DESCRIPTION and self._key is not None and key != self._key)
        )
        if new:
            self.boot = min(self.boot + 1, 0xFFFF)
            now = self._most = time_ms
            self._key = self._reading_id = None
        self._last = now
        self._most = max(self._most, now)
        if kind == _READING:
            self._reading_id, self._reading_ms = reading_id, now
        elif kind == _DESCRIPTION:
            self._key = key
        return new

    def steps(
        self, kind: np.ndarray, tick: np.ndarray, time_ms: np.ndarray, reading_id: np.ndarray, keys: dict[int, object]
    ) -> tuple[np.ndarray, np.ndarray]:
        """(boot uint16, time in s) of a block of frames; every array has one entry a frame, `reading_id` counts where kind is a reading.

        keys: position in the block -> key, for the descriptions. Only frames where something can happen are looked at one by one.
        """
        from_host = (kind >= _FIRST_HOST_TYPE) | (kind == _COMMAND)
        if not from_host.any():
            boot, time_ms_long = self._board_steps(kind, time_ms, reading_id, keys)
            return boot, time_ms_long / 1000
        board, host = np.flatnonzero(~from_host), np.flatnonzero(from_host)
        boot, time_s = np.empty(len(kind), np.uint16), np.empty(len(kind))
        # what a host frame refers to: the board frame before it, for the first ones the state this block began with
        boots, lasts = np.array([self.boot]), np.array([self._last])
        if len(board):
            board_keys = {int(np.searchsorted(board, at)): key for at, key in keys.items()}
            boot[board], board_ms = self._board_steps(kind[board], time_ms[board], reading_id[board], board_keys)
            time_s[board] = board_ms / 1000
            boots, lasts = np.concatenate((boots, boot[board])), np.concatenate((lasts, board_ms))
        before = np.searchsorted(board, host)
        last = lasts[before]
        own = (last + _signed(time_ms[host].astype(np.int64) - last)) / 1000
        nothing = (boots[before] < 0) | ((tick[host] == 0) & (time_ms[host] == 0))
        boot[host] = np.maximum(boots[before], 0)
        time_s[host] = np.where(nothing, np.nan, own)
        return boot, time_s

    def _board_steps(
        self, kind: np.ndarray, time_ms: np.ndarray, reading_id: np.ndarray, keys: dict[int, object]
    ) -> tuple[np.ndarray, np.ndarray]:
        """(boot, time in ms since that boot) of board frames only, at least one."""
        if self.boot < 0:
            self._last = int(time_ms[0])
        times = time_ms.astype(np.int64)
        steps = _signed(np.diff(times, prepend=self._last))
        running = self._last + np.cumsum(steps)  # as if all were one boot
        readings = np.flatnonzero(kind == _READING)
        ids = reading_id[readings]
        looked_at = (steps < 0) | (kind == _DESCRIPTION)
        looked_at[readings[1:]] |= ids[1:] != ids[:-1]
        looked_at[readings[:1]] = looked_at[0] = True
        looked = np.flatnonzero(looked_at)
        reading_before = np.searchsorted(readings, looked) - 1

        starts, boots, shifts = [0], [self.boot], [0]  # from position on: boot, and running - shift is its board time
        for at, reading in zip(looked.tolist(), reading_before.tolist(), strict=True):
            self._pass_over(at - 1, reading, starts[-1], shifts[-1], running, readings, reading_id)
            if self._take(int(kind[at]), int(times[at]), int(reading_id[at]), keys.get(at)):
                starts.append(at)
                boots.append(self.boot)
                shifts.append(int(running[at] - times[at]))
        self._pass_over(len(kind) - 1, len(readings) - 1, starts[-1], shifts[-1], running, readings, reading_id)
        lengths = np.diff([*starts, len(kind)])
        return np.repeat(np.array(boots), lengths).astype(np.uint16), running - np.repeat(np.array(shifts), lengths)

    def _pass_over(self, last: int, reading: int, start: int, shift: int, running, readings, reading_id) -> None:
        """The state after frame `last`, when nothing happened since the one looked at before; `reading`: number of the last reading up to there."""
        if last < start:
            return
        self._last = int(running[last]) - shift
        self._most = max(self._most, self._last)
        if reading >= 0 and readings[reading] >= start:
            self._reading_id = int(reading_id[readings[reading]])
            self._reading_ms = int(running[readings[reading]]) - shift

"""Board time: unwrapped beyond 2^32 ms, and the boots of the board told apart.

A new boot is seen in any of three ways: board time falls back by more than the board can delay a frame (BACK_MS); a reading names another
description and is earlier than the reading before (readings leave the board in order); a description carries another board id or boot count.
`step` takes one frame, `steps` a block of them with the same result.
"""

import math

import numpy as np
from hotfuel_wire.messages import TYPES

from hotfuel.log.board_parts import wrapped

BACK_MS = 15_000  # a full ring buffer and a blocked link delay a reading by less than this
_READING, _DESCRIPTION, _COMMAND = TYPES["reading"], TYPES["description"], TYPES["command"]
_FIRST_HOST_TYPE = TYPES["wall_anchor"]
_NEUTRAL = TYPES["health"]  # a board message that says nothing about boots


class Boots:
    """State along one log. `boot`: the current one, -1 before the first board frame."""

    def __init__(self) -> None:
        self.boot = -1
        self._last = 0  # board time of the last frame, ms, unwrapped
        self._most = 0  # the greatest in this boot
        self._key: object = None  # board id and boot count, once a description gave them
        self._reading_id: int | None = None
        self._reading_ms = 0

    def step(self, kind: int, tick: int, time_ms: int, reading_id: int | None = None, key: object = None) -> tuple[int, float]:
        """(boot, time in s since that boot) of one frame, in log order.

        kind: the message type. reading_id: a reading's description_id. key: any value that identifies a description's board and boot count.
        A host frame gets the current boot and the board time it carries; nan if it carries none.
        """
        if kind >= _FIRST_HOST_TYPE or kind == _COMMAND:
            if self.boot < 0 or not (tick or time_ms):
                return max(self.boot, 0), math.nan
            return self.boot, (self._last + wrapped(time_ms - self._last)) / 1000
        self._take(kind, time_ms, reading_id, key)
        return self.boot, self._last / 1000

    def _take(self, kind: int, time_ms: int, reading_id: int | None, key: object) -> bool:
        """Take one board frame; True if it is the first of a new boot."""
        now = self._last + wrapped(time_ms - self._last)
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
        self, kind: np.ndarray, tick: np.ndarray, time_ms: np.ndarray, reading_id: np.ndarray | int, keys: dict[int, object]
    ) -> tuple[np.ndarray, np.ndarray]:
        """(boot uint16, time in s) of a block of frames; the arrays have one entry a frame.

        tick: counts for host frames only. reading_id: counts where kind is a reading; a number if all readings name the same. keys: position in the
        block -> key, for the descriptions.
        """
        from_host = (kind >= _FIRST_HOST_TYPE) | (kind == _COMMAND)
        host = np.flatnonzero(from_host)
        first = int(np.argmin(from_host)) if len(host) < len(kind) else len(kind)
        boot, time_s = np.empty(len(kind), np.uint16), np.empty(len(kind))
        for at in range(first):
            boot[at], time_s[at] = self.step(int(kind[at]), int(tick[at]), int(time_ms[at]))
        if first == len(kind):
            return boot, time_s
        host = host[first:]
        board_ms, board_kind = time_ms, kind
        if len(host):
            # A host frame changes nothing: it is treated as a frame without effect, with the time of the board frame before it.
            board_ms, board_kind = time_ms.copy(), kind.copy()
            begins_run = np.diff(host, prepend=-2) > 1
            board_ms[host] = time_ms[np.maximum.accumulate(np.where(begins_run, host, 0)) - 1]
            board_kind[host] = _NEUTRAL
        ids = reading_id if isinstance(reading_id, int) else reading_id[first:]
        board_keys = {at - first: key for at, key in keys.items()} if first else keys
        boot[first:], unwrapped = self._board_steps(board_kind[first:], board_ms[first:], ids, board_keys)
        np.divide(unwrapped, 1000, out=time_s[first:])
        if len(host):
            last = unwrapped[host - first]
            own = (last + wrapped(time_ms[host].astype(np.int64) - last)) / 1000
            time_s[host] = np.where((tick[host] == 0) & (time_ms[host] == 0), np.nan, own)
        return boot, time_s

    def _board_steps(
        self, kind: np.ndarray, time_ms: np.ndarray, reading_id: np.ndarray | int, keys: dict[int, object]
    ) -> tuple[np.ndarray | int, np.ndarray]:
        """(boot, time in ms since that boot) of board frames only, at least one."""
        if self.boot < 0:
            self._last = self._most = int(time_ms[0])
        steps = np.empty(len(time_ms), np.int32)
        steps[0] = wrapped(int(time_ms[0]) - self._last)
        # 32-bit numbers wrap by themselves: their difference, read as signed, is the smaller one
        np.subtract(time_ms[1:], time_ms[:-1], out=steps[1:].view(np.uint32))
        if int(time_ms.max()) - int(time_ms.min()) < 1 << 31:  # none wraps: as the sum of the steps, sooner
            running = time_ms.astype(np.int64)
            running += self._last + int(steps[0]) - int(time_ms[0])
        else:
            running = np.cumsum(steps, dtype=np.int64)  # board time as if there were one boot
            running += self._last
        if self._goes_on(steps, running, reading_id, keys):
            self.boot = max(self.boot, 0)
            self._last = int(running[-1])
            self._most = max(self._most, int(running.max()))
            self._key = next(iter(keys.values()), self._key)
            behind = int(np.argmax(kind[::-1] == _READING))  # frames after the last reading
            if kind[-1 - behind] == _READING:
                self._reading_id, self._reading_ms = int(reading_id), int(running[-1 - behind])
            return self.boot, running
        return self._look(kind, time_ms, steps, running, np.broadcast_to(np.uint32(reading_id), kind.shape), keys)

    def _goes_on(self, steps: np.ndarray, running: np.ndarray, reading_id: np.ndarray | int, keys: dict[int, object]) -> bool:
        """True if nothing in this block can begin a new boot, but for the log's first."""
        known = set(keys.values()) | ({self._key} - {None})
        if not isinstance(reading_id, int) or self._reading_id not in (None, reading_id) or len(known) > 1:
            return False
        if steps.min() >= 0:
            return True
        most = np.maximum.accumulate(running)
        most -= BACK_MS
        return bool(running.min() >= self._most - BACK_MS and (running >= most).all())

    def _look(self, kind, time_ms, steps, running, reading_id, keys) -> tuple[np.ndarray, np.ndarray]:
        """As _board_steps, but one by one through every frame that could change something."""
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
            if self._take(int(kind[at]), int(time_ms[at]), int(reading_id[at]), keys.get(at)):
                starts.append(at)
                boots.append(self.boot)
                shifts.append(int(running[at]) - int(time_ms[at]))
        self._pass_over(len(kind) - 1, len(readings) - 1, starts[-1], shifts[-1], running, readings, reading_id)
        lengths = np.diff([*starts, len(kind)])
        return np.repeat(np.array(boots), lengths).astype(np.uint16), running - np.repeat(np.array(shifts), lengths)

    def _pass_over(self, last: int, reading: int, start: int, shift: int, running, readings, reading_id) -> None:
        """The state after frame `last`, where no frame changed anything since the one handled before; `reading`: number of the last reading up to there."""
        if last < start:
            return
        self._last = int(running[last]) - shift
        self._most = max(self._most, self._last)
        if reading >= 0 and readings[reading] >= start:
            self._reading_id = int(reading_id[readings[reading]])
            self._reading_ms = int(running[readings[reading]]) - shift

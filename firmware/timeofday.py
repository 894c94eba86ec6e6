"""Time of day: from a battery-backed clock chip, or from the host while the board has power. Sent as wall anchors."""

import sys

import chips
from clock import U32
from commands import Refused
from hotfuel_wire import const
from hotfuel_wire.messages import ANCHOR_FLAGS

_ANCHOR_MS = const(600_000)
_RETRY_MS = const(60_000)
_EARLIEST_S = const(1_735_689_600)  # 2025-01-01: an earlier clock was never set
_LATEST_S = const(4_102_444_800)  # 2100-01-01


class TimeOfDay:
    """Anchors are taken when the chip's second changes, so they are right to one pass of the main loop."""

    def __init__(self, board, application):
        self._application = application
        self._board = board
        self._chip = None  # a clock chip that answered; without one its module is loaded only to look for it
        self._base_us = None  # wall time at board time 0 (of the current 32-bit period)
        self._second = None  # the chip's second when the wait for a change began
        self._next_ms = 0
        self._last_ms = 0
        self._set_s = None  # what to write into the chip ...
        self._set_ms = 0  # ... and when that second begins
        self.source = "none"

    def wall_s(self, time_ms):
        """Seconds since 1970-01-01 at a board time within the hour; None while unknown."""
        return None if self._base_us is None else (self._base_us + time_ms * 1000) // 1_000_000

    def step(self, now_ms):
        """Called in every pass of the main loop; talks to the chip every 10 minutes for up to a second."""
        if now_ms < self._last_ms and self._base_us is not None:
            self._base_us += (U32 + 1) * 1000
        self._last_ms = now_ms
        if self._set_s is not None and (now_ms - self._set_ms) & U32 < 0x80000000:
            self._set_chip()
        if (now_ms - self._next_ms) & U32 > 0x7FFFFFFF:
            return
        try:
            seconds = self._clock_chip().seconds()
        except OSError:
            seconds = None
            self._no_chip()
        if seconds is None or not _EARLIEST_S <= seconds < _LATEST_S:
            self._second = None
            self._next_ms = (now_ms + _RETRY_MS) & U32
            if self._base_us is not None and self.source == "host":
                self._anchor(now_ms, 0)
        elif self._second is None or seconds == self._second:
            self._second = seconds
        else:
            self._second = None
            self._next_ms = (now_ms + _ANCHOR_MS) & U32
            self._base_us = seconds * 1_000_000 - now_ms * 1000
            self.source = "chip"
            self._anchor(now_ms, ANCHOR_FLAGS["board_clock"])

    def _anchor(self, now_ms, flags):
        self._application.emit(
            "wall_anchor", {"wall_us": self._base_us + now_ms * 1000, "monotonic_us": now_ms * 1000, "flags": flags}, now_ms
        )

    def command(self, argument):
        """Set the time: the argument is microseconds since 1970-01-01 UTC as decimal text; empty asks for it."""
        now_ms = self._application.clock.now()
        if argument:
            text = bytes(argument)
            wall_us = int(text) if len(text) < 18 and all([0x30 <= digit <= 0x39 for digit in text]) else 0
            if not _EARLIEST_S <= wall_us // 1_000_000 < _LATEST_S:
                raise Refused("bad_argument", "the time is microseconds since 1970 in digits, from 2025 to 2099")
            self._base_us = wall_us - now_ms * 1000
            self.source = "host"
            # The chip starts a whole second when it is written: wait for the next one, and do not read the chip until then.
            self._set_s = wall_us // 1_000_000 + 1
            self._set_ms = (now_ms + 1000 - wall_us // 1000 % 1000) & U32
            self._second = None
            self._next_ms = (now_ms + _RETRY_MS) & U32
            self._anchor(now_ms, 0)
            self._application.emit_event("clock_set", detail="%d" % wall_us)
        if self._base_us is None:
            return b"unix_us=unknown\nsource=none"
        return ("unix_us=%d\nsource=%s" % (self._base_us + now_ms * 1000, self.source)).encode()

    def _set_chip(self):
        try:
            self._clock_chip().set_seconds(self._set_s)
        except OSError:
            self._no_chip()  # the time is kept until the power goes
        self._set_s = None

    def _clock_chip(self):
        if self._chip is None:
            from chips.ds3231 import Chip

            self._chip = Chip(self._board.i2c())
        return self._chip

    def _no_chip(self):
        self._chip = None
        for name in ("ds3231", "ds3231_map"):
            sys.modules.pop("chips." + name, None)
            if hasattr(chips, name):
                delattr(chips, name)

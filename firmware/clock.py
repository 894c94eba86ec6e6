"""Board time: milliseconds since the application started, in 32 bits, accumulated across the interpreter's own wrap at 2^30."""

TICKS_MASK = 0x3FFFFFFF  # ticks_ms wraps here on the board; hosts wrap elsewhere, so it is always masked
U32 = 0xFFFFFFFF


def elapsed(now, before):
    """Milliseconds (or microseconds) between two masked tick values, the later one first. Allocates nothing."""
    return (now - before) & TICKS_MASK


class Clock:
    """Call `now()` at least once in 12 days to keep the count right."""

    def __init__(self, ticks_ms):
        self._ticks_ms = ticks_ms
        self._raw = ticks_ms() & TICKS_MASK
        self._total = 0

    def begin(self, now_ms):
        """Set the present time to `now_ms`; only before the clock is first read."""
        self._raw = self._ticks_ms() & TICKS_MASK
        self._total = now_ms

    def now(self):
        """Board time, ms."""
        raw = self._ticks_ms() & TICKS_MASK
        self._total = (self._total + elapsed(raw, self._raw)) & U32
        self._raw = raw
        return self._total

    def at(self, raw):
        """Board time, ms, of a tick value taken within the last 12 days."""
        self.now()
        return (self._total - elapsed(self._raw, raw)) & U32

"""What a probe can and cannot do, run by board and host on the same vectors. Integers only; nothing is allocated while it runs.

Readings are in hundredths of a degC from any zero. A first-order probe whose surroundings change by SPAN moves by SPAN * (1 - exp(-dt / lag)) in a
time dt: at most SPAN, and at most SPAN * 2 dt / (2 lag + dt). A reading that falls further is no temperature of the fuel: a shorted lead reads the
amplifier's own, cooler one. It is doubted, which counts as unreadable, until the reading is back, or for DOUBT_MS; then it is believed, and `fell`
says by how much it had fallen.
A rise is always believed, at once: it can only warn. But what falls are measured from follows a rise faster than the probe's only after SPIKE_MS, so
that a spike of noise does not put the true readings behind it in doubt.
"""

from hotfuel_wire.alarm import UNREADABLE

DOUBT_MS = 10000
SPIKE_MS = 500
SPAN = 6000  # fuel from a cool tank behind fuel from a hot soak (own simulation: 50 degC at most)
NOISE = 300
LAG_MS = 1500  # where nobody said
_LAG_LEAST_MS = 300  # no plug of cold fuel has a sharper edge than this by the time it comes to a probe
_LONGEST_MS = 60000


class Probe:
    """One probe. `fell`: after the tick that believed a fall after all, its size; else 0. `settled`: the next tick depends on `level` only."""

    def __init__(self, lag_ms=LAG_MS):
        self.level = UNREADABLE  # what a fall is measured from
        self.fell = 0
        self._lag_ms = max(lag_ms, _LAG_LEAST_MS)
        self._since_ms = 0  # since the level was read
        self._doubt_ms = -1
        self._rise_ms = -1

    def take(self, reading, elapsed_ms):
        """The reading (or UNREADABLE) of a tick `elapsed_ms` after the last one. True if it is to be believed."""
        self.fell = 0
        elapsed_ms = min(elapsed_ms, _LONGEST_MS)
        self._since_ms = min(self._since_ms + elapsed_ms, _LONGEST_MS)
        if self._doubt_ms >= 0:
            self._doubt_ms += elapsed_ms
        if self._rise_ms >= 0:
            self._rise_ms = min(self._rise_ms + elapsed_ms, SPIKE_MS)
        if reading == UNREADABLE:
            return False
        if self._doubt_ms >= 0:
            if reading < self.level - self.change(elapsed_ms):
                if self._doubt_ms < DOUBT_MS:
                    return False
                self.fell = self.level - reading
            self._doubt_ms = -1
        elif self.level != UNREADABLE:
            most = self.change(self._since_ms)
            if reading < self.level - most:
                self._doubt_ms = 0
                self._rise_ms = -1
                return False
            if reading > self.level + most and self._rise_ms < SPIKE_MS:
                if self._rise_ms < 0:
                    self._rise_ms = 0
                return True
        self._rise_ms = -1
        self.level = reading
        self._since_ms = 0
        return True

    def change(self, elapsed_ms):
        """How far a reading can move within a time, noise included."""
        return NOISE + SPAN * min(2 * elapsed_ms, 2 * self._lag_ms + elapsed_ms) // (2 * self._lag_ms + elapsed_ms)

    @property
    def settled(self):
        """False while a fall is doubted or a rise is new."""
        return self._doubt_ms < 0 and self._rise_ms < 0

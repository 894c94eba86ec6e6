"""Which changes of a reading a probe can make, and how far it lags. Run by board and host on the same vectors. Integers only; allocates nothing.

Readings are in hundredths of a degC from any zero. A first-order probe whose surroundings change by SPAN moves by SPAN * (1 - exp(-dt / lag)) in a
time dt: at most SPAN, and at most SPAN * 2 dt / (2 lag + dt). A reading that falls further is not the fuel's temperature: a shorted lead reads the
cooler amplifier. It is doubted, which counts as unreadable, until it comes back or DOUBT_MS have passed; then it is believed, and `fell` holds the size
of the fall.
A rise is believed at once: it can only warn. But the level from which falls are measured follows a rise faster than the probe's only after SPIKE_MS, so
a spike of noise does not cast doubt on the true readings after it.

A probe also lags: fuel that has been warming steadily is lag * slope hotter than its reading. `Lead` takes the slope from a straight line through the
means of the last blocks of about a second, minus what their scatter could produce, never across a block without a reading.
"""

from hotfuel_wire.alarm import UNREADABLE

DOUBT_MS = 10000
SPIKE_MS = 500
SPAN = 6000  # fuel from a cool tank behind fuel from a hot soak (own simulation: 50 degC at most)
NOISE = 300
LAG_MS = 1500  # if not stated
_LAG_LEAST_MS = 300  # mixing makes the edge of any plug of cold fuel at least this long by the time it reaches a probe
_LONGEST_MS = 60000

BLOCK_MS = 900
BLOCK_MOST_MS = 2000  # a longer one is a gap
BLOCKS = 8
BLOCKS_LEAST = 4
LEAD_MOST = 2000
LAG_MOST_MS = 60000
REACH = 4000  # blocks further than this from the newest count as this far
DOUBT = 6  # slopes within the square root of this many standard errors count as zero
FLOOR = 40  # (0.008 degC a block)^2 in the unit of `_fit`: a slope that the steps of a code can imitate


class Probe:
    """One probe. `fell`: the size of a fall, after the tick that came to believe it; else 0. `settled`: the next tick depends on `level` only."""

    def __init__(self, lag_ms=LAG_MS, lead_lag_ms=None):
        self.level = UNREADABLE  # from which a fall is measured
        self.fell = 0
        self.leading = Lead(lag_ms if lead_lag_ms is None else lead_lag_ms)
        self._lag_ms = max(lag_ms, _LAG_LEAST_MS)
        self._since_ms = 0  # since the level was read
        self._doubt_ms = -1
        self._rise_ms = -1

    def take(self, reading, elapsed_ms):
        """The reading (or UNREADABLE) of a tick `elapsed_ms` after the last one. True if it is to be believed."""
        believed = self._believe(reading, elapsed_ms)
        self.leading.step(reading if believed and self._rise_ms < 0 else UNREADABLE, elapsed_ms)
        return believed

    def _believe(self, reading, elapsed_ms):
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
    def rising(self):
        """True while a rise is new: believed, but not yet part of a slope."""
        return self._rise_ms >= 0

    @property
    def settled(self):
        """False while a fall is doubted or a rise is new."""
        return self._doubt_ms < 0 and self._rise_ms < 0


def ahead(lead):
    """What alarms add to a reading: 7/5 of the lead, never less than 0, so that a lag stated 30 % too short still warns in time."""
    return lead * 7 // 5 if lead > 0 else 0


class Lead:
    """`lead`: hundredths of a degC to add to a reading for its lag; 0 while the slope is unknown or within the noise."""

    def __init__(self, lag_ms):
        self.lead = 0
        self._lag_tenths = min(lag_ms, LAG_MOST_MS) // 100
        self._means = [0] * BLOCKS
        self._spans_ms = [0] * BLOCKS
        self._newest = 0
        self._count = 0
        self._into_ms = 0
        self._sum = 0
        self._ticks = 0

    def step(self, reading, elapsed_ms):
        """Take a reading, UNREADABLE if there is none to use."""
        self._into_ms = min(self._into_ms + elapsed_ms, _LONGEST_MS)
        if self._into_ms >= BLOCK_MS:
            if self._ticks and self._into_ms <= BLOCK_MOST_MS:
                self._newest = (self._newest + 1) % BLOCKS
                self._means[self._newest] = self._sum // self._ticks
                self._spans_ms[self._newest] = self._into_ms
                self._count = min(self._count + 1, BLOCKS)
            else:
                self._count = 0
            self._into_ms = self._sum = self._ticks = 0
            self._fit()
        if reading != UNREADABLE:
            self._sum += reading
            self._ticks += 1

    def _fit(self):
        count = self._count
        self.lead = 0
        if count < BLOCKS_LEAST:
            return
        last = self._means[self._newest]
        total = weighted = span_ms = 0
        for number in range(count):
            at = (self._newest + 1 - count + number) % BLOCKS
            off = max(-REACH, min(self._means[at] - last, REACH))
            total += off
            weighted += (2 * number - count + 1) * off
            span_ms += self._spans_ms[at]
        squares = count * (count * count - 1) // 3
        slope = 16 * weighted // squares  # eighths of a hundredth of a degC a block
        rest = 0
        for number in range(count):
            at = (self._newest + 1 - count + number) % BLOCKS
            off = max(-REACH, min(self._means[at] - last, REACH))
            off -= total // count + slope * (2 * number - count + 1) // 16
            rest = min(rest + off * off, 1 << 20)
        noise = DOUBT * (256 * rest // ((count - 2) * squares) + FLOOR)
        size = min(abs(slope), 2000)
        if size * size <= noise:
            return
        lead = self._lag_tenths * slope * count // (span_ms * 8 // 100)
        lead = max(-LEAD_MOST, min(lead, LEAD_MOST))
        self.lead = lead * (256 * (size * size - noise) // (size * size)) // 256

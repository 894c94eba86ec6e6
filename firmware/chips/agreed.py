"""Reads a result until reads agree: these chips have no checksum, and a bit flipped on the wire looks like a temperature.

Normally two equal reads are enough; three if the result has jumped further than a probe or an amplifier can; four while reads have disagreed recently.
Errors that are the same in every read are not found: a stuck bit, a short, a neighbour's clock.
"""

from hotfuel_wire import const
from hotfuel_wire.messages import BIT_ERRORS

PEACE, JUMP, NOISE = 2, 3, 4  # equal reads in a row
_MOST_READS = const(8)
_NOISE_TICKS = const(64)  # ticks without a disagreement until two reads are enough again
_COUNT_MASK = const(0x3FFFFFFF)  # a small integer on the board


class Agreed:
    """Base of the drivers, which add _again and _take. Allocates nothing.

    `bit_errors`: reads that were wrong. hot_jump, cold_jump: the most that a result changes between two ticks without a third read, in codes.
    """

    def __init__(self, hot_jump, cold_jump, by_itself):
        self.hot = BIT_ERRORS
        self.cold = 0
        self.status = 0
        self.bit_errors = 0
        self._hot_jump = hot_jump
        self._cold_jump = cold_jump
        self._by_itself = by_itself  # a conversion may end between or during reads: two changes in a tick are no error
        self._noise_ticks = 0
        self._known = False
        self._last_hot = 0
        self._last_cold = 0
        self._last_status = 0

    def _wrong_read(self):
        self.bit_errors = (self.bit_errors + 1) & _COUNT_MASK
        self._noise_ticks = _NOISE_TICKS

    def _agree(self):
        """Repeat the read just made until reads agree. False, and BIT_ERRORS in `hot`, if they do not."""
        need = PEACE
        if self._noise_ticks:
            self._noise_ticks -= 1
            need = NOISE
        equal = 1
        reads = 1
        changed = 0
        while True:
            if equal >= need:
                self._take()
                if equal >= JUMP or not self._jumped():
                    break
                need = JUMP
            if reads == _MOST_READS:
                self.hot = BIT_ERRORS
                self.cold = 0
                self.status = 0
                self._known = False
                if changed:
                    self._wrong_read()
                return False
            reads += 1
            if self._again():
                equal += 1
                continue
            equal = 1
            changed += 1
            if need < JUMP:
                need = JUMP
            if changed > 2 or not self._by_itself:
                self._wrong_read()
                need = NOISE
        self._known = True
        self._last_hot = self.hot
        self._last_cold = self.cold
        self._last_status = self.status
        return True

    def _agree_without(self, reason):
        """The amplifier answers but has no new result: take cold junction and faults only."""
        if self._agree():
            self.hot = reason

    def _again(self):
        """Read the result again; True if it is the same, else keep the new one."""
        raise NotImplementedError

    def _take(self):
        """Set hot, cold and status from what was read."""
        raise NotImplementedError

    def _jumped(self):
        return (
            not self._known
            or self.status != self._last_status
            or abs(self.hot - self._last_hot) > self._hot_jump
            or abs(self.cold - self._last_cold) > self._cold_jump
        )

"""MAX31855: read only; it linearises with one slope, from which the host recovers the EMF.

Selecting it stops its conversion and holds the last result, so reading twice within a millisecond reads the same result twice (datasheet 19-5793,
serial interface).
"""

from hotfuel_wire.messages import MODES, NO_ANSWER

from chips.agreed import Agreed

PHASE = 0  # SPI mode 0


class Chip(Agreed):
    """One amplifier. After read_raw(): `hot` (14 bit, 0.25 degC, or NO_ANSWER), `cold` (12 bit, 0.0625 degC), `status` (D2-D0, D16 as bit 7).

    The chip has no flag for a new conversion, so the age of a code is unknown. Cold junction and probe at exactly 0 degC without a fault read as 32 zeros,
    the same as a bus held low; that one reading is given up so that a dead bus is never taken for 0 degC.
    """

    def __init__(self, board, channel, settings):
        self._bus = board.spi()
        self._select = board.select(channel)
        self._out = bytearray(4)
        self._in = bytearray(4)
        self._again_in = bytearray(4)
        Agreed.__init__(self, 1, 4, False)  # a quarter of a degC
        self.hot = NO_ANSWER
        self.description = {"gain": 1, "mains_hz": 0, "averages": 1, "mode": MODES["automatic"], "resolution_bits": 14}

    def configure(self):
        """The chip has nothing to configure."""

    def read_raw(self):
        """Read the 32 bits until reads agree, and split them. Sets hot, cold and status."""
        self._bus.transfer(self._select, PHASE, self._out, self._in)
        if self._no_result():
            if self._again() or self._no_result():
                self._none()
                return
            self._wrong_read()
        if self._agree() and self._no_result():
            self._none()

    def _none(self):
        self.hot = NO_ANSWER
        self.cold = 0
        self.status = 0
        self._known = False

    def _no_result(self):
        got = self._in
        return got[1] & 0x02 or got[3] & 0x08 or not (got[0] or got[1] or got[2] or got[3])  # D17 and D3 are always 0

    def _again(self):
        got, again = self._in, self._again_in
        self._bus.transfer(self._select, PHASE, self._out, again)
        if again == got:
            return True
        got[0] = again[0]
        got[1] = again[1]
        got[2] = again[2]
        got[3] = again[3]
        return False

    def _take(self):
        got = self._in
        hot = got[0] << 6 | got[1] >> 2
        self.hot = hot - 0x4000 if hot & 0x2000 else hot
        cold = got[2] << 4 | got[3] >> 4
        self.cold = cold - 0x1000 if cold & 0x800 else cold
        self.status = got[3] & 0x07 | (got[1] & 0x01) << 7

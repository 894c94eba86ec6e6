"""ADS1115 over I2C: four voltages to ground, one conversion each on request. From TI's datasheet SBAS444.

One conversion takes 62.5 ms (16 a second), over which the chip averages; a code is 4.096 V / 32768.
"""

from hotfuel_wire import const

_CONVERSION = const(0)  # registers
_CONFIG = const(1)
# Config register: start (bit 15; reads 1 when done), input to ground (14-12: 100 to 111), 4.096 V (11-9: 001), single shot (8), 16 a second (7-5: 001),
# no comparator (1-0: 11)
_BEGIN = const(0x8000)
_SET = const(0x4000 | 0x0200 | 0x0100 | 0x0020 | 0x0003)
_MOST_READS = const(4)


class Chip:
    """Every method raises OSError if the chip does not answer or has lost its settings. Allocates nothing."""

    def __init__(self, i2c, address):
        self._i2c = i2c
        self._address = address
        self._three = bytearray(3)
        self._two = bytearray(2)
        self._set = 0

    def begin(self, channel):
        """Start the conversion of input 0 to 3."""
        self._set = _SET | channel << 12
        self._three[0] = _CONFIG
        self._three[1] = (_BEGIN | self._set) >> 8
        self._three[2] = self._set & 0xFF
        self._i2c.writeto(self._address, self._three)

    def done(self):
        """True once the conversion has ended."""
        got = self._register(_CONFIG)
        if got & 0x7FFF != self._set:
            raise OSError("settings lost")
        return got >= _BEGIN

    def code(self):
        """The result, -32768 to 32767; without a checksum, so it is read until two reads agree."""
        last = -1
        for _ in range(_MOST_READS):
            got = self._register(_CONVERSION)
            if got == last:
                return got - 0x10000 if got & 0x8000 else got
            last = got
        raise OSError("bit errors")

    def _register(self, register):
        self._i2c.readfrom_mem_into(self._address, register, self._two)
        return self._two[0] << 8 | self._two[1]

"""ADS1115 converter on I2C, from TI's datasheet SBAS444: pointer, conversion and config registers, single-shot conversions.

Four registers of 16 bits behind a pointer, most significant byte first; what is read does not move the pointer.
"""

from ..machine.world import ANALOGUE_UV
from .i2c import I2CDevice

CONVERSION, CONFIG = 0, 1
OS, MODE_SINGLE = 0x8000, 0x0100
AFTER_RESET = 0x8583
FULL_SCALE_UV = (6144000, 4096000, 2048000, 1024000, 512000, 256000, 256000, 256000)  # by bits 11 to 9
PER_SECOND = (8, 16, 32, 64, 128, 250, 475, 860)  # by bits 7 to 5
POSITIVE = (0, 0, 1, 2, 0, 1, 2, 3)  # by bits 14 to 12
NEGATIVE = (1, 3, 3, 3, None, None, None, None)  # None: ground
SUPPLY_UV = 3300000  # an input is measured up to the supply


class ADS1115(I2CDevice):
    """Its four inputs are the world's columns from ANALOGUE_UV on. `flip`: a bit mask that one read of the result is spoiled with."""

    def __init__(self, world, channel, clock):
        I2CDevice.__init__(self)
        self.world = world
        self.clock = clock
        self.flip = 0
        self.power_on()

    def power_on(self):
        self.pointer = 0
        self.config = AFTER_RESET
        self.result = 0
        self._due_us = None

    def write(self, data):
        if not len(data):
            return
        self.pointer = data[0] & 3
        if len(data) >= 3 and self.pointer == CONFIG:
            word = data[1] << 8 | data[2]
            self._finish()
            self.config = word | OS
            if word & OS and word & MODE_SINGLE and self._due_us is None:
                self._due_us = self.clock.now_us + 1000000 // PER_SECOND[word >> 5 & 7]

    def read_into(self, into):
        self._finish()
        word = self.result & 0xFFFF if self.pointer == CONVERSION else 0
        if self.pointer == CONVERSION and self.flip:
            word ^= self.flip
            self.flip = 0
        if self.pointer == CONFIG:
            word = self.config & ~OS if self._due_us is not None else self.config | OS
        for at in range(len(into)):
            into[at] = (word >> 8 if at == 0 else word) & 0xFF if at < 2 else 0xFF

    def _finish(self):
        """The result of a conversion whose time has passed: the mean over it, to the nearest code, held at full scale."""
        if self._due_us is None or self.clock.now_us < self._due_us:
            return
        at_us = self._due_us
        self._due_us = None
        which = self.config >> 12 & 7
        uv = self._input(POSITIVE[which], at_us) - (0 if NEGATIVE[which] is None else self._input(NEGATIVE[which], at_us))
        full_scale = FULL_SCALE_UV[self.config >> 9 & 7]
        code = (uv * 32768 * 2 + full_scale) // (2 * full_scale)
        self.result = -32768 if code < -32768 else 32767 if code > 32767 else code

    def _input(self, number, at_us):
        uv = self.world.input(ANALOGUE_UV + number, at_us)
        return 0 if uv < -300000 else SUPPLY_UV if uv > SUPPLY_UV else uv

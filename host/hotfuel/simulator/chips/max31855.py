"""MAX31855K, cold-junction compensated thermocouple to digital converter, from its datasheet (Maxim 19-5793): 32 bits to read, nothing to write.

It linearises with one slope for all temperatures, converts by itself, and cannot say whether a value is new.
"""

from .thermocouple import Terminals

CONVERSION_US = 70000  # typical; 100 ms at most
SLOPE_NV = 41276  # nV/degC: V_OUT = 41.276 uV/degC * (T_R - T_AMB)
FASTEST_HZ = 5000000

OPEN, SHORT_TO_GROUND, SHORT_TO_SUPPLY, ANY_FAULT = 1 << 0, 1 << 1, 1 << 2, 1 << 16


class MAX31855(Terminals):
    """A MAX31855 on SPI: 32 bits out, nothing in."""

    def __init__(self, world, channel, clock):
        Terminals.__init__(self, world, channel, clock)
        self.power_on()

    def power_on(self):
        self._powered_us = self.clock.now_us
        self._converted = -1  # number of the conversion held in `word`
        self.word = 0
        self._byte = 0

    def select(self, level):
        """Selecting starts again at bit 31."""
        if not level:
            self._convert()
        self._byte = 0

    def transfer(self, out, into, mode, baudrate_hz):
        """SPI mode 0; read in mode 1 everything comes one bit late."""
        if into is None:
            return
        word = self.word if mode in (0, 3) and baudrate_hz <= FASTEST_HZ else self.word << 1 & 0xFFFFFFFF
        for at in range(len(into)):
            into[at] = (word >> (24 - 8 * self._byte)) & 0xFF if self._byte < 4 else 0
            self._byte += 1

    def _convert(self):
        conversion = (self.clock.now_us - self._powered_us) // CONVERSION_US
        if conversion == self._converted or self.has("frozen"):
            return
        self._converted = conversion
        at_us = max(self._powered_us, self._powered_us + conversion * CONVERSION_US - CONVERSION_US // 2)
        cold_16 = min(max(self.cold_1024(at_us) // 64, -0x800), 0x7FF)
        hot_1024 = cold_16 * 64 + self.emf_nv(at_us) * 1024 // SLOPE_NV
        hot_4 = min(max((hot_1024 + 128) // 256, -0x2000), 0x1FFF)
        faults = 0
        if self.has("open_circuit"):
            faults |= OPEN
        if self.has("ground_short"):
            faults |= SHORT_TO_GROUND
        if self.has("supply_short"):
            faults |= SHORT_TO_SUPPLY
        self.word = (hot_4 & 0x3FFF) << 18 | (ANY_FAULT if faults else 0) | (cold_16 & 0xFFF) << 4 | faults

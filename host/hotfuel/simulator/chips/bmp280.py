"""BMP280 barometer, from Bosch's datasheet BST-BMP280-DS001: registers, trimming words of its worked example, compensation as in its appendix 8.1.

The raw words are found by solving that compensation backwards for the world's pressure and temperature.
"""

import struct

from ..machine.world import AMBIENT_1024, AMBIENT_PRESSURE_PA
from .i2c import I2CDevice

# Trimming words dig_T1..T3, dig_P1..P9 of the datasheet's worked example (section 3.12): raw 519888 and 415148 are 25.08 degC and 100653 Pa.
T = (27504, 26435, -1000)
P = (36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
CALIBRATION = struct.pack("<HhhHhhhhhhhh", *(T + P)) + b"\x00\x00"  # registers 88h to A1h

CALIBRATION_FROM, ID, RESET, STATUS, CTRL_MEAS, CONFIG, DATA = 0x88, 0xD0, 0xE0, 0xF3, 0xF4, 0xF5, 0xF7
CHIP_ID, RESET_WORD = 0x58, 0xB6
AFTER_RESET = b"\x80\x00\x00\x80\x00\x00"


def fine_temperature(raw):
    """The datasheet's t_fine of a raw temperature."""
    return (raw / 16384 - T[0] / 1024) * T[1] + (raw / 131072 - T[0] / 8192) * (raw / 131072 - T[0] / 8192) * T[2]


def pressure_pa(raw, fine):
    """Pressure, Pa, of a raw one and t_fine: the datasheet's compensation in floating point."""
    var1 = fine / 2 - 64000
    var2 = (var1 * var1 * P[5] / 32768 + var1 * P[4] * 2) / 4 + P[3] * 65536
    var1 = (1 + (P[2] * var1 * var1 / 524288 + P[1] * var1) / 524288 / 32768) * P[0]
    value = (1048576 - raw - var2 / 4096) * 6250 / var1
    return value + (P[8] * value * value / 2147483648 + value * P[7] / 32768 + P[6]) / 16


def solve(function, wanted, bits):
    """The whole number of `bits` bits whose function value is nearest; the function rises, or falls, all the way."""
    low, high = 0, (1 << bits) - 1
    rising = function(high) > function(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (function(middle) < wanted) == rising:
            low = middle
        else:
            high = middle
    return low if abs(function(low) - wanted) < abs(function(high) - wanted) else high


class BMP280(I2CDevice):
    """A BMP280 on I2C, at the air's pressure and temperature in the world."""

    def __init__(self, world, channel, clock):
        I2CDevice.__init__(self)
        self.world = world
        self.clock = clock
        self.power_on()

    def power_on(self):
        self.control = 0
        self.config = 0
        self.data = AFTER_RESET
        self._of = None

    def store(self, register, byte):
        if register == CTRL_MEAS:
            self.control = byte
        elif register == CONFIG:
            self.config = byte
        elif register == RESET and byte == RESET_WORD:
            self.power_on()

    def load(self, register):
        if CALIBRATION_FROM <= register < CALIBRATION_FROM + len(CALIBRATION):
            return CALIBRATION[register - CALIBRATION_FROM]
        if register == DATA:
            self._measure()
        if DATA <= register < DATA + 6:
            return self.data[register - DATA]
        return {ID: CHIP_ID, CTRL_MEAS: self.control, CONFIG: self.config}.get(register, 0)

    def _measure(self):
        """Normal mode: the latest measurement. Forced mode: one, then asleep."""
        mode = self.control & 3
        if not mode:
            return
        if mode != 3:
            self.control &= ~3
        now_us = self.clock.now_us
        of = (self.world.input(AMBIENT_PRESSURE_PA, now_us), self.world.input(AMBIENT_1024, now_us))
        if of == self._of:
            return
        self._of = of
        raw_t = solve(lambda raw: fine_temperature(raw) / 5120, of[1] / 1024, 20)
        fine = fine_temperature(raw_t)
        raw_p = solve(lambda raw: pressure_pa(raw, fine), of[0], 20)
        self.data = bytes([raw_p >> 12, raw_p >> 4 & 0xFF, raw_p << 4 & 0xF0, raw_t >> 12, raw_t >> 4 & 0xFF, raw_t << 4 & 0xF0])

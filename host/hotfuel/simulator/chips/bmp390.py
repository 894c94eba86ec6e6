"""BMP390 barometer, from Bosch's datasheet BST-BMP390-DS002: registers, and the floating point compensation of its section 8.

The trimming words are our own, of ordinary size; the raw words are found by solving the compensation backwards.
"""

import struct

from ..machine.world import AMBIENT_1024, AMBIENT_PRESSURE_PA
from .bmp280 import solve
from .i2c import I2CDevice

# NVM_PAR_T1 T2 T3 P1 P2 P3 P4 P5 P6 P7 P8 P9 P10 P11, registers 31h to 45h
WORDS = (27500, 18800, -7, -150, -2000, 35, 1, 25000, 31000, 3, -6, 8000, 6, -60)
CALIBRATION = struct.pack("<HHbhhbbHHbbhbb", *WORDS)

CHIP_ID_REGISTER, ERR, STATUS, DATA, PWR_CTRL, OSR, ODR, CONFIG, CALIBRATION_FROM, CMD = (
    0x00,
    0x02,
    0x03,
    0x04,
    0x1B,
    0x1C,
    0x1D,
    0x1F,
    0x31,
    0x7E,
)
CHIP_ID, SOFT_RESET = 0x60, 0xB6
COMMAND_READY, PRESSURE_READY, TEMPERATURE_READY = 0x10, 0x20, 0x40
RESET_VALUES = {PWR_CTRL: 0x00, OSR: 0x02, ODR: 0x00, CONFIG: 0x00}
AFTER_RESET = b"\x00\x00\x80\x00\x00\x80"


def temperature_degc(raw):
    """Temperature of a raw one: the datasheet's compensation."""
    part = raw - WORDS[0] * 2.0**8
    return part * (WORDS[1] / 2.0**30) + part * part * (WORDS[2] / 2.0**48)


def pressure_pa(raw, degc):
    """Pressure, Pa, of a raw one: the datasheet's compensation."""
    p1, p2, p3, p4 = (WORDS[3] - 2.0**14) / 2.0**20, (WORDS[4] - 2.0**14) / 2.0**29, WORDS[5] / 2.0**32, WORDS[6] / 2.0**37
    p5, p6, p7, p8 = WORDS[7] * 2.0**3, WORDS[8] / 2.0**6, WORDS[9] / 2.0**8, WORDS[10] / 2.0**15
    p9, p10, p11 = WORDS[11] / 2.0**48, WORDS[12] / 2.0**48, WORDS[13] / 2.0**65
    offset = p5 + p6 * degc + p7 * degc * degc + p8 * degc * degc * degc
    slope = raw * (p1 + p2 * degc + p3 * degc * degc + p4 * degc * degc * degc)
    return offset + slope + raw * raw * (p9 + p10 * degc) + raw * raw * raw * p11


class BMP390(I2CDevice):
    """A BMP390 on I2C, at the air's pressure and temperature in the world."""

    def __init__(self, world, channel, clock):
        I2CDevice.__init__(self)
        self.world = world
        self.clock = clock
        self.power_on()

    def power_on(self):
        self.registers = dict(RESET_VALUES)
        self.data = AFTER_RESET
        self._of = None

    def store(self, register, byte):
        if register in RESET_VALUES:
            self.registers[register] = byte
        elif register == CMD and byte == SOFT_RESET:
            self.power_on()

    def load(self, register):
        if register == CHIP_ID_REGISTER:
            return CHIP_ID
        if register == STATUS:
            return COMMAND_READY | (PRESSURE_READY | TEMPERATURE_READY if self.registers[PWR_CTRL] & 0x30 else 0)
        if register == DATA:
            self._measure()
        if DATA <= register < DATA + 6:
            return self.data[register - DATA]
        if CALIBRATION_FROM <= register < CALIBRATION_FROM + len(CALIBRATION):
            return CALIBRATION[register - CALIBRATION_FROM]
        return self.registers.get(register, 0)

    def _measure(self):
        power = self.registers[PWR_CTRL]
        if not power & 0x30 or power & 3 != 3:
            return
        if power & 0x30 != 0x30:  # forced mode: one measurement, then asleep
            self.registers[PWR_CTRL] &= ~0x30
        now_us = self.clock.now_us
        of = (self.world.input(AMBIENT_PRESSURE_PA, now_us), self.world.input(AMBIENT_1024, now_us))
        if of == self._of:
            return
        self._of = of
        raw_t = solve(temperature_degc, of[1] / 1024, 24)
        degc = temperature_degc(raw_t)
        raw_p = solve(lambda raw: pressure_pa(raw, degc), of[0], 24)
        self.data = struct.pack("<I", raw_p)[:3] + struct.pack("<I", raw_t)[:3]

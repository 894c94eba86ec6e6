"""MCP9601 and MCP9600 over I2C: the raw ADC register, not the chip's own linearisation.

Its registers can be read repeatedly and hold until the next conversion; I2C acknowledges bytes but does not check them.
"""

from hotfuel_wire.messages import CONFIGURATION_LOST, MODES, NO_ANSWER, NOT_READY

from chips import mcp9601_map as m
from chips.agreed import Agreed

BACK_OFF_MAX_TICKS = 64


class Chip(Agreed):
    """One amplifier. After read_raw(): `hot` (24-bit raw ADC, or a reason), `cold` (0.0625 degC), `status` (STATUS register).

    A hung bus costs one time-out of 2 ms; the next try comes after 1, 2, 4 ... 64 ticks.
    """

    def __init__(self, board, channel, settings):
        self._i2c = board.i2c()
        self._address = int(settings["i2c_addresses"][channel])
        bits = settings["resolution_bits"]
        self._device = m.NORMAL | m.COLD_0_0625 | m.RESOLUTION[bits]
        # The lowest filter setting affects only T_HOT, which is not used, and tells a configured chip from one after power-on.
        self._sensor = m.TYPE_K | m.FILTER_LEAST
        self._one = bytearray(1)
        self._two = bytearray(2)
        self._three = bytearray(3)
        self._held = bytearray(6)  # status, cold junction, raw ADC
        self._write_two = bytearray(2)
        self._wait_ticks = 0
        self._back_off = 1
        # A quarter of a degC: 5 codes of 2 uV at 18 bit, and 4 of the cold junction's sixteenths
        Agreed.__init__(self, 5, 4, True)
        self.hot = NO_ANSWER
        self.description = {"gain": 1, "mains_hz": 0, "averages": 1, "mode": MODES["automatic"], "resolution_bits": bits}

    def configure(self):
        """Write the configuration. read_raw finds a chip that is connected later."""
        try:
            self._write(m.SENSOR_CONFIGURATION, self._sensor)
            self._write(m.DEVICE_CONFIGURATION, self._device)
            self._write(m.STATUS, 0)
        except OSError:
            self._lost()

    def read_raw(self):
        """Read a conversion if there is a new one. Sets hot, cold and status."""
        if self._wait_ticks:
            self._wait_ticks -= 1
            return
        try:
            self._read()
        except OSError:
            self._lost()

    def _read(self):
        if not self._configured() and not self._configured():
            self.hot = CONFIGURATION_LOST
            self.cold = 0
            self.status = 0
            self._known = False
            self.configure()
            return
        self._back_off = 1
        if not self._register(m.STATUS) & m.T_HOT_UPDATED:
            self._again()
            self._agree_without(NOT_READY)
            self.status &= ~m.T_HOT_UPDATED
            return
        self._again()
        self._agree()
        self._write(m.STATUS, 0)  # cleared explicitly: chips are reported to repeat old codes otherwise

    def _configured(self):
        return self._register(m.SENSOR_CONFIGURATION) == self._sensor and self._register(m.DEVICE_CONFIGURATION) == self._device

    def _again(self):
        held, two, three = self._held, self._two, self._three
        status = self._register(m.STATUS) & ~m.T_HOT_UPDATED & 0xFF
        self._i2c.readfrom_mem_into(self._address, m.T_COLD, two)
        self._i2c.readfrom_mem_into(self._address, m.RAW_ADC, three)
        if (
            held[0] == status
            and held[1] == two[0]
            and held[2] == two[1]
            and held[3] == three[0]
            and held[4] == three[1]
            and held[5] == three[2]
        ):
            return True
        held[0] = status
        held[1] = two[0]
        held[2] = two[1]
        held[3] = three[0]
        held[4] = three[1]
        held[5] = three[2]
        return False

    def _take(self):
        held = self._held
        self.status = held[0] | m.T_HOT_UPDATED
        cold = held[1] << 8 | held[2]
        self.cold = cold - 0x10000 if cold & 0x8000 else cold
        hot = held[3] << 16 | held[4] << 8 | held[5]
        self.hot = hot - 0x1000000 if hot & 0x800000 else hot

    def _lost(self):
        self.hot = NO_ANSWER
        self.cold = 0
        self.status = 0
        self._wait_ticks = self._back_off
        if self._back_off < BACK_OFF_MAX_TICKS:
            self._back_off *= 2

    def _register(self, register):
        self._i2c.readfrom_mem_into(self._address, register, self._one)
        return self._one[0]

    def _write(self, register, value):
        # One buffer: writeto_mem would allocate at each call, and this runs in the timer callback.
        self._write_two[0] = register
        self._write_two[1] = value
        self._i2c.writeto(self._address, self._write_two)

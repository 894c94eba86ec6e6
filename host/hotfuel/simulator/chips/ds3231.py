"""DS3231 battery-backed clock, from Maxim's datasheet 19-5170: time and status registers. It runs on through resets of the board."""

from ..machine.rtc import date_and_time, seconds_since_1970
from .i2c import I2CDevice

TIME_BYTES, CONTROL, STATUS, TEMPERATURE = 7, 0x0E, 0x0F, 0x11
OSCILLATOR_STOPPED = 0x80


class DS3231(I2CDevice):
    """A DS3231 on I2C: its registers and its running time."""

    def __init__(self, world, channel, clock):
        I2CDevice.__init__(self)
        self.world = world
        self.clock = clock
        self.control = 0x1C
        self.status = 0x08
        self._offset_s = 0
        self._taken = bytearray(TIME_BYTES)
        self._written = {}

    def set_fault(self, name, on=True):
        """Also "stopped": the battery was empty and the clock restarted at 2000-01-01."""
        if name == "stopped":
            if on:
                self.status |= OSCILLATOR_STOPPED
                self._offset_s = 946684800 - self._running_s()
        else:
            I2CDevice.set_fault(self, name, on)

    def seconds(self):
        """What it shows, as seconds since 1970-01-01."""
        return self._running_s() + self._offset_s

    def _running_s(self):
        return self.world.wall_s + (self.world.boot_us + self.clock.now_us) // 1000000

    def read_into(self, into):
        """The time is latched at the start of the transfer, so that it cannot change during it."""
        year, month, day, hour, minute, second, weekday, _ = date_and_time(self.seconds())
        for at, value in enumerate((second, minute, hour, weekday + 1, day, month, year % 100)):
            self._taken[at] = value // 10 << 4 | value % 10
        I2CDevice.read_into(self, into)

    def load(self, register):
        if register < TIME_BYTES:
            return self._taken[register]
        return {CONTROL: self.control, STATUS: self.status, TEMPERATURE: 25}.get(register, 0)

    def store(self, register, byte):
        if register < TIME_BYTES:
            self._written[register] = (byte >> 4) * 10 + (byte & 15)
            if register == TIME_BYTES - 1 and len(self._written) == TIME_BYTES:
                second, minute, hour, _, day, month, year = [self._written[at] for at in range(TIME_BYTES)]
                self._offset_s = seconds_since_1970(2000 + year, month, day, hour, minute, second) - self._running_s()
                self._written = {}
        elif register == CONTROL:
            self.control = byte
        elif register == STATUS:
            self.status = self.status & byte & OSCILLATOR_STOPPED | byte & 0x08

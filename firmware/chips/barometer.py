"""The common part of the two barometer drivers: found by id, read raw; the host computes the pressure with the chip's calibration."""


class Barometer:
    """Each driver sets its registers. Every method raises OSError if the chip does not answer."""

    IDENTITY = MEASURING = (0, 0)  # register, value
    CALIBRATION = (0, 0, 1)  # register, bytes, bytes at once
    DATA = (0, 0)  # register, bytes

    def __init__(self, i2c, address):
        self._i2c = i2c
        self._address = address

    def found(self):
        """True if this chip answers at this address."""
        register, value = self.IDENTITY
        try:
            return self._i2c.readfrom_mem(self._address, register, 1)[0] == value
        except OSError:
            return False

    def words(self):
        """The calibration registers, lowest address first; in pieces, because one read would take longer than the bus time-out."""
        first, size, piece = self.CALIBRATION
        return b"".join([self._i2c.readfrom_mem(self._address, first + at, piece) for at in range(0, size, piece)])

    def read_raw(self):
        """Pressure and temperature registers. Raises OSError if the chip has lost its settings, and configures it again."""
        register, value = self.MEASURING
        if self._i2c.readfrom_mem(self._address, register, 1)[0] != value:
            raise OSError("settings lost")
        return self._i2c.readfrom_mem(self._address, self.DATA[0], self.DATA[1])

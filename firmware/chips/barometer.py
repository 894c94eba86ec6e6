"""What the two barometers have in common: found by their id, read in raw words, which the host works out with the chip's calibration words."""


class Barometer:
    """A driver names its registers. Every method raises OSError if the chip does not answer."""

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
        """The calibration registers, lowest address first; in pieces, as all at once would take longer than the bus's time-out."""
        first, size, piece = self.CALIBRATION
        return b"".join([self._i2c.readfrom_mem(self._address, first + at, piece) for at in range(0, size, piece)])

    def read_raw(self):
        """Pressure and temperature registers. Raises OSError if the chip has forgotten its settings: it is configured anew then."""
        register, value = self.MEASURING
        if self._i2c.readfrom_mem(self._address, register, 1)[0] != value:
            raise OSError("settings lost")
        return self._i2c.readfrom_mem(self._address, self.DATA[0], self.DATA[1])

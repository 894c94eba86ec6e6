"""BMP390: raw pressure and temperature words; the host works them out with the chip's calibration words."""

from chips import bmp390_map as m

_PIECE = 7  # bytes


class Chip:
    """Every method raises OSError if the chip does not answer."""

    def __init__(self, i2c, address):
        self._i2c = i2c
        self._address = address

    def found(self):
        """True if a BMP390 answers at this address."""
        try:
            return self._i2c.readfrom_mem(self._address, m.CHIP_ID_REGISTER, 1)[0] == m.CHIP_ID
        except OSError:
            return False

    def configure(self):
        """Oversampling, rate and filter, then normal mode."""
        self._i2c.writeto_mem(self._address, m.OSR, bytes([m.OVERSAMPLE]))
        self._i2c.writeto_mem(self._address, m.ODR, bytes([m.EVERY_40_MS]))
        self._i2c.writeto_mem(self._address, m.CONFIG, bytes([m.SMOOTH]))
        self._i2c.writeto_mem(self._address, m.PWR_CTRL, bytes([m.MEASURE]))

    def words(self):
        """The calibration registers, lowest address first; in pieces, as all at once would take longer than the bus's time-out."""
        return b"".join(
            [self._i2c.readfrom_mem(self._address, m.CALIBRATION + at, _PIECE) for at in range(0, m.CALIBRATION_BYTES, _PIECE)]
        )

    def read_raw(self):
        """Pressure and temperature registers. Raises OSError if the chip has forgotten its settings: it is configured anew then."""
        if self._i2c.readfrom_mem(self._address, m.PWR_CTRL, 1)[0] != m.MEASURE:
            raise OSError("settings lost")
        return self._i2c.readfrom_mem(self._address, m.DATA_0, m.DATA_BYTES)

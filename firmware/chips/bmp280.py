"""BMP280."""

from chips import bmp280_map as m
from chips.barometer import Barometer


class Chip(Barometer):
    """See barometer.py."""

    IDENTITY = (m.ID, m.CHIP_ID)
    MEASURING = (m.CTRL_MEAS, m.MEASURE)
    CALIBRATION = (m.CALIBRATION, m.CALIBRATION_BYTES, 8)
    DATA = (m.PRESS_MSB, m.DATA_BYTES)

    def configure(self):
        """Settings first, then normal mode: in normal mode writes to CONFIG may be ignored."""
        self._i2c.writeto_mem(self._address, m.CTRL_MEAS, b"\x00")
        self._i2c.writeto_mem(self._address, m.CONFIG, bytes([m.SMOOTH]))
        self._i2c.writeto_mem(self._address, m.CTRL_MEAS, bytes([m.MEASURE]))

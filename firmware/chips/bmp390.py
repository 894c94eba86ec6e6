"""BMP390."""

from chips import bmp390_map as m
from chips.barometer import Barometer


class Chip(Barometer):
    """See barometer.py."""

    IDENTITY = (m.CHIP_ID_REGISTER, m.CHIP_ID)
    MEASURING = (m.PWR_CTRL, m.MEASURE)
    CALIBRATION = (m.CALIBRATION, m.CALIBRATION_BYTES, 7)
    DATA = (m.DATA_0, m.DATA_BYTES)

    def configure(self):
        """Oversampling, rate and filter, then normal mode."""
        for register, value in ((m.OSR, m.OVERSAMPLE), (m.ODR, m.EVERY_40_MS), (m.CONFIG, m.SMOOTH), (m.PWR_CTRL, m.MEASURE)):
            self._i2c.writeto_mem(self._address, register, bytes([value]))

"""SPI with chip selects and a mode for each transfer."""


class SpiBus:
    """Over a machine.SPI in mode 1. transfer() allocates nothing."""

    def __init__(self, spi, hz):
        self._spi = spi
        self._hz = hz
        self._phase = 1

    def transfer(self, select, phase, out, into):
        """Write `out` and read as many bytes into `into` while `select` is low, in SPI mode `phase` (clock idle low)."""
        if phase != self._phase:
            self._spi.init(baudrate=self._hz, polarity=0, phase=phase)
            self._phase = phase
        select(0)
        self._spi.write_readinto(out, into)
        select(1)

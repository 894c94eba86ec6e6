"""The board's flash as a block device for littlefs: 352 blocks of 4096 bytes as on a Pico, in memory or in a file that outlives the process.

Like flash it can only clear bits by writing and set them by erasing a whole block. An erase stops the world for `erase_ms`. `stop_after` = n: power
fails in the middle of the n-th write or erase of this device's life, which is left half done.
"""

from .clock import clock
from .timers import POWER_LOST

BLOCK_BYTES = 4096
BLOCKS = 352
PAGE_BYTES = 256
PAGE_WRITE_US = 400  # W25Q16JV datasheet: page program 0.4 ms typical; sector erase 45 ms typical, 400 ms at most


ERASED = b"\xff" * BLOCK_BYTES


class PowerLost(SystemExit):
    """Power failed during a write or erase."""


class Flash:
    """In memory; `image` may be a bytearray from an earlier life."""

    def __init__(self, image=None, blocks=BLOCKS, erase_ms=0, stop_after=None):
        self.blocks = blocks
        self.erase_ms = erase_ms
        self.stop_after = stop_after
        self.changes = 0  # writes and erases so far
        self.erases = 0
        self._open(image)

    def _open(self, image):
        self.image = bytearray(b"\xff" * (self.blocks * BLOCK_BYTES)) if image is None else image

    def _read(self, at, into):
        into[:] = self.image[at : at + len(into)]

    def _write(self, at, data):
        self.image[at : at + len(data)] = data

    # What MicroPython's file systems call (os.AbstractBlockDev, extended interface)

    def readblocks(self, block, buf, offset=0):
        self._read(block * BLOCK_BYTES + offset, buf)

    def writeblocks(self, block, buf, offset=None):
        if offset is None:  # the simple interface writes whole blocks, erasing them first
            for number in range(len(buf) // BLOCK_BYTES):
                self._erase(block + number)
            offset = 0
        length = self._change(len(buf))
        at = block * BLOCK_BYTES + offset
        there = bytearray(length)
        self._read(at, there)
        if there == ERASED[:length]:
            there[:] = memoryview(buf)[:length]
        else:
            for index in range(length):
                there[index] &= buf[index]
        self._write(at, there)
        if length < len(buf):
            raise PowerLost(POWER_LOST)
        if self.erase_ms:
            clock.stop_world((len(buf) + PAGE_BYTES - 1) // PAGE_BYTES * PAGE_WRITE_US)

    def ioctl(self, op, arg):
        if op == 4:
            return self.blocks
        if op == 5:
            return BLOCK_BYTES
        if op == 6:
            self._erase(arg)
        return 0

    def _erase(self, block):
        length = self._change(BLOCK_BYTES)
        self._write(block * BLOCK_BYTES, ERASED[:length])
        self.erases += 1
        if length < BLOCK_BYTES:
            raise PowerLost(POWER_LOST)
        if self.erase_ms:
            clock.stop_world(self.erase_ms * 1000)

    def _change(self, length):
        """How many bytes of this change still take effect."""
        self.changes += 1
        if self.stop_after is None or self.changes < self.stop_after:
            return length
        if self.changes > self.stop_after:
            raise PowerLost(POWER_LOST)
        return length // 2


class FlashFile(Flash):
    """In a file, made when it is not there."""

    def _open(self, image):
        try:
            self._file = open(image, "r+b", 0)
        except OSError:
            with open(image, "wb") as new:
                for _ in range(self.blocks):
                    new.write(b"\xff" * BLOCK_BYTES)
            self._file = open(image, "r+b", 0)

    def _read(self, at, into):
        self._file.seek(at)
        self._file.readinto(into)

    def _write(self, at, data):
        self._file.seek(at)
        # Unbuffered and never flushed: under MicroPython a flush waits for the disk, and what has been written outlives the process anyway.
        self._file.write(data)

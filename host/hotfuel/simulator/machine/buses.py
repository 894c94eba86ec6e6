"""machine.SPI and machine.I2C of the rp2 port: bytes go to the chip models that are wired up, and take the time they take.

The program may hold MicroPython's heap lock to prove that it allocates nothing; the models do allocate, so the lock is lifted while they work.
"""

from .clock import clock
from .pins import lines

try:
    from micropython import heap_lock, heap_unlock
except ImportError:  # CPython has no heap to lock

    def heap_lock():
        pass

    def heap_unlock():
        return 0


CALL_US = 20  # a transfer's own cost on a 125 MHz RP2040, roughly (own estimate)
EIO = 5
ETIMEDOUT = 110

spi_chips = {}  # (bus, select pin) -> chip model
i2c_chips = {}  # (bus, address) -> chip model
stuck = {}  # ("spi" or "i2c", bus) -> level at which the data line is held


def _open_heap():
    heap_lock()
    depth = heap_unlock() or 0
    level = depth
    while level:
        heap_unlock()
        level -= 1
    return depth


def _close_heap(depth):
    while depth:
        heap_lock()
        depth -= 1


class SPI:
    MSB = 1
    LSB = 0

    def __init__(self, id, baudrate=1000000, *, polarity=0, phase=0, bits=8, firstbit=MSB, sck=None, mosi=None, miso=None):
        if id not in (0, 1):
            raise ValueError("SPI(%d) doesn't exist" % id)
        # RP2040 datasheet 1.4.3, table 2: which pins reach which SPI block
        for name, pin, least in (("SCK", sck, 2), ("MOSI", mosi, 3), ("MISO", miso, 0)):
            if pin is not None and (pin.number & 3 != least or (pin.number >> 3) & 1 != id):
                raise ValueError("bad %s pin" % name)
        self._id = id
        self._miso = None if miso is None else lines[miso.number]
        self.init(baudrate=baudrate, polarity=polarity, phase=phase, bits=bits, firstbit=firstbit)

    def init(self, *, baudrate=1000000, polarity=0, phase=0, bits=8, firstbit=MSB):
        if bits != 8 or firstbit != SPI.MSB:
            raise ValueError("the simulated SPI moves 8 bits, most significant first")
        self._baudrate = baudrate
        self._mode = polarity << 1 | phase

    def deinit(self):
        pass

    def write(self, out):
        self._transfer(out, None)

    def read(self, nbytes, write=0):
        into = bytearray(nbytes)
        self.readinto(into, write)
        return bytes(into)

    def readinto(self, into, write=0):
        for at in range(len(into)):
            into[at] = write
        self._transfer(into, into)

    def write_readinto(self, out, into):
        if len(out) != len(into):
            raise ValueError("buffers must be the same length")
        self._transfer(out, into)

    def _transfer(self, out, into):
        clock.spend(CALL_US + len(out) * 8000000 // self._baudrate)
        depth = _open_heap()
        level = stuck.get(("spi", self._id))
        selected = None
        for (bus, pin), chip in spi_chips.items():
            if bus == self._id and lines[pin].driving and not lines[pin].out and chip.answers():
                selected = chip
                break
        if selected is not None:
            selected.transfer(out, into, self._mode, self._baudrate)
        elif into is not None:
            # nobody drives the wire; RP2040's pads pull down after reset
            idle = 0xFF if self._miso is not None and self._miso.pull_up else 0
            for at in range(len(into)):
                into[at] = idle
        if level is not None and into is not None:
            for at in range(len(into)):
                into[at] = 0xFF if level else 0
        _close_heap(depth)


class UART:
    """Received bytes stay in `received` until the program reads them; more than rxbuf is lost, as on the port."""

    received = {0: b"", 1: b""}

    def __init__(self, id, baudrate=115200, bits=8, parity=None, stop=1, *, tx=None, rx=None, txbuf=256, rxbuf=256, timeout=0):
        for name, pin, least in (("TX", tx, 0), ("RX", rx, 1)):  # RP2040 datasheet 1.4.3, table 2
            if pin is not None and (pin.number & 3 != least or ((pin.number + 4) >> 3) & 1 != id):
                raise ValueError("bad %s pin" % name)
        self._id = id
        self._most = rxbuf
        UART.received[id] = b""

    def any(self):
        clock.spend(CALL_US)
        return len(UART.received[self._id])

    def readinto(self, into, nbytes=None):
        clock.spend(CALL_US)
        depth = _open_heap()
        waiting = UART.received[self._id][-self._most :]
        count = min(len(waiting), len(into) if nbytes is None else nbytes)
        into[:count] = waiting[:count]
        UART.received[self._id] = waiting[count:]
        _close_heap(depth)
        return count or None


class I2C:
    def __init__(self, id, *, scl=None, sda=None, freq=400000, timeout=50000):
        if id not in (0, 1):
            raise ValueError("I2C(%d) doesn't exist" % id)
        for name, pin, odd in (("SCL", scl, 1), ("SDA", sda, 0)):
            if pin is not None and (pin.number & 1 != odd or (pin.number >> 1) & 1 != id):
                raise ValueError("bad %s pin" % name)
        self._id = id
        self._freq = freq
        self._timeout_us = timeout

    def init(self, **how):
        self.__init__(self._id, **how)

    def scan(self):
        return sorted([address for bus, address in i2c_chips if bus == self._id and i2c_chips[(bus, address)].answers()])

    def writeto(self, addr, buf, stop=True):
        chip = self._chip(addr, len(buf))
        depth = _open_heap()
        try:
            chip.write(buf)
        finally:
            _close_heap(depth)
        return len(buf)

    def readfrom_into(self, addr, buf, stop=True):
        chip = self._chip(addr, len(buf))
        depth = _open_heap()
        try:
            chip.read_into(buf)
        finally:
            _close_heap(depth)

    def readfrom(self, addr, nbytes, stop=True):
        buf = bytearray(nbytes)
        self.readfrom_into(addr, buf)
        return bytes(buf)

    def writevto(self, addr, vector, stop=True):
        return self.writeto(addr, b"".join([bytes(part) for part in vector]))

    def readfrom_mem_into(self, addr, memaddr, buf, *, addrsize=8):
        chip = self._chip(addr, len(buf) + 2)
        depth = _open_heap()
        try:
            chip.write(self._memory_address(memaddr, addrsize))
            chip.read_into(buf)
        finally:
            _close_heap(depth)

    def readfrom_mem(self, addr, memaddr, nbytes, *, addrsize=8):
        buf = bytearray(nbytes)
        self.readfrom_mem_into(addr, memaddr, buf, addrsize=addrsize)
        return bytes(buf)

    def writeto_mem(self, addr, memaddr, buf, *, addrsize=8):
        chip = self._chip(addr, len(buf) + 1)
        depth = _open_heap()
        try:
            chip.write(self._memory_address(memaddr, addrsize) + bytes(buf))
        finally:
            _close_heap(depth)

    def _memory_address(self, address, bits):
        return bytes([(address >> shift) & 0xFF for shift in range(bits - 8, -1, -8)])

    def _chip(self, address, length):
        """The chip that answers; the transfer's time passes. OSError(EIO) without an answer, OSError(ETIMEDOUT) when a line stays low."""
        if ("i2c", self._id) in stuck:
            clock.spend(self._timeout_us)
            raise OSError(ETIMEDOUT)
        chip = i2c_chips.get((self._id, address))
        if chip is None or not chip.answers():
            clock.spend(CALL_US + 9000000 // self._freq)
            raise OSError(EIO)
        clock.spend(CALL_US + (length + 1) * 9000000 // self._freq + chip.stretch_us)
        if chip.stretch_us > self._timeout_us:
            raise OSError(ETIMEDOUT)
        if self._freq > chip.highest_hz:
            raise OSError(EIO)
        return chip

"""SPI and I2C of the emulated RP2040, connected byte by byte to the chip models of hotfuel.simulator.chips, at the speed the firmware chose.

The models handle whole transfers; here one byte comes at a time, as on the wires.
"""

from collections.abc import Callable
from typing import Any

from rp2040py.gpio_pin import GPIOPinState

PREFETCH = 32  # bytes: more than any of the chips is asked for in one transfer
TX_EMPTY = 1 << 4  # IC_RAW_INTR_STAT, RP2040 datasheet 4.3.17
IDLE_HIGH, IDLE_LOW = 0xFF, 0x00


class SpiBus:
    """One SPI block and its select lines. `disturb`: None, or a function of every byte a selected chip sends, returning the byte received."""

    def __init__(self, mcu: Any, number: int, miso_gpio: int) -> None:
        self._mcu = mcu
        self._spi = mcu.spi[number]
        self._miso = mcu.gpio[miso_gpio]
        self._chips: dict[int, Any] = {}
        self._selected: set[int] = set()
        self._answer = IDLE_LOW
        self._done = mcu.clock.create_alarm(self._finish)
        self.disturb: Callable[[int], int] | None = None
        self.bytes_moved = 0
        self._spi.on_transmit = self._transmit

    def attach(self, select_gpio: int, chip: Any) -> None:
        """A chip whose select pin is at this GPIO."""
        self._chips[select_gpio] = chip

        def changed(new: GPIOPinState, _old: GPIOPinState) -> None:
            low = new == GPIOPinState.LOW  # driven low; a floating pin selects nothing
            if low != (select_gpio in self._selected):
                (self._selected.add if low else self._selected.discard)(select_gpio)
                chip.select(0 if low else 1)

        self._mcu.gpio[select_gpio].add_listener(changed)

    def _transmit(self, byte: int) -> None:
        self.bytes_moved += 1
        answer = IDLE_HIGH if self._miso.pullup_enabled else IDLE_LOW
        hertz = int(self._spi.clock_frequency) or 1_000_000
        for gpio in self._selected:
            chip = self._chips[gpio]
            if chip.answers():
                into = bytearray(1)
                chip.transfer(bytes((byte,)), into, self._spi.spi_mode, hertz)
                answer = self.disturb(into[0]) if self.disturb else into[0]
        self._answer = answer
        self._done.schedule(self._spi.data_bits * 1e9 / hertz)

    def _finish(self) -> None:
        self._spi.complete_transmit(self._answer)


class I2cBus:
    """One I2C block. hold() pulls the data line low, and no transfer ends; let_go() releases it, and the waiting transfer completes."""

    def __init__(self, mcu: Any, number: int) -> None:
        self._i2c = mcu.i2c[number]
        self._mcu = mcu
        self._chips: dict[int, Any] = {}
        self._chip: Any = None
        self._written = bytearray()
        self._to_read: bytes | None = None
        self._at = 0
        self._next: Callable[[], None] = lambda: None
        self._alarm = mcu.clock.create_alarm(lambda: self._next())
        self._held = self._waits = False
        self._i2c.on_connect, self._i2c.on_stop = self._connect, self._stop
        self._i2c.on_write_byte, self._i2c.on_read_byte = self._write, self._read

    def attach(self, address: int, chip: Any) -> None:
        """A chip at this 7-bit address."""
        self._chips[address] = chip

    def _byte_ns(self) -> float:
        cycles = self._i2c.scl_high_period + self._i2c.scl_low_period
        return 9e9 * cycles / (self._mcu.clk_sys or 125_000_000)

    def _later(self, action: Callable[[], None], wait_us: int = 0) -> None:
        self._next, self._waits = action, self._held
        if not self._held:
            self._alarm.schedule(self._byte_ns() + wait_us * 1000)

    def hold(self) -> None:
        """Pull the data line low from now on."""
        self._held = True

    def let_go(self) -> None:
        """Release the data line."""
        self._held = False
        if self._waits:
            self._waits = False
            self._alarm.schedule(self._byte_ns())

    def _connect(self, address: int, mode: int) -> None:
        self._deliver()
        chip = self._chips.get(address)
        self._chip = chip if chip is not None and chip.answers() else None
        self._to_read, self._at = None, 0

        def answered() -> None:
            self._i2c.complete_connect(self._chip is not None)
            # an aborted transfer empties the FIFO, but the emulator does not raise the interrupt: the firmware sees a time-out
            # instead of EIO
            if self._chip is None:
                self._i2c._set_interrupts(TX_EMPTY)

        self._later(answered, self._chip.stretch_us if self._chip is not None else 0)

    def _write(self, byte: int) -> None:
        self._written.append(byte)
        self._later(lambda: self._i2c.complete_write(self._chip is not None))

    def _read(self, _acknowledged: bool) -> None:
        if self._to_read is None:  # the models return a whole read at once
            into = bytearray(PREFETCH)
            if self._chip is not None:
                self._chip.read_into(into)
            self._to_read = bytes(into)
        byte = self._to_read[self._at] if self._at < PREFETCH else IDLE_HIGH
        self._at += 1
        self._later(lambda: self._i2c.complete_read(byte))

    def _deliver(self) -> None:
        if self._written and self._chip is not None:
            self._chip.write(bytes(self._written))
        self._written = bytearray()

    def _stop(self) -> None:
        self._deliver()
        self._i2c.complete_stop()

"""The part of firmware/board.py that sampler and drivers use; it allocates nothing. Runs on every interpreter.

The amplifier is a register file that answers like a MAX31856: enough to run every line of the driver, but not a model of the
chip.
"""

MASK = 0x3FFFFFFF


class Registers:
    """16 registers behind one select line; `silent`: None, or the byte read from an empty bus."""

    def __init__(self):
        self.bytes = bytearray(16)
        self.bytes[1] = 0x03
        self.bytes[2] = 0xFF
        self.silent = None
        self.selected = False

    def __call__(self, level):
        self.selected = not level

    def transfer(self, out, into):
        address = out[0] & 0x7F
        writing = out[0] & 0x80
        index = 1
        into[0] = 0 if self.silent is None else self.silent
        while index < len(out):
            if self.silent is not None:
                into[index] = self.silent
            elif writing:
                self.bytes[address] = out[index]
                into[index] = 0
            else:
                into[index] = self.bytes[address]
            address = (address + 1) & 15
            index += 1


class FakeBoard:
    def __init__(self, channels, start_ms=0):
        self.chips = [Registers() for _ in range(channels)]
        self.now_ms = start_ms
        self.timer = None
        self.slept_ms = 0

    # the interface of firmware/board.py

    def ticks_ms(self):
        return self.now_ms

    def ticks_us(self):
        return (self.now_ms & 0xFFFFF) * 1000  # stays a small integer

    def sleep_ms(self, ms):
        self.slept_ms += ms
        self.advance(ms)

    def advance(self, ms):
        """Let time pass; it wraps as on the board. Not to be called while the heap is locked."""
        self.now_ms = (self.now_ms + ms) & MASK

    def start_timer(self, period_ms, callback):
        self.timer = (period_ms, callback)

    def stop_timer(self):
        self.timer = None

    def spi(self):
        return self

    def select(self, channel):
        return self.chips[channel]

    def transfer(self, select, phase, out, into):
        select(0)
        select.transfer(out, into)
        select(1)


class WordChip:
    """A MAX31855: four bytes, read only."""

    def __init__(self, word):
        self.word = bytearray(word)

    def __call__(self, level):
        pass

    def transfer(self, out, into):
        index = 0
        while index < 4:
            into[index] = self.word[index]
            index += 1


class PointerChip:
    """An MCP9601 behind I2C: registers of one, two or three bytes, addressed by a pointer."""

    def __init__(self):
        self.registers = {2: bytearray(2), 3: bytearray(3), 4: bytearray(1), 5: bytearray(1), 6: bytearray(1)}

    def readfrom_mem_into(self, address, register, into):
        index = 0
        while index < len(into):
            into[index] = self.registers[register][index]
            index += 1

    def writeto(self, address, data):
        self.registers[data[0]][0] = data[1]


SETTINGS = {"mode": "one_shot", "mains_hz": 60, "averages": 1, "gain": 32, "rate_hz": 5}


def converted(chip, hot, cold, status=0):
    """Finish the chip's conversion: put codes into its registers and clear the one-shot bit."""
    chip.bytes[0] &= 0xBF
    chip.bytes[0x0A] = cold >> 8 & 0xFF
    chip.bytes[0x0B] = cold & 0xFF
    code = hot << 5
    chip.bytes[0x0C] = code >> 16 & 0xFF
    chip.bytes[0x0D] = code >> 8 & 0xFF
    chip.bytes[0x0E] = code & 0xFF
    chip.bytes[0x0F] = status

"""What the I2C chips have in common: a register pointer, written first, and faults of the wiring."""


class I2CDevice:
    """Subclasses say what registers hold and take. `stretch_us`: how long the chip holds the clock before every answer."""

    highest_hz = 400000

    def __init__(self):
        self.pointer = 0
        self.stretch_us = 0
        self.gone = False

    def load(self, register):
        """The byte a register gives."""
        raise NotImplementedError

    def store(self, register, byte):
        """A register is written; read-only ones ignore it."""
        raise NotImplementedError

    def answers(self):
        return not self.gone

    def write(self, data):
        if len(data):
            self.pointer = data[0]
            for byte in memoryview(data)[1:]:
                self.store(self.pointer, byte)
                self.pointer = (self.pointer + 1) & 0xFF

    def read_into(self, into):
        for at in range(len(into)):
            into[at] = self.load(self.pointer)
            self.pointer = (self.pointer + 1) & 0xFF

    def has(self, fault):
        return fault == "gone" and self.gone

    def set_fault(self, name, on=True):
        """ "gone" (no power, or a broken wire), "stretch" (on: microseconds), "brown_out" (the supply dips once)."""
        if name == "gone":
            self.gone = bool(on)
        elif name == "stretch":
            self.stretch_us = int(on)
        elif name == "brown_out":
            if on:
                self.power_on()
        else:
            raise ValueError("there is no fault called %s; there are gone, stretch, brown_out" % name)

    def power_on(self):
        """Registers back to their reset values."""

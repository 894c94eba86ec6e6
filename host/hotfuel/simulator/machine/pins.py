"""machine.Pin, ADC and PWM of the rp2 port. A pin's level is what the program drives, else what the world holds it at, else its pull resistor."""

from .clock import clock
from .world import world

PINS = 30
CALL_US = 2  # what a call costs on a 125 MHz RP2040, roughly (own estimate)


class Line:
    """One wire of the board, shared by all Pin objects of that number."""

    def __init__(self):
        self.start()

    def start(self):
        self.driving = False
        self.out = 0
        self.pull_up = False
        self.held = None  # the level it is held at from outside
        self.listener = None  # function(level): a chip whose select or enable input this is
        self.handler = None
        self.trigger = 0
        self.pin = None

    def level(self):
        if self.driving:
            return self.out
        if self.held is not None:
            return self.held
        return 1 if self.pull_up else 0

    def drive(self, level):
        changed = level != self.out or not self.driving
        self.out = level
        if changed and self.driving and self.listener is not None:
            self.listener(level)

    def hold(self, level):
        """Hold the wire at `level` from outside; None releases it."""
        before = self.level()
        self.held = level
        self.edge(before, self.level())

    def edge(self, before, after):
        if before != after and self.handler is not None and self.trigger & (Pin.IRQ_RISING if after else Pin.IRQ_FALLING):
            clock.schedule(self.handler, self.pin)


lines = [Line() for _ in range(PINS)]


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    ALT = 3
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_FALLING = 4
    IRQ_RISING = 8

    def __init__(self, id, mode=-1, pull=-1, *, value=None, alt=-1):
        if isinstance(id, Pin):
            id = id.number
        elif id == "LED":
            id = 25
        elif isinstance(id, str):
            id = int(id[2:]) if id.startswith("GP") else -1
        if not 0 <= id < PINS:
            raise ValueError("unknown named pin")
        self.number = id
        self._line = lines[id]
        if mode != -1 or pull != -1 or value is not None:
            self.init(mode, pull, value=value)

    def __repr__(self):
        return "Pin(GPIO%d)" % self.number

    def init(self, mode=-1, pull=-1, *, value=None, alt=-1):
        line = self._line
        if value is not None:
            line.out = 1 if value else 0
        if pull != -1:
            line.pull_up = pull == Pin.PULL_UP
        if mode != -1:
            line.driving = mode == Pin.OUT
            if line.driving and line.listener is not None:
                line.listener(line.out)

    def value(self, level=None):
        clock.spend(CALL_US)
        if level is None:
            return self._line.level()
        self._line.drive(1 if level else 0)

    __call__ = value

    def on(self):
        self.value(1)

    def off(self):
        self.value(0)

    high = on
    low = off

    def toggle(self):
        self.value(1 - self._line.out)

    def irq(self, handler=None, trigger=IRQ_FALLING | IRQ_RISING, *, hard=False):
        self._line.handler = handler
        self._line.trigger = trigger
        self._line.pin = self


class ADC:
    """16-bit readings of what the world puts on the analogue pins; `sources` says which column of the world is on which pin."""

    CORE_TEMP = 4
    sources = {}  # pin number -> column of the world

    def __init__(self, channel):
        number = channel.number if isinstance(channel, Pin) else channel
        if number in range(5):
            number += 26
        elif number not in range(26, 30):
            raise ValueError("Pin doesn't have ADC capabilities")
        self._number = number

    def read_u16(self):
        clock.spend(5)
        if self._number == 30:
            return 14100  # about 25 degC on the chip's own sensor (RP2040 datasheet 4.9.5: 27 degC = 0.706 V of 3.3 V)
        column = self.sources.get(self._number)
        if column is None and self._number == 29:
            return 31100  # the supply by the board's own divider by 3 (Pico datasheet): 4.7 V behind a Schottky diode
        return 0 if column is None else world.input(column, clock.now_us)


class PWM:
    """A square wave on a pin, only recorded: `frequency` in Hz and `duty` of 65536."""

    def __init__(self, pin, *, freq=-1, duty_u16=-1, duty_ns=-1, invert=False):
        self.pin = pin
        self.frequency = 0
        self.duty = 0
        self.init(freq=freq, duty_u16=duty_u16, duty_ns=duty_ns)

    def init(self, *, freq=-1, duty_u16=-1, duty_ns=-1, invert=False):
        if freq != -1:
            self.freq(freq)
        if duty_u16 != -1:
            self.duty_u16(duty_u16)
        if duty_ns != -1:
            self.duty_ns(duty_ns)

    def deinit(self):
        self.duty = 0

    def freq(self, value=None):
        if value is None:
            return self.frequency
        if value < 8:
            raise ValueError("freq too small")
        self.frequency = value

    def duty_u16(self, value=None):
        if value is None:
            return self.duty
        self.duty = value

    def duty_ns(self, value=None):
        if value is None:
            return self.duty * 1000000000 // (65536 * self.frequency) if self.frequency else 0
        self.duty = value * self.frequency * 65536 // 1000000000

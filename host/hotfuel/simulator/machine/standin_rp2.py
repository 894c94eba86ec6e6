"""MicroPython's `rp2`: enough of it to count pulses with a state machine.

No PIO program is interpreted. A state machine here does, while active, what a program does that runs "wait, wait, jmp(x_dec)": X goes down by one at
every pulse on its input pin. `exec("set(x, 0)")` sets X; `exec("mov(isr, x)")`, `exec("push()")` and `get()` fetch it.
"""

from .clock import clock
from .world import world

pulse_pins = {}  # pin number -> column of the world with the pulses that arrive here


_WORDS = {0xA0C1: "mov(isr, x)", 0x8020: "push()"}  # RP2040 datasheet 3.4: what these instructions are assembled to


class PIO:
    IN_LOW = 0
    IN_HIGH = 1
    OUT_LOW = 2
    OUT_HIGH = 3
    SHIFT_LEFT = 0
    SHIFT_RIGHT = 1
    JOIN_NONE = 0
    JOIN_TX = 1
    JOIN_RX = 2


def asm_pio(**how):
    return lambda program: program


class StateMachine:
    def __init__(self, id, program=None, freq=-1, *, in_base=None, jmp_pin=None, out_base=None, set_base=None, sideset_base=None):
        if not 0 <= id < 8:
            raise ValueError("StateMachine doesn't exist")
        self._program = None
        if program is not None:
            self.init(program, freq, in_base=in_base, jmp_pin=jmp_pin)

    def init(self, program, freq=-1, *, in_base=None, jmp_pin=None, out_base=None, set_base=None, sideset_base=None):
        self._pin = in_base if in_base is not None else jmp_pin
        self._begin = self._pulses()
        self._from = 0
        self._active = False
        self._fifo = []
        self._shift = 0

    def _pulses(self):
        column = None if self._pin is None else pulse_pins.get(self._pin.number)
        return 0 if column is None else world.input(column, clock.now_us)

    def _x(self):
        return (self._from - (self._pulses() - self._begin if self._active else 0)) & 0xFFFFFFFF

    def active(self, value=None):
        if value is not None:
            if not value:
                self._from = self._x()
            elif not self._active:
                self._begin = self._pulses()
            self._active = bool(value)
        return self._active

    def restart(self):
        self._begin = self._pulses()

    def exec(self, instruction):
        clock.spend(5)
        instruction = _WORDS.get(instruction, instruction)
        if instruction in ("mov(isr, x)", "in_(x, 32)"):
            self._shift = self._x()
        elif instruction.startswith("push("):
            if len(self._fifo) < 4:
                self._fifo.append(self._shift)
        elif instruction in ("set(x, 0)", "mov(x, invert(null))"):
            self._from = 0 if instruction == "set(x, 0)" else 0xFFFFFFFF
            self._begin = self._pulses()
        else:
            raise NotImplementedError("the simulated state machine does not know " + instruction)

    def rx_fifo(self):
        return len(self._fifo)

    def get(self, buf=None, shift=0):
        if not self._fifo:
            raise RuntimeError("the simulated state machine has nothing to give: this would wait for ever")
        return self._fifo.pop(0) << shift

    def put(self, value, shift=0):
        pass

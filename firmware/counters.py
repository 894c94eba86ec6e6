"""Pulse counters for engine speed and flow meters; the caller passes in the hardware they use. Loaded only if such an input is wired."""

from hotfuel_wire import const

_FETCH = const(0xA0C1)  # mov(isr, x); given as text it would be assembled at every count, which takes milliseconds
_PUSH = const(0x8020)  # push()


class StateMachineCounter:
    """Rising edges counted by a PIO state machine: needs no processor time and misses none."""

    by_interrupt = False

    def __init__(self, rp2, gpio, number=0):
        # 31 cycles of 10 us after each edge let the contact or coil settle: up to 1,500 pulses a second.
        # A jump that is taken does not wrap: its label has to stand inside the program.
        @rp2.asm_pio()
        def edges():
            wrap_target()  # type: ignore[name-defined]  # noqa: F821
            label("next")  # type: ignore[name-defined]  # noqa: F821
            wait(0, pin, 0)[31]  # type: ignore[name-defined]  # noqa: F821
            wait(1, pin, 0)[31]  # type: ignore[name-defined]  # noqa: F821
            jmp(x_dec, "next")  # type: ignore[name-defined]  # noqa: F821
            wrap()  # type: ignore[name-defined]  # noqa: F821

        self._machine = rp2.StateMachine(number, edges, freq=100_000, in_base=gpio)
        self._machine.exec("mov(x, invert(null))")
        self._machine.active(1)
        self._count = 0

    def count(self):
        """Edges since boot, wrapping at 2^32."""
        self._machine.exec(_FETCH)
        self._machine.exec(_PUSH)
        if self._machine.rx_fifo():
            self._count = 0xFFFFFFFF - self._machine.get()  # x counts down
        return self._count


class InterruptCounter:
    """Rising edges counted by interrupt: some are lost while the processor is busy."""

    by_interrupt = True

    def __init__(self, gpio, rising):
        self._edges = 0
        self._seen = 0
        self._count = 0
        gpio.irq(handler=self._edge, trigger=rising)

    def _edge(self, _pin):
        self._edges = (self._edges + 1) & 0x3FFFFFFF

    def count(self):
        """Edges since boot, wrapping at 2^32."""
        edges = self._edges
        self._count = (self._count + ((edges - self._seen) & 0x3FFFFFFF)) & 0xFFFFFFFF
        self._seen = edges
        return self._count

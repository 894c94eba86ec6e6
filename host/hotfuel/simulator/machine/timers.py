"""machine.Timer and machine.WDT of the rp2 port, on the simulated clock."""

from .clock import NEVER, Alarm, Reset, clock

WATCHDOG_LONGEST_MS = 8388  # RP2040 datasheet, 4.7: 24-bit counter, counted down twice per microsecond


class Timer(Alarm):
    """A software timer (id -1). Like the rp2 port's it is re-armed from the moment it was due, not from the moment its callback ran."""

    ONE_SHOT = 0
    PERIODIC = 1

    def __init__(self, id=-1, **how):
        if id != -1:
            raise ValueError("Timer doesn't exist")
        if how:
            self.init(**how)

    def init(self, *, mode=PERIODIC, callback=None, period=0xFFFFFFFF, tick_hz=1000, freq=None):
        self._step_us = int(1000000 / freq) if freq is not None else period * 1000000 // tick_hz
        if self._step_us < 1:
            self._step_us = 1
        self._mode = mode
        self._callback = callback
        self.due_us = clock.now_us + self._step_us
        clock.add(self)

    def deinit(self):
        self.due_us = NEVER
        clock.remove(self)

    def fire(self):
        if self._mode == Timer.ONE_SHOT:
            self.deinit()
        else:
            self.due_us += self._step_us
        if self._callback is not None:
            clock.schedule(self._callback, self)


class WDT(Alarm):
    """The watchdog: once started it cannot be stopped, and it counts while interrupts are off."""

    def __init__(self, id=0, timeout=5000):
        if id != 0:
            raise ValueError("WDT(%d) doesn't exist" % id)
        if not 1 <= timeout <= WATCHDOG_LONGEST_MS:
            raise ValueError("timeout exceeds %d" % WATCHDOG_LONGEST_MS)
        self._timeout_us = timeout * 1000
        self.feed()
        clock.add(self)

    def feed(self):
        self.due_us = clock.now_us + self._timeout_us

    def fire(self):
        raise Reset(RESET_BY_WATCHDOG)


# How the process ends, for the host that starts it again.
ENDED = 0
RESET_BY_WATCHDOG = 10  # machine.reset() too: the rp2 port resets by its watchdog
RESET_SOFT = 11
POWER_LOST = 12

"""The tick: the timer callback reads every chip into a ring that is allocated once.

When the ring is full the oldest tick is overwritten and counted. The callback allocates nothing, touches no file and sends nothing;
only it talks to the amplifiers, so it never interrupts a transfer.
"""

from array import array

from clock import TICKS_MASK, elapsed
from hotfuel_wire import const

DEPTH = const(32)  # ticks; a blocked write of one second at 10 Hz takes ten


class Sampler:
    """Counts: late, skipped, dropped (ticks), longest_us (one tick). `error`: the exception that stopped a tick, for the main loop to report."""

    def __init__(self, board, chips, period_ms):
        self.chips = chips
        self.period_ms = period_ms
        self.late = 0
        self.skipped = 0
        self.dropped = 0
        self.longest_us = 0
        self.error = None
        self.astray = 0  # ticks in a row that came more than an eighth of a period from the middle of their window
        # The last tick taken, one entry a channel.
        self.raw_ms = 0
        self.hot = array("i", [0] * len(chips))
        self.cold = array("h", [0] * len(chips))
        self.status = bytearray(len(chips))
        self._board = board
        self._ticks_ms = board.ticks_ms
        self._ticks_us = board.ticks_us
        count = len(chips)
        self._ring_ms = array("i", [0] * DEPTH)
        self._ring_hot = array("i", [0] * (DEPTH * count))
        self._ring_cold = array("h", [0] * (DEPTH * count))
        self._ring_status = bytearray(DEPTH * count)
        # Ticks written and read so far, masked; each has one writer, so callback and main loop cannot corrupt each other's count.
        self._written = 0
        self._read = 0
        self._window = 0  # when the current tick's window began
        self._last_ms = 0
        self._first = True
        self._running = False
        self._callback = self.tick  # bound once: binding allocates

    def start(self, clock, unread=False):
        """Configure the chips and start the timer so that it fires in the middle of a tick's window; blocks for a period at most.

        In the middle a read may come half a period late or early and keep its tick number. unread: no time has been sent yet, so the clock is set to the
        middle instead of waiting for it.
        """
        self.stop()
        for chip in self.chips:
            chip.configure()
        if unread:
            clock.begin(self.period_ms // 2)
        else:
            self._sleep_to_the_middle(clock)
        now = clock.now()
        self._last_ms = self._ticks_ms() & TICKS_MASK
        self._window = (self._last_ms - now % self.period_ms) & TICKS_MASK
        self._first = True
        self._run()

    def align(self, clock):
        """Corrects for timer and clock running at slightly different rates: back to the middle of the window, taking that window's tick at once."""
        self.stop()
        self._sleep_to_the_middle(clock)
        self._run()
        self._callback(None)

    def _sleep_to_the_middle(self, clock):
        self._board.sleep_ms((self.period_ms + self.period_ms // 2 - clock.now() % self.period_ms) % self.period_ms)

    def _run(self):
        self.astray = 0
        self._running = True
        self._board.start_timer(self.period_ms, self._callback)

    def stop(self):
        """No more ticks, not even one whose callback is already pending: it would configure the chips by old settings."""
        self._running = False
        self._board.stop_timer()

    def tick(self, _timer):
        """The timer callback."""
        if not self._running:
            return
        try:
            self._tick()
        except Exception as error:  # a traceback printed here would land between the frames
            self.error = error

    def _tick(self):
        now = self._ticks_ms() & TICKS_MASK
        begun = self._ticks_us() & TICKS_MASK
        period = self.period_ms
        since = elapsed(now, self._window)
        windows = since // period
        # The timer re-arms from its scheduled time, so late ticks come in a burst: one tick, one reading.
        if (windows == 0 or elapsed(now, self._last_ms) * 2 < period) and not self._first:
            self.skipped += 1
            return
        self._window = (now - since % period) & TICKS_MASK  # a sum could leave the small integers at the wrap, and allocate
        # A tick more than half a period late falls into the next window: its own window gets no reading.
        if windows > 1 and not self._first:
            self.late += 1
        self.astray = self.astray + 1 if abs(elapsed(now, self._window) * 2 - period) * 4 > period else 0
        self._first = False
        self._last_ms = now
        at = self._written % DEPTH
        self._ring_ms[at] = now
        place = at * len(self.chips)
        for chip in self.chips:
            chip.read_raw()
            self._ring_hot[place] = chip.hot
            self._ring_cold[place] = chip.cold
            self._ring_status[place] = chip.status
            place += 1
        self._written = (self._written + 1) & TICKS_MASK
        took = elapsed(self._ticks_us() & TICKS_MASK, begun)
        if took > self.longest_us:
            self.longest_us = took

    def take(self):
        """Copy the oldest tick into raw_ms, hot, cold and status; False if there is none."""
        count = len(self.chips)
        while True:
            behind = elapsed(self._written, self._read)
            if not behind:
                return False
            if behind > DEPTH:
                self.dropped += behind - DEPTH
                self._read = (self._read + behind - DEPTH) & TICKS_MASK
            at = self._read % DEPTH
            self.raw_ms = self._ring_ms[at]
            for index in range(count):
                self.hot[index] = self._ring_hot[at * count + index]
                self.cold[index] = self._ring_cold[at * count + index]
                self.status[index] = self._ring_status[at * count + index]
            if elapsed(self._written, self._read) <= DEPTH:  # else the callback overwrote it during the copy
                self._read = (self._read + 1) & TICKS_MASK
                return True

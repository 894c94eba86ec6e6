# Run on the MicroPython unix port: the receiver's reading under the heap lock.
import sys

import micropython


class Board:
    text = b""

    def receiver(self, baud):
        return self

    def readinto(self, into):
        return None


class Application:
    failed = 0

    def __init__(self):
        self.settings = {"more_inputs": ("receiver",), "receiver_baud": 9600}
        self.clock = self
        self.on_loop, self.on_change, self.on_selftest = [], [], []

    def now(self):
        return 0

    def emit(self, name, values):
        pass


sys.modules["board"] = Board()
import receiver

SENTENCE = b"$GPRMC,120000.00,A,0000.000,N,00000.000,E,0.0,0.0,010126,,,A*59\r\n"
made = receiver.Receiver(Application())
made._taken_ms = -1000  # nothing was taken in this turn
text = (SENTENCE * 10 + b"$GPRMC,1" + b"x" * 300 + SENTENCE.replace(b"*59", b"*58")) * 2 + SENTENCE * 20


def read():
    """Number of sentences taken, or -1 where something allocated memory; only locals are bound while the heap is locked."""
    good = at = 0
    micropython.heap_lock()
    try:
        while at < len(text):
            made._next = 0
            made._count = min(len(text) - at, 256)
            index = 0
            while index < made._count:
                made._in[index] = text[at + index]
                index += 1
            at += made._count
            while made.take():
                good += 1
    except MemoryError:
        good = -1
    micropython.heap_unlock()
    return good


print("%d sentences, %d bad, 0 bytes" % (read(), made.bad))

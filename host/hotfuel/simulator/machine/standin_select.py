"""MicroPython's `select.poll` for the simulated board: whether there is room on the serial port is real, the waiting is on the simulated clock.

While the host must lose nothing (`hold_for_reader`), asking for room waits in real time with the board's clock standing still; else a port without
room says so, as the real board's does.
"""

import select as real
import sys

from .clock import clock

POLLIN = 1
POLLOUT = 4
POLLERR = 8
POLLHUP = 16

CALL_US = 20
STEP_US = 10000  # how long at most a waiting poll looks away from the port

MICROPYTHON = sys.implementation.name == "micropython"

hold_for_reader = False


class poll:
    def __init__(self):
        self._real = real.poll() if MICROPYTHON else _Poll()
        self._masks = {}
        self._room_wanted = False

    def register(self, stream, eventmask=POLLIN | POLLOUT):
        stream = _text_layer(stream)
        self._real.register(stream, eventmask)
        self._masks[_key(stream)] = eventmask
        self._count()

    def modify(self, stream, eventmask):
        self.unregister(stream)
        self.register(stream, eventmask)

    def unregister(self, stream):
        stream = _text_layer(stream)
        self._real.unregister(stream)
        self._masks.pop(_key(stream), None)
        self._count()

    def _count(self):
        self._room_wanted = any([mask & POLLOUT for mask in self._masks.values()])

    def poll(self, timeout=-1):
        clock.spend(CALL_US)
        ready = self._look(0)
        if not ready and self._room_wanted and hold_for_reader:
            ready = self._look(-1)
        if ready or timeout == 0:
            return ready
        until_us = None if timeout is None or timeout < 0 else clock.now_us + timeout * 1000
        while not ready and (until_us is None or clock.now_us < until_us):
            clock.pause(STEP_US if until_us is None else min(STEP_US, until_us - clock.now_us))
            ready = self._look(0)
        return ready

    ipoll = poll

    def _look(self, timeout_ms):
        ready = self._real.poll(timeout_ms)
        for answer in ready:
            if answer[1] & (POLLERR | POLLHUP):
                raise SystemExit(0)  # the host that runs this simulation is gone
        return ready


class _Poll:
    """CPython's select.select in the shape of MicroPython's poll: poll() does not exist on every system, select() on sockets does."""

    def __init__(self):
        self._streams = {}

    def register(self, stream, eventmask):
        self._streams[stream] = eventmask

    def unregister(self, stream):
        self._streams.pop(stream, None)

    def poll(self, timeout_ms):
        read = [stream for stream, mask in self._streams.items() if mask & POLLIN]
        write = [stream for stream, mask in self._streams.items() if mask & POLLOUT]
        read, write, _ = real.select(read, write, [], None if timeout_ms < 0 else timeout_ms / 1000)
        return [(stream, POLLIN * (stream in read) | POLLOUT * (stream in write)) for stream in set(read + write)]


def _text_layer(stream):
    """sys.stdin.buffer and sys.stdin are one port."""
    if stream is getattr(sys.stdin, "buffer", None):
        return sys.stdin
    if stream is getattr(sys.stdout, "buffer", None):
        return sys.stdout
    return stream


def _key(stream):
    return stream.fileno() if hasattr(stream, "fileno") else id(stream)

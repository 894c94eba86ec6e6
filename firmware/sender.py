"""Frames are sent from the main loop, never from the tick.

The queue is one preallocated ring of bytes; when it is full the oldest frames are dropped and counted, so that after a pause a host gets the latest.
A host that stops reading hardly blocks the board: every write is preceded by a check for room, and once the port was full, frames go byte by byte until
it flows again (the port only reports room for one byte; a longer write would block for a second and leave a broken frame). So each time a host stops
reading costs at most one such write; ticks continue during it.
"""

from hotfuel_wire import codec, const, framing
from hotfuel_wire.messages import PAYLOAD_MAX

QUEUE_BYTES = const(8192)
_CAREFUL_FRAMES = const(8)  # frames without a full port until whole writes resume: more than the port's buffer
_TURNS = const(8)  # frames, or pieces of one, per call: the main loop has other work
_PIECES = const(32)  # single bytes in such a piece
_SLOW_US = const(50000)


class Sender:
    """sent, dropped: frames. `listeners`: called with (message name, frame buffer, length) for every outgoing frame except replies and
    data; the buffer is reused, and a listener must not send."""

    def __init__(self, board, clock):
        self.sent = 0
        self.dropped = 0
        self.listeners = []
        self.period_ms = 1000
        self._board = board
        self._clock = clock
        self._payload = bytearray(PAYLOAD_MAX)
        self._frame = bytearray(framing.FRAME_MAX)
        self._queue = bytearray(QUEUE_BYTES)
        self._head = 0  # of the oldest frame's length byte
        self._used = 0
        self._current = bytearray(framing.FRAME_MAX)
        self._length = 0
        self._done = 0
        self._careful = 0

    def emit(self, name, values, time_ms=None):
        """Pack message `name`, queue its frame and pass it to the listeners. Fills in the header fields; returns (payload buffer, length)."""
        if time_ms is None:
            time_ms = self._clock.now()
        values["time_ms"] = time_ms
        values["tick"] = time_ms // self.period_ms
        payload = self._payload
        length = codec.pack_into(payload, name, values, True)
        frame = self._frame
        size = framing.encode_into(frame, payload, length)
        self._put(frame, size)
        if name != "reply" and name != "data":
            for listener in self.listeners:
                listener(name, frame, size)
        return payload, length

    def waiting(self):
        """Bytes that wait for the host."""
        return self._used + self._length - self._done

    def pump(self):
        """Write as much as the port takes now, a few frames at most. True if something was written."""
        wrote = False
        for _ in range(_TURNS):
            if not (self._length or self._next()):
                break
            before = self._done
            if self._careful:
                self._write_bytes()
            elif self._board.room():
                self._write_whole()
            if self._done == before:
                self._careful = _CAREFUL_FRAMES
                break
            wrote = True
            if self._done >= self._length:
                self.sent += 1
                self._length = self._done = 0
                if self._careful:
                    self._careful -= 1
        return wrote

    def _write_whole(self):
        begun = self._board.ticks_us()
        self._done += self._board.write(memoryview(self._current)[self._done : self._length])
        if self._done < self._length or (self._board.ticks_us() - begun) & 0x3FFFFFFF > _SLOW_US:
            self._careful = _CAREFUL_FRAMES

    def _write_bytes(self):
        piece = memoryview(self._current)
        for _ in range(min(_PIECES, self._length - self._done)):
            taken = self._board.write(piece[self._done : self._done + 1]) if self._board.room() else 0
            if not taken:
                self._careful = _CAREFUL_FRAMES
                break
            self._done += taken

    def _put(self, frame, size):
        while self._used + size + 1 > QUEUE_BYTES:
            oldest = self._queue[self._head] + 1
            self._head = (self._head + oldest) % QUEUE_BYTES
            self._used -= oldest
            self.dropped += 1
        queue = self._queue
        at = (self._head + self._used) % QUEUE_BYTES
        queue[at] = size
        at = (at + 1) % QUEUE_BYTES
        first = min(size, QUEUE_BYTES - at)
        view = memoryview(frame)
        queue[at : at + first] = view[:first]
        if first < size:
            queue[: size - first] = view[first:size]
        self._used += size + 1

    def _next(self):
        """Move the oldest queued frame into the write buffer, where it can no longer be dropped."""
        if not self._used:
            return False
        queue = memoryview(self._queue)
        size = queue[self._head]
        at = (self._head + 1) % QUEUE_BYTES
        first = min(size, QUEUE_BYTES - at)
        self._current[:first] = queue[at : at + first]
        if first < size:
            self._current[first:size] = queue[: size - first]
        self._head = (self._head + size + 1) % QUEUE_BYTES
        self._used -= size + 1
        self._length = size
        self._done = 0
        return True

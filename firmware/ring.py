# The on-board memory: a ring of segment files on the board's flash file system, so that a drive without a laptop is recorded.
#
# A segment is a part of wire.log: frames with one zero each, the description first. Segments have 16-bit numbers; the oldest is deleted first.
# store.py connects it to the application.
#
# Power loss: the file system keeps a file as it was at its last flush, so every completed flush is whole and at most FLUSH_MS are lost. Erasing flash
# halts the processor (30 to 400 ms a block), hence few flushes, and only in the main loop.
#
# Overflow: the oldest unprotected segment is deleted. Segments near a mark, a warning or a key-off are protected until downloaded; once half the ring is
# protected, no more are (the earliest ones are the run, later ones the tow home). With only protected segments left the store is full and reports it.

import os

from hotfuel_wire import const

FOLDER = "drives"  # not the name of a module: the folder would be found first and hide it from the next boot on
_SEGMENT_BYTES = const(32000)  # eight 4 KB blocks including littlefs' pointers; 32768 would take a ninth
SEGMENT_BLOCKS_BYTES = const(9 * 4096)  # those eight, and one for the folder to grow
KEEP_FREE_BYTES = const(65536)  # for settings and for updating the firmware
FLUSH_MS = const(10000)
_READING_MS = const(500)  # probes lag 0.5 to 3 s: two readings a second lose nothing
_AUXILIARY_MS = const(1000)
HEALTH_MS = const(60000)  # its counts are running totals
_PROTECT_MS = const(20 * 60 * 1000)
PINNED_MS = const(30000)

_PAUSED = ("reading", "auxiliary", "more_inputs", "track")  # not stored while nothing changes
_STORED = _PAUSED + ("description", "barometer", "wall_anchor", "event", "health")


def order(numbers):
    """Segment numbers, oldest first, across the wrap of 16 bits: the ring starts after the largest gap."""
    numbers = sorted(numbers)
    if len(numbers) < 2:
        return numbers
    start, widest = 0, -1
    for index in range(len(numbers)):
        gap = (numbers[index] - numbers[index - 1]) & 0xFFFF
        if gap > widest:
            start, widest = index, gap
    return numbers[start:] + numbers[:start]


class Ring:
    """`head()` gives the frames that begin a segment (description, barometer words); `buffer` holds frames until the next flush.

    Nothing here raises: frames that the file system refuses are counted in `lost`. Events are queued in `happened`, rows of (event name, value), for the
    main loop to send: sending one here would overwrite the frame being stored.
    """

    def __init__(self, folder, head, buffer, reading_ms=_READING_MS, auxiliary_ms=_AUXILIARY_MS):
        self.stored = 0
        self.lost = 0
        self.full = False
        self.paused = False
        self.happened = []
        self._folder = folder
        self._head = head
        self.intervals_ms = {"reading": reading_ms, "auxiliary": auxiliary_ms, "health": HEALTH_MS}
        self._buffer = buffer
        self._filled = 0
        self._waiting = 0  # frames in the buffer
        self._file = None
        self._number = None
        self._size = 0
        self._flushed_ms = 0
        self._slots = {}  # message name -> last stored slot of its rate
        self._protect_until_ms = -1
        self._ended = {}  # segments of this boot: number -> when it ended
        self._pinned = (-1, 0)
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it exists
        self._protected = {}  # number -> is protected
        try:
            names = os.listdir(folder)
        except OSError:  # no free block of flash for the folder
            names = ()
            self.full = True
            self._say("store_full", 0)
        for name in names:
            number, _, kind = name.partition(".")
            if kind in ("seg", "key") and number.isdigit():
                self._protected[int(number)] = kind == "key"
        numbers = order(self._protected)
        if numbers:
            self._say("store_recovered", self.size(numbers[-1]))
            self._number = numbers[-1]

    # Writing

    def offer(self, name, frame, size, time_ms, at_once=True):
        """Stores message `name`, the first `size` bytes of `frame` (zeros on both sides), if its kind and rate allow. Never replies and data.

        Flushes an event at once, unless it is of a frequent kind.
        """
        if name not in _STORED or self.full or (self.paused and name in _PAUSED):
            return
        interval = self.intervals_ms.get(name)
        if interval:
            slot = time_ms // interval
            if self._slots.get(name) == slot:
                return
            self._slots[name] = slot
        length = size - 1
        if self._filled + length > len(self._buffer):
            self.flush(time_ms)
        self._buffer[self._filled : self._filled + length] = memoryview(frame)[1:size]
        self._filled += length
        self._waiting += 1
        if name == "event" and at_once:
            self.flush(time_ms)

    def poll(self, time_ms):
        """Flushes when due; call it from the main loop."""
        if self._filled and time_ms - self._flushed_ms >= FLUSH_MS:
            self.flush(time_ms)

    def flush(self, time_ms):
        """Writes the buffer; afterwards its frames survive a loss of power."""
        self._flushed_ms = time_ms
        if not self._filled:
            return
        try:
            if self._file is None or self._size + self._filled > _SEGMENT_BYTES:
                self._next_segment(time_ms)
            if self._file is not None:
                self._write(memoryview(self._buffer)[: self._filled])
                self.stored += self._waiting
            else:
                self.lost += self._waiting
        except OSError as error:
            self.lost += self._waiting
            self._file = None
            self._say("exception", error.errno or 0)
        self._filled = 0
        self._waiting = 0

    def close(self, time_ms):
        """Before sleep or reset."""
        self.flush(time_ms)
        if self._file is not None:
            self._file.close()
            self._file = None

    def _write(self, data):
        self._file.write(data)
        self._file.flush()
        self._size += len(data)

    def _next_segment(self, time_ms):
        if self._file is not None:
            self._file.close()
            self._file = None
            self._ended[self._number] = time_ms
        if not self._make_room():
            self.full = True
            self._say("store_full", len(self._protected))
            return
        number = 0 if self._number is None else (self._number + 1) & 0xFFFF
        protected = time_ms < self._protect_until_ms and self._may_protect()
        self._protected[number] = protected
        self._number = number
        self._file = open(self._path(number), "wb")
        self._size = 0
        for frame in self._head():
            self._write(frame[1:])

    def _make_room(self):
        while self.free_bytes() < KEEP_FREE_BYTES + SEGMENT_BLOCKS_BYTES:
            for number in order(self._protected):
                if not self._protected[number] and number != self._pinned[0]:
                    self.forget(number)
                    break
            else:
                return False
        return True

    # Protecting

    def protect(self, time_ms):
        """Protects the segments of the last and the next 20 minutes; called for a mark, a warning or a key-off."""
        self._protect_until_ms = time_ms + _PROTECT_MS
        for number in order(self._protected):
            recent = number == self._number or time_ms - self._ended.get(number, -_PROTECT_MS - 1) <= _PROTECT_MS
            if recent and not self._protected[number] and self._may_protect():
                self._rename(number, True)

    def downloaded(self, number):
        """The host has the whole segment: removes its protection."""
        if number == self._pinned[0]:
            self._pinned = (-1, 0)
        if self._protected.get(number):
            self._rename(number, False)
            self.full = False

    def _may_protect(self):
        ring = len(self._protected) + max(0, self.free_bytes() - KEEP_FREE_BYTES) // _SEGMENT_BYTES
        return 2 * (sum(self._protected.values()) + 1) < ring

    def _rename(self, number, protected):
        was = self._path(number)
        if number == self._number and self._file is not None:
            self._file.close()
            self._file = None
        self._protected[number] = protected
        try:
            os.rename(was, self._path(number))
            if number == self._number and self._size:
                self._file = open(self._path(number), "ab")
        except OSError as error:
            self._protected[number] = not protected
            self._say("exception", error.errno or 0)

    # Reading

    def segments(self):
        """[(number, bytes, protected)], oldest first."""
        return [(number, self.size(number), self._protected[number]) for number in order(self._protected)]

    def size(self, number):
        """Flushed bytes of a segment; 0 if it does not exist."""
        try:
            return os.stat(self._path(number))[6]
        except (OSError, KeyError):
            return 0

    def read(self, number, offset, most, time_ms):
        """Bytes of a segment from `offset`, at most `most`; None if it does not exist. Pins it against deletion for a while."""
        if number not in self._protected:
            return None
        self._pinned = (number, time_ms)
        try:
            with open(self._path(number), "rb") as file:
                file.seek(offset)
                return file.read(most)
        except OSError:
            return None

    def forget(self, number):
        """Deletes a segment (never the one being written); True if it existed."""
        if number not in self._protected or (number == self._number and self._file is not None):
            return False
        path = self._path(number)
        del self._protected[number]
        self._ended.pop(number, None)
        self.full = False
        try:
            os.remove(path)
        except OSError as error:
            self._say("exception", error.errno or 0)
        return True

    def unpin(self, time_ms):
        """Releases the pin of a download that has stopped."""
        if time_ms - self._pinned[1] > PINNED_MS:
            self._pinned = (-1, 0)

    def _say(self, event, value):
        if len(self.happened) < 8:
            self.happened.append((event, value))

    def writing(self):
        """Number of the newest segment, None before the first."""
        return self._number

    def free_bytes(self):
        """Free room of the file system."""
        stat = os.statvfs(self._folder)
        return stat[0] * stat[3]

    def _path(self, number):
        return "%s/%05d.%s" % (self._folder, number, "key" if self._protected[number] else "seg")

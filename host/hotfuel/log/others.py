"""Finds another recording's bytes in a log's file: logs joined by hand, a log written after another. Every reader skips them; they are never removed.

A log begins with a frame that holds its number (`identity`), and so does each part that continues it. The bytes after another log's number, up to the next
part of this one or to where this drive's board continues, are that other log's. So is a part without a number that cannot be this drive's by its
board's time (`board_parts`). A part that repeats this log byte for byte is skipped too: it counts once.
"""

import contextlib
import os
import re
from collections.abc import Iterator, Sequence

from hotfuel_wire import codec
from hotfuel_wire.framing import BODY_MAX, FrameError, decode
from hotfuel_wire.messages import TYPES

from hotfuel.log import board_parts
from hotfuel.log.other import Other, Read, Start
from hotfuel.log.told_apart import BLOCK, WINDOW, holds_frames, judged, out_of_order, parts_between, sort_out

_START = re.compile(rb"\x00[\x02-\xff]" + re.escape(bytes([TYPES["log_start"]])))


class Finder:
    """Finds the starts in a log that may still grow. `look` reads new bytes; `others` gives the parts up to `size` that are not this recording's."""

    def __init__(self, read: Read) -> None:
        self._read = read
        self.starts: list[Start] = []
        self._next = self._seen = 0  # position of the next search; how far was read
        self._found: tuple[Other, ...] = ()
        self._found_of = (0, 0, 0)
        self._changes = board_parts.Changes(read)
        self._boards: tuple[tuple[int, int], dict[int, tuple[bytes, int]]] = ((-1, -1), {})
        self._older: tuple[tuple[int, int], bool] | None = None

    def look(self, size: int) -> None:
        """Search up to `size`."""
        if size <= self._seen:
            return
        at = self._next
        while at < size:
            data = self._read(at, min(BLOCK, size - at))
            if not data:
                break
            lead = b"" if at else b"\x00"  # a log whose first zero was cut off still begins with a frame
            self._take(lead + data, at - len(lead))
            self._changes.take(lead + data, at - len(lead))
            last = data.rfind(b"\x00")
            step = last if last > 0 else len(data) if len(data) > BODY_MAX + 2 else 0
            self._next = at + step
            if not step or at + len(data) >= size:
                break
            at = self._next
        self._seen = size

    def others(self, size: int) -> tuple[Other, ...]:
        """Parts that are not this recording's, in order."""
        self.look(size)
        changes = self._changes.found
        if self._found_of != (len(self.starts), len(changes), size):
            self._found_of = (len(self.starts), len(changes), size)
            older = self._head_is_older(size) if self.starts else False
            found = sort_out(self._read, self.starts, size, older, self.headless_number()) if self.starts else ()
            if (changes or any(not other.again for other in found)) and len(changes) < board_parts.MOST:
                found = self._by_boards(found, size)
            self._found = found
        return self._found

    def _by_boards(self, found: tuple[Other, ...], size: int) -> tuple[Other, ...]:
        """The same, with what is found only by the boards' readings: parts without a number, and where this drive continues after another."""
        changes = self._changes
        key = (len(changes.found), size // BLOCK)
        if self._boards[0] != key:
            self._boards = (key, changes.boards(size))
        parts = parts_between(self._read, self.starts, changes, size)
        return judged(self._read, parts, {start.position: start for start in self.starts}, found, self._boards[1], size)

    def headless_number(self) -> bytes | None:
        """The number of a log whose first start cannot be read, from a later part; None if there is none."""
        begun = {start.log_id for start in self.starts if start.part == 0}
        return next((start.log_id for start in self.starts if start.part and start.log_id not in begun), None)

    def _head_is_older(self, size: int) -> bool:
        """Whether the file begins with a log of an earlier version, without a number, and the first start in it is another's."""
        key = (self.starts[0].position, size // WINDOW)
        if self._older is None or self._older[0] != key:
            first = self.starts[0]
            older = first.part == 0 and holds_frames(self._read, first.position) and not out_of_order(self._read, first, size)
            self._older = (key, older)
        return self._older[1]

    def _take(self, data: bytes, base: int) -> None:
        for match in _START.finditer(data):
            end = data.find(b"\x00", match.start() + 1)
            position = max(0, base + match.start())
            if end < 0 or (self.starts and position <= self.starts[-1].position):
                continue
            with contextlib.suppress(FrameError, codec.WireError):
                _, values = codec.unpack(decode(data[match.start() + 1 : end]))
                self.starts.append(Start(position, bytes(values["log_id"]), values["part"], values["wall_us"]))


def of(path: str | os.PathLike[str]) -> tuple[Other, ...]:
    """The parts in the log at `path` that are not its own. Raises OSError."""
    with open(path, "rb") as file:
        return Finder(reading(file)).others(os.fstat(file.fileno()).st_size)


def own_end(path: str | os.PathLike[str]) -> int:
    """Where in its file this recording ends: the size, unless another's bytes come last. Raises OSError."""
    return end_of(of(path), os.stat(path).st_size)


def end_of(others: Sequence[Other], size: int) -> int:
    """The same, given the parts found."""
    end = size
    for other in reversed(others):
        if other.end < end:
            break
        end = min(end, other.begin)
    return end


def reading(file) -> Read:
    """A Finder's access to an open file."""

    def read(position: int, most: int) -> bytes:
        file.seek(position)
        return file.read(most)

    return read


def reading_bytes(log: bytes | memoryview) -> Read:
    """A Finder's access to a log in memory."""
    return lambda position, most: bytes(log[position : position + most])


def own(read: Read, size: int, others: Sequence[Other], block: int) -> Iterator[bytes]:
    """This recording's bytes, in blocks."""
    at = 0
    for other in (*others, Other(size, size, b"", 0)):
        while at < other.begin and (data := read(at, min(block, other.begin - at))):
            yield data
            at += len(data)
        at = max(at, other.end)

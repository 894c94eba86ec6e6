"""Finds another recording's bytes in a log's file: logs joined by hand, a log written after another. Every reader skips them; they are never removed.

A log begins with a frame that holds its number (`identity`), and so does each part that continues it. The bytes after another log's number, up to the next
part of this one or to where this drive's board continues, are that other log's. So is a stretch without a number that cannot be this drive's by its
board's time (`stretches`). A stretch that repeats this log byte for byte is skipped too: it counts once.
"""

import contextlib
import datetime
import itertools
import os
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hotfuel_wire import codec
from hotfuel_wire.framing import BODY_MAX, FrameError, FrameReader, decode
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.log import identity, stretches
from hotfuel.log.stretches import Stretch, Told
from hotfuel.text import typed

Read = Callable[[int, int], bytes]  # (position, at most so many bytes) -> bytes, b"" after the end
_BLOCK = 1 << 20
_WINDOW = 1 << 16  # bytes examined on either side if the order of blocks is in doubt
_JOINT_TICKS = 10  # a few frames may be lost where a block was cut
_START = re.compile(rb"\x00[\x02-\xff]" + re.escape(bytes([TYPES["log_start"]])))


@dataclass(frozen=True)
class Start:
    """The frame that begins a log or a part of it: its position, the log's number, which part, when."""

    position: int
    log_id: bytes
    part: int
    wall_us: int


@dataclass(frozen=True)
class Other:
    """Bytes `begin` to `end` of a file are not this recording's. again: they repeat this recording. began_us: unix microseconds, 0: not known.

    headless: it has no number and was found by its board's readings. sure: its end was found by the board, not only by this drive's next part.
    """

    begin: int
    end: int
    log_id: bytes
    began_us: int
    again: bool = False
    headless: bool = False
    sure: bool = False

    def sentence(self, log: Path | None = None) -> str:
        """For a person: what, where, what to type. log: its file, None if it has none."""
        where = f"byte {self.begin} of {log if log is not None else 'this log'}"
        count = f"{self.end - self.begin} bytes"
        if self.again:
            return f"From {where} on this recording is repeated in its log, byte for byte ({count}): it counts once"
        if self.headless:
            about = f", from about {_moment(self.began_us)}" if self.began_us else ""
            said = (
                f"From {where} on there is another recording without its beginning{about}, told from this drive's by the board's readings: it is left out "
                f"({count})"
            )
        elif self.sure:
            said = f"From {where} on there is another recording, begun {_moment(self.began_us)}: it is left out ({count}), up to where this drive continues"
        else:
            said = (
                f"From {where} on there is another recording, begun {_moment(self.began_us)}: it is left out with everything up to this drive's next part "
                f"({count}); if this drive's own bytes are among them, they cannot be told apart"
            )
        return (
            f"{said}. To make a separate drive of each, type: hotfuel rescue {typed(log.parent)} --into FOLDER"
            if log is not None
            else said
        )


class Finder:
    """Finds the starts in a log that may still grow. `look` reads new bytes; `others` gives the stretches up to `size` that are not this recording's."""

    def __init__(self, read: Read) -> None:
        self._read = read
        self.starts: list[Start] = []
        self._next = self._seen = 0  # position of the next search; how far was read
        self._found: tuple[Other, ...] = ()
        self._found_of = (0, 0, 0)
        self._changes = stretches.Changes(read)
        self._boards: tuple[tuple[int, int], dict[int, tuple[bytes, int]]] = ((-1, -1), {})
        self._older: tuple[tuple[int, int], bool] | None = None

    def look(self, size: int) -> None:
        """Search up to `size`."""
        if size <= self._seen:
            return
        at = self._next
        while at < size:
            data = self._read(at, min(_BLOCK, size - at))
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
        """Stretches that are not this recording's, in order."""
        self.look(size)
        changes = self._changes.found
        if self._found_of != (len(self.starts), len(changes), size):
            self._found_of = (len(self.starts), len(changes), size)
            older = self._head_is_older(size) if self.starts else False
            found = _sort_out(self._read, self.starts, size, older, self.headless_number()) if self.starts else ()
            if (changes or any(not other.again for other in found)) and len(changes) < stretches.MOST:
                found = self._by_boards(found, size)
            self._found = found
        return self._found

    def _by_boards(self, found: tuple[Other, ...], size: int) -> tuple[Other, ...]:
        """The same, with what is found only by the boards' readings: stretches without a number, and where this drive continues after another."""
        changes = self._changes
        key = (len(changes.found), size // _BLOCK)
        if self._boards[0] != key:
            self._boards = (key, changes.boards(size))
        parts = _stretches(self._read, self.starts, changes, size)
        return _judged(self._read, parts, {start.position: start for start in self.starts}, found, self._boards[1], size)

    def headless_number(self) -> bytes | None:
        """The number of a log whose first start cannot be read, from a later part; None if there is none."""
        begun = {start.log_id for start in self.starts if start.part == 0}
        return next((start.log_id for start in self.starts if start.part and start.log_id not in begun), None)

    def _head_is_older(self, size: int) -> bool:
        """Whether the file begins with a log of an earlier version, without a number, and the first start in it is another's."""
        key = (self.starts[0].position, size // _WINDOW)
        if self._older is None or self._older[0] != key:
            first = self.starts[0]
            older = first.part == 0 and _holds_frames(self._read, first.position) and not _out_of_order(self._read, first, size)
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
    """The stretches in the log at `path` that are not its own. Raises OSError."""
    with open(path, "rb") as file:
        return Finder(reading(file)).others(os.fstat(file.fileno()).st_size)


def own_end(path: str | os.PathLike[str]) -> int:
    """Where in its file this recording ends: the size, unless another's bytes come last. Raises OSError."""
    return end_of(of(path), os.stat(path).st_size)


def end_of(others: Sequence[Other], size: int) -> int:
    """The same, given the stretches found."""
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


def _sort_out(read: Read, starts: Sequence[Start], size: int, head_is_older: bool, headless: bytes | None) -> tuple[Other, ...]:
    mine: bytes | None = starts[0].log_id
    if head_is_older:  # or its first start is damaged: then a later part has its number
        mine = headless or identity.of_bytes(read(0, identity.HEAD))
    ends = [start.position for start in starts[1:]] + [size]
    seen: dict[tuple[bytes, int], tuple[int, int]] = {}
    begun_us: dict[tuple[bytes, int], int] = {}
    found: list[Other] = []
    for start, end in zip(starts, ends, strict=True):
        here = (start.position, end)
        if mine is None or not (start.log_id == mine or identity.goes_on(mine, start.log_id)):
            found.append(Other(*here, start.log_id, start.wall_us))
            continue
        before = seen.get((start.log_id, start.part))
        if before is not None:
            least = min(end - start.position, before[1] - before[0])
            if _same(read, before[0], start.position, least):
                shorter = here if end - start.position == least else before
                found.append(Other(*shorter, start.log_id, start.wall_us, again=True))
                if shorter is here:
                    continue
            elif start.wall_us != begun_us[start.log_id, start.part]:
                # two copies, each continued: the first one's continuation is this drive's
                found.append(Other(*here, start.log_id, start.wall_us))
                continue
        seen[start.log_id, start.part] = here
        begun_us.setdefault((start.log_id, start.part), start.wall_us)
    joined: list[Other] = []
    for other in sorted(found, key=lambda one: one.begin):
        last = joined[-1] if joined else None
        if last is not None and (last.end, last.log_id, last.again) == (other.begin, other.log_id, other.again):
            joined[-1] = Other(last.begin, other.end, last.log_id, last.began_us, last.again)
        else:
            joined.append(other)
    return tuple(joined)


def _stretches(read: Read, starts: Sequence[Start], changes: stretches.Changes, size: int) -> list[Stretch]:
    """The log from start to start and change to change."""
    begins = {start.position for start in starts}
    told_at: dict[int, int] = {}  # start -> the description id of its readings, if it differs from the one before
    inner = []
    for change in changes.found:
        start = max((at for at in begins if change.end - 1 <= at <= change.position), default=None)  # two frames may share a zero
        if start is None:
            inner.append(change)
        else:
            told_at[start] = change.first.description_id
    points: list[tuple[int, stretches.Change | None]] = [(at, None) for at in begins | {0}] + [
        (one.position, one) for one in inner
    ]
    points.sort(key=lambda point: point[0])
    current = changes.first[1].description_id if changes.first is not None else None
    made = []
    for (begin, here), (end, following) in itertools.pairwise([*points, (size, None)]):
        current = here.first.description_id if here is not None else told_at.get(begin, current)
        last = following.last if following is not None else stretches.last_reading(read, end) if end < size else None
        made.append(Stretch(begin, end, current, here, last if last is not None and last.description_id == current else None))
    return made


def _judged(
    read: Read,
    parts: Sequence[Stretch],
    starts: dict[int, Start],
    found: Sequence[Other],
    boards: dict[int, tuple[bytes, int]],
    size: int,
) -> tuple[Other, ...]:
    """Which stretches are another's: by the number of the start they follow, or by their board if they follow none."""
    own: dict[int, Told | None] = {}
    theirs: set[int] = set()
    result = [other for other in found if other.again]
    now: Other | None = None  # whose `end` is not known yet

    def close(at: int, sure: bool) -> None:
        assert now is not None
        begin, end = stretches.mended(read, now.begin, at, headless=now.headless) if sure and at < size else (now.begin, at)
        result.append(replace(now, begin=begin, end=end, sure=sure))

    for number, part in enumerate(parts):
        start = starts.get(part.begin) if part.change is None else None
        if part.change is not None:
            anothers = (
                not stretches.comes_back(part, own, theirs, boards)
                if now is not None
                else stretches.foreign(number, parts, boards)
            )
        else:
            anothers = any(other.begin <= part.begin < other.end and not other.again for other in found)
        if now is not None and (not anothers or (start is not None and start.log_id != now.log_id)):
            close(part.begin, sure=start is None)
            now = None
        if not anothers:
            if part.description_id is not None:
                own[part.description_id] = part.last
            continue
        if now is None:
            theirs = set()
            change = part.change
            now = (
                Other(part.begin, size, start.log_id, start.wall_us)
                if start is not None
                else Other(
                    change.end if change else part.begin, size, b"", (change.walls_us[1] or 0) if change else 0, headless=True
                )
            )
        if part.description_id is not None:
            theirs.add(part.description_id)
        stopped = own.get(part.description_id) if part.description_id is not None else None
        back = stretches.goes_on_at(read, part.begin, part.end, stopped) if stopped is not None else None
        if back is not None:
            close(back, sure=True)
            now = None
    if now is not None:
        close(size, sure=now.headless)
    return tuple(sorted(result, key=lambda other: other.begin))


def _holds_frames(read: Read, end: int) -> bool:
    reader = FrameReader()
    at = 0
    while at < end and (data := read(at, min(_WINDOW, end - at))):
        if any(map(identity.is_the_boards, reader.feed(data))):
            return True
        at += len(data)
    return False


def _out_of_order(read: Read, start: Start, size: int) -> bool:
    """Whether the bytes before a log's beginning are of the same log, with its blocks out of order: the same start of the board is on both sides, and the
    bytes before continue where those after end. This is not so for a later log of the same start of the board whose own start was damaged."""
    head, tail = min(start.position, _WINDOW), max(0, start.position - _WINDOW)
    before = _seen(read, 0, head) + (_seen(read, tail, start.position) if tail else [])
    behind = _seen(read, start.position, min(size, start.position + _WINDOW)) + _seen(
        read, max(start.position, size - _WINDOW), size
    )
    common = {row[0] for row in before} & {row[0] for row in behind} - {None}
    if not common:
        return False
    walls = [row[2] for row in before if row[2] is not None]
    if walls and min(walls) < start.wall_us:
        return False
    ticks = [[row[1] for row in rows if row[0] in common] for rows in (before, behind)]
    return 0 <= min(ticks[0]) - max(ticks[1]) <= _JOINT_TICKS


def _seen(read: Read, begin: int, end: int) -> list[tuple[int | None, int, int | None]]:
    """(description id, tick, wall time us) of readings and anchors in these bytes; None for what a frame lacks."""
    rows: list[tuple[int | None, int, int | None]] = []
    for payload in FrameReader().feed(read(begin, end - begin) + b"\x00"):
        if payload[0] & ~SATURATED in (TYPES["reading"], TYPES["wall_anchor"]):
            with contextlib.suppress(codec.WireError):
                _, values = codec.unpack(payload)
                rows.append((values.get("description_id"), values["tick"], values.get("wall_us")))
    return rows


def _same(read: Read, one: int, other: int, size: int) -> bool:
    done = 0
    while done < size:
        data = read(one + done, min(_BLOCK, size - done))
        if not data or data != read(other + done, len(data)):
            return False
        done += len(data)
    return True


def _moment(wall_us: int) -> str:
    with contextlib.suppress(OverflowError, OSError, ValueError):
        return datetime.datetime.fromtimestamp(wall_us / 1e6, datetime.UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return "at an unknown time"

"""Finds where a log changes from one start of a board to another, and tells another log's part without its beginning from this drive's own.

Every reading names its board's description, so a change of board, start or settings shows in it; finding those takes one search over the bytes. The frames
around a change tell the rest: a recorder writes a gap if it received nothing for two seconds, a board that starts counts from zero, and board time that
continues after a part as if it had taken no time shows that the part is another's.
"""

import contextlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from hotfuel_wire import codec
from hotfuel_wire.framing import BODY_MAX, FRAME_MAX, FrameError, decode
from hotfuel_wire.messages import EVENTS, SATURATED, TYPES

from hotfuel.log.other import Read

Frame = tuple[int, int, bytes | None]  # position of its first zero, its end, its payload; None: no frame
MOST = 60  # changes in one log; a log with more is damaged, and they are ignored
_WINDOW = 1 << 16
_FRESH_MS = 10_000  # board time by which a recorder has heard a board that started
_HELD_MS = 1_000  # the most that board and link delay frames without a gap
_FAR_US = 2 * 3_600_000_000  # a recording is continued at most this long after a crash
_WRAP = 1 << 32
_BODY = rb"\x00[\x01-\xff][%b]" + rb"[\x01-\xff]{8}"
_READING = _BODY % bytes([TYPES["reading"], TYPES["reading"] | SATURATED])
_DESCRIPTION = re.compile(_BODY % bytes([TYPES["description"], TYPES["description"] | SATURATED]))
_ANY_READING = re.compile(_READING + rb"[\x01-\xff]{4}")


@dataclass(frozen=True)
class Told:
    """From a reading: its description id, tick and board time."""

    description_id: int
    tick: int
    time_ms: int


@dataclass(frozen=True)
class Change:
    """A reading names another description than the one before. position: of the first frame after the change; end: of the last frame before it. gap, fresh:
    a recorder's gap, a board's start lies between; damaged: bytes between that are no frame. walls_us: nearest wall times."""

    position: int
    end: int
    first: Told
    last: Told
    gap: bool
    fresh: bool
    damaged: int
    walls_us: tuple[int | None, int | None]


@dataclass(frozen=True)
class Part:
    """Bytes of one start of a board. change: at its beginning; None at the beginning of a log or part. last: its last reading; None if it ends the log."""

    begin: int
    end: int
    description_id: int | None
    change: Change | None = None
    last: Told | None = None


class Changes:
    """Finds the changes in a log, block by block. `boards`: (board id, boot count) of every description in it."""

    def __init__(self, read: Read) -> None:
        self._read = read
        self._id: int | None = None
        self._other = _ANY_READING
        self.first: tuple[int, Told] | None = None
        self.found: list[Change] = []

    def take(self, data: bytes, base: int) -> None:
        """Search the bytes at position `base`; a frame cut at their end is found in the next call."""
        at = 0
        while len(self.found) < MOST and (match := self._other.search(data, at)) is not None:
            at = match.start() + 1
            end = data.find(b"\x00", at)
            told = _told(data[at:end]) if end > 0 else None
            if told is None or told.description_id == self._id:
                continue
            position = base + match.start()
            if self._id is None:
                self.first = (position, told)
            else:
                change = _look(self._read, position, told, self._id)
                if change is not None:
                    self.found.append(change)
            self._id = told.description_id
            said = b"".join(re.escape(bytes([one])) if one else rb"[\x01-\xff]" for one in self._id.to_bytes(4, "little"))
            self._other = re.compile(_READING + rb"(?!" + said + rb")[\x01-\xff]{4}")

    def boards(self, size: int) -> dict[int, tuple[bytes, int]]:
        """(board id, boot count) by description id, of all descriptions in the log."""
        boards: dict[int, tuple[bytes, int]] = {}
        seen: set[bytes] = set()
        at = 0
        while at < size and (data := self._read(at, min(1 << 20, size - at) + FRAME_MAX)):
            for match in _DESCRIPTION.finditer(data):
                end = data.find(b"\x00", match.start() + 1)
                body = data[match.start() + 1 : end]
                if end < 0 or body[10:-5] in seen:
                    continue
                with contextlib.suppress(FrameError, codec.WireError):
                    payload = decode(body)
                    values = codec.unpack(payload)[1]
                    boards[codec.description_id(payload)] = (bytes(values["board_id"]), int(values["boot_count"]))
                    seen.add(body[10:-5])
            at += 1 << 20
        return boards


def frames(read: Read, begin: int, end: int) -> list[Frame]:
    """The pieces between the zeros of these bytes, in order; the first and the last may be cut."""
    data = read(begin, end - begin)
    found: list[Frame] = []
    at = 0
    while at < len(data):
        while at < len(data) and not data[at]:
            at += 1
        zero = data.find(b"\x00", at)
        stop = len(data) if zero < 0 else zero
        if stop > at:
            payload = None
            with contextlib.suppress(FrameError):
                payload = decode(data[at:stop])
            found.append((max(begin, begin + at - 1), min(begin + stop + 1, end), payload))
        at = stop
    return found


def _told(body: bytes) -> Told | None:
    with contextlib.suppress(FrameError, codec.WireError):
        payload = decode(body)
        if payload[0] & ~SATURATED == TYPES["reading"]:
            values = codec.unpack(payload)[1]
            return Told(values["description_id"], values["tick"], values["time_ms"])
    return None


def _look(read: Read, position: int, first: Told, before_id: int) -> Change | None:
    """The change at the first reading of another description, from the frames around it."""
    begin = max(0, position - _WINDOW)
    around = frames(read, begin, position)
    if begin:
        around = around[1:]
    values = [_values(payload) for *_, payload in around]
    last, at = None, 0
    for number, one in enumerate(values):
        if one is not None and one[0] == "reading" and one[1]["description_id"] == before_id:
            last, at = Told(before_id, one[1]["tick"], one[1]["time_ms"]), number
    if last is None:
        return None
    cut = next(
        (n for n in range(at + 1, len(around)) if _is_of_what_follows(values[n], around[n][2] or b"", first, last)), len(around)
    )
    between = values[at + 1 :]
    gap = any(one is not None and (one[0] == "log_start" or (one[0] == "link_gap" and one[1]["length_ms"])) for one in between)
    fresh = first.time_ms < _FRESH_MS or any(
        one is not None and one[0] == "event" and one[1]["code"] == EVENTS["boot"] for one in between
    )
    own = max((number for number in range(cut) if values[number] is not None), default=at)
    behind = frames(read, position, position + _WINDOW)
    walls = (_wall(reversed(values[:cut])), _wall([*values[cut:], *(_values(payload) for *_, payload in behind)]))
    return Change(
        around[cut][0] if cut < len(around) else position,
        around[own][1],
        first,
        last,
        gap,
        fresh,
        sum(stop - start for (start, stop, payload) in around[at + 1 :] if payload is None),
        walls,
    )


def last_reading(read: Read, position: int) -> Told | None:
    """The last reading shortly before a byte."""
    begin = max(0, position - _WINDOW)
    for *_, payload in reversed(frames(read, begin, position)):
        values = _values(payload)
        if values is not None and values[0] == "reading":
            return Told(values[1]["description_id"], values[1]["tick"], values[1]["time_ms"])
    return None


def _values(payload: bytes | None) -> tuple[str, dict] | None:
    if payload is not None:
        with contextlib.suppress(codec.WireError):
            return codec.unpack(payload)
    return None


def _wall(values) -> int | None:
    """The first wall time from a host; the board's clock chip also runs while nothing is recorded."""
    return next(
        (one[1]["wall_us"] for one in values if one is not None and one[0] == "wall_anchor" and not one[1]["flags"]), None
    )


def _is_of_what_follows(one: tuple[str, dict] | None, payload: bytes, first: Told, last: Told) -> bool:
    if one is None:
        return False
    name, values = one
    if name == "log_start":
        return True
    if name == "description":
        return codec.description_id(payload) == first.description_id
    if name == "link_gap" or not (values["tick"] or values["time_ms"]):
        return False
    return abs(wrapped(values["time_ms"] - first.time_ms)) < abs(wrapped(values["time_ms"] - last.time_ms))


def wrapped(difference: Any) -> Any:
    """A difference of two 32-bit board times (a number or an array), between -2^31 and 2^31."""
    return (difference + _WRAP // 2) % _WRAP - _WRAP // 2


def foreign(number: int, parts: Sequence[Part], boards: dict[int, tuple[bytes, int]]) -> bool:
    """Whether the part that follows this drive's own is another log's. Doubt makes it this drive's."""
    here = parts[number]
    change = here.change
    if change is None:
        return False
    mine, theirs = boards.get(change.last.description_id), boards.get(change.first.description_id)
    another_board = mine is not None and theirs is not None and mine[0] != theirs[0]
    ahead_ms = wrapped(change.first.time_ms - change.last.time_ms)
    same_start = theirs is None or mine is None or mine == theirs
    if same_start and 0 <= ahead_ms < _FRESH_MS:
        return False  # a change of settings, or so short that nothing is missing
    only_here = not any(one.description_id == here.description_id for one in parts[:number]) and not any(
        one.description_id == here.description_id and not _impossible(at, parts)
        for at, one in enumerate(parts[number + 1 :], start=number + 1)
    )
    if _impossible(number, parts) and (another_board or theirs is None or (only_here and not change.fresh)):
        return True
    if change.gap or change.damaged > 2 * FRAME_MAX:
        return False
    if (another_board or theirs is None) and not change.fresh:
        return True
    before_us, behind_us = change.walls_us
    if before_us is None or behind_us is None or change.fresh or not only_here:
        return False
    return not -60_000_000 < behind_us - before_us < _FAR_US


def _impossible(number: int, parts: Sequence[Part]) -> bool:
    """Whether the board before this part continues after it as if the part had taken no time."""
    change = parts[number].change
    if change is None:
        return False
    spans_ms = 0
    for one in parts[number:]:
        if one.change is None:
            return False
        if one.description_id == change.last.description_id:
            return 0 <= wrapped(one.change.first.time_ms - change.last.time_ms) < spans_ms + _HELD_MS
        if one.last is None:
            return False
        spans_ms += max(0, wrapped(one.last.time_ms - one.change.first.time_ms))
    return False


def comes_back(here: Part, own: dict[int, Told | None], theirs: set[int], boards: dict[int, tuple[bytes, int]]) -> bool:
    """Whether a part after another recording's bytes is this drive's again. own: its descriptions, with the last reading of each."""
    said = here.description_id
    if said is None:
        return False
    if said in own:
        return said not in theirs
    board = boards.get(said)
    ours = {boards[one][0] for one in own if one in boards}
    others = {boards[one][0] for one in theirs if one in boards}
    return board is not None and board[0] in ours and board[0] not in others and bool(others)


def goes_on_at(read: Read, begin: int, end: int, last: Told) -> int | None:
    """The position between two bytes at which the readings of one start of a board jump to where this drive's stopped (`last`); None if they do not."""
    before: int | None = None
    at = begin
    while at < end and (data := read(at, min(1 << 20, end - at) + FRAME_MAX)):
        for match in _ANY_READING.finditer(data):
            if at + match.start() >= min(end, at + (1 << 20)):
                break
            stop = data.find(b"\x00", match.start() + 1)
            told = _told(data[match.start() + 1 : stop]) if stop > 0 else None
            if told is None or told.description_id != last.description_id:
                continue
            if before is not None and not 0 < told.tick - before < 4 and 0 < told.tick - last.tick < 4:
                return at + match.start()
            before = told.tick
        at += 1 << 20
    return None


def mended(read: Read, begin: int, end: int, *, headless: bool) -> tuple[int, int]:
    """The two positions, moved so that the frame cut by the inserted bytes is whole again; unchanged if there is no such frame.

    headless: the first byte inserted is not known exactly, only that it comes before the next zero.
    """
    edge = read(max(0, begin - FRAME_MAX), min(FRAME_MAX, begin))
    left = edge[edge.rfind(b"\x00") + 1 :]
    left_at = begin - len(left)
    counts: Sequence[int] = (len(left),)
    if headless:
        data = read(left_at, FRAME_MAX)
        skipped = len(data) - len(data.lstrip(b"\x00"))
        left_at += skipped
        left = data[skipped:].split(b"\x00", 1)[0]
        counts = range(len(left) + (not _is_whole(left)))
    behind = read(max(0, end - FRAME_MAX), min(FRAME_MAX, end))
    closed = behind.rstrip(b"\x00")
    right = closed[closed.rfind(b"\x00") + 1 :]
    right_at = end - len(behind) + len(closed) - len(right)
    if right_at < left_at:
        return begin, end
    found = _seam(left, right, tuple(counts), _is_whole(right))
    return (left_at + found[0], right_at + found[1]) if found is not None else (begin, end)


def _is_whole(piece: bytes) -> bool:
    with contextlib.suppress(FrameError):
        decode(piece)
        return True
    return False


@lru_cache(64)
def _seam(left: bytes, right: bytes, counts: tuple[int, ...], right_is_whole: bool) -> tuple[int, int] | None:
    """(bytes of `left`, one of `counts`; bytes of `right` to skip) that together make one frame."""
    for count in counts:
        for skipped in (len(right),) if right_is_whole else range(len(right) + 1):
            if 6 <= count + len(right) - skipped <= BODY_MAX + 1:
                with contextlib.suppress(FrameError):
                    decode(left[:count] + right[skipped:])
                    return count, skipped
    return None

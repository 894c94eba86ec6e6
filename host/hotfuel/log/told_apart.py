"""Which bytes of a log are another recording's: by the numbers of its starts, and by its boards' readings."""

import contextlib
import itertools
from collections.abc import Sequence
from dataclasses import replace

from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.log import board_parts, identity
from hotfuel.log.board_parts import Part, Told
from hotfuel.log.other import Other, Read, Start

BLOCK = 1 << 20  # read at a time
WINDOW = 1 << 16  # bytes examined on either side if the order of blocks is in doubt
_JOINT_TICKS = 10  # a few frames may be lost where a block was cut


def sort_out(read: Read, starts: Sequence[Start], size: int, head_is_older: bool, headless: bytes | None) -> tuple[Other, ...]:
    """Which bytes follow the start of another recording, or of a part that this one has already. headless: this log's number if its first start is lost."""
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


def parts_between(read: Read, starts: Sequence[Start], changes: board_parts.Changes, size: int) -> list[Part]:
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
    points: list[tuple[int, board_parts.Change | None]] = [(at, None) for at in begins | {0}] + [
        (one.position, one) for one in inner
    ]
    points.sort(key=lambda point: point[0])
    current = changes.first[1].description_id if changes.first is not None else None
    made = []
    for (begin, here), (end, following) in itertools.pairwise([*points, (size, None)]):
        current = here.first.description_id if here is not None else told_at.get(begin, current)
        last = following.last if following is not None else board_parts.last_reading(read, end) if end < size else None
        made.append(Part(begin, end, current, here, last if last is not None and last.description_id == current else None))
    return made


def judged(
    read: Read,
    parts: Sequence[Part],
    starts: dict[int, Start],
    found: Sequence[Other],
    boards: dict[int, tuple[bytes, int]],
    size: int,
) -> tuple[Other, ...]:
    """Which parts are another's: by the number of the start they follow, or by their board if they follow none."""
    own: dict[int, Told | None] = {}
    theirs: set[int] = set()
    result = [other for other in found if other.again]
    now: Other | None = None  # whose `end` is not known yet

    def close(at: int, sure: bool) -> None:
        assert now is not None
        begin, end = board_parts.mended(read, now.begin, at, headless=now.headless) if sure and at < size else (now.begin, at)
        result.append(replace(now, begin=begin, end=end, sure=sure))

    for number, part in enumerate(parts):
        start = starts.get(part.begin) if part.change is None else None
        if part.change is not None:
            anothers = (
                not board_parts.comes_back(part, own, theirs, boards)
                if now is not None
                else board_parts.foreign(number, parts, boards)
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
        back = board_parts.goes_on_at(read, part.begin, part.end, stopped) if stopped is not None else None
        if back is not None:
            close(back, sure=True)
            now = None
    if now is not None:
        close(size, sure=now.headless)
    return tuple(sorted(result, key=lambda other: other.begin))


def holds_frames(read: Read, end: int) -> bool:
    """Whether a frame of a board lies before `end`."""
    reader = FrameReader()
    at = 0
    while at < end and (data := read(at, min(WINDOW, end - at))):
        if any(map(identity.is_the_boards, reader.feed(data))):
            return True
        at += len(data)
    return False


def out_of_order(read: Read, start: Start, size: int) -> bool:
    """Whether the bytes before a log's beginning are of the same log, with its blocks out of order: the same start of the board is on both sides, and the
    bytes before continue where those after end. This is not so for a later log of the same start of the board whose own start was damaged."""
    head, tail = min(start.position, WINDOW), max(0, start.position - WINDOW)
    before = _seen(read, 0, head) + (_seen(read, tail, start.position) if tail else [])
    behind = _seen(read, start.position, min(size, start.position + WINDOW)) + _seen(
        read, max(start.position, size - WINDOW), size
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
        data = read(one + done, min(BLOCK, size - done))
        if not data or data != read(other + done, len(data)):
            return False
        done += len(data)
    return True

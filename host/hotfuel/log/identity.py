"""The identity of a log: its first frame holds a random number, so that bytes kept elsewhere for it are never taken for another log's.

A copy of a log has the same number. A log of an earlier version or of another program has none: it is identified by its first bytes.
"""

import contextlib
import hashlib
import os
import time
from pathlib import Path

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import SATURATED, TYPES

SIZE = 8  # bytes
HEAD = 4 * framing.FRAME_MAX  # the first bytes, which hold the frame
_LEAST = 64  # bytes that identify an old log; a shorter one gets a number when it is written to again


def new() -> bytes:
    """The number of a log that begins now."""
    return os.urandom(SIZE)


def later(log_id: bytes) -> bytes:
    """A number for a log that continues the log `log_id`, whose beginning is elsewhere: random too, but marked with `log_id`."""
    drawn = os.urandom(SIZE // 2)
    return drawn + _mark(drawn, log_id)


def goes_on(log_id: bytes, earlier: bytes) -> bool:
    """Whether the log `log_id` continues the log `earlier`."""
    return log_id[SIZE // 2 :] == _mark(log_id[: SIZE // 2], earlier)


def _mark(drawn: bytes, log_id: bytes) -> bytes:
    return hashlib.sha256(drawn + log_id).digest()[: SIZE // 2]


def frame(log_id: bytes, wall_s: float | None = None, part: int = 0, *, marks_end: bool = False) -> bytes:
    """The frame that begins a log, or its next part: part 0 is the first recording into it, 1 the one that continued it after a crash, ...

    marks_end: its writer ends it with the frame that says so (`ending.mark`).
    """
    wall_us = int(1e6 * (time.time() if wall_s is None else wall_s))
    values = {
        "tick": 0,
        "time_ms": 0,
        "log_id": log_id,
        "wall_us": max(0, wall_us),
        "part": min(part, 0xFFFF),
        "marks_end": int(marks_end),
    }
    return framing.encode(codec.pack("log_start", values))


def head(path: str | os.PathLike[str]) -> bytes:
    """The bytes that identify a log; b"" if it cannot be read."""
    try:
        with open(Path(path), "rb") as file:
            return file.read(HEAD)
    except OSError:
        return b""


def of(path: str | os.PathLike[str]) -> bytes | None:
    """The number of the log at `path`; None if it is too short to have one, or cannot be read."""
    return of_head(head(path))


def begins(head: bytes) -> bool:
    """Whether a log's first frame is the one that begins it."""
    return next((payload[0] == TYPES["log_start"] for payload in framing.FrameReader().feed(head)), False)


def begins_with_a_description(head: bytes) -> bool:
    """Whether a log begins with a whole frame, a board's description."""
    first = next(iter(framing.FrameReader().feed(head)), b"")
    return head[:1] == b"\x00" and first[:1] == bytes([TYPES["description"]])


def of_head(head: bytes) -> bytes | None:
    """The number of the log that begins with these bytes."""
    return told(head) or of_bytes(head)


def told(head: bytes) -> bytes | None:
    """The number in the first frame of a log that begins with these bytes; None if there is none."""
    behind_frames = False
    for payload in framing.FrameReader().feed(head):
        if payload[0] == TYPES["log_start"]:
            with contextlib.suppress(codec.WireError):
                values = codec.unpack(payload)[1]
                if behind_frames and values["part"] == 0:
                    break  # another log, written after one of an earlier version
                return bytes(values["log_id"])
        behind_frames = behind_frames or is_the_boards(payload)
    return None


def is_the_boards(payload: bytes) -> bool:
    """Whether a payload came from a board, not from a host."""
    return payload[0] & ~SATURATED < TYPES["wall_anchor"]


def marks_end(path: str | os.PathLike[str]) -> bool:
    """Whether the recorder that began the log at `path` marks its end, by the log's first frame."""
    payload = next(iter(framing.FrameReader().feed(head(path))), b"")
    with contextlib.suppress(codec.WireError):
        return payload[:1] == bytes([TYPES["log_start"]]) and bool(codec.unpack(payload)[1]["marks_end"] == 1)
    return False


def of_bytes(head: bytes) -> bytes | None:
    """A number for a log that holds none, made from its first bytes."""
    return hashlib.sha256(head[:_LEAST]).digest()[:SIZE] if len(head) >= _LEAST else None

"""Which log a log is: its first frame holds a number drawn for it, so that bytes kept elsewhere for it are never taken for another's.

A copy of a log has its number too. A log of an earlier version, or one that something else wrote, has none: it is told by its first bytes.
"""

import contextlib
import hashlib
import os
import time
from pathlib import Path

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import TYPES

SIZE = 8  # bytes
_HEAD = 4 * framing.FRAME_MAX  # the frame stands in these
_LEAST = 64  # bytes that tell one old log from another; a shorter one gets its number when it is written to again


def new() -> bytes:
    """The number of a log that begins now."""
    return os.urandom(SIZE)


def frame(log_id: bytes, wall_s: float | None = None, part: int = 0) -> bytes:
    """The frame that begins a log, or its next part: part 0 is the first recording into it, 1 the one that went on after a crash, ..."""
    wall_us = int(1e6 * (time.time() if wall_s is None else wall_s))
    values = {"tick": 0, "time_ms": 0, "log_id": log_id, "wall_us": max(0, wall_us), "part": min(part, 0xFFFF)}
    return framing.encode(codec.pack("log_start", values))


def of(path: str | os.PathLike[str]) -> bytes | None:
    """The number of the log at `path`; None if it is too short to have one, or cannot be read."""
    try:
        with open(Path(path), "rb") as file:
            return of_head(file.read(_HEAD))
    except OSError:
        return None


def of_head(head: bytes) -> bytes | None:
    """The number of the log that begins with these bytes."""
    for payload in framing.FrameReader().feed(head):
        if payload[0] == TYPES["log_start"]:
            with contextlib.suppress(codec.WireError):
                return bytes(codec.unpack(payload)[1]["log_id"])
    return hashlib.sha256(head[:_LEAST]).digest()[:SIZE] if len(head) >= _LEAST else None

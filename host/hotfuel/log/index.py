"""Finds a position in a long log without reading it all: bisection over frame boundaries, with no stored index."""

import os
from collections.abc import Callable

from hotfuel_wire.framing import FrameError, decode

from hotfuel.log.follow import Follower

_LOOK = 1 << 16  # bytes read at each position tried


def keyed_frame(follower: Follower, start: int, end: int, key: Callable[[bytes], float | None]) -> tuple[int, float] | None:
    """(position, key) of the first whole frame from `start` on and before `end` for which `key(payload)` is not None; None if there is none."""
    follower.position = start
    behind = b""
    joined_in_the_middle = start > 0
    while follower.position - len(behind) < end and (data := follower.read(_LOOK)):
        data = behind + data
        base = follower.position - len(data)
        at = 0
        while (zero := data.find(b"\x00", at)) >= 0:
            piece, position = data[at:zero], base + at
            at = zero + 1
            if joined_in_the_middle:
                joined_in_the_middle = False
                continue
            if position >= end:
                return None
            if piece:
                try:
                    found = key(decode(piece))
                except FrameError:
                    continue
                if found is not None:
                    return position, found
        behind = data[at:][-_LOOK:]
    return None


def seek(path: str | os.PathLike[str], wanted: float, key: Callable[[bytes], float | None]) -> int:
    """A byte position to follow from: the last frame with key(payload) <= wanted, or 0 if there is none.

    key: a number that grows along the log for some payloads (for example the wall time of wall anchors), None for the others.
    If the key jumps back (the wall clock was set) the answer is one of several that fit. Raises InputError if there is no such log.
    """
    with Follower(path) as follower:
        low, high, found = 0, os.stat(path).st_size, 0
        while low < high:
            middle = (low + high) // 2
            frame = keyed_frame(follower, middle, high, key)
            if frame is None or frame[1] > wanted:
                high = middle
            else:
                found = frame[0]
                low = found + 1
        return found


def tail(path: str | os.PathLike[str], size: int) -> int:
    """A position at most `size` bytes before the end, to follow from; its first piece may be cut. Raises InputError if there is no such log."""
    with Follower(path):
        return max(0, os.stat(path).st_size - size)

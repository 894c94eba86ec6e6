"""How many hours of recording fit on the disk."""

import math
import os
from pathlib import Path

MOST_BYTES_H = 2.9e6  # eight channels at 10 Hz, a board's specified maximum (bench_decode.py --day)
WARN_H = 1.0
_LOOK_EVERY_S = 10.0
_RATE_OVER_S = 60.0


def hours(folder: Path, bytes_per_hour: float = MOST_BYTES_H) -> float:
    """Hours until the disk of `folder` (existing or not) is full at that rate; nan if the system does not tell."""
    at = folder.absolute()
    while not at.exists() and at != at.parent:
        at = at.parent
    try:
        stat = os.statvfs(at)
    except (OSError, AttributeError):
        return float("nan")
    return max(0, stat.f_bavail * stat.f_frsize) / bytes_per_hour


def words(count_h: float) -> str:
    """Hours of room for a person; "" for nan."""
    if math.isnan(count_h):
        return ""
    if count_h < 1:
        return f"room for about {60 * count_h:.0f} min"
    return f"room for about {count_h:.0f} h" if count_h < 1000 else "room for more than 1000 h"


class Room:
    """Watches the disk during a recording. `look` returns a sentence, once, when less than an hour is left."""

    def __init__(self, now: float) -> None:
        self._next = now + _LOOK_EVERY_S
        self._since: tuple[float, int] | None = None  # (time, bytes) from which the rate is computed
        self._bytes_h = MOST_BYTES_H
        self._told = False

    def look(self, now: float, folder: Path, size: int) -> str:
        """size: bytes of the recording so far."""
        if now < self._next:
            return ""
        self._next = now + _LOOK_EVERY_S
        if self._since is None:
            self._since = (now, size)
        elif now - self._since[0] >= _RATE_OVER_S:
            self._bytes_h = max(1.0, 3600 * (size - self._since[1]) / (now - self._since[0]))
            self._since = (now, size)
        left_h = hours(folder, self._bytes_h)
        if left_h < WARN_H and not self._told:
            self._told = True
            return f"The disk of {folder} has {words(left_h)} at this rate. Free some space, or recording will continue elsewhere once it is full."
        self._told = self._told and left_h < 1.5 * WARN_H
        return ""

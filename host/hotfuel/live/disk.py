"""Whether the whole drive is on its disk, checked every second, so that the page too shows what a full disk or a lost folder left elsewhere."""

import time
from collections.abc import Callable
from pathlib import Path

from hotfuel.log import others, rescue
from hotfuel.log.other import Other

LOOK_EVERY_S = 1.0


class Disk:
    """Watches the log at `path`. clock: monotonic seconds."""

    def __init__(self, path: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._path, self._clock = path, clock
        self._next, self._said = -float("inf"), ""
        self._others: tuple[Other, ...] | None = None
        self._settled = False
        self._others_of = (0, 0)  # the file's length and when it was changed

    def others(self) -> tuple[str, ...]:
        """Parts of the log's file that belong to another recording and are not shown."""
        self.sentence()
        return tuple(f"{other.sentence(self._path)}." for other in self._others or ())

    def sentence(self) -> str:
        """Which part of the drive is not on its disk, where it is, and what to type; "" if all of it is there."""
        now = self._clock()
        if now >= self._next:
            self._next = now + LOOK_EVERY_S
            try:
                stat = self._path.stat()
                found = rescue.standing(self._path, self._strangers((stat.st_size, stat.st_mtime_ns)))
                self._said = found.not_on_disk if found is not None else ""
            except OSError as error:
                self._said = f"{self._path} cannot be read any more ({error.strerror}): it was moved or deleted, or its disk went"
        return self._said

    def _strangers(self, which: tuple[int, int]) -> tuple[Other, ...]:
        """Looked for at the start, and again once the log has not changed for a second: a recorder never writes into a log that holds another recording."""
        if self._others is None or (self._others_of == which and not self._settled):
            self._settled = self._others_of == which
            self._others = others.of(self._path)
        elif self._others_of != which:
            self._settled = False
        self._others_of = which
        return self._others

"""Whether the whole drive is on its disk, looked at every second: what a full disk or a folder that went left elsewhere is no secret of the recorder's."""

import time
from collections.abc import Callable
from pathlib import Path

from hotfuel.log import rescue

LOOK_EVERY_S = 1.0


class Disk:
    """Watches the log at `path`. clock: monotonic seconds."""

    def __init__(self, path: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._path, self._clock = path, clock
        self._next, self._said = -float("inf"), ""

    def sentence(self) -> str:
        """What of the drive is not on its disk, where it is, and what to type; "" if everything is there."""
        now = self._clock()
        if now >= self._next:
            self._next = now + LOOK_EVERY_S
            try:
                found = rescue.standing(self._path)
                self._said = found.sentence() if found is not None else ""
            except OSError as error:
                self._said = f"{self._path} cannot be read any more ({error.strerror}): it was moved or deleted, or its disk went"
        return self._said

"""Warnings about a disk that fails repeatedly: one when it begins, one when it is over, with a count."""

from collections.abc import Callable

_CALM_S = 30.0  # failures closer than this belong to one episode


class Episode:
    """say: gets the sentences. clock: monotonic seconds."""

    def __init__(self, say: Callable[[str], None], clock: Callable[[], float]) -> None:
        self._say, self._clock = say, clock
        self._count = 0
        self._works_since: float | None = None

    def refused(self, sentence: str) -> None:
        """The disk refused; says `sentence` the first time."""
        self._count += 1
        self._works_since = None
        if self._count == 1:
            self._say(sentence)

    def works(self) -> None:
        """The disk took something."""
        if self._count and self._works_since is None:
            self._works_since = self._clock()

    def look(self, name: str, *, at_the_end: bool = False) -> None:
        """Say that the disk works again once it has for long enough; at_the_end: if it works now. name: the log's."""
        if self._works_since is not None and (at_the_end or self._clock() - self._works_since >= _CALM_S):
            often = f"; it refused {self._count} times" if self._count > 1 else ""
            self._say(f"{name}: the disk works again; everything kept elsewhere is written{often}")
            self._count, self._works_since = 0, None

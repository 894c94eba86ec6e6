"""What is found of another recording in a log: the frame that begins it, and the bytes that are its."""

import contextlib
import datetime
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hotfuel.text import counted, typed

Read = Callable[[int, int], bytes]  # (position, at most so many bytes) -> bytes, b"" after the end


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
        count = counted(self.end - self.begin, "byte")
        if self.again:
            return f"From {where} on this recording is repeated in its log, byte for byte ({count}): it counts once"
        if self.headless:
            about = f", from about {_moment(self.began_us)}" if self.began_us else ""
            said = (
                f"From {where} on there is another recording without its beginning{about}, recognised by the board's readings: it is left out "
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


def _moment(wall_us: int) -> str:
    with contextlib.suppress(OverflowError, OSError, ValueError):
        return datetime.datetime.fromtimestamp(wall_us / 1e6, datetime.UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return "at an unknown time"

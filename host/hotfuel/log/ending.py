"""How a log ends: with what its recorder wrote last, or broken off, by a crash, a power loss or a cut, so that what followed is missing."""

import os
from dataclasses import dataclass
from pathlib import Path

from hotfuel.log import reserve
from hotfuel.log.lock import is_being_written

_BLOCK = 1 << 16
_ZEROS = 16  # frames are parted by one or two: more in a row are room that was never written


@dataclass(frozen=True)
class Ending:
    """How a log breaks off. zeros: bytes of nothing at its end; begun: bytes there of a message that does not end; unended: its recorder left its note
    behind, which it takes away when it ends; size: of the file."""

    zeros: int
    begun: int
    unended: bool
    size: int

    @property
    def only_zeros(self) -> bool:
        """Whether nothing else is in the file."""
        return self.size > 0 and self.zeros == self.size

    @property
    def sure(self) -> bool:
        """Whether what followed is certainly missing: a recorder may also be stopped while a message comes in."""
        return bool(self.zeros) or self.unended

    def sentence(self) -> str:
        """For a person: what was seen, and what it means."""
        if self.only_zeros:
            return (
                f"The log holds {self.size} bytes of nothing but zeros: a recording was lost there, as when a disk fails or is unplugged, or the power goes, "
                "before it has written. Look for a copy; nothing can be read from this one."
            )
        if self.zeros:
            return f"The log ends with {self.zeros} bytes of zeros, as after a loss of power: what was recorded there is missing."
        if self.unended:
            return "The recording program did not end this recording, it was cut off (a crash, a loss of power): what followed is missing."
        return f"The log breaks off in a message, after {self.begun} bytes of it: if it was not ended there on purpose, what followed is missing."


def ending(log: str | os.PathLike[str]) -> Ending | None:
    """How a log breaks off; None for one that ends whole or is being recorded. Raises OSError if it cannot be read."""
    path = Path(log)
    with open(path, "rb") as file:
        if is_being_written(file.fileno()):
            return None
        size = at = os.fstat(file.fileno()).st_size
        zeros, last = 0, b""
        while at > 0 and not last:
            begin = max(0, at - _BLOCK)
            file.seek(begin)
            data = file.read(at - begin)
            last = data.rstrip(b"\x00")
            zeros += len(data) - len(last)
            at = begin
    begun = len(last) - 1 - last.rfind(b"\x00") if zeros == 0 and b"\x00" in last else 0
    note = reserve.read(path)
    unended = note is not None and note.kept is None and not note.ended
    found = Ending(zeros if zeros >= _ZEROS else 0, begun, unended, size)
    return found if found.zeros or begun or unended else None

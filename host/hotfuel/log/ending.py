"""How a log ends: with the mark of its end, or broken off, by a crash, a power loss or a cut, so that what followed is missing.

The mark is the last frame of a recording that was ended, a gap of length 0 whose reason says so (`mark`). Recorders of earlier versions wrote none; a log's
`log_start` says whether its recorder does (`marks_end`). So a log that was cut between two messages is told from one that ends there.
"""

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import GAP_REASONS, TYPES

from hotfuel.log import identity, reserve
from hotfuel.log.follow import Follower
from hotfuel.log.lock import is_being_written
from hotfuel.log.rescue import Standing
from hotfuel.text import counted

_BLOCK = 1 << 16
_TAIL = 1 << 12  # a frame, and a text that something wrote behind it
_ZEROS = 16  # frames are parted by one or two: more in a row are room that was never written


@dataclass(frozen=True)
class Ending:
    """How a log breaks off. zeros: bytes of nothing at its end; begun: bytes there of a message that does not end; unended: its recorder left its note
    behind, which it takes away when it ends; unmarked: it lacks the mark of its end, which its recorder writes; size: of the file."""

    zeros: int
    begun: int
    unended: bool
    size: int
    unmarked: bool = False

    @property
    def only_zeros(self) -> bool:
        """Whether nothing else is in the file."""
        return self.size > 0 and self.zeros == self.size

    @property
    def sure(self) -> bool:
        """Whether what followed is certainly missing: an earlier version's recorder may also have been stopped while a message came in."""
        return bool(self.zeros) or self.unended or self.unmarked

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
        if self.unmarked:
            where = (
                f"in a message, after {counted(self.begun, 'byte')} of it"
                if self.begun
                else "without the end that its recorder writes"
            )
            return (
                f"The recording breaks off {where}: what followed is missing (a crash, a loss of power, a full disk, a file copied in part). "
                "If there is another copy, look there."
            )
        return f"The log breaks off in a message, after {counted(self.begun, 'byte')} of it: if it was not ended there on purpose, what followed is missing."


def ending(log: str | os.PathLike[str], *, marks_end: bool | None = None, standing: Standing | None = None) -> Ending | None:
    """How a log breaks off; None for one that ends whole or is being recorded, and for one that its standing says lacks its end.

    marks_end: whether the recorder of its last part writes the mark of its end (`samples.Decoded.marks_end`); None: as the one of its first part. standing:
    of the log, if it is not whole in its file. Raises OSError if it cannot be read.
    """
    path = Path(log)
    if standing is not None and (standing.lost or standing.live):
        return None
    elsewhere = standing.kept_bytes if standing is not None else 0
    with open(path, "rb") as file:
        if is_being_written(file.fileno()):
            return None
        size = os.fstat(file.fileno()).st_size
        end = at = size if standing is None else min(size, standing.size)
        zeros, last = 0, b""
        while at > 0 and not last and not elsewhere:
            begin = max(0, at - _BLOCK)
            file.seek(begin)
            data = file.read(at - begin)
            last = data.rstrip(b"\x00")
            zeros += len(data) - len(last)
            at = begin
    if _is_marked(path, end + elsewhere - zeros):
        return None
    begun = len(last) - 1 - last.rfind(b"\x00") if zeros == 0 and b"\x00" in last else 0
    note = reserve.read(path)
    unended = note is not None and not note.ended and (note.kept is None or bool(elsewhere))
    due = identity.marks_end(path) if marks_end is None else marks_end
    found = Ending(zeros if zeros >= _ZEROS else 0, begun, unended, size, due and size > 0)
    return found if found.sure or begun else None


def mark(tick: int, time_ms: int, wall_us: int, bytes_damaged: int = 0) -> bytes:
    """The payload of the mark. tick, time_ms: of the board's last frame; bytes_damaged: received since the last gap."""
    values = {"tick": tick, "time_ms": time_ms, "wall_us": wall_us, "length_ms": 0, "bytes_damaged": bytes_damaged}
    return codec.pack("link_gap", {**values, "reason": GAP_REASONS["recording_ended"]})


def _is_marked(log: Path, end: int) -> bool:
    """Whether the mark is the last frame of a log whose bytes, some of them perhaps kept elsewhere, end at `end`. A frame begins with a zero of its own: what
    stands right behind the mark's last one is foreign (a text, a byte of a copy), and nothing of the recording is missing."""
    tail = b""
    with Follower(log, max(0, end - _TAIL)) as follower:
        while len(tail) < _TAIL and (data := follower.read(_TAIL - len(tail))):
            tail += data
    tail = tail.rstrip(b"\x00") + b"\x00"
    payloads = list(framing.FrameReader().feed(tail))
    if not payloads or payloads[-1][0] != TYPES["link_gap"]:
        return False
    last = framing.encode(payloads[-1])
    _, found, behind = tail.rpartition(last)
    if not found or behind.startswith(b"\x00"):
        return False
    with contextlib.suppress(codec.WireError):
        return bool(codec.unpack(payloads[-1])[1]["reason"] == GAP_REASONS["recording_ended"])
    return False

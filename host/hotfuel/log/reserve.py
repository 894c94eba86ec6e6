"""A file beside a log while it is recorded: 64 kB of the disk reserved for a note, so that even on a full disk it can be noted what is kept elsewhere.

It exists from the first byte of a recording to its proper end. If it is found later, a recorder was killed, or part of the drive was kept elsewhere when
it was last written. It says so also in a copy of the folder, and after the computer was switched off and its memory is lost.

When the disk is full, the reserved room goes to the log itself, for the rest of the current frame and a frame that says so (`frame`): then a copy of the
log alone says it too. Nothing follows that frame until the kept pieces are put back.
"""

import contextlib
import json
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import GAP_REASONS, TYPES

SIZE = 64 << 10
_NOTE_MAX = 4096


@dataclass(frozen=True)
class Kept:
    """Contents of a note: bytes `base` to `base + size` of the log, received from since_wall_s to until_wall_s, were kept in `pieces` on `computer`."""

    base: int
    size: int
    since_wall_s: float
    until_wall_s: float
    pieces: tuple[Path, ...]
    computer: str


@dataclass(frozen=True)
class Note:
    """log_id: the log's. kept: None while everything is on the disk. ended: the recorder ended properly and closed the log. copied_to: the folder of a
    complete copy, "" if none was made. lost: what earlier recorders kept elsewhere and a later one, which continued the log, did not find."""

    log_id: bytes
    kept: Kept | None = None
    ended: bool = False
    copied_to: str = ""
    lost: tuple[Kept, ...] = ()


def path_for(log: Path) -> Path:
    """The path of a log's reserve."""
    return log.with_name(log.name + ".reserve")


class Reserve:
    """The writer's side. Nothing here raises: a log works without its reserve. `there`: False if the disk had no room for it."""

    def __init__(self, log: Path, log_id: bytes, lost: tuple[Kept, ...] = ()) -> None:
        self.path = path_for(log)
        self.note = Note(log_id, lost=lost)
        self._fd = -1
        self._given = False
        self.there = self._make()

    def write(self, note: Note) -> bool:
        """Write the note; False if the disk does not even take that."""
        self.note = note
        text = _text(note)
        with contextlib.suppress(OSError):
            os.lseek(self._fd, 0, os.SEEK_SET)
            if os.write(self._fd, text) == len(text):
                return True
        with contextlib.suppress(OSError):  # on a copy-on-write file system: give back what was reserved
            os.ftruncate(self._fd, 0)
            os.lseek(self._fd, 0, os.SEEK_SET)
            return os.write(self._fd, text) == len(text)
        return False

    def give_room(self) -> None:
        """Free the room beyond the note for the log; `take_room` reserves it again."""
        with contextlib.suppress(OSError):
            os.ftruncate(self._fd, _NOTE_MAX)
            self._given = True

    def take_room(self) -> bool:
        """Reserve the room again; False if the disk has none."""
        if not self._given:
            return True
        with contextlib.suppress(OSError):
            os.lseek(self._fd, _NOTE_MAX, os.SEEK_SET)
            self._given = os.write(self._fd, os.urandom(SIZE - _NOTE_MAX)) < SIZE - _NOTE_MAX
        if self._given:
            self.give_room()
        return not self._given

    def kept(self, kept: Kept | None) -> bool:
        """Write the note of what is kept elsewhere now."""
        return self.write(replace(self.note, kept=kept))

    def end(self) -> None:
        """At the end of a recording: remove the file, or note what is still elsewhere."""
        if self.note.kept is None and not self.note.lost:
            with contextlib.suppress(OSError):
                self.path.unlink()
        else:
            self.write(replace(self.note, ended=True))
        if self._fd >= 0:
            with contextlib.suppress(OSError):
                os.close(self._fd)
        self._fd = -1

    def _make(self) -> bool:
        flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
        try:
            self._fd = os.open(self.path, flags, 0o644)
            os.write(self._fd, _text(self.note) + os.urandom(SIZE - _NOTE_MAX))  # random, because zeros may be stored as a hole
        except OSError:
            return False
        return True


def frame(wall_s: float) -> bytes:
    """The last frame on a full disk: a gap of length 0, because the stream continues elsewhere."""
    wall_us = max(0, int(1e6 * wall_s))
    values = {"tick": 0, "time_ms": 0, "wall_us": wall_us, "length_ms": 0, "bytes_damaged": 0, "reason": GAP_REASONS["disk_full"]}
    return framing.encode(codec.pack("link_gap", values))


def went_on_elsewhere(end: bytes) -> float | None:
    """The time (unix seconds) from which a log that ends with these bytes was kept elsewhere; None if it does not end with `frame`."""
    payloads = list(framing.FrameReader().feed(end))
    if not payloads or payloads[-1][0] != TYPES["link_gap"] or not end.endswith(framing.encode(payloads[-1])):
        return None
    with contextlib.suppress(codec.WireError):
        values = codec.unpack(payloads[-1])[1]
        if values["reason"] == GAP_REASONS["disk_full"] and not values["length_ms"]:
            return values["wall_us"] / 1e6
    return None


def read(log: Path) -> Note | None:
    """The note beside a log; None if there is none. An unreadable one means only that the recorder did not end properly."""
    path = path_for(log)
    try:
        with open(path, "rb") as file:
            data = file.read(_NOTE_MAX)
    except OSError:
        return None
    try:
        read: Any = json.loads(data.split(b"\n", 1)[0])
        kept = None if read["kept"] is None else _kept(read["kept"])
        lost = tuple(_kept(one) for one in read.get("lost", ()))
        return Note(bytes.fromhex(read["log_id"]), kept, bool(read["ended"]), str(read.get("copied_to", "")), lost)
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return Note(b"")


def _kept(one: Any) -> Kept:
    since_s, until_s = float(one["since_wall_s"]), float(one["until_wall_s"])
    if not (math.isfinite(since_s) and math.isfinite(until_s)):
        raise ValueError("no time")
    pieces = tuple(Path(str(piece)) for piece in one["pieces"])
    kept = Kept(int(one["base"]), int(one["size"]), since_s, until_s, pieces, str(one["computer"]))
    if kept.base < 0 or kept.size < 0:
        raise ValueError("no position in a log")
    return kept


def not_found(log: Path, log_id: bytes, end: int, say: Callable[[str], None]) -> tuple[Kept, ...]:
    """The bytes that the note beside a continued log names and that are not found; the recoverable stream ends at `end`.

    A note of another log is renamed and kept beside it, not overwritten.
    """
    note = read(log)
    if note is None or not (note.kept or note.lost):
        return ()
    if note.log_id != log_id:
        aside = path_for(log).with_name(f"{path_for(log).name}-{note.log_id.hex()}")
        with contextlib.suppress(OSError):
            if not aside.exists():
                os.replace(path_for(log), aside)
                say(f"{path_for(log)} was another recording's note of what it kept elsewhere: it is {aside} now")
        return ()
    return (*note.lost, *((note.kept,) if note.kept is not None and note.kept.base + note.kept.size > end else ()))


def change(log: Path, note: Note) -> None:
    """Write another note beside a log that is not being recorded; removes the file if the note is empty. Raises OSError."""
    path = path_for(log)
    if note.kept is None and note.ended and not note.lost:
        path.unlink(missing_ok=True)
        return
    with open(path, "r+b") as file:
        file.write(_text(note))


def _text(note: Note) -> bytes:
    lost, kept = list(note.lost), note.kept
    while True:
        told = {
            "format": 1,
            "log_id": note.log_id.hex(),
            "kept": None if kept is None else _told(kept),
            "ended": note.ended,
            "copied_to": note.copied_to,
            **({"lost": [_told(one) for one in lost]} if lost else {}),
        }
        line = json.dumps(told).encode()
        if len(line) < _NOTE_MAX or not (lost or (kept is not None and kept.pieces)):
            return line[: _NOTE_MAX - 1].ljust(_NOTE_MAX - 1) + b"\n"
        if lost:
            lost.pop(0)
        elif kept is not None:  # very long paths: keep how much and since when instead
            kept = replace(kept, pieces=kept.pieces[:-1])


def _told(kept: Kept) -> dict[str, Any]:
    return {**vars(kept), "pieces": [os.fsencode(piece).decode("utf-8", "surrogateescape") for piece in kept.pieces]}

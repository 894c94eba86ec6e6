"""What of a log is not in its file: where it is kept, whether it can still be had, and putting it back, there or in another folder."""

import contextlib
import datetime
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hotfuel.errors import InputError
from hotfuel.files import whole
from hotfuel.log import follow, identity, places, reserve, spill
from hotfuel.log.lock import is_being_written, lock_for_writing
from hotfuel.log.reserve import Kept
from hotfuel.log.spill import Piece


@dataclass(frozen=True)
class Standing:
    """A log that is not whole on its disk. pieces: what is kept elsewhere and can be read; missing: what was kept elsewhere and is not there any more.

    missing_from: the first byte of it. size: of the log's file. live: its recorder is still at work and puts it back by itself.
    """

    log: Path
    size: int
    pieces: tuple[Piece, ...] = ()
    missing: Kept | None = None
    missing_from: int = 0
    live: bool = False
    copied_to: str = ""

    @property
    def kept_bytes(self) -> int:
        """Bytes that are only elsewhere."""
        return max((piece.base + piece.size for piece in self.pieces), default=self.size) - self.size

    def sentence(self) -> str:
        """For a person: what, when, where, what to type."""
        said = []
        if self.pieces:
            where = " and ".join(places.words(piece.path) for piece in self.pieces)
            since = f" (from {_moment(self.pieces[0].since_wall_s)} on)"
            said.append(f"{_size(self.kept_bytes)} of this drive{since} are not on its disk, only in {where}")
            if self.live:
                said[-1] += "; its recorder puts them back as soon as there is room"
            else:
                folder = self.log.parent
                said[-1] += f". Make room and type: hotfuel rescue {folder}. Or: hotfuel rescue {folder} --into FOLDER"
        if self.missing is not None:
            lost = self.missing
            bytes_missing = lost.base + lost.size - self.missing_from
            said.append(
                f"{_size(bytes_missing)} of this drive are missing, from {_moment(lost.since_wall_s)} to {_moment(lost.until_wall_s)}: its disk was full "
                f"and they were kept on {lost.computer} in {', '.join(map(places.words, lost.pieces))}, where they are not found now"
            )
            if self.copied_to:
                said[-1] += f". The whole drive was put into {self.copied_to}"
        return ". ".join(said)


def standing(log: str | os.PathLike[str]) -> Standing | None:
    """How a log stands, None if everything is in its file. Raises OSError if it cannot be read."""
    path = Path(log)
    with open(path, "rb") as file:
        size = os.fstat(file.fileno()).st_size
        live = is_being_written(file.fileno())
    note = reserve.read(path)
    log_id = identity.of(path) or (note.log_id if note and note.log_id else None)
    if log_id is None:
        return None
    kept = note.kept if note and note.log_id == log_id else None
    where = (*spill.places(), *(piece.parent for piece in (kept.pieces if kept else ())))
    pieces = tuple(piece for piece in spill.of(log_id, list(dict.fromkeys(where))) if piece.base + piece.size > size)
    reached = size
    for piece in pieces:
        reached = max(reached, piece.base + piece.size) if piece.base <= reached else reached
    lost = kept if kept is not None and kept.base + kept.size > reached else None
    if not pieces and lost is None:
        return None
    return Standing(path, size, pieces, lost, max(reached, lost.base) if lost else 0, live, note.copied_to if note else "")


def put_back(log: str | os.PathLike[str]) -> int:
    """Append to the log what is kept elsewhere of it; returns how many bytes. Raises InputError if it is being recorded or its disk still refuses."""
    path = Path(log)
    found = standing(path)
    if found is None or not found.pieces:
        return 0
    fd = places.open_log(path)
    try:
        if not lock_for_writing(fd):
            raise InputError(f"{path} is being recorded: its recorder puts everything back by itself as soon as there is room")
        size = os.fstat(fd).st_size
        problem = places.put_back(found.pieces, fd, size)
        if problem is None:
            try:
                os.fsync(fd)
            except OSError as error:
                problem = error.strerror or str(error)
        back = os.fstat(fd).st_size - size
    finally:
        os.close(fd)
    if problem is not None:
        raise InputError(
            f"{path}: {_size(back)} of {_size(found.kept_bytes)} are back, then the disk refused ({problem}): make more room and do it again, "
            f"or type: hotfuel rescue {path.parent} --into FOLDER"
        )
    _let_go(path, found.pieces)
    note = reserve.read(path)
    if note is not None and note.log_id and standing(path) is None:
        with contextlib.suppress(OSError):
            reserve.change(path, replace(note, kept=None))
    return back


def copy(log: str | os.PathLike[str], target: Path) -> int:
    """Write the whole log, with what is kept elsewhere, as `target`, and note it beside the original; returns its bytes.

    Raises InputError if `target` is there already or cannot be written.
    """
    path = Path(log)
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    done = 0
    with whole(target) as part, open(part, "wb") as file:
        for data in follow.blocks(path):
            file.write(data)
            done += len(data)
        file.flush()
        os.fsync(file.fileno())
    note = reserve.read(path)
    if note is not None and note.kept is not None:
        with contextlib.suppress(OSError):
            reserve.change(path, replace(note, copied_to=str(target.parent.absolute())))
    return done


def orphans() -> dict[bytes, list[Piece]]:
    """Everything kept on this computer, by log, in the stream's order."""
    found: dict[bytes, list[Piece]] = {}
    for piece in spill.everything():
        found.setdefault(piece.log_id, []).append(piece)
    return {log_id: sorted(pieces, key=lambda piece: piece.base) for log_id, pieces in found.items()}


def make_log(pieces: Sequence[Piece], target: Path) -> int:
    """A log of its own from pieces whose log is gone; returns its bytes. They are let go only if they hold the drive from its beginning.

    Raises InputError if `target` is there already or cannot be written.
    """
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    from_the_start = pieces[0].base == 0
    with whole(target) as part, open(part, "wb") as file:
        if not from_the_start:
            file.write(identity.frame(identity.new(), pieces[0].since_wall_s) + b"\x00")
            file.flush()
        problem = places.put_back(pieces, file.fileno(), 0 if from_the_start else pieces[0].base)
        if problem is not None:
            raise InputError(f"{target} cannot be written ({problem}): give another place, or make room")
        os.fsync(file.fileno())
    if from_the_start:
        for piece in pieces:
            spill.discard(piece.path)
    return target.stat().st_size


def words(pieces: Sequence[Piece]) -> str:
    """One line about what is kept of one log."""
    size = sum(piece.size for piece in pieces)
    return f"{pieces[0].log.parent}, {_size(size)} since {_moment(pieces[0].since_wall_s)}, in {' and '.join(places.words(p.path) for p in pieces)}"


def _let_go(log: Path, pieces: Sequence[Piece]) -> None:
    """Remove pieces that are back in their log; those of a log that this one is a copy of stay until that has them too."""
    for piece in pieces:
        original = piece.log
        if original != log.absolute() and original.exists() and identity.of(original) == piece.log_id:
            with contextlib.suppress(OSError):
                if original.resolve() != log.resolve() and original.stat().st_size < piece.base + piece.size:
                    continue
        spill.discard(piece.path)


def _moment(wall_s: float) -> str:
    """A wall time in words; the year helps whoever finds it later."""
    with contextlib.suppress(OverflowError, OSError, ValueError):
        return datetime.datetime.fromtimestamp(wall_s, datetime.UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return "an unknown time"


def _size(count: int) -> str:
    if count >= 10_000_000:
        return f"{count / 1e6:.0f} MB"
    if count >= 1_000_000:
        return f"{count / 1e6:.1f} MB"
    return f"{count / 1000:.0f} kB" if count >= 10_000 else f"{count} bytes"

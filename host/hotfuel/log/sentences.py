"""Sentences for a person about a log's file: its disk fails, has gone, or lacks a part of the drive."""

from collections.abc import Sequence
from pathlib import Path

from hotfuel.log import joined, spill
from hotfuel.log.spill import Piece
from hotfuel.text import counted, typed


def not_confirmed(log: Path, error: OSError) -> str:
    """fsync failed."""
    return f"{log.name}: the disk did not confirm what was written ({error.strerror}); a power cut now could cost data"


def kept_elsewhere(log: Path, problem: str, piece: Path) -> str:
    """A write failed, and the stream continues in `piece`."""
    return (
        f"{log.name}: the disk refuses ({problem}); recording continues in {words(piece)}: "
        "free some space, and it is written to the log"
    )


def nothing_kept(log: Path, problem: str, error: OSError) -> str:
    """A write failed, and no other folder works."""
    return f"{log.name}: the disk refuses ({problem}) and so does every other folder ({error.strerror}); nothing can be kept"


def full(log: Path) -> str:
    """Bytes are being lost."""
    return f"{log.name}: disk and memory are full; what arrives now is lost until there is space"


def moved(old: Path, new: Path) -> str:
    """The log's folder was renamed or moved."""
    return f"{old.parent} was moved: recording continues in {new.parent}"


def gone(old: Path, new: Path | None, error: Exception | None = None, *, whole: bool = False) -> str:
    """The log's folder has gone. new: the log that continues it, whole: with the earlier part; None: there is none, because of `error`."""
    if new is None:
        return f"{old.parent} HAS GONE, and there is no other folder ({error}); recording continues in memory"
    part = "with everything recorded so far" if whole else "from now on; the earlier part is on the removed disk"
    return f"{old.parent} HAS GONE (deleted, or its disk was removed): recording continues in {new.parent}, {part}"


def words(path: Path) -> str:
    """A piece's path, for a person."""
    return f"this computer's memory ({path})" if spill.in_memory(path.parent) else str(path)


def not_on_disk(log: Path, size: int, pieces: Sequence[Piece]) -> str:
    """For a person: what of a recording is kept elsewhere at its end. size: of the log's file."""
    where = " and ".join(words(piece.path) for piece in pieces)
    count = max((piece.end for piece in pieces), default=size) - size
    return (
        f"{log.name}: {counted(count, 'byte')} of this drive {'is' if count == 1 else 'are'} not on its disk, only in {where}. Make room and type: "
        f"hotfuel rescue {typed(log.parent)}. Or onto another disk: hotfuel rescue {typed(log.parent)} --into FOLDER"
    )


def not_held(log: Path, pieces: Sequence[Piece]) -> str:
    """For a person: pieces that should be in the log now are not."""
    return (
        f"{log.name} does not hold the part of this drive in {' and '.join(words(piece.path) for piece in pieces)} (something else wrote into the log): that "
        f"part stays there. Type: hotfuel rescue {typed(log.parent)}"
    )


def cut(log: Path, found: joined.Joined) -> str:
    """For a person: why a log that lacks bytes before its kept pieces cannot be recorded into."""
    return (
        f"{log} lacks {counted(found.behind[0].base - found.end, 'byte')} before what is kept elsewhere of it begins (its log was cut): "
        f"record into another folder, and put its log back from a copy, or type: hotfuel rescue {typed(found.behind[0].path)} --into FOLDER"
    )

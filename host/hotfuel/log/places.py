"""Where a log is, was, or goes on: what the writer asks of the file system beyond writing."""

import contextlib
import errno
import os
import shutil
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from hotfuel.log import identity, joined, others, spill
from hotfuel.log.lock import lock_for_writing
from hotfuel.log.spill import Piece
from hotfuel.text import typed

_BLOCK = 1 << 20
_TAIL_MAX = 4 << 20
_NO_LONGER_THERE = (errno.ENXIO, errno.EIO, errno.ENODEV, errno.ESTALE, errno.ENOTCONN)  # of a disk that was unplugged
Write = Callable[[int, bytes], int]


class Tail(bytearray):
    """The last bytes of a log that no fsync has confirmed: a disk that is unplugged may never have got them."""

    def add(self, written: bytes) -> None:
        """The log's next bytes."""
        self += written
        del self[: max(0, len(self) - _TAIL_MAX)]

    def cut(self, count: int) -> None:
        """So many were cut off the log's end."""
        del self[max(0, len(self) - count) :]


@dataclass(frozen=True)
class Opened:
    """A log opened and locked for writing."""

    fd: int
    path: Path


def open_log(path: Path) -> int:
    """A descriptor to append with and read back. Raises OSError."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0), 0o644)


def words(path: Path) -> str:
    """A kept piece's place, for a person."""
    return f"this computer's memory ({path})" if spill.in_memory(path.parent) else str(path)


def not_on_disk(log: Path, size: int, pieces: Sequence[Piece]) -> str:
    """For a person: what of a recording that ends is kept elsewhere. size: of the log's file."""
    where = " and ".join(words(piece.path) for piece in pieces)
    count = max((piece.end for piece in pieces), default=size) - size
    return (
        f"{log.name}: {count} bytes of this drive are not on its disk, only in {where}. Make room and type: "
        f"hotfuel rescue {typed(log.parent)}. Or onto another disk: hotfuel rescue {typed(log.parent)} --into FOLDER"
    )


def not_held(log: Path, pieces: Sequence[Piece]) -> str:
    """For a person: what was kept elsewhere should stand in the log now, and does not."""
    return (
        f"{log.name}: it does not hold what {' and '.join(words(piece.path) for piece in pieces)} has of this drive (something else wrote into it): that "
        f"stays there. Type: hotfuel rescue {typed(log.parent)}"
    )


def cut(log: Path, found: joined.Joined) -> str:
    """For a person: why nothing is recorded into a log that lacks bytes before what is kept elsewhere of it."""
    return (
        f"{log} lacks {found.behind[0].base - found.end} bytes before what is kept elsewhere of it begins (its log was cut): record into another folder, and "
        f"put its log back from a copy, or type: hotfuel rescue {typed(found.behind[0].path)} --into FOLDER"
    )


def gone(path: Path, fd: int) -> bool:
    """True if `path` is no longer the file behind `fd`: deleted, moved, or its disk unplugged."""
    try:
        there, mine = os.stat(path), os.fstat(fd)
    except (FileNotFoundError, NotADirectoryError):
        return True
    except OSError as error:
        return error.errno in _NO_LONGER_THERE
    return (there.st_dev, there.st_ino) != (mine.st_dev, mine.st_ino)


def followed(fd: int) -> Path | None:
    """Where the file behind `fd` was moved to, if the system tells and it is no waste bin; None if it is nowhere."""
    found = b""
    with contextlib.suppress(OSError):
        found = os.readlink(f"/proc/self/fd/{fd}".encode())
    if not found:
        with contextlib.suppress(ImportError, AttributeError, OSError):
            import fcntl

            found = fcntl.fcntl(fd, fcntl.F_GETPATH, bytes(1024)).rstrip(b"\x00")  # type: ignore[attr-defined]
    path = Path(os.fsdecode(found))
    if not found or gone(path, fd) or any(part == "Trash" or part.startswith(".Trash") for part in path.parts):
        return None
    return path


def carry_over(fd: int, size: int, tail: bytes, path: Path, write: Write, log_id: bytes) -> tuple[Opened, bool]:
    """(a log at `path` that holds what is behind `fd`, True); if that cannot be read any more, (a log of its own that begins with `tail`, False).

    size: how many bytes are behind `fd`, of which `tail` are the last; log_id: its number. A deleted file can be read as long as it is open. Raises OSError
    if the new place cannot be written.
    """
    new = open_log(path)
    if not lock_for_writing(new):
        os.close(new)
        raise OSError(errno.EBUSY, "another recording writes there")
    try:
        whole = True
        at = 0
        while at < size:
            data = b""
            with contextlib.suppress(OSError):
                data = os.pread(fd, min(_BLOCK, size - at), at)
            if not data and at >= size - len(tail):
                data = tail[at - (size - len(tail)) :]
            if not data:
                whole = False
                break
            write_all(write, new, data)
            at += len(data)
        if not whole:
            os.ftruncate(new, 0)
            write_all(write, new, identity.frame(identity.later(log_id)) + b"\x00" + tail)
    except OSError:
        os.close(new)
        raise
    return Opened(new, path), whole


def put_back(pieces: Sequence[Piece], fd: int, size: int, write: Write = os.write, *, over_holes: bool = False) -> str | None:
    """Append what is kept elsewhere of the log behind `fd`, which has `size` bytes. Returns what stopped it, None if nothing did. Removes nothing.

    Pieces may overlap what is there. Where bytes between are missing it stops: glued together, nobody would see the hole. over_holes: for a log of
    its own, go on; a zero ends the piece before.
    """
    position = size
    for piece in sorted(pieces, key=lambda one: (one.base, one.number)):
        end = piece.base + piece.size
        if end <= position:
            continue
        before = os.fstat(fd).st_size
        hole = piece.base > position
        if hole and not over_holes:
            return f"{piece.base - position} bytes before {piece.path} are missing"
        position = max(position, piece.base)
        try:
            if hole:
                write_all(write, fd, b"\x00")
            while position < end:
                data = piece.read(position, min(_BLOCK, end - position))
                if not data:
                    return f"{piece.path} cannot be read"
                write_all(write, fd, data)
                position += len(data)
        except OSError as error:
            if hole:  # where it stopped could not be told next time
                with contextlib.suppress(OSError):
                    os.ftruncate(fd, before)
            return error.strerror or str(error)
    return None


def put_all_back(earlier: Sequence[Piece], kept: spill.Spill | None, fd: int, size: int, write: Write) -> bool:
    """The same, with what this recorder keeps itself, `kept`, behind it. True if that was all."""
    if earlier and put_back(earlier, fd, size, write) is not None:
        return False
    try:
        while kept is not None and (offset := os.fstat(fd).st_size - kept.base) < kept.size:
            data = kept.get(offset, 1 << 16)
            if not data:
                return False
            write_all(write, fd, data)
    except OSError:
        return False
    return True


def before(fd: int, size: int, pieces: Sequence[Piece], base: int) -> spill.Before | None:
    """The stream up to byte `base`: the file behind `fd`, of `size` bytes, and the pieces that follow it. None if that cannot be read."""
    passed = spill.Before()
    try:
        while passed.size < min(base, size) and (data := os.pread(fd, min(_BLOCK, min(base, size) - passed.size), passed.size)):
            passed.feed(data)
        for piece in pieces:
            while passed.size < min(base, piece.end) and (
                data := piece.read(passed.size, min(_BLOCK, piece.end - passed.size, base - passed.size))
            ):
                passed.feed(data)
    except OSError:
        return None
    return passed if passed.size == base else None


def has_room(log: Path, count: int) -> bool:
    """Whether the disk of a log says that it takes so many bytes more. One that does not say is believed to: the write itself will tell."""
    try:
        usage = shutil.disk_usage(log.parent)
    except OSError:
        return True
    return usage.free >= count or usage.total == 0


def let_go(pieces: Sequence[Piece], log: Path, own: Collection[Path] = ()) -> list[Piece]:
    """Remove the pieces of a log that `log` holds now; returns those that stay.

    A piece goes only if `log` is the log it was kept for, or if that one is there and has its bytes. A copy may be the first to get them back, and the
    original's disk be away meanwhile: it may have nothing else. Two copies may have gone on, each its own way under one number: what one log has at
    the place of a piece need not be that piece, so the bytes themselves decide. own: kept by the recorder of `log` itself, wherever `log` was then.
    """
    stay = []
    for piece in pieces:
        home = log if piece.path in own else piece.log
        mine = joined.same(home, log)
        with contextlib.suppress(OSError):
            mine = mine or (identity.of(piece.log) == piece.log_id and others.own_end(piece.log) >= piece.base + piece.size)
        if mine and holds(home, piece):
            spill.discard(piece.path)
        else:
            stay.append(piece)
    return stay


def holds(log: Path, piece: Piece) -> bool:
    """Whether the log has the piece's own bytes where they belong."""
    try:
        with open(log, "rb") as file:
            for position in range(piece.base, piece.base + piece.size, 1 << 20):
                file.seek(position)
                most = min(1 << 20, piece.base + piece.size - position)
                if file.read(most) != piece.read(position, most):
                    return False
    except OSError:
        return False
    return True


def last_byte(path: Path, fd: int, pieces: Sequence[Piece]) -> bytes:
    """The stream's last byte; a zero for an empty one."""
    with contextlib.suppress(OSError):
        if pieces and pieces[-1].size:
            return pieces[-1].read(pieces[-1].base + pieces[-1].size - 1, 1)
        size = os.fstat(fd).st_size
        return os.pread(fd, 1, size - 1) if size and hasattr(os, "pread") else b"\x00" if not size else path.read_bytes()[-1:]
    return b""


def write_all(write: Write, fd: int, data: bytes) -> None:
    """Write all of it. Raises OSError, with a part written perhaps."""
    done = 0
    while done < len(data):
        written = write(fd, data[done:])
        if written <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done += written

"""A log's file on its disk: opening, following, copying and putting pieces back; what the writer needs of the file system beyond writing."""

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
from hotfuel.text import counted

_BLOCK = 1 << 20
_TAIL_MAX = 4 << 20
_NO_LONGER_THERE = (errno.ENXIO, errno.EIO, errno.ENODEV, errno.ESTALE, errno.ENOTCONN)  # errors of an unplugged disk
Write = Callable[[int, bytes], int]


class Tail(bytearray):
    """The last bytes of a log, not yet confirmed by fsync: an unplugged disk may lack them."""

    def add(self, written: bytes) -> None:
        """The log's next bytes."""
        self += written
        del self[: max(0, len(self) - _TAIL_MAX)]

    def cut(self, count: int) -> None:
        """`count` bytes were cut off the log's end."""
        del self[max(0, len(self) - count) :]


@dataclass(frozen=True)
class Opened:
    """A log opened and locked for writing."""

    fd: int
    path: Path


def open_log(path: Path) -> int:
    """A descriptor to append with and read back. Raises OSError."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0), 0o644)


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
    """Where the file behind `fd` was moved to; None if that is unknown, a waste bin, or nowhere."""
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
    """(a copy at `path` of the log behind `fd`, True); if that cannot be read any more, (a new log that begins with `tail`, False).

    size: bytes of the log behind `fd`, of which `tail` are the last; log_id: its number. A deleted file can be read as long as it is open. Raises OSError
    if `path` cannot be written.
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
            write_all(write, new, identity.frame(identity.later(log_id), marks_end=True) + b"\x00" + tail)
    except OSError:
        os.close(new)
        raise
    return Opened(new, path), whole


def put_back(pieces: Sequence[Piece], fd: int, size: int, write: Write = os.write, *, over_holes: bool = False) -> str | None:
    """Append the pieces of the log behind `fd`, which has `size` bytes. Returns what stopped it, None if nothing did. Removes nothing.

    Pieces may overlap the log. It stops at missing bytes, because the hole would be invisible afterwards. over_holes: for a separate log, continue; a zero
    ends the piece before the hole.
    """
    position = size
    for piece in sorted(pieces, key=lambda one: (one.base, one.number)):
        end = piece.base + piece.size
        if end <= position:
            continue
        before = os.fstat(fd).st_size
        hole = piece.base > position
        if hole and not over_holes:
            return f"{counted(piece.base - position, 'byte')} before {piece.path} {'is' if piece.base - position == 1 else 'are'} missing"
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
            if hole:  # the next try could not tell where it stopped
                with contextlib.suppress(OSError):
                    os.ftruncate(fd, before)
            return error.strerror or str(error)
    return None


def put_all_back(earlier: Sequence[Piece], kept: spill.Spill | None, fd: int, size: int, write: Write) -> bool:
    """The same, followed by this recorder's own spill `kept`. True if everything was written."""
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
    """The stream up to byte `base`: the file behind `fd`, of `size` bytes, and the pieces after it. None if that cannot be read."""
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
    """Whether the disk of a log reports room for `count` bytes. True if it reports nothing: the write itself will show."""
    try:
        usage = shutil.disk_usage(log.parent)
    except OSError:
        return True
    return usage.free >= count or usage.total == 0


def let_go(pieces: Sequence[Piece], log: Path, own: Collection[Path] = ()) -> list[Piece]:
    """Remove the pieces that `log` holds now; returns those that stay.

    A piece is removed only if `log` is the log it was kept for, or if that log exists and holds its bytes too: a copy may get them back first while the
    original's disk is away, and the original has nothing else. Two copies may have been continued differently under one number, so the bytes are compared.
    own: pieces kept by the recorder of `log` itself, wherever `log` was then.
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
    """Whether the log holds the piece's bytes at their position."""
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
    """Write all of it. Raises OSError, possibly after writing a part."""
    done = 0
    while done < len(data):
        written = write(fd, data[done:])
        if written <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done += written

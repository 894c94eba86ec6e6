"""Keeps a log's bytes elsewhere while its disk fails: in files in another writable folder, finally in memory. Readers treat them as the log's continuation.

Each piece names its log (number, path), the byte of the log at which it begins, and digests of the stream before it. So a position in the stream never
changes, and no other log, nor another copy of this one, can take the piece. Pieces are numbered; when a folder is full, the next one is used.
"""

import contextlib
import hashlib
import json
import math
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from stat import S_ISDIR
from typing import Any

PIECE_MAX = 32 << 20  # bytes per folder: ten hours of eight channels at 10 Hz
FALLBACK_VARIABLE = "HOTFUEL_FALLBACK"
_SHARED_MEMORY = Path("/dev/shm")
_HEAD = 4096  # bytes before the stream: one line of JSON, spaces
LAST = 512  # bytes that identify the end of a stream
_REMEMBERED = 64  # fallback folders remembered
_LEFT_FREE = 64 << 20  # bytes of a disk to leave free
_NAME = re.compile(r"hotfuel-([0-9a-f]{16})-([0-9]+)\.spill")
_FLAGS = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def fallback_folder() -> Path:
    """The fallback folder: HOTFUEL_FALLBACK, else `hotfuel-fallback` in the user's home."""
    chosen = os.environ.get(FALLBACK_VARIABLE)
    return Path(chosen) if chosen else _usual_fallback()


def _usual_fallback() -> Path:
    with contextlib.suppress(RuntimeError):
        return Path.home() / "hotfuel-fallback"
    return Path(tempfile.gettempdir()) / "hotfuel-fallback"


def fallback_folders() -> list[Path]:
    """Every fallback folder that this user's recordings may have used: the present one, the default, earlier ones."""
    before = (Path(line) for line in _remembered().splitlines() if line)
    return list(dict.fromkeys((fallback_folder(), _usual_fallback(), *before)))


def _remembered() -> str:
    """The note of fallback folders chosen before; "" if there is none."""
    with contextlib.suppress(OSError, RuntimeError), open(_chosen_before(), encoding="utf-8", errors="surrogateescape") as file:
        return file.read()
    return ""


def remember(folder: Path) -> None:
    """Note a fallback folder, so that later commands search it. Never raises: without the note they search the usual ones."""
    known = [path for path in fallback_folders()[1:] if path != _usual_fallback()]
    chosen = folder.absolute()
    if chosen in known or "\n" in str(chosen):
        return
    with contextlib.suppress(OSError, RuntimeError):
        file = _chosen_before()
        file.parent.mkdir(parents=True, exist_ok=True)
        lines = [*map(str, known), str(chosen)][-_REMEMBERED:]
        file.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8", errors="surrogateescape")


def _chosen_before() -> Path:
    state = os.environ.get("XDG_STATE_HOME")
    return (Path(state) if state else Path.home() / ".local" / "state") / "hotfuel" / "fallback-folders"


def folders() -> list[Path]:
    """Folders for pieces, made when needed: those that survive a restart first, memory last."""
    own = f"hotfuel-{os.getuid() if hasattr(os, 'getuid') else 0}"
    memory = [_SHARED_MEMORY / own] if _SHARED_MEMORY.is_dir() else []
    return list(dict.fromkeys((fallback_folder(), Path(tempfile.gettempdir()) / own, *memory)))


def looked_in() -> list[Path]:
    """Folders in which a log's pieces may be: `folders` and those chosen before."""
    home, state = os.path.expanduser("~"), os.environ.get("XDG_STATE_HOME")
    return list(_looked_in(os.environ.get(FALLBACK_VARIABLE), home, state, tempfile.gettempdir(), _remembered()))


@lru_cache(maxsize=8)
def _looked_in(*_: str | None) -> tuple[Path, ...]:
    """The same; given all that it rests on, for every reader of a log asks, again and again where the log grows."""
    return tuple(dict.fromkeys((*folders(), *fallback_folders())))


def in_memory(folder: Path) -> bool:
    """True if files in this folder are lost when the computer is switched off."""
    return folder.parent == _SHARED_MEMORY


def digest(data: bytes) -> str:
    """The digest that a piece holds of bytes."""
    return hashlib.sha256(data).hexdigest()[:32]


@dataclass(frozen=True)
class Digests:
    """Digests of a stream: of all of it, and of its last bytes (LAST, or fewer)."""

    all: str
    last: str


class Before:
    """Digests the stream before a piece as it is fed; `size`: bytes so far."""

    def __init__(self) -> None:
        self.size = 0
        self._all = hashlib.sha256()
        self._last = b""

    def feed(self, data: bytes) -> None:
        """The next bytes."""
        self._all.update(data)
        self._last = (self._last + data[-LAST:])[-LAST:]
        self.size += len(data)

    def digests(self) -> Digests:
        """The digests of the bytes fed so far."""
        return Digests(self._all.hexdigest()[:32], digest(self._last))


@dataclass(frozen=True)
class Piece:
    """A piece on disk: the log's number, the byte of the log at which it begins, its size, and the log's path when it was begun.

    before: digests of the stream up to `base`; None if unknown (an earlier version, or the disk could not be read any more). marks_end: its recorder writes
    the mark of the log's end.
    """

    path: Path
    log_id: bytes
    number: int
    base: int
    size: int
    log: Path
    since_wall_s: float
    before: Digests | None = None
    marks_end: bool = False

    @property
    def end(self) -> int:
        """Stream position after its last byte."""
        return self.base + self.size

    @property
    def in_memory(self) -> bool:
        """True if it is lost when the computer is switched off."""
        return in_memory(self.path.parent)

    def read(self, position: int, most: int) -> bytes:
        """At most `most` bytes from stream position `position` on. Raises OSError."""
        with open(self.path, "rb") as file:
            file.seek(_HEAD + position - self.base)
            return file.read(most)


class Spill:
    """The writer's side. `put` appends, `get` reads back, `remove` ends it; at most `most` bytes go to each folder of `where`. Raises OSError if none works.

    before: digests of the stream up to `base`, if known; `put` updates them.
    """

    def __init__(
        self,
        log_id: bytes,
        log: Path,
        base: int,
        most: int = PIECE_MAX,
        where: Sequence[Path] | None = None,
        before: Before | None = None,
    ) -> None:
        self.base, self.size = base, 0
        self.paths: list[Path] = []
        self._log_id, self._log, self._most = log_id, log, most
        self._before = before if before is not None and before.size == base else None
        self._folders = list(folders() if where is None else where)
        self._pieces: list[tuple[int, int, int, int]] = []  # descriptor, stream offset, size, room
        self._number = 1 + max((piece.number for piece in of(log_id, [*self._folders, *looked_in()])), default=-1)
        if not self._open_next():
            raise OSError(28, "no folder takes it")

    def put(self, data: bytes) -> int:
        """Append; returns how many bytes fitted."""
        done = 0
        while done < len(data):
            fd, begin, size, room = self._pieces[-1]
            written = 0
            with contextlib.suppress(OSError):
                os.lseek(fd, _HEAD + size, os.SEEK_SET)
                written = os.write(fd, data[done : done + room - size]) if room > size else 0
            self._pieces[-1] = (fd, begin, size + written, room)
            self.size += written
            if self._before is not None:
                self._before.feed(data[done : done + written])
            done += written
            if written == 0 and not self._open_next():
                break
        return done

    def get(self, offset: int, most: int) -> bytes:
        """At most `most` bytes from `offset` on. Raises OSError."""
        for fd, begin, size, _ in self._pieces:
            if begin <= offset < begin + size:
                os.lseek(fd, _HEAD + offset - begin, os.SEEK_SET)
                return os.read(fd, min(most, begin + size - offset))
        return b""

    def keep(self) -> None:
        """Close the pieces' files and leave them."""
        for fd, *_ in self._pieces:
            with contextlib.suppress(OSError):
                os.close(fd)
        self._pieces = []

    def remove(self) -> None:
        """Remove the pieces: the log holds everything again."""
        self.keep()
        for path in self.paths:
            discard(path)

    def _open_next(self) -> bool:
        while self._folders:
            folder = self._folders.pop(0)
            path = folder / f"hotfuel-{self._log_id.hex()}-{self._number}.spill"
            line = self._head_line()
            fd = -1
            try:
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
                room = min(self._most, self._most if in_memory(folder) else shutil.disk_usage(folder).free - _LEFT_FREE)
                if room <= 0 or not _ours(folder):
                    continue
                fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | _FLAGS, 0o600)
                if os.write(fd, line) == _HEAD:
                    self._pieces.append((fd, self.size, 0, room))
                    self.paths.append(path)
                    self._number += 1
                    return True
            except OSError:
                pass
            if fd >= 0:
                os.close(fd)
                discard(path)
        return False

    def _head_line(self) -> bytes:
        """The head of a piece that begins now."""
        log = os.fsencode(self._log.absolute()).decode("utf-8", "surrogateescape")
        while True:
            head = {
                "log_id": self._log_id.hex(),
                "base": self.base + self.size,
                "since_wall_s": time.time(),
                "log": log,
                "marks_end": True,
            }
            if self._before is not None:
                head["before"] = vars(self._before.digests())
            line = json.dumps(head).encode().ljust(_HEAD - 1) + b"\n"
            if len(line) == _HEAD:
                return line
            log = log[len(log) // 4 :]  # too long for the head: a person still recognises the path by its end


def _ours(folder: Path) -> bool:
    """Whether a folder is a real one of this user: in folders for all users another user may have made a link or folder of our name."""
    stat = os.lstat(folder)
    return folder == fallback_folder() or not hasattr(os, "getuid") or (S_ISDIR(stat.st_mode) and stat.st_uid == os.getuid())


def discard(path: Path) -> None:
    """Remove a piece, and its folder with its last."""
    with contextlib.suppress(OSError):
        path.unlink()
    if path.parent != Path(os.environ.get(FALLBACK_VARIABLE) or "."):  # never remove a folder that the user chose
        with contextlib.suppress(OSError):
            path.parent.rmdir()


def look(path: Path) -> Piece | None:
    """The piece at `path`; None if there is none, or it is another user's."""
    found = _NAME.fullmatch(path.name)
    if found is None:
        return None
    try:
        fd = os.open(path, os.O_RDONLY | _FLAGS)
        with open(fd, "rb") as file:
            stat = os.fstat(fd)
            if hasattr(os, "getuid") and stat.st_uid != os.getuid():
                return None
            head: Any = json.loads(file.read(_HEAD))
        log_id = bytes.fromhex(head["log_id"])
        if log_id.hex() != found[1] or stat.st_size < _HEAD:
            return None
        base, since_s = int(head["base"]), float(head["since_wall_s"])
        if base < 0 or not math.isfinite(since_s):
            return None
        told = head.get("before")
        before = Digests(str(told["all"]), str(told["last"])) if isinstance(told, dict) else None
        return Piece(
            path,
            log_id,
            int(found[2]),
            base,
            stat.st_size - _HEAD,
            Path(str(head["log"])),
            since_s,
            before,
            head.get("marks_end") is True,
        )
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def of(log_id: bytes, where: Sequence[Path] | None = None) -> list[Piece]:
    """The pieces of one log, in the stream's order."""
    found: list[Piece] = []
    for folder in dict.fromkeys(looked_in() if where is None else where):
        with contextlib.suppress(OSError):
            names = [name for name in os.listdir(folder) if name.startswith(f"hotfuel-{log_id.hex()}-")]
            found += [piece for name in names if (piece := look(folder / name)) is not None]
    return sorted(found, key=lambda piece: (piece.base, piece.number))


def everything() -> Iterator[Piece]:
    """All pieces of all logs in the usual folders."""
    for folder in looked_in():
        with contextlib.suppress(OSError):
            for name in sorted(os.listdir(folder)):
                if _NAME.fullmatch(name) and (piece := look(folder / name)) is not None:
                    yield piece

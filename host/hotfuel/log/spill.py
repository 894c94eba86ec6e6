"""Where a log goes on while its disk is full: a file in memory that followers read as the log's continuation.

The spill of a log begins with the log's length at the moment its disk failed, so a position in the stream stays the same before, during and after.
"""

import os
import struct
import tempfile
from pathlib import Path

_BASE = struct.Struct("<Q")  # the log's length where this spill goes on


def path_for(log: Path) -> Path | None:
    """The spill of an existing log file: in shared memory where the system has it, else among the temporary files. None for no such log."""
    try:
        found = os.stat(log)
    except OSError:
        return None
    folder = Path("/dev/shm")
    if not folder.is_dir():
        folder = Path(tempfile.gettempdir())
    user = os.getuid() if hasattr(os, "getuid") else 0
    return folder / f"hotfuel-{user}-{found.st_dev:x}-{found.st_ino:x}.spill"


class Spill:
    """The writer's side. `put` appends, `get` reads back, `remove` ends it. At most `most` bytes are taken."""

    def __init__(self, path: Path, base: int, most: int) -> None:
        self.base = base
        self.size = 0
        self._most = most
        self._path = path
        flags = os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
        self._fd = os.open(path, flags, 0o600)
        os.write(self._fd, _BASE.pack(base))

    def put(self, data: bytes) -> int:
        """Append; returns how many bytes fitted."""
        data = data[: self._most - self.size]
        try:
            os.lseek(self._fd, _BASE.size + self.size, os.SEEK_SET)
            done = os.write(self._fd, data) if data else 0
        except OSError:
            done = 0
        self.size += done
        return done

    def get(self, offset: int, most: int) -> bytes:
        """At most `most` bytes from `offset` on."""
        os.lseek(self._fd, _BASE.size + offset, os.SEEK_SET)
        return os.read(self._fd, min(most, self.size - offset))

    def remove(self) -> None:
        """The log holds everything again (or never will)."""
        os.close(self._fd)
        self._path.unlink(missing_ok=True)


def read(log: Path, position: int, most: int) -> bytes:
    """What the spill of `log` holds from stream position `position` on; b"" if there is none."""
    path = path_for(log)
    if path is None:
        return b""
    try:
        with open(path, "rb") as file:
            head = file.read(_BASE.size)
            if len(head) < _BASE.size:
                return b""
            base = _BASE.unpack(head)[0]
            if position < base:
                return b""
            file.seek(_BASE.size + position - base)
            return file.read(most)
    except OSError:
        return b""

"""Writes files whole or not at all: the old file stays until the new one is complete. Refuses what is no file of ours to write, or none to read."""

import contextlib
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

from hotfuel.errors import InputError

MARK = b"hotfuel"
_LOOKED_AT = 1 << 16  # bytes of either end of a file


@contextlib.contextmanager
def whole(path: str | Path) -> Iterator[Path]:
    """The path of a part file beside `path` (same ending) to write to; it replaces `path` when the block ends without an error.

    If the block ends otherwise - an error, a full disk, Ctrl-C - no part file is left and an older `path` is unchanged. Folders are made.
    Raises InputError if the place cannot be written.
    """
    target = Path(os.path.realpath(path))  # a symbolic link is followed, not replaced
    part = target.with_name(f"{target.stem}.part{target.suffix}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        yield part
        _on_the_disk(part)  # before renaming: a power cut in between would leave an empty file in place of a good one
        os.replace(part, target)
        with contextlib.suppress(OSError):  # not every system allows opening a folder
            _on_the_disk(target.parent)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror or error}): give another place, or make room") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def refuse_pipe(path: str | Path) -> None:
    """Raises InputError if a pipe, a socket or a device is there: it is read once, and may never end or never begin."""
    try:
        mode = os.stat(path).st_mode
    except (OSError, ValueError):  # the reader says why
        return
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        kind = "pipe" if stat.S_ISFIFO(mode) else "socket" if stat.S_ISSOCK(mode) else "device"
        raise InputError(f"{path} is a {kind}: only a regular file is read; write what it gives into one, and give that")


def refuse_anothers(path: str | Path) -> None:
    """Raises InputError if a file of another program is there, perhaps its only copy; this program's files name it near their beginning or end."""
    target = Path(path)
    if not target.is_file():
        return
    try:
        with open(target, "rb") as file:
            seen = file.read(_LOOKED_AT)
            file.seek(max(len(seen), target.stat().st_size - _LOOKED_AT))
            seen += file.read(_LOOKED_AT)
    except OSError as error:
        raise InputError(f"{target} is there already and cannot be read ({error.strerror}): give another file") from None
    if seen and MARK not in seen:
        raise InputError(f"{target} is there already and is not from this program: give another file; nothing is overwritten")


def refuse_unwritable(path: str | Path) -> None:
    """Raises InputError if no file can be made at `path`; folders are made."""
    folder = Path(path).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror or error}): give another place, or make room") from None


def _on_the_disk(path: Path) -> None:
    fd = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)

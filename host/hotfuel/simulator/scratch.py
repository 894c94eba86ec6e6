"""Folders that last as long as a simulated board. Creating one removes those whose process was killed before it could."""

import contextlib
import os
import shutil
import tempfile
import time
from pathlib import Path

try:
    import fcntl
except ImportError:  # folders cannot be locked here: what a killed program left stays, as with any temporary file
    fcntl = None  # type: ignore[assignment]

PREFIX = "hotfuel-board-"
_YOUNG_S = 60.0  # its maker may not have locked it yet


class ScratchFolder:
    """`path`: a new, empty folder, locked while this process lives. close() removes it."""

    def __init__(self) -> None:
        _remove_abandoned(Path(tempfile.gettempdir()))
        self.path = Path(tempfile.mkdtemp(prefix=PREFIX))
        self._lock = _locked(self.path)

    def close(self) -> None:
        """Delete the folder and everything in it."""
        shutil.rmtree(self.path, ignore_errors=True)
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


def _locked(folder: Path) -> int | None:
    """A descriptor that holds the folder's lock; None if another process holds it, or there are no locks."""
    if fcntl is None:
        return None
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        return None
    return descriptor


def _remove_abandoned(where: Path) -> None:
    for folder in where.glob(PREFIX + "*"):
        with contextlib.suppress(OSError):  # another user's, or another process was quicker
            if time.time() - folder.stat().st_mtime > _YOUNG_S and (lock := _locked(folder)) is not None:
                shutil.rmtree(folder, ignore_errors=True)
                os.close(lock)

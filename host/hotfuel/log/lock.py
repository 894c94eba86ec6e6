"""The writer's lock on a log's file, which the system drops when the writing process ends, however it ends."""

import os
import time

try:
    import fcntl
except ImportError:
    # no such locks on this system: two writers are possible, and a log counts as live for a while after its last change
    fcntl = None  # type: ignore[assignment]

_RECENT_S = 10.0
_PATIENCE_S = 1.0
_TRY_EVERY_S = 0.005


def lock_for_writing(fd: int) -> bool:
    """Take the writer's lock for as long as `fd` stays open. False: another writer has it."""
    if fcntl is None:
        return True
    end = time.monotonic() + _PATIENCE_S
    while True:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except OSError:
            # A follower holds the lock only while it checks, but may be paused meanwhile on a busy machine; a writer keeps it.
            if time.monotonic() > end:
                return False
            time.sleep(_TRY_EVERY_S)


def is_being_written(fd: int) -> bool:
    """True while a writer has the log open; `fd` is any open descriptor of it."""
    if fcntl is None:
        return time.time() - os.fstat(fd).st_mtime < _RECENT_S
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    fcntl.flock(fd, fcntl.LOCK_UN)
    return False

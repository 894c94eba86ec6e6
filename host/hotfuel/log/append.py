"""The writer of a raw log. What arrives is kept byte for byte; the host's own frames go between board frames, never into one.

A log is opened by one writer only (a lock the system drops when the process ends, however it ends: that is also how followers know a live log).
Every piece goes to the system at once, so killing the process loses nothing; `fsync` every few seconds bounds what a power cut can take.
When the disk refuses (full, error, short write) the stream goes on in a spill file in memory, the writer tries the disk again every second,
and appends the spill when it can: the log then holds the same bytes as if nothing had happened. Only when the spill is full too is anything lost,
and then it is counted.
"""

import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path

from hotfuel_wire import framing

from hotfuel.errors import InputError
from hotfuel.log import spill
from hotfuel.log.lock import lock_for_writing
from hotfuel.log.spill import Spill

FSYNC_EVERY_S = 5.0
RETRY_EVERY_S = 1.0
SPILL_MAX = 32 << 20  # bytes: ten hours of eight channels at 10 Hz
_CALM_S = 0.5  # a frame that stopped in its middle for this long is not waited for any more


class LogWriter:
    """Appends to the log at `path` (created if missing).

    warn: called with one sentence when the disk fails, when bytes are lost, and when it works again; never raises through.
    write, fsync: the system's calls; tests put failing ones here.
    bytes_lost: received, but neither disk nor memory could hold it.
    Raises InputError if another process is writing this log, OSError if it cannot be opened at all.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        warn: Callable[[str], None] = lambda sentence: None,
        write: Callable[[int, bytes], int] = os.write,
        fsync: Callable[[int], None] = os.fsync,
        clock: Callable[[], float] = time.monotonic,
        spill_max: int = SPILL_MAX,
    ) -> None:
        self.path = Path(path)
        self.bytes_lost = 0
        self._warn, self._write, self._fsync, self._clock = warn, write, fsync, clock
        self._spill_max = spill_max
        existed = self.path.exists()
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
        self._fd = os.open(self.path, flags, 0o644)
        if not lock_for_writing(self._fd):
            os.close(self._fd)
            raise InputError(f"{self.path} is being written by another recording; choose another folder or end that one first")
        self._size = os.fstat(self._fd).st_size
        self._spill: Spill | None = None
        self._waiting: list[bytes] = []  # host frames on their way to the next frame boundary
        self._piece = 0  # bytes since the last zero
        self._cut = False  # bytes were lost: what comes next must not join what stands before
        self._last_received = self._last_sync = self._last_try = clock()
        self._dirty = False
        if existed:
            self._go_on_after_an_earlier_recording()
        elif (stale := spill.path_for(self.path)) is not None:
            stale.unlink(missing_ok=True)  # of a log long gone whose place on the disk this one took

    def __enter__(self) -> "LogWriter":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def size(self) -> int:
        """Length of the stream so far, whether the disk has it already or not."""
        return self._size if self._spill is None else self._spill.base + self._spill.size

    @property
    def failing(self) -> bool:
        """True while the disk refuses and the stream goes to memory."""
        return self._spill is not None

    def received(self, data: bytes) -> None:
        """Keep what the link brought, in one piece or many, exactly as it came."""
        if not data:
            return
        self._last_received = self._clock()
        if self._waiting:
            boundary = data.find(b"\x00")
            if boundary >= 0:
                self._append(data[: boundary + 1] + b"".join(self._waiting) + data[boundary + 1 :])
                self._waiting.clear()
                return
        self._append(data)
        self.work()

    def host_frame(self, payload: bytes) -> None:
        """Add a frame of the host's own at the next frame boundary: at once if the stream stands at one. Raises FrameError (payload too long)."""
        self._waiting.append(framing.encode(payload))
        if self._piece == 0:
            self._give_waiting()

    def work(self) -> None:
        """What is due by time: waiting host frames whose boundary does not come, the disk again, fsync. Call it at least once a second."""
        now = self._clock()
        if self._waiting and (self._piece > framing.BODY_MAX + 1 or now - self._last_received > _CALM_S):
            self._give_waiting()
        if self._spill is not None and now - self._last_try >= RETRY_EVERY_S:
            self._last_try = now
            self._drain()
        if self._dirty and self._spill is None and now - self._last_sync >= FSYNC_EVERY_S:
            self._sync()

    def close(self) -> None:
        """Write what waits, fsync, close. What only memory holds and the disk still refuses stays in the spill, where readers find it."""
        if self._fd < 0:
            return
        self._give_waiting()
        if self._spill is not None:
            self._drain()
            if self._spill is not None:
                self._warn(
                    f"{self.path.name}: the disk still refuses; {self._spill.size} bytes are only in this computer's memory"
                )
        self._sync()
        os.close(self._fd)
        self._fd = -1

    def _give_waiting(self) -> None:
        if self._waiting:
            self._append(b"".join(self._waiting))  # each begins with a zero: a piece left open ends here
            self._waiting.clear()

    def _go_on_after_an_earlier_recording(self) -> None:
        """Write what an earlier one could only keep in memory, and end the piece it stopped in."""
        while kept := spill.read(self.path, self._size, 1 << 16):
            if self._to_disk(kept) < len(kept):
                break
        with open(self.path, "rb") as file:
            file.seek(max(0, self._size - 1))
            if file.read(1) not in (b"", b"\x00"):
                self._append(b"\x00")

    def _append(self, data: bytes) -> None:
        if self._cut:
            data = b"\x00" + data
        last_zero = data.rfind(b"\x00")
        self._piece = len(data) - 1 - last_zero if last_zero >= 0 else self._piece + len(data)
        if self._spill is None:
            data = data[self._to_disk(data) :]
            if not data:
                self._cut = False
                return
        self._to_spill(data)

    def _to_disk(self, data: bytes) -> int:
        """How many bytes the disk took; fewer than all opens a spill."""
        done = 0
        try:
            while done < len(data):
                written = self._write(self._fd, data[done:])
                if written <= 0:
                    break
                done += written
            problem = None if done == len(data) else "it took only part of a write"
        except OSError as error:
            problem = error.strerror or str(error)
        self._dirty = self._dirty or done > 0
        self._size += done
        if problem is not None and self._spill is None:
            with contextlib.suppress(OSError):
                self._size = os.fstat(self._fd).st_size
            self._last_try = self._clock()
            self._open_spill(problem)
        return done

    def _open_spill(self, problem: str) -> None:
        path = spill.path_for(self.path)
        if path is None:
            self._warn(f"{self.path.name}: the log file has gone ({problem}); nothing can be kept")
            return
        try:
            self._spill = Spill(path, self._size, self._spill_max)
        except OSError as error:
            self._warn(
                f"{self.path.name}: the disk refuses ({problem}) and so does memory ({error.strerror}); nothing can be kept"
            )
            return
        self._warn(
            f"{self.path.name}: the disk refuses ({problem}); recording goes on in memory: free some space, it is written then"
        )

    def _to_spill(self, data: bytes) -> None:
        done = self._spill.put(data) if self._spill is not None else 0
        self._cut = done < len(data)
        if self._cut:
            if not self.bytes_lost:
                self._warn(f"{self.path.name}: disk and memory are full; what arrives now is lost until there is space")
            self.bytes_lost += len(data) - done

    def _drain(self) -> None:
        """Append the spill to the log, as far as the disk takes it."""
        kept = self._spill
        assert kept is not None
        while (offset := self._size - kept.base) < kept.size:
            piece = kept.get(offset, 1 << 16)
            if self._to_disk(piece) < len(piece):
                return
        kept.remove()
        self._spill = None
        self._warn(f"{self.path.name}: the disk works again; everything kept in memory is written")

    def _sync(self) -> None:
        self._last_sync = self._clock()
        try:
            self._fsync(self._fd)
            self._dirty = False
        except OSError as error:
            self._warn(
                f"{self.path.name}: the disk did not confirm what was written ({error.strerror}); a power cut now could cost data"
            )

"""The writer of a raw log. Received bytes are written unchanged; the host's own frames go between board frames, never into one.

A log has one writer (a lock that the system drops when the process ends, however it ends; followers tell a live log by it). Bytes are handed to the
system at once, so killing the process loses nothing; `fsync` every few seconds bounds the loss in a power cut.
When a write fails (disk full, error, short write) the stream continues in another folder, finally in memory. The writer retries the disk every second and
then appends those bytes: the log holds the same bytes as if nothing had happened, plus, after a full disk, a frame that says so (`reserve.frame`). Bytes
are lost only when every folder and memory are full, and then counted. If the log itself has gone (folder deleted, disk unplugged), a new log in a fallback
folder continues it.
"""

import contextlib
import errno
import os
import socket
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from hotfuel_wire import framing

from hotfuel.errors import InputError
from hotfuel.log import disk, identity, joined, others, reserve, sentences, spill
from hotfuel.log.episode import Episode
from hotfuel.log.lock import lock_for_writing
from hotfuel.log.spill import Piece, Spill

FSYNC_EVERY_S = 5.0
RETRY_EVERY_S = 1.0
_CALM_S = 0.5  # a frame incomplete for this long is not waited for any longer
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


class LogWriter:
    """Appends to the log at `path` (created if missing), first the bytes that an earlier recorder had to keep elsewhere.

    warn: called with one sentence when the disk fails, when bytes are lost, and when it works again; must not raise.
    fallback: makes a folder for when this one has gone and returns the new log's path there; None: no fallback.
    write, fsync: the system's calls; tests pass failing ones. log_id: of a new log; drawn if not given.
    bytes_lost: received, but neither disk nor memory could hold them.
    Raises InputError if another process is writing this log, OSError if it cannot be opened at all.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        warn: Callable[[str], None] = lambda sentence: None,
        fallback: Callable[[], Path] | None = None,
        write: Callable[[int, bytes], int] = os.write,
        fsync: Callable[[int], None] = os.fsync,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
        log_id: bytes | None = None,
        spill_max: int = spill.PIECE_MAX,
        spill_folders: Sequence[Path] | None = None,
    ) -> None:
        self.path = Path(path)
        self.bytes_lost = 0
        self.moved = 0  # how often the log moved to another folder
        self.headless = False  # after such a move: the earlier part of the recording could not be copied
        self._warn, self._fallback, self._write, self._fsync = warn, fallback, write, fsync
        self._clock, self._wall = clock, wall
        self._spill_max, self._spill_folders = spill_max, spill_folders
        self._fd = disk.open_log(self.path)
        if not lock_for_writing(self._fd):
            os.close(self._fd)
            raise InputError(f"{self.path} is being written by another recording; choose another folder or end that one first")
        self._size = os.fstat(self._fd).st_size
        self._spill: Spill | None = None
        self._spill_since_s = 0.0
        self._earlier: list[Piece] = []  # pieces of this log that earlier recordings kept elsewhere and that are still there
        self._refusing = Episode(warn, clock)
        self._waiting: list[bytes] = []  # host frames waiting for the next frame boundary
        self._piece = 0  # bytes since the last zero
        self._cut = False  # bytes were lost: the next ones must not be joined to those before
        self._tail = disk.Tail()  # the last bytes up to `_size`
        self._last_received = self._last_sync = self._last_try = clock()
        self._dirty = False
        self._drain_from = 0.0  # earliest next try, by the clock: the last one wrote a large part and then failed
        self._homeless = False  # the log has gone, and there is no other folder
        self._full = ""  # the disk's error; the current frame is still written, into the reserve's room
        strangers = others.of(self.path) if self._size else ()
        if strangers:
            os.close(self._fd)
            raise InputError(f"record into another folder: {strangers[0].sentence(self.path)}")
        self.log_id = joined.whose(self.path) or log_id or identity.new()
        found = joined.join(self.path, self._size, self.log_id, self._folders(), also_anothers=False)
        if found.behind:
            os.close(self._fd)
            raise InputError(sentences.cut(self.path, found))
        self._reserve = reserve.Reserve(self.path, self.log_id, reserve.not_found(self.path, self.log_id, found.end, self._warn))
        if self._size or found.pieces:
            self._go_on_after_an_earlier_recording(found)
        if identity.of(self.path) is None and self._spill is None:
            # if there are a few bytes already, it continues them
            self._append(identity.frame(self.log_id, wall(), part=1 if self._size else 0, marks_end=True))

    def __enter__(self) -> "LogWriter":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def size(self) -> int:
        """Length of the stream so far, on the disk or not."""
        if self._spill is not None:
            return self._spill.base + self._spill.size
        return self._earlier[-1].end if self._earlier else self._size

    @property
    def in_a_frame(self) -> bool:
        """True while the frame received last is not complete."""
        return self._piece > 0

    @property
    def failing(self) -> bool:
        """True while the disk fails and the stream is kept elsewhere."""
        return self._spill is not None or bool(self._earlier)

    def received(self, data: bytes) -> None:
        """Write received bytes, in blocks of any size, unchanged."""
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
        """Add a frame of the host at the next frame boundary: at once if the stream is at one. Raises FrameError (payload too long)."""
        self._waiting.append(framing.encode(payload))
        if self._piece == 0:
            self._give_waiting()

    def work(self) -> None:
        """Do what is due: write host frames whose boundary does not come, retry the disk, fsync. Call it at least once a second."""
        now = self._clock()
        if self._waiting and (self._piece > framing.BODY_MAX + 1 or now - self._last_received > _CALM_S):
            self._give_waiting()
        if now - self._last_try >= RETRY_EVERY_S:
            self._last_try = now
            if disk.gone(self.path, self._fd):
                self._leave()
            if self.failing and not self._homeless and now >= self._drain_from:
                self._drain()
                self._stay_elsewhere()
                self._note_spill()
        self._refusing.look(self.path.name)
        if self._dirty and not self.failing and now - self._last_sync >= FSYNC_EVERY_S:
            self.sync()

    def sync(self) -> bool:
        """fsync; False, with a warning, if the disk does not confirm."""
        self._last_sync = self._clock()
        try:
            self._fsync(self._fd)
        except OSError as error:
            self._warn(sentences.not_confirmed(self.path, error))
            return False
        self._dirty = False
        self._tail.clear()
        return True

    def close(self) -> None:
        """Write waiting frames, fsync, close. Bytes that the disk still refuses stay elsewhere: readers find them, and `hotfuel rescue` puts them back."""
        if self._fd < 0:
            return
        self._give_waiting()
        if disk.gone(self.path, self._fd):
            self._leave()
        if self.failing and not self._homeless:
            self._drain()
        if self.failing:
            self._note_spill()
            self._warn(sentences.not_on_disk(self.path, self._size, self._all_pieces()))
            if self._spill is not None:
                self._spill.keep()
        self._refusing.look(self.path.name, at_the_end=True)
        self.sync()
        self._reserve.end()
        os.close(self._fd)
        self._fd = -1

    def _folders(self) -> list[Path]:
        return list(spill.looked_in() if self._spill_folders is None else self._spill_folders)

    def _give_waiting(self) -> None:
        if self._waiting:
            self._append(b"".join(self._waiting))  # each begins with a zero, which ends an unfinished frame
            self._waiting.clear()

    def _all_pieces(self) -> list[Piece]:
        """The pieces kept elsewhere now, by this and earlier recordings."""
        own = self._spill.paths if self._spill is not None else []
        return [*self._earlier, *(piece for path in own if (piece := spill.look(path)) is not None)]

    def _go_on_after_an_earlier_recording(self, found: joined.Joined) -> None:
        """Put back the bytes that an earlier recording kept elsewhere, and end its last, unfinished frame."""
        self._earlier = list(found.pieces)
        self._drain()
        self._stay_elsewhere()
        if disk.last_byte(self.path, self._fd, self._earlier) != b"\x00":
            self._append(b"\x00")

    def _stay_elsewhere(self) -> None:
        """While the disk does not take earlier recordings' pieces, keep this one's bytes elsewhere too, after them."""
        if self._earlier and self._spill is None:
            self._open_spill("what an earlier recording kept elsewhere does not fit", self._earlier[-1].end)

    def _append(self, data: bytes) -> None:
        if self._cut:
            data = b"\x00" + data
        last_zero = data.rfind(b"\x00")
        self._piece = len(data) - 1 - last_zero if last_zero >= 0 else self._piece + len(data)
        if not self.failing:
            data = data[self._end_on_disk(data) if self._full else self._to_disk(data) :]
            if not data:
                self._cut = False
                if not self._full and not self.failing:  # what went into the reserve's room is no disk that works
                    self._refusing.works()
                return
        self._to_spill(data)

    def _to_disk(self, data: bytes) -> int:
        """Write to the log; returns how many bytes the disk took. Opens a spill if it was not all."""
        done = 0
        try:
            while done < len(data):
                written = self._write(self._fd, data[done:])
                if written <= 0:
                    break
                done += written
            problem, full = None if done == len(data) else "it took only part of a write", True
        except OSError as error:
            problem, full = error.strerror or str(error), error.errno in _FULL
        self._dirty = self._dirty or done > 0
        self._size += done
        self._tail.add(data[:done])
        if problem is not None and self._spill is None:
            with contextlib.suppress(OSError):
                self._size = os.fstat(self._fd).st_size
            self._last_try = self._clock()
            if disk.gone(self.path, self._fd) and self._leave():
                return done + self._to_disk(data[done:])
            if full and self._size:
                self._reserve.give_room()
                self._full = problem
                return done + self._end_on_disk(data[done:])
            self._open_spill(problem, self._size)
        return done

    def _end_on_disk(self, data: bytes) -> int:
        """Write the rest of the current frame into the reserve's room, and after it the frame that says that the disk is full; returns the bytes taken."""
        rest = data[: data.find(b"\x00") + 1] or data
        ends = rest.endswith(b"\x00")
        last = rest + reserve.frame(self._wall()) if ends else rest
        done = 0
        with contextlib.suppress(OSError):
            while done < len(last) and (written := self._write(self._fd, last[done:])) > 0:
                done += written
        if done < len(last):  # no room even for that: undo it
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self._size)
        with contextlib.suppress(OSError):
            self._size = os.fstat(self._fd).st_size
        taken = len(rest) if done == len(last) else 0
        self._dirty = True
        self._tail.add(last[: done if taken else 0])
        if ends or not taken:
            problem, self._full = self._full, ""
            self._open_spill(problem, self._size)
        return taken

    def _open_spill(self, problem: str, base: int) -> None:
        try:
            before = disk.before(self._fd, self._size, self._earlier, base)
            self._spill = Spill(self.log_id, self.path, base, self._spill_max, self._spill_folders, before)
        except OSError as error:
            self._refusing.refused(sentences.nothing_kept(self.path, problem, error))
            return
        self._spill_since_s = self._wall()
        self._note_spill()
        self._refusing.refused(sentences.kept_elsewhere(self.path, problem, self._spill.paths[0]))

    def _note_spill(self) -> None:
        """Note in the reserve what is not on the disk, for whoever finds the folder after a restart, or a copy of it."""
        if not self.failing:
            return
        first = self._earlier[0] if self._earlier else None
        base = first.base if first is not None else self._spill.base if self._spill is not None else self._size
        since_s = first.since_wall_s if first is not None else self._spill_since_s
        paths = (*(piece.path for piece in self._earlier), *(self._spill.paths if self._spill is not None else ()))
        self._reserve.kept(reserve.Kept(base, self.size - base, since_s, self._wall(), paths, socket.gethostname()))

    def _to_spill(self, data: bytes) -> None:
        done = 0
        if self._spill is not None:
            known, done = len(self._spill.paths), self._spill.put(data)
            if len(self._spill.paths) > known:
                self._note_spill()
        self._cut = done < len(data)
        if self._cut:
            if not self.bytes_lost:
                self._warn(sentences.full(self.path))
            self.bytes_lost += len(data) - done

    def _drain(self) -> None:
        """Append the bytes kept elsewhere to the log: all or nothing. A part would hide the frame at the log's end that says the disk was full."""
        with contextlib.suppress(OSError):
            self._size = os.fstat(self._fd).st_size
        begun = self._size
        if self.failing and not (disk.has_room(self.path, self.size - begun + reserve.SIZE) and self._reserve.take_room()):
            return
        whole = disk.put_all_back(self._earlier, self._spill, self._fd, begun, self._noted_write)
        with contextlib.suppress(OSError):
            self._size = os.fstat(self._fd).st_size
        if not whole:
            self._take_back(begun)
            return
        kept, own = self._spill, self._spill.paths if self._spill is not None else []
        left = [
            one for one in spill.of(self.log_id, self._folders()) if one.end <= self._size and joined.same(one.log, self.path)
        ]
        pieces = {piece.path: piece for piece in [*left, *self._all_pieces()]}
        if (pieces or kept is not None) and not self.sync():
            return
        if kept is not None:
            kept.keep()
        stay = disk.let_go(list(pieces.values()), self.path, own)
        if changed := [piece for piece in stay if piece.path in own]:
            self._warn(sentences.not_held(self.path, changed))
        if self.failing:
            self._spill, self._earlier = None, []
            self._reserve.kept(None)
        if kept is not None and not kept.size:  # nothing was kept after all: a zero after that frame cancels it
            self._to_disk(b"\x00")
        if not self.failing:
            self._refusing.works()

    def _take_back(self, begun: int) -> None:
        """Cut off the part that was put back; the pieces still hold it."""
        written = max(0, self._size - begun)
        with contextlib.suppress(OSError):
            os.ftruncate(self._fd, begun)
            self._size = begun
            self._tail.cut(written)
        self._drain_from = self._clock() + min(60.0, written / (1 << 16))

    def _noted_write(self, fd: int, data: bytes) -> int:
        written = self._write(fd, data)
        self._dirty = True
        self._tail.add(data[: max(0, written)])
        return written

    def _leave(self) -> bool:
        """The log is not where it was: follow it if it was only moved, else continue in the fallback folder. True if there is a log to write to."""
        followed = disk.followed(self._fd)
        if followed is not None:
            self._warn(sentences.moved(self.path, followed))
            self.path = followed
            self._reserve.path = reserve.path_for(followed)
            self.moved += 1
            return True
        old = self.path
        try:
            if self._fallback is None:
                raise InputError("no fallback folder was given")
            new, whole = disk.carry_over(self._fd, self._size, bytes(self._tail), self._fallback(), self._write, self.log_id)
        except (OSError, InputError) as error:
            if not self._homeless:
                self._warn(sentences.gone(old, None, error))
                self._homeless = True
                self._all_to_spill()
            return False
        self._homeless = False
        self._reserve.end()
        with contextlib.suppress(OSError):
            os.close(self._fd)
        self._fd, self.path, self.moved, self.headless = new.fd, new.path, self.moved + 1, not whole
        self._size = os.fstat(new.fd).st_size
        self.log_id = self.log_id if whole else identity.of(new.path) or self.log_id
        self._reserve = reserve.Reserve(self.path, self.log_id)
        self._warn(sentences.gone(old, self.path, whole=whole))
        if whole:
            return True  # the pieces kept elsewhere continue it as before
        # the pieces stay: the removed disk may come back, and lacks them
        kept, self._spill, self._earlier = (
            self._spill,
            None,
            [],
        )
        at = 0
        while kept is not None and (piece := kept.get(at, 1 << 16)):
            self._append(piece)
            at += len(piece)
        if kept is not None:
            kept.keep()
        return True

    def _all_to_spill(self) -> None:
        """There is no file any more: everything still readable goes to a spill, from which `hotfuel rescue` makes a log."""
        if self._spill is not None:
            return
        self._open_spill("its folder has gone", 0)
        at = 0
        while self._spill is not None and at < self._size:
            data = b""
            with contextlib.suppress(OSError):
                data = os.pread(self._fd, min(1 << 20, self._size - at), at)
            if not data:
                self._spill.put(b"\x00" + self._tail)
                break
            self._to_spill(data)
            at += len(data)

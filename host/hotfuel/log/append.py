"""The writer of a raw log. What arrives is kept byte for byte; the host's own frames go between board frames, never into one.

A log is opened by one writer only (a lock the system drops when the process ends, however it ends: that is also how followers know a live log).
Every piece goes to the system at once, so killing the process loses nothing; `fsync` every few seconds bounds what a power cut can take.
When the disk refuses (full, error, short write) the stream goes on in a second place, in memory at last; the writer tries the disk again every
second, and appends what was kept when it can: the log then holds the same bytes as if nothing had happened, and where the disk was full a frame that
says so (`reserve.frame`). Only when every place is full is anything lost, and then it is counted. When the log itself has gone (folder deleted, disk
unplugged) it goes on as a log in a fallback folder.
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
from hotfuel.log import identity, joined, others, places, reserve, spill
from hotfuel.log.episode import Episode
from hotfuel.log.lock import lock_for_writing
from hotfuel.log.spill import Piece, Spill

FSYNC_EVERY_S = 5.0
RETRY_EVERY_S = 1.0
_CALM_S = 0.5  # a frame that stopped in its middle for this long is not waited for any more
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
_TAIL_MAX = 4 << 20  # bytes written since the last fsync that are remembered: an unplugged disk may never have got them


class LogWriter:
    """Appends to the log at `path` (created if missing). What an earlier recorder could only keep elsewhere is put back first.

    warn: called with one sentence when the disk fails, when bytes are lost, and when it works again; never raises through.
    fallback: makes a folder for a log to go on in when this one's has gone, and gives the log's path there; None: there is none.
    write, fsync: the system's calls; tests put failing ones here. log_id: of a new log; drawn if not given.
    bytes_lost: received, but neither disk nor memory could hold it. part: 0, or how often this log was gone on with.
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
        spill_places: Sequence[Path] | None = None,
    ) -> None:
        self.path = Path(path)
        self.bytes_lost = 0
        self.moved = 0  # how often the log went on in another folder
        self.headless = False  # after such a move: what had been recorded before could not be taken along
        self._warn, self._fallback, self._write, self._fsync = warn, fallback, write, fsync
        self._clock, self._wall = clock, wall
        self._spill_max, self._spill_places = spill_max, spill_places
        self._fd = places.open_log(self.path)
        if not lock_for_writing(self._fd):
            os.close(self._fd)
            raise InputError(f"{self.path} is being written by another recording; choose another folder or end that one first")
        self._size = os.fstat(self._fd).st_size
        self._spill: Spill | None = None
        self._spill_since_s = 0.0
        self._earlier: list[Piece] = []  # what earlier recordings kept elsewhere of this log, and is still there
        self._refusing = Episode(warn, clock)
        self._waiting: list[bytes] = []  # host frames on their way to the next frame boundary
        self._piece = 0  # bytes since the last zero
        self._cut = False  # bytes were lost: what comes next must not join what stands before
        self._tail = bytearray()  # the last bytes before `_size` that no fsync has confirmed
        self._last_received = self._last_sync = self._last_try = clock()
        self._dirty = False
        self._lost_its_place = False  # the log has gone, and there is no other folder
        self._full = ""  # how the disk refused; the frame under way goes to it all the same
        strangers = others.of(self.path) if self._size else ()
        if strangers:
            os.close(self._fd)
            raise InputError(f"record into another folder: {strangers[0].sentence(self.path)}")
        self.log_id = joined.whose(self.path) or log_id or identity.new()
        found = joined.join(self.path, self._size, self.log_id, self._places(), also_anothers=False)
        if found.behind:
            os.close(self._fd)
            raise InputError(
                f"{self.path} lacks {found.behind[0].base - found.end} bytes before what is kept elsewhere of it begins (its log was cut): record into "
                f"another folder, and put its log back from a copy, or type: hotfuel rescue {places.typed(found.behind[0].path)} --into FOLDER"
            )
        self._reserve = reserve.Reserve(self.path, self.log_id, reserve.not_found(self.path, self.log_id, found.end, self._warn))
        if self._size or found.pieces:
            self._go_on_after_an_earlier_recording(found)
        if identity.of(self.path) is None and self._spill is None:
            self._append(
                identity.frame(self.log_id, wall(), part=1 if self._size else 0)
            )  # behind a few bytes it goes on with them

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
        """True while the disk refuses and the stream goes elsewhere."""
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
        if now - self._last_try >= RETRY_EVERY_S:
            self._last_try = now
            if places.gone(self.path, self._fd):
                self._leave()
            if self._spill is not None and not self._lost_its_place:
                self._drain()
                self._note_spill()
        self._refusing.look(self.path.name)
        if self._dirty and self._spill is None and now - self._last_sync >= FSYNC_EVERY_S:
            self.sync()

    def sync(self) -> bool:
        """Have the disk confirm what was written; False, with a warning, if it does not."""
        self._last_sync = self._clock()
        try:
            self._fsync(self._fd)
        except OSError as error:
            self._warn(
                f"{self.path.name}: the disk did not confirm what was written ({error.strerror}); a power cut now could cost data"
            )
            return False
        self._dirty = False
        self._tail.clear()
        return True

    def close(self) -> None:
        """Write what waits, fsync, close. What the disk still refuses stays where it is kept: readers find it, and `hotfuel rescue` puts it back."""
        if self._fd < 0:
            return
        self._give_waiting()
        if places.gone(self.path, self._fd):
            self._leave()
        if self._spill is not None and not self._lost_its_place:
            self._drain()
        if self._spill is not None:
            self._note_spill()
            pieces = self._all_pieces()
            where = " and ".join(places.words(piece.path) for piece in pieces)
            size = max((piece.end for piece in pieces), default=self._size) - self._size
            self._warn(
                f"{self.path.name}: {size} bytes of this drive are not on its disk, only in {where}. Make room and type: "
                f"hotfuel rescue {places.typed(self.path.parent)}. Or onto another disk: hotfuel rescue {places.typed(self.path.parent)} --into FOLDER"
            )
            self._spill.keep()
        self._refusing.look(self.path.name, at_the_end=True)
        self.sync()
        self._reserve.end()
        os.close(self._fd)
        self._fd = -1

    def _places(self) -> list[Path]:
        return list(spill.looked_in() if self._spill_places is None else self._spill_places)

    def _give_waiting(self) -> None:
        if self._waiting:
            self._append(b"".join(self._waiting))  # each begins with a zero: a piece left open ends here
            self._waiting.clear()

    def _all_pieces(self) -> list[Piece]:
        """What is elsewhere now, with what earlier recordings left there."""
        own = self._spill.paths if self._spill is not None else []
        return [*self._earlier, *(piece for path in own if (piece := spill.look(path)) is not None)]

    def _go_on_after_an_earlier_recording(self, found: joined.Joined) -> None:
        """Write what an earlier one could only keep elsewhere, and end the piece it stopped in."""
        pieces = found.pieces
        if pieces and places.put_back(pieces, self._fd, self._size, self._write) is None:
            self._size = os.fstat(self._fd).st_size
            places.let_go(pieces, self.path)
        elif pieces:  # the disk still refuses: this recording's own pieces follow those
            self._size = os.fstat(self._fd).st_size
            self._earlier = list(pieces)
            self._open_spill("what an earlier recording kept elsewhere does not fit", found.end)
        if places.last_byte(self.path, self._fd, pieces if self._spill else []) != b"\x00":
            self._append(b"\x00")

    def _append(self, data: bytes) -> None:
        if self._cut:
            data = b"\x00" + data
        last_zero = data.rfind(b"\x00")
        self._piece = len(data) - 1 - last_zero if last_zero >= 0 else self._piece + len(data)
        if self._spill is None:
            data = data[self._end_on_disk(data) if self._full else self._to_disk(data) :]
            if not data:
                self._cut = False
                if not self._full:
                    self._refusing.works()
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
            problem, full = None if done == len(data) else "it took only part of a write", True
        except OSError as error:
            problem, full = error.strerror or str(error), error.errno in _FULL
        self._dirty = self._dirty or done > 0
        self._size += done
        self._tail += data[:done]
        del self._tail[: max(0, len(self._tail) - _TAIL_MAX)]
        if problem is not None and self._spill is None:
            with contextlib.suppress(OSError):
                self._size = os.fstat(self._fd).st_size
            self._last_try = self._clock()
            if places.gone(self.path, self._fd) and self._leave():
                return done + self._to_disk(data[done:])
            if full and self._size:
                self._reserve.give_room()
                self._full = problem
                return done + self._end_on_disk(data[done:])
            self._open_spill(problem, self._size)
        return done

    def _end_on_disk(self, data: bytes) -> int:
        """How many bytes a full disk takes with the reserve's room: the rest of the frame under way. Behind it, the frame that says that it is full."""
        rest = data[: data.find(b"\x00") + 1] or data
        ends = rest.endswith(b"\x00")
        last = rest + reserve.frame(self._wall()) if ends else rest
        done = 0
        with contextlib.suppress(OSError):
            while done < len(last) and (written := self._write(self._fd, last[done:])) > 0:
                done += written
        if done < len(last):  # not even that: as if it had not been tried
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self._size)
        with contextlib.suppress(OSError):
            self._size = os.fstat(self._fd).st_size
        taken = len(rest) if done == len(last) else 0
        self._dirty = True
        self._tail += last[: done if taken else 0]
        if ends or not taken:
            problem, self._full = self._full, ""
            self._open_spill(problem, self._size)
        return taken

    def _open_spill(self, problem: str, base: int) -> None:
        try:
            before = places.before(self._fd, self._size, self._earlier, base)
            self._spill = Spill(self.log_id, self.path, base, self._spill_max, self._spill_places, before)
        except OSError as error:
            self._refusing.refused(
                f"{self.path.name}: the disk refuses ({problem}) and so does every other place ({error.strerror}); nothing can be kept"
            )
            return
        self._spill_since_s = self._wall()
        self._note_spill()
        self._refusing.refused(
            f"{self.path.name}: the disk refuses ({problem}); recording goes on in {places.words(self._spill.paths[0])}: "
            "free some space, it is written then"
        )

    def _note_spill(self) -> None:
        """Put down in the reserve what is not on the disk, for whoever finds the folder after a restart, or a copy of it."""
        if self._spill is None:
            return
        first = self._earlier[0] if self._earlier else None
        base, since_s = (first.base, first.since_wall_s) if first else (self._spill.base, self._spill_since_s)
        paths = (*(piece.path for piece in self._earlier), *self._spill.paths)
        size = self._spill.base + self._spill.size - base
        self._reserve.kept(reserve.Kept(base, size, since_s, self._wall(), paths, socket.gethostname()))

    def _to_spill(self, data: bytes) -> None:
        done = 0
        if self._spill is not None:
            known, done = len(self._spill.paths), self._spill.put(data)
            if len(self._spill.paths) > known:
                self._note_spill()
        self._cut = done < len(data)
        if self._cut:
            if not self.bytes_lost:
                self._warn(f"{self.path.name}: disk and memory are full; what arrives now is lost until there is space")
            self.bytes_lost += len(data) - done

    def _drain(self) -> None:
        """Append what was kept elsewhere to the log, as far as the disk takes it."""
        kept = self._spill
        assert kept is not None
        earlier = self._earlier
        if earlier and places.put_back(earlier, self._fd, self._size, self._write) is not None:
            return
        with contextlib.suppress(OSError):
            self._size = os.fstat(self._fd).st_size
        try:
            while (offset := self._size - kept.base) < kept.size:
                piece = kept.get(offset, 1 << 16)
                if not piece or self._to_disk(piece) < len(piece):
                    return
        except OSError:
            return
        if not self.sync():
            return
        kept.remove()
        places.let_go(earlier, self.path)
        self._spill, self._earlier = None, []
        self._reserve.kept(None)
        self._reserve.take_room()
        if not kept.size:  # nothing came after all: a zero behind the frame that says so takes it back
            self._to_disk(b"\x00")
        self._refusing.works()

    def _leave(self) -> bool:
        """The log is not where it was: follow it if it was only moved, else go on in the fallback folder. True if there is a log to write again."""
        followed = places.followed(self._fd)
        if followed is not None:
            self._warn(f"{self.path.parent} was moved: recording goes on in {followed.parent}")
            self.path = followed
            self._reserve.path = reserve.path_for(followed)
            self.moved += 1
            return True
        old = self.path
        try:
            if self._fallback is None:
                raise InputError("no fallback folder was given")
            new, whole = places.carry_over(self._fd, self._size, bytes(self._tail), self._fallback(), self._write, self.log_id)
        except (OSError, InputError) as error:
            if not self._lost_its_place:
                self._warn(f"{old.parent} HAS GONE, and there is no folder to go on in ({error}); recording goes on in memory")
                self._lost_its_place = True
                self._all_to_spill()
            return False
        self._lost_its_place = False
        self._reserve.end()
        with contextlib.suppress(OSError):
            os.close(self._fd)
        self._fd, self.path, self.moved, self.headless = new.fd, new.path, self.moved + 1, not whole
        self._size = os.fstat(new.fd).st_size
        self.log_id = self.log_id if whole else identity.of(new.path) or self.log_id
        self._reserve = reserve.Reserve(self.path, self.log_id)
        self._warn(
            f"{old.parent} HAS GONE (deleted, or its disk was removed): recording goes on in {self.path.parent}, "
            + ("with everything recorded so far" if whole else "from here on; what was recorded before is on the disk that went")
        )
        kept, self._spill = self._spill, None
        if whole and self._earlier and places.put_back(self._earlier, self._fd, self._size, self._write) is None:
            self._size = os.fstat(self._fd).st_size
        self._earlier = []  # they stay: the disk that went may come back
        if kept is not None:
            at = self._size - kept.base if whole else 0  # of a log read back whole the spill may be a part
            while (piece := kept.get(max(at, 0), 1 << 16)) and at < kept.size:
                self._append(piece)
                at = max(at, 0) + len(piece)
            kept.remove() if whole else kept.keep()  # the disk that went may come back, and lacks it
        return True

    def _all_to_spill(self) -> None:
        """There is no file any more: everything that can still be read goes where a person finds it, `hotfuel rescue` makes a log of it."""
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

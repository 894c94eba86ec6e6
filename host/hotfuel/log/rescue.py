"""What of a log is not in its file: where it is kept, whether it can still be had, and putting it back, there or in another folder."""

import contextlib
import datetime
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hotfuel_wire.framing import FRAME_MAX

from hotfuel.errors import InputError
from hotfuel.files import whole
from hotfuel.log import follow, identity, others, places, reserve, spill
from hotfuel.log.lock import is_being_written, lock_for_writing
from hotfuel.log.others import Other
from hotfuel.log.reserve import Kept
from hotfuel.log.spill import Piece


@dataclass(frozen=True)
class Standing:
    """A log that is not whole on its disk. pieces: what is kept elsewhere and can be read; missing: what was kept elsewhere and is not there any more.

    missing_from: the first byte of it. went_on_s: set if the log ends where its disk was full, and nothing else is known of what came then.
    behind: kept elsewhere, too, but before it `hole` bytes are missing, which nobody has: it is not put back. size: of the recording in the log's file.
    live: its recorder is still at work and puts it back by itself. others: what in the file is another recording's.
    """

    log: Path
    size: int
    pieces: tuple[Piece, ...] = ()
    missing: Kept | None = None
    missing_from: int = 0
    live: bool = False
    copied_to: str = ""
    behind: tuple[Piece, ...] = ()
    hole: int = 0
    hole_since_wall_s: float | None = None
    others: tuple[Other, ...] = ()
    went_on_s: float | None = None

    @property
    def lost(self) -> bool:
        """True if a part of the drive is nowhere to be had from here."""
        return self.missing is not None or bool(self.behind) or self.went_on_s is not None

    @property
    def not_on_disk(self) -> str:
        """The sentence without what is said of other recordings; "" if the drive is whole on its disk."""
        return replace(self, others=()).sentence()

    @property
    def kept_bytes(self) -> int:
        """Bytes that are only elsewhere."""
        return max((piece.base + piece.size for piece in self.pieces), default=self.size) - self.size

    def sentence(self) -> str:
        """For a person: what, when, where, what to type."""
        said = []
        if self.pieces:
            where = " and ".join(places.words(piece.path) for piece in self.pieces)
            since = f" (from {_moment(self.pieces[0].since_wall_s)} on)"
            said.append(f"{_size(self.kept_bytes)} of this drive{since} are not on its disk, only in {where}")
            if self.live:
                said[-1] += "; its recorder puts them back as soon as there is room"
            else:
                folder = self.log.parent
                said[-1] += f". Make room and type: hotfuel rescue {folder}. Or: hotfuel rescue {folder} --into FOLDER"
        if self.behind:
            first = self.behind[0]
            since = "" if self.hole_since_wall_s is None else f"from {_moment(self.hole_since_wall_s)} "
            said.append(
                f"{self.hole} bytes of this drive are missing, from byte {first.base - self.hole} on, {since}to {_moment(first.since_wall_s)}: its log was "
                f"cut, or lost them when the power failed. What follows them ({_size(sum(piece.size for piece in self.behind))}) stays in "
                f"{' and '.join(places.words(piece.path) for piece in self.behind)} and is not put behind the hole. Put the log back from a copy, or make a "
                f"drive of its own of it: hotfuel rescue {first.path} --into FOLDER"
            )
        if self.missing is not None:
            lost = self.missing
            bytes_missing = lost.base + lost.size - self.missing_from
            said.append(
                f"{_size(bytes_missing)} of this drive are missing, from {_moment(lost.since_wall_s)} to {_moment(lost.until_wall_s)}: its disk was full "
                f"and they were kept on {lost.computer} in {', '.join(map(places.words, lost.pieces))}, where they are not found now"
            )
            if self.copied_to:
                said[-1] += f". The whole drive was put into {self.copied_to}"
        if self.went_on_s is not None:
            said.append(
                f"What this drive recorded from {_moment(self.went_on_s)} on is missing: its disk was full then, and it was kept elsewhere on the computer "
                "that recorded it, where it is not found now, or this is another computer. There, type: hotfuel rescue"
            )
        said += [other.sentence(self.log) for other in self.others]
        return ". ".join(said)


def standing(log: str | os.PathLike[str], strangers: tuple[Other, ...] | None = None) -> Standing | None:
    """How a log stands, None if everything is in its file. strangers: `others.of` it, where that is known. Raises OSError if it cannot be read."""
    path = Path(log)
    with open(path, "rb") as file:
        size = os.fstat(file.fileno()).st_size
        live = is_being_written(file.fileno())
        if strangers is None:  # no recorder writes into a log that holds another
            strangers = () if live else others.Finder(others.reading(file)).others(size)
        size = others.end_of(strangers, size)
        file.seek(max(0, size - 2 * FRAME_MAX))
        went_on_s = reserve.went_on_elsewhere(file.read(min(size, 2 * FRAME_MAX)))
    note = reserve.read(path)
    log_id = identity.of(path) or (note.log_id if note and note.log_id else None)
    if log_id is None:
        return Standing(path, size, others=strangers) if strangers else None
    kept = note.kept if note and note.log_id == log_id else None
    where = (*spill.looked_in(), *(piece.parent for piece in (kept.pieces if kept else ())))
    pieces = tuple(piece for piece in spill.of(log_id, list(dict.fromkeys(where))) if piece.base + piece.size > size)
    reached = size
    for piece in pieces:
        reached = max(reached, piece.base + piece.size) if piece.base <= reached else reached
    behind = tuple(piece for piece in pieces if piece.base > reached)
    pieces = pieces[: len(pieces) - len(behind)]
    end = max((piece.base + piece.size for piece in behind), default=reached)
    lost = kept if kept is not None and kept.base + kept.size > end else None
    if pieces or behind or lost is not None or live or (note is not None and note.log_id == log_id and note.kept is None):
        went_on_s = None  # more is known
    if not pieces and not behind and lost is None and went_on_s is None and not strangers:
        return None
    hole = behind[0].base - reached if behind else 0
    since_s = kept.since_wall_s if kept is not None and behind and kept.base < behind[0].base else None
    missing_from = max(end, lost.base) if lost else 0
    copied_to = note.copied_to if note else ""
    return Standing(path, size, pieces, lost, missing_from, live, copied_to, behind, hole, since_s, strangers, went_on_s)


def refuse_live(log: Path) -> None:
    """Raises InputError at once if `log` is being recorded, OSError if it cannot be read."""
    with open(log, "rb") as file:
        if is_being_written(file.fileno()):
            raise InputError(f"{log} is being recorded: its recorder puts everything back by itself as soon as there is room")


def put_back(log: str | os.PathLike[str]) -> int:
    """Append to the log what is kept elsewhere of it, up to the first hole; returns how many bytes.

    What was kept for a log elsewhere that this one is a copy of stays (`still_kept`). Raises InputError if it is being recorded or its disk refuses.
    """
    path = Path(log)
    refuse_live(path)
    found = standing(path)
    if found is None or not found.pieces:
        return 0
    if found.others:
        raise InputError(f"nothing put back: {found.sentence()}")
    fd = places.open_log(path)
    try:
        if not lock_for_writing(fd):
            raise InputError(f"{path} is being recorded: its recorder puts everything back by itself as soon as there is room")
        size = os.fstat(fd).st_size
        problem = places.put_back(found.pieces, fd, size)
        if problem is None:
            try:
                os.fsync(fd)
            except OSError as error:
                problem = error.strerror or str(error)
        back = os.fstat(fd).st_size - size
    finally:
        os.close(fd)
    if problem is not None:
        raise InputError(
            f"{path}: {_size(back)} of {_size(found.kept_bytes)} are back, then the disk refused ({problem}): make more room and do it again, "
            f"or type: hotfuel rescue {path.parent} --into FOLDER"
        )
    places.let_go(found.pieces, path)
    note = reserve.read(path)
    if note is not None and note.log_id and standing(path) is None:
        with contextlib.suppress(OSError):
            reserve.change(path, replace(note, kept=None))
    return back


def copy(log: str | os.PathLike[str], target: Path) -> int:
    """Write the whole log, with what is kept elsewhere, as `target`, and note it beside the original; returns its bytes.

    Raises InputError if `target` is there already or cannot be written.
    """
    path = Path(log)
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    done = 0
    with whole(target) as part, open(part, "wb") as file:
        for data in follow.blocks(path):
            file.write(data)
            done += len(data)
        file.flush()
        os.fsync(file.fileno())
    note = reserve.read(path)
    after = standing(path)
    if note is not None and note.kept is not None and after is not None and not after.lost:
        with contextlib.suppress(OSError):
            reserve.change(path, replace(note, copied_to=str(target.parent.absolute())))
    return done


def split_out(log: str | os.PathLike[str], other: Other, target: Path) -> int:
    """Write another recording that stands in `log` as a log of its own; returns its bytes. Nothing is taken away from `log`.

    Raises InputError if `target` is there already or cannot be written.
    """
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    with open(log, "rb") as file, whole(target) as part, open(part, "wb") as made:
        file.seek(other.begin)
        left = other.end - other.begin
        while left and (data := file.read(min(left, follow.BLOCK))):
            made.write(data)
            left -= len(data)
        made.flush()
        os.fsync(made.fileno())
    return target.stat().st_size


def orphans() -> dict[bytes, list[Piece]]:
    """Everything kept on this computer, by log, in the stream's order."""
    found: dict[bytes, list[Piece]] = {}
    for piece in spill.everything():
        found.setdefault(piece.log_id, []).append(piece)
    return {log_id: sorted(pieces, key=lambda piece: piece.base) for log_id, pieces in found.items()}


def make_log(pieces: Sequence[Piece], target: Path) -> int:
    """A log of its own from pieces whose log is gone; returns its bytes. They stay: their log's disk may come back.

    Raises InputError if `target` is there already or cannot be written.
    """
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    from_the_start = pieces[0].base == 0
    with whole(target) as part, open(part, "wb") as file:
        if not from_the_start:
            file.write(identity.frame(identity.later(pieces[0].log_id), pieces[0].since_wall_s) + b"\x00")
            file.flush()
        problem = places.put_back(pieces, file.fileno(), 0 if from_the_start else pieces[0].base, over_holes=True)
        if problem is not None:
            raise InputError(f"{target} cannot be written ({problem}): give another place, or make room")
        os.fsync(file.fileno())
    return target.stat().st_size


def still_kept(log: Path) -> list[Piece]:
    """Pieces whose bytes this log has and that stay all the same: they were kept for a log elsewhere."""
    log_id = identity.of(log)
    size = others.own_end(log)
    return [piece for piece in spill.of(log_id) if piece.base + piece.size <= size] if log_id else []


def words(pieces: Sequence[Piece]) -> str:
    """One line about what is kept of one log."""
    size = sum(piece.size for piece in pieces)
    return f"{pieces[0].log.parent}, {_size(size)} since {_moment(pieces[0].since_wall_s)}, in {' and '.join(places.words(p.path) for p in pieces)}"


def _moment(wall_s: float) -> str:
    """A wall time in words; the year helps whoever finds it later."""
    with contextlib.suppress(OverflowError, OSError, ValueError):
        return datetime.datetime.fromtimestamp(wall_s, datetime.UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return "an unknown time"


def _size(count: int) -> str:
    if count >= 10_000_000:
        return f"{count / 1e6:.0f} MB"
    if count >= 1_000_000:
        return f"{count / 1e6:.1f} MB"
    return f"{count / 1000:.0f} kB" if count >= 10_000 else f"{count} bytes"

"""The parts of a log that are not in its file: where they are kept, whether they can be recovered, and putting them back, there or in another folder."""

import contextlib
import datetime
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hotfuel_wire.framing import FRAME_MAX

from hotfuel.errors import InputError
from hotfuel.files import whole
from hotfuel.log import disk, follow, identity, joined, others, reserve, sentences, spill
from hotfuel.log.lock import is_being_written, lock_for_writing
from hotfuel.log.other import Other
from hotfuel.log.reserve import Kept
from hotfuel.log.spill import Piece
from hotfuel.text import typed


@dataclass(frozen=True)
class Standing:
    """A log that is not whole on its disk. pieces: kept elsewhere and readable; missing: was kept elsewhere and is not found.

    missing_from: its first byte. went_on_s: set if the log ends where its disk was full and nothing is known about the rest. behind: readable pieces after
    a hole of `hole` missing bytes, so not put back. size: of the recording in the log's file. live: its recorder is running and puts everything back by
    itself. others: another recording's parts in the file. apart: pieces kept under its number that do not continue this log. lost_before: as
    `missing`, of earlier recorders.
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
    apart: tuple[Piece, ...] = ()
    lost_before: tuple[Kept, ...] = ()

    @property
    def lost(self) -> bool:
        """True if a part of the drive is not found on this computer, or does not fit its log."""
        own = any(joined.same(piece.log, self.log) for piece in self.apart)
        return self.missing is not None or bool(self.behind or self.lost_before) or self.went_on_s is not None or own

    @property
    def remedy(self) -> str:
        """The command that reunites a drive whose parts all exist."""
        folder = typed(self.log.parent)
        into = f"hotfuel rescue {folder} --into FOLDER"
        if any(not other.again for other in self.others):  # nothing may be appended after another recording
            return f"Type: {into}"
        return f"Make room and type: hotfuel rescue {folder}. Or: {into}"

    @property
    def not_on_disk(self) -> str:
        """The sentence without the part about other recordings; "" if the drive is whole on its disk."""
        return replace(self, others=()).sentence()

    @property
    def kept_bytes(self) -> int:
        """Bytes kept only elsewhere."""
        return max((piece.end for piece in self.pieces), default=self.size) - self.size

    def sentence(self) -> str:
        """For a person: what, when, where, what to type."""
        said = []
        if self.pieces:
            where = " and ".join(sentences.words(piece.path) for piece in self.pieces)
            since = f" (from {_moment(self.pieces[0].since_wall_s)} on)"
            said.append(f"{_size(self.kept_bytes)} of this drive{since} are not on its disk, only in {where}")
            said[-1] += "; its recorder puts them back as soon as there is room" if self.live else f". {self.remedy}"
        if self.behind:
            first = self.behind[0]
            since = "" if self.hole_since_wall_s is None else f"from {_moment(self.hole_since_wall_s)} "
            said.append(
                f"{self.hole} bytes of this drive are missing, from byte {first.base - self.hole} on, {since}to {_moment(first.since_wall_s)}: its log was "
                f"cut, or lost them when the power failed. The rest ({_size(sum(piece.size for piece in self.behind))}) stays in "
                f"{' and '.join(sentences.words(piece.path) for piece in self.behind)} and is not put after the hole. Put the log back from a copy, or make a "
                f"separate drive of the rest: hotfuel rescue {typed(first.path)} --into FOLDER"
            )
        if self.missing is not None:
            said.append(_missing(self.missing, self.missing_from))
            if self.copied_to:
                said[-1] += f". The whole drive was put into {self.copied_to}"
        said += [_missing(lost, lost.base) for lost in self.lost_before]
        said += [
            f"{_size(piece.size)} kept in {sentences.words(piece.path)} for {piece.log} do not continue this log (a copy of it was recorded into, or it was "
            f"changed): they are left out and stay there. To make a separate drive of them, type: hotfuel rescue {typed(piece.path)} --into FOLDER"
            for piece in self.apart
        ]
        if self.went_on_s is not None:
            said.append(
                f"What this drive recorded from {_moment(self.went_on_s)} on is missing: its disk was full then, and it was kept elsewhere on the computer "
                "that recorded it, where it is not found now, or this is another computer. There, type: hotfuel rescue"
            )
        said += [other.sentence(self.log) for other in self.others]
        return ". ".join(said)


def standing(log: str | os.PathLike[str], strangers: tuple[Other, ...] | None = None) -> Standing | None:
    """What a log lacks in its file; None if it lacks nothing. strangers: its `others.of`, if known. Raises OSError if it cannot be read."""
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
    log_id = joined.whose(path)
    if log_id is None:
        return Standing(path, size, others=strangers) if strangers else None
    own_note = note if note is not None and note.log_id == log_id else None
    kept = own_note.kept if own_note is not None else None
    found = joined.join(path, size, log_id)
    end = max((piece.end for piece in found.behind), default=found.end)
    there = {piece.path for piece in found.apart}
    lost = kept if kept is not None and kept.base + kept.size > end and not there.issuperset(kept.pieces) else None
    lost_before = own_note.lost if own_note is not None else ()
    if found.pieces or found.behind or lost is not None or live or (own_note is not None and own_note.kept is None):
        went_on_s = None  # more is known
    if not (found.pieces or found.behind or found.apart or lost_before or strangers) and lost is None and went_on_s is None:
        return None
    behind = found.behind
    return Standing(
        path,
        size,
        found.pieces,
        lost,
        missing_from=max(end, lost.base) if lost else 0,
        live=live,
        copied_to=note.copied_to if note else "",
        behind=behind,
        hole=behind[0].base - found.end if behind else 0,
        hole_since_wall_s=kept.since_wall_s if kept is not None and behind and kept.base < behind[0].base else None,
        others=strangers,
        went_on_s=went_on_s,
        apart=found.apart,
        lost_before=lost_before,
    )


def refuse_live(log: Path) -> None:
    """Raises InputError at once if `log` is being recorded, OSError if it cannot be read."""
    with open(log, "rb") as file:
        if is_being_written(file.fileno()):
            raise InputError(f"{log} is being recorded: its recorder puts everything back by itself as soon as there is room")


def put_back(log: str | os.PathLike[str]) -> int:
    """Append the log's pieces to it, up to the first hole; returns how many bytes.

    Pieces kept for another log, of which this one is a copy, stay (`still_kept`). Raises InputError if the log is being recorded or its disk refuses.
    """
    path = Path(log)
    refuse_live(path)
    found = standing(path)
    if found is None or not found.pieces:
        return 0
    if found.others:
        raise InputError(f"nothing put back: {found.sentence()}")
    fd = disk.open_log(path)
    try:
        if not lock_for_writing(fd):
            raise InputError(f"{path} is being recorded: its recorder puts everything back by itself as soon as there is room")
        size = os.fstat(fd).st_size
        problem = disk.put_back(found.pieces, fd, size)
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
            f"{path}: {_size(back)} of {_size(found.kept_bytes)} were put back, then the disk refused ({problem}): make more room and repeat the command, "
            f"or type: hotfuel rescue {typed(path.parent)} --into FOLDER"
        )
    disk.let_go(found.pieces, path)
    note = reserve.read(path)
    after = standing(path)
    if note is not None and note.log_id and (after is None or not (after.pieces or after.behind or after.missing)):
        with contextlib.suppress(OSError):
            reserve.change(path, replace(note, kept=None))
    return back


def copy(log: str | os.PathLike[str], target: Path) -> int:
    """Write the whole log, including kept pieces, as `target`, and note the copy beside the original; returns its bytes.

    Raises InputError if `target` exists or cannot be written.
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
    """Write another recording in `log` as a separate log; returns its bytes. Does not change `log`.

    Raises InputError if `target` exists or cannot be written.
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
    """All pieces kept on this computer, by log, in the stream's order."""
    found: dict[bytes, list[Piece]] = {}
    for piece in spill.everything():
        found.setdefault(piece.log_id, []).append(piece)
    return {log_id: sorted(pieces, key=lambda piece: piece.base) for log_id, pieces in found.items()}


def make_log(pieces: Sequence[Piece], target: Path) -> int:
    """Make a new log from pieces whose log is gone; returns its bytes. The pieces stay: their log's disk may come back.

    Raises InputError if `target` exists or cannot be written.
    """
    if target.exists():
        raise InputError(f"{target} is there already: give another folder; nothing is overwritten")
    from_the_start = pieces[0].base == 0
    with whole(target) as part, open(part, "wb") as file:
        if not from_the_start:
            begun = identity.frame(identity.later(pieces[0].log_id), pieces[0].since_wall_s, marks_end=pieces[-1].marks_end)
            file.write(begun + b"\x00")
            file.flush()
        problem = disk.put_back(pieces, file.fileno(), 0 if from_the_start else pieces[0].base, over_holes=True)
        if problem is not None:
            raise InputError(f"{target} cannot be written ({problem}): give another folder, or make room")
        os.fsync(file.fileno())
    return target.stat().st_size


def put_back_by(piece: Piece) -> str:
    """The command that puts a kept piece back, or makes a drive of it."""
    found = None
    with contextlib.suppress(OSError, ValueError):
        found = standing(piece.log)
    if found is not None and found.live:
        return "its recorder puts it back as soon as there is room"
    if found is not None and piece.path in {one.path for one in found.pieces}:
        return found.remedy[0].lower() + found.remedy[1:]
    return f"make a drive of it: hotfuel rescue {typed(piece.path)} --into FOLDER"


def groups() -> list[list[Piece]]:
    """The pieces of `orphans` by stream: two copies of a log that were continued separately are two streams."""
    found = []
    for pieces in orphans().values():
        left = list(pieces)
        while left:
            chain = joined.chain_of(left[0], left)
            found.append(chain)
            left = [piece for piece in left if piece not in chain]
    return found


def still_kept(log: Path) -> list[Piece]:
    """Pieces that stay although this log holds their bytes: they were kept for another log."""
    log_id = joined.whose(log)
    size = others.own_end(log)
    return [piece for piece in spill.of(log_id) if piece.end <= size and disk.holds(log, piece)] if log_id else []


def words(pieces: Sequence[Piece]) -> str:
    """One line about a log's kept pieces."""
    size = sum(piece.size for piece in pieces)
    return f"{pieces[0].log.parent}, {_size(size)} since {_moment(pieces[0].since_wall_s)}, in {' and '.join(sentences.words(p.path) for p in pieces)}"


def _missing(lost: Kept, since: int) -> str:
    return (
        f"{_size(lost.base + lost.size - since)} of this drive are missing, from {_moment(lost.since_wall_s)} to {_moment(lost.until_wall_s)}: its disk was "
        f"full and they were kept on {lost.computer} in {', '.join(map(sentences.words, lost.pieces))}, where they are not found now. If that is another "
        "computer or a stick that is out, type there: hotfuel rescue. What was in a computer's memory went when it was switched off"
    )


def _moment(wall_s: float) -> str:
    """A wall time in words, with the year because it may be read much later."""
    with contextlib.suppress(OverflowError, OSError, ValueError):
        return datetime.datetime.fromtimestamp(wall_s, datetime.UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    return "an unknown time"


def _size(count: int) -> str:
    if count >= 10_000_000:
        return f"{count / 1e6:.0f} MB"
    if count >= 1_000_000:
        return f"{count / 1e6:.1f} MB"
    return f"{count / 1000:.0f} kB" if count >= 10_000 else f"{count} bytes"

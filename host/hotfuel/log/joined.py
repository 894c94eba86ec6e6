"""Finds the kept pieces that continue a log, by their bytes. The log's number is not enough: two copies of a log may have been continued separately.

A piece holds digests of the stream before it (`spill.Before`). It continues a log whose last bytes have those digests, or, if those were damaged since, one
whose recorder noted the piece beside it. If two pieces continue the same byte differently, the one kept for this very log is used, else none.
"""

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from hotfuel.log import identity, others, reserve, spill
from hotfuel.log.other import Read
from hotfuel.log.spill import Before, Piece

_BLOCK = 1 << 20
# A piece was kept: as the note beside this log says; for a log at this path; for one that no longer exists; for another copy, which exists.
_NAMED, _OWN, _HOMELESS, _ANOTHERS = range(4)


@dataclass(frozen=True)
class Joined:
    """pieces: those that continue a log of `size` bytes, in order, without a hole. behind: later ones, after a hole. apart: kept under the log's number,
    for it or for a log that has gone, but not continuing it."""

    size: int
    pieces: tuple[Piece, ...] = ()
    behind: tuple[Piece, ...] = ()
    apart: tuple[Piece, ...] = ()

    @property
    def end(self) -> int:
        """Length of the stream."""
        return max((piece.end for piece in self.pieces), default=self.size)

    def read(self, position: int, most: int) -> bytes:
        """At most `most` bytes from `position` on, from the pieces; b"" if none hold it."""
        for piece in self.pieces:
            if piece.base <= position < piece.end:
                with contextlib.suppress(OSError):
                    return piece.read(position, min(most, piece.end - position))
        return b""


def whose(path: Path) -> bytes | None:
    """The number of the log at `path`: from its first frame; if that is damaged, from the recorder's note beside it, a later part in it or a kept piece;
    else made from its first bytes. None if it is too short for that, or cannot be read."""
    head = identity.head(path)
    told = identity.told(head)
    if told is not None:
        return told
    note = reserve.read(path)
    if note is not None and note.log_id:
        return note.log_id
    with contextlib.suppress(OSError), open(path, "rb") as file:
        finder = others.Finder(others.reading(file))
        finder.look(path.stat().st_size)
        later = finder.headless_number()
        if later is not None:
            return later
        for piece in spill.everything():
            if piece.base and _fits(piece, others.reading(file), whole=False):
                return piece.log_id
    return identity.of_bytes(head)


def join(
    path: Path, size: int, log_id: bytes | None, where: Sequence[Path] | None = None, *, also_anothers: bool = True
) -> Joined:
    """The pieces kept elsewhere of the log at `path`; the first `size` bytes of its file are its own.

    where: folders to search besides those in its note; default: the usual ones. also_anothers: False, for a writer, leaves out pieces kept for another
    existing copy, whose bytes must not be written into this one, and pieces after a hole unless they were kept for this very log.
    """
    if log_id is None:
        return Joined(size)
    note = reserve.read(path)
    named = note.kept.pieces if note is not None and note.log_id == log_id and note.kept is not None else ()
    looked_in = spill.looked_in() if where is None else where
    found = spill.of(log_id, list(dict.fromkeys((*looked_in, *(piece.parent for piece in named)))))
    if not found:
        return Joined(size)
    try:
        with open(path, "rb") as file:
            return _join(path, others.reading(file), size, found, frozenset(named), also_anothers)
    except OSError:
        return Joined(size)


def _join(path: Path, file: Read, size: int, found: Sequence[Piece], named: frozenset[Path], also_anothers: bool) -> Joined:
    chain: list[Piece] = []
    left = [(_home(piece, path, named), piece) for piece in found]
    if not also_anothers:
        left = [one for one in left if one[0] != _ANOTHERS]

    def stream(position: int, most: int) -> bytes:
        """All `most` bytes, if they are there: from the file, and across the joints of the pieces."""
        passed = b""
        while len(passed) < most:
            at, left = position + len(passed), most - len(passed)
            data = file(at, min(left, size - at)) if at < size else Joined(size, tuple(chain)).read(at, left)
            if not data:
                break
            passed += data
        return passed

    position = size
    while True:
        going_on = [
            one for one in left if one[1].base <= position < one[1].end and _goes_on(one[1], stream, position, one[0], named)
        ]
        best = min((home for home, _ in going_on), default=None)
        fitting = sorted((piece for home, piece in going_on if home == best), key=lambda piece: piece.end)
        if not fitting or not all(_agree(one, fitting[-1], position) for one in fitting):
            break
        chain.append(fitting[-1])
        left = [one for one in left if one[1] is not fitting[-1]]
        position = fitting[-1].end
    ours = [piece for home, piece in left if home != _ANOTHERS]
    behind = [piece for home, piece in left if piece.base > position and (home <= _OWN or (also_anothers and home == _HOMELESS))]
    apart = [piece for piece in ours if piece.base <= position and piece.size and not _is_there(piece, stream, position)]
    homes = {piece.log for piece in found if not same(piece.log, path)}
    apart = [piece for piece in apart if not any(_fits_log(piece, home) for home in homes)]
    return Joined(size, tuple(chain), tuple(behind), tuple(apart))


def chain_of(piece: Piece, found: Sequence[Piece]) -> list[Piece]:
    """A piece with those of `found` that adjoin it in one stream, before and after: kept for the same log, without a gap, with matching digests."""
    chain = [piece]
    mates = [one for one in found if one.path != piece.path and one.log == piece.log and one.log_id == piece.log_id]
    for ahead in (True, False):
        while True:
            pairs = [((chain[-1], one) if ahead else (one, chain[0]), one) for one in mates]
            next_ones = [one for (first, second), one in pairs if first.end == second.base and _behind(first, second)]
            if len(next_ones) != 1:
                break
            chain.insert(len(chain) if ahead else 0, next_ones[0])
            mates.remove(next_ones[0])
    return chain


def _behind(first: Piece, second: Piece) -> bool:
    """Whether the second piece follows the first, by its digests; False if the first is too short to tell."""
    count = min(spill.LAST, second.base)
    if second.before is None or first.size < count:
        return False
    with contextlib.suppress(OSError):
        return spill.digest(first.read(first.end - count, count)) == second.before.last
    return False


def same(one: Path, other: Path) -> bool:
    """Whether two paths lead to the same file."""
    try:
        return one == other.absolute() or one.resolve() == other.resolve()
    except (OSError, RuntimeError, ValueError):
        return False


def _home(piece: Piece, path: Path, named: frozenset[Path]) -> int:
    if piece.path in named:
        return _NAMED
    if same(piece.log, path):
        return _OWN
    try:
        return _ANOTHERS if identity.of(piece.log) == piece.log_id else _HOMELESS
    except ValueError:
        return _HOMELESS


def _goes_on(piece: Piece, stream: Read, position: int, home: int, named: frozenset[Path]) -> bool:
    """Whether `piece` continues the stream at `position`, which is inside the piece or at its start."""
    try:
        over = min(position - piece.base, _BLOCK)
        if over and stream(position - over, over) != piece.read(position - over, over):
            return False
    except OSError:
        return False
    if over >= spill.LAST or piece.before is None:
        return True  # a piece of an earlier version has only the number
    if piece.path in named and identity.told(stream(0, identity.HEAD)) == piece.log_id:
        return True  # bytes were damaged since, but the log's number and the note beside it agree
    return _fits(piece, stream, whole=home > _OWN)


def _fits(piece: Piece, stream: Read, *, whole: bool) -> bool:
    """Whether the stream before the piece's first byte has the piece's digests. whole: of the whole stream, not only of its last bytes."""
    if piece.before is None:
        return False
    count = min(spill.LAST, piece.base)
    if spill.digest(stream(piece.base - count, count)) != piece.before.last:
        return False
    if not whole:
        return True
    before = Before()
    while before.size < piece.base and (data := stream(before.size, min(_BLOCK, piece.base - before.size))):
        before.feed(data)
    return before.size == piece.base and before.digests() == piece.before


def _fits_log(piece: Piece, log: Path) -> bool:
    """Whether a piece continues another log."""
    with contextlib.suppress(OSError, ValueError), open(log, "rb") as file:
        return _fits(piece, others.reading(file), whole=False)
    return False


def _agree(one: Piece, other: Piece, position: int) -> bool:
    """Whether two pieces have the same bytes from `position` on, as far as both go."""
    if one is other:
        return True
    end = min(one.end, other.end)
    try:
        return all(
            one.read(at, min(_BLOCK, end - at)) == other.read(at, min(_BLOCK, end - at)) for at in range(position, end, _BLOCK)
        )
    except OSError:
        return False


def _is_there(piece: Piece, stream: Read, end: int) -> bool:
    """Whether the stream has a piece's last bytes where they belong."""
    count = min(spill.LAST, piece.size)
    with contextlib.suppress(OSError):
        return piece.end <= end and stream(piece.end - count, count) == piece.read(piece.end - count, count)
    return False

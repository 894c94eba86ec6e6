"""Frames out of a whole log, many at a time: the same answer as hotfuel_wire.framing.FrameReader, in plain numpy.

A block of the log is cut at its zeros; pieces of one length are laid under one another and decoded together. Most have their zeros, so their COBS
codes too, at the same places: those are undone eight bytes at a time; the others are turned on their side, where undoing COBS is a countdown that
runs down the rows for all pieces at once. CRC-32 is linear over bits: the CRC of a message is the XOR of what each byte at its place adds. So every
frame's own CRC is checked with one look-up per byte or pair of bytes, and none where all pieces agree.
"""

import binascii
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np
from hotfuel_wire import framing
from hotfuel_wire.messages import SATURATED

BLOCK = 1 << 21  # bytes taken from the log at a time
_TOGETHER = 1 << 16  # pieces decoded together: their bytes stay in the processor's cache
_KEPT = 1 << 23  # bytes of working memory that stay with the process from block to block
_FEW = 64  # that few pieces of one length are decoded one by one
_PAIRS_FROM = 1 << 11  # pieces for which looking up pairs of bytes pays: its tables are large
_SHORTEST, _LONGEST = 6, framing.BODY_MAX + 1
_WORD = 8  # bytes looked at together
_BEFORE, _BEHIND = b"\x00", bytes(_WORD)  # pieces then begin and end in turn, and the last can be read in whole words


@dataclass
class Part:
    """Payloads of one type and one length. payloads[i, j]: byte j of payload i; order[i]: which piece of the block it was.

    count: how often what their message repeats is there, once somebody has looked.
    """

    kind: int
    order: np.ndarray
    payloads: np.ndarray
    count: int = 0


@dataclass
class Block:
    """What one block of the log held: `parts` with right CRC, each in log order; `pieces` numbers `order` counts to."""

    pieces: int = 0
    parts: list[Part] = field(default_factory=list)
    frames: int = 0
    pieces_damaged: int = 0
    bytes_damaged: int = 0


def blocks(source: Iterable[bytes]) -> Iterator[Block]:
    """Decode a log given in pieces of any size (about BLOCK is fast). What follows the last zero counts as if a zero ended it."""
    # Until it has once let go of a large piece, glibc gives memory back to the system after every block, and fetching it anew costs time.
    np.empty(_KEPT, np.uint8)
    open_piece = b""  # begun, its zero not seen yet
    for data in source:
        data = b"".join((_BEFORE, open_piece, data, _BEHIND))
        end = data.rfind(b"\x00", 0, -_WORD) + 1
        if end > 1:
            yield decode(np.frombuffer(data, np.uint8), end)
        open_piece = data[end:-_WORD]
    if open_piece:
        data = b"".join((_BEFORE, open_piece, _BEFORE, _BEHIND))
        yield decode(np.frombuffer(data, np.uint8), len(open_piece) + 2)


def decode(log: np.ndarray, end: int) -> Block:
    """All frames of the bytes up to `end`, which begin and end with a zero; behind them a word at least can be read."""
    zero = log[:end] == 0
    edges = np.flatnonzero(zero[1:] != zero[:-1])
    edges += 1
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    block = Block(pieces=len(starts))
    counts = np.bincount(np.minimum(lengths, _LONGEST + 1), minlength=_LONGEST + 2)
    counts[:_SHORTEST] = counts[_LONGEST + 1] = 0
    bytes_good = 0
    for length in np.flatnonzero(counts >= _FEW).tolist():
        order = np.flatnonzero(lengths == length)
        for at in range(0, len(order), _TOGETHER):
            some = order[at : at + _TOGETHER]
            good, payloads = _decode_together(log, starts[some], length)
            block.frames += len(payloads)
            bytes_good += len(payloads) * length
            _add(block, some if good is None else some[good], payloads)
    few = (counts > 0) & (counts < _FEW)
    if few.any():
        singles = np.flatnonzero(few[np.minimum(lengths, _LONGEST + 1)])
        bytes_good += _decode_singly(log, starts, lengths, singles, block)
    block.pieces_damaged = block.pieces - block.frames
    block.bytes_damaged = int(lengths.sum()) - bytes_good
    return block


def _add(block: Block, order: np.ndarray, payloads: np.ndarray) -> None:
    """Sort payloads of one length by their type."""
    if not len(order):
        return
    kinds = payloads[:, 0] & ~np.uint8(SATURATED)
    if (kinds == kinds[0]).all():
        block.parts.append(Part(int(kinds[0]), order, payloads))
        return
    for kind in np.unique(kinds).tolist():
        which = np.flatnonzero(kinds == kind)
        block.parts.append(Part(kind, order[which], payloads[which]))


def _decode_singly(log: np.ndarray, starts: np.ndarray, lengths: np.ndarray, which: np.ndarray, block: Block) -> int:
    """Decode pieces one by one; returns the bytes of good ones."""
    found: dict[int, tuple[list[int], list[bytes]]] = {}
    bytes_good = 0
    for number, start, length in zip(which.tolist(), starts[which].tolist(), lengths[which].tolist(), strict=True):
        try:
            payload = framing.decode(log[start : start + length].tobytes())
        except framing.FrameError:
            continue
        bytes_good += length
        order, payloads = found.setdefault(length, ([], []))
        order.append(number)
        payloads.append(payload)
    for length, (order, payloads) in found.items():
        block.frames += len(order)
        _add(block, np.array(order), np.frombuffer(b"".join(payloads), np.uint8).reshape(-1, length - 5))
    return bytes_good


def _decode_together(log: np.ndarray, starts: np.ndarray, length: int) -> tuple[np.ndarray | None, np.ndarray]:
    """(which pieces are frames, None: all; their payloads, one a row)."""
    width = -(-length // _WORD) * _WORD
    at_every_byte = np.ndarray((len(log) - width + 1,), f"V{width}", log, strides=(1,))
    rows = at_every_byte[starts].view(np.uint8).reshape(len(starts), width)
    good = _undo_cobs(rows, length)
    good &= _crc_difference(rows, length) == 0
    payloads = rows[:, 1 : length - 4]
    if good.all():
        return None, payloads
    which = np.flatnonzero(good)
    return which, payloads[which]


def _undo_cobs(rows: np.ndarray, length: int) -> np.ndarray:
    """Put the zeros back in place; byte 0 of a row (its first code) is left open. Returns which pieces end where their last code says."""
    models = [_codes(rows[at].tobytes(), length) for at in (len(rows) // 4, len(rows) // 2, 3 * len(rows) // 4)]
    codes = np.frombuffer(max(models, key=models.count), np.uint8)
    apart = np.zeros(len(rows), np.uint64)  # 0 where the codes are those of the model
    for word, code, mask in zip(_words(rows), _words(codes), _words(-(codes > 0).view(np.uint8)), strict=True):
        if code:
            word ^= code
            apart |= word & mask
    ends = np.full(len(rows), codes.sum() == length)
    others = np.flatnonzero(apart)
    if len(others):
        columns = np.ascontiguousarray((rows[others] ^ codes)[:, :length].T)
        ends[others] = _count_down(columns)
        rows[others, :length] = columns.T
    return ends


def _words(rows: np.ndarray) -> np.ndarray:
    """words[k, i]: bytes 8 k to 8 k + 7 of row i."""
    return rows.view(np.uint64).T


def _codes(piece: bytes, length: int) -> bytes:
    """A piece's COBS codes where they stand, all else 0."""
    codes = bytearray(len(piece))
    at = 0
    while at < length:
        codes[at] = piece[at]
        at += piece[at]
    return bytes(codes)


def _count_down(columns: np.ndarray) -> np.ndarray:
    """As _undo_cobs, for any codes; columns[j, i]: byte j of piece i."""
    # Row where each piece's next code stands. 8 bits suffice: a code that points past 255 comes out before the row it stands in, and is never met.
    following = columns[0].copy()
    is_code, code = np.empty(len(following), bool), np.empty_like(following)
    share = is_code.view(np.uint8)
    for number, row in enumerate(columns[1:], start=1):
        np.equal(following, number, out=is_code)
        np.multiply(row, share, out=code)
        following += code
        row -= code
    return following == len(columns)


@cache
def _tables() -> np.ndarray:
    """table[d, b]: what byte b adds to the CRC-32 of a message when d bytes follow it."""
    table = np.empty((framing.BODY_MAX, 256), np.uint32)
    zero = binascii.crc32(b"\x00")
    table[0] = [binascii.crc32(bytes([byte])) ^ zero for byte in range(256)]
    for distance in range(1, len(table)):
        before = table[distance - 1]
        table[distance] = (before >> 8) ^ table[0][before & 0xFF]
    return table


@lru_cache(128)
def _pair_table(distance: int) -> np.ndarray:
    """What a byte that `distance` bytes follow and the next one add together; taken as one number, the first byte counting 256."""
    table = _tables()
    return (table[distance][:, None] ^ table[distance - 1]).reshape(-1)


def _varying(rows: np.ndarray) -> np.ndarray:
    """For every byte of a row, the bits in which the rows differ."""
    words = rows.view(np.uint64)
    wide = words[: len(words) // _FEW * _FEW].reshape(_FEW, -1)  # many rows side by side, which are combined faster
    rest = words[len(words) // _FEW * _FEW :]
    some, every = (
        combine.reduce(np.concatenate([combine.reduce(wide).reshape(-1, words.shape[1]), rest]))
        for combine in (np.bitwise_or, np.bitwise_and)
    )
    return (some ^ every).view(np.uint8)


def _crc_difference(rows: np.ndarray, length: int) -> np.ndarray:
    """CRC-32 of each payload XOR the one that follows it: 0 where they agree. Behind one byte of COBS, a row holds both up to `length`."""
    end = length - 4
    difference = rows[:, end:length].view("<u4")[:, 0].copy()
    varies = _varying(rows)
    same = binascii.crc32(bytes(end - 1))
    at = 1
    while at < end:
        behind = end - 1 - at
        if not varies[at]:
            same ^= int(_tables()[behind, rows[0, at]])
        elif behind and varies[at + 1] and len(rows) >= _PAIRS_FROM:
            difference ^= _pair_table(behind).take(rows[:, at : at + 2].view(">u2")[:, 0])
            at += 1
        else:
            difference ^= _tables()[behind].take(rows[:, at])
        at += 1
    return difference ^ np.uint32(same)

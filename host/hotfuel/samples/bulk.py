"""Frames out of a whole log, many at a time: the same answer as hotfuel_wire.framing.FrameReader, in plain numpy.

A block of the log is cut at its zeros; pieces of one length are stacked as rows and decoded together. Most have their zeros, so their COBS
codes too, at the same places: those are undone eight bytes at a time; in the others all pieces step from code to code together.

CRC-32 is checked in two steps. After a payload and its own CRC the register holds the same number whatever the payload was, so a run of correct pieces
of one length has one known CRC, which C code computes far faster than the CRC of each piece. A run with one wrong piece always misses it, as that piece alone
would; a run with several misses it but for one chance in 2**32. Then every piece of the run is checked by its own: CRC-32 is linear over bits, the CRC
of a message is the XOR of what each byte at its place adds, so that takes one look-up per byte or pair of bytes, and none where all pieces agree.
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
_KEPT = 1 << 23  # bytes of working memory that the process keeps from block to block
_RUN = 1024  # pieces whose CRC is checked as one
_ASKED = 15  # pieces sampled to find where most have their codes
_FEW = 64  # up to this many pieces of one length are decoded one by one
_PAIRS_FROM = 1 << 11  # from this many pieces on looking up pairs of bytes pays: the tables are large
_SHORTEST, _LONGEST = 6, framing.BODY_MAX + 1
_WORD = 8  # bytes looked at together
# so that every piece has a beginning and an end, and the last can be read in whole words
_BEFORE, _BEHIND = b"\x00", bytes(_WORD)
_IS_CODE = b"\x00" + b"\xff" * 255


@dataclass
class Part:
    """Payloads of one type and one length. payloads[i, j]: byte j of payload i; order[i]: which piece of the block it was."""

    kind: int
    order: np.ndarray
    payloads: np.ndarray


@dataclass
class Block:
    """What one block of the log held: `parts` with right CRC, each in log order; `pieces` numbers `order` counts to."""

    pieces: int = 0
    parts: list[Part] = field(default_factory=list)
    frames: int = 0
    pieces_damaged: int = 0
    bytes_damaged: int = 0


def blocks(source: Iterable[bytes | memoryview]) -> Iterator[Block]:
    """Decode a log given in pieces of any size (about BLOCK is fast). What follows the last zero counts as if a zero ended it."""
    # Until it has freed a large piece once, glibc returns memory to the system after every block, and getting it back costs time.
    np.empty(_KEPT, np.uint8)
    open_piece = b""  # a piece that has begun and whose zero has not come yet
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
    """All frames of the bytes up to `end`, which begin and end with a zero; at least one word after them can be read."""
    zero = log[:end] == 0
    edges = np.flatnonzero(zero[1:] != zero[:-1])
    edges += 1
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    block = Block(pieces=len(starts))
    no_longer = np.minimum(lengths, _LONGEST + 1)
    counts = np.bincount(no_longer, minlength=_LONGEST + 2)
    counts[:_SHORTEST] = counts[_LONGEST + 1] = 0
    short = no_longer.astype(np.uint8)
    bytes_good = 0
    for length in np.flatnonzero(counts >= _FEW).tolist():
        order = np.flatnonzero(short == length)
        for at in range(0, len(order), _TOGETHER):
            some = order[at : at + _TOGETHER]
            good, payloads = _decode_together(log, starts[some], length)
            block.frames += len(payloads)
            bytes_good += len(payloads) * length
            _add(block, some if good is None else some[good], payloads)
    few = np.flatnonzero((counts > 0) & (counts < _FEW)).astype(np.uint8)
    if len(few):
        singles = np.sort(np.concatenate([np.flatnonzero(short == length) for length in few]))
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
    for kind in np.flatnonzero(np.bincount(kinds)).tolist():
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
    doubted = _doubted(rows, length)
    if doubted is not None:
        good[doubted] &= _crc_difference(rows[doubted], length) == 0
    payloads = rows[:, 1 : length - 4]
    if good.all():
        return None, payloads
    which = np.flatnonzero(good)
    return which, payloads[which]


def _undo_cobs(rows: np.ndarray, length: int) -> np.ndarray:
    """Put the zeros back in place; the first byte of a row (its first code) and those after `length` become 0 too.

    Returns which pieces end where their last code points.
    """
    codes = np.frombuffer(_most_common_codes(rows, length), np.uint8)
    apart = np.zeros(len(rows), np.uint64)  # 0 where the codes are those of the model
    words = _words(rows)
    if len(codes) > length:
        words[-1] &= np.frombuffer(b"\xff" * length + bytes(len(codes) - length), np.uint64)[-1]
    masked = np.empty_like(apart)
    for word, code, mask in zip(words, _words(codes), _words(-(codes > 0).view(np.uint8)), strict=True):
        if code:
            word ^= code
            apart |= np.bitwise_and(word, mask, out=masked)
    ends = np.full(len(rows), codes.sum() == length)
    others = np.flatnonzero(apart != 0)
    if len(others):
        some = rows.take(others, axis=0)
        some ^= codes
        ends[others] = _follow_codes(some, length)
        whole = f"V{rows.shape[1]}"  # a row as one element is copied faster
        rows.view(whole)[others] = some.view(whole)
    return ends


def _words(rows: np.ndarray) -> np.ndarray:
    """words[k, i]: bytes 8 k to 8 k + 7 of row i."""
    return rows.view(np.uint64).T


def _most_common_codes(rows: np.ndarray, length: int) -> bytes:
    """The codes at their positions, all else 0, that most of a few rows have; of those that equally many have, the first."""
    left = [int.from_bytes(row.tobytes(), "little") for row in rows[:: -(-len(rows) // _ASKED)]]
    best, most = b"", 0
    while most < len(left):
        codes = _codes(left[0].to_bytes(rows.shape[1], "little"), length)
        mask = int.from_bytes(codes.translate(_IS_CODE), "little")
        wanted = int.from_bytes(codes, "little")
        others = [row for row in left if row & mask != wanted]
        if len(left) - len(others) > most:
            best, most = codes, len(left) - len(others)
        left = others
    return best


def _codes(piece: bytes, length: int) -> bytes:
    """A piece's COBS codes at their positions, all else 0."""
    codes = bytearray(len(piece))
    at = 0
    while at < length:
        codes[at] = piece[at]
        at += piece[at]
    return bytes(codes)


def _follow_codes(rows: np.ndarray, length: int) -> np.ndarray:
    """As _undo_cobs, for any codes."""
    flat = rows.reshape(-1)
    at = np.arange(0, len(flat), rows.shape[1])
    left = np.full(len(at), length, np.int16)  # bytes between a piece's code and its end
    came_out = np.empty(len(at), np.int16)
    on_their_way = np.arange(len(at))
    while len(at):
        code = flat.take(at)
        flat[at] = 0
        left -= code
        if left.min() <= 0:
            came_out[on_their_way] = left
            (further,) = (left > 0).nonzero()
            at, code, left, on_their_way = at[further], code[further], left[further], on_their_way[further]
        at += code
    return came_out == 0


@lru_cache(256)
def _run_crc(length: int, width: int, pieces: int) -> int:
    """CRC-32 of that many correct pieces of one length, COBS undone and so their first byte 0, each filled up to `width` bytes with zeros."""
    payload = bytes(length - 5)
    row = b"\x00" + payload + binascii.crc32(payload).to_bytes(4, "little")
    return binascii.crc32(row.ljust(width, b"\x00") * pieces)


def _doubted(rows: np.ndarray, length: int) -> slice | np.ndarray | None:
    """The rows in whose run a CRC is wrong; None if there are none."""
    width = rows.shape[1]
    wrong = [
        begin
        for begin in range(0, len(rows), _RUN)
        if binascii.crc32((run := rows[begin : begin + _RUN]).data) != _run_crc(length, width, len(run))
    ]
    if not wrong:
        return None
    if len(wrong) * _RUN >= len(rows):
        return slice(None)
    return np.concatenate([np.arange(begin, min(begin + _RUN, len(rows))) for begin in wrong])


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
    """What a byte with `distance` bytes after it and the next byte add together; taken as one number, the first byte counting 256."""
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
    """CRC-32 of each payload XOR the one that follows it: 0 where they agree. After one byte of COBS, a row holds both up to `length`."""
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

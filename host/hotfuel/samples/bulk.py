"""Frames out of a whole log, many at a time: the same answer as hotfuel_wire.framing.FrameReader, in plain numpy.

A block of the log is cut at its zeros; pieces of one length are decoded together, turned on their side so that byte j of every piece lies in one
row. Undoing COBS is then a countdown that runs down the rows, for all pieces at once. CRC-32 is linear over bits: the CRC of a message is the XOR
of what each byte at its place adds. So every frame's own CRC is checked with one look-up per byte, and none where all pieces agree in that byte.
"""

import binascii
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from hotfuel_wire import framing
from hotfuel_wire.messages import SATURATED

BLOCK = 1 << 20  # bytes taken from the log at a time
_TOGETHER = 1 << 15  # pieces decoded together: their bytes stay in the processor's cache
_FEW = 64  # that few pieces of one length are decoded one by one
_SHORTEST, _LONGEST = 6, framing.BODY_MAX + 1


@dataclass
class Part:
    """Payloads of one type and one length. columns[j, i]: byte j of payload i; order[i]: which piece of the block it was."""

    kind: int
    order: np.ndarray
    columns: np.ndarray


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
    open_piece = b""  # begun, its zero not seen yet
    for data in source:
        data = open_piece + data if open_piece else data
        end = data.rfind(b"\x00") + 1
        if end:
            yield decode(np.frombuffer(data, np.uint8, end))
        open_piece = data[end:]
    if open_piece:
        yield decode(np.frombuffer(open_piece + b"\x00", np.uint8))


def decode(data: np.ndarray) -> Block:
    """All frames of a block of bytes that ends with a zero and begins behind one."""
    zeros = np.flatnonzero(data == 0)
    apart = np.diff(zeros, prepend=-1)
    ends = np.flatnonzero(apart > 1)
    lengths = apart[ends] - 1
    starts = zeros[ends] - lengths
    block = Block(pieces=len(starts))
    possible = lengths[(lengths >= _SHORTEST) & (lengths <= _LONGEST)]
    counts = np.bincount(possible, minlength=_LONGEST + 1)
    together = np.flatnonzero(counts >= _FEW)
    few = (counts > 0) & (counts < _FEW)
    bytes_good = 0
    for length in together.tolist():
        order = np.flatnonzero(lengths == length)
        for at in range(0, len(order), _TOGETHER):
            some = order[at : at + _TOGETHER]
            good, payloads = _decode_together(data, starts[some], length)
            block.frames += payloads.shape[1]
            bytes_good += payloads.shape[1] * length
            _add(block, some if good is None else some[good], payloads)
    if few.any():
        singles = np.flatnonzero(few[np.minimum(lengths, _LONGEST)] & (lengths <= _LONGEST))
        bytes_good += _decode_singly(data, starts, lengths, singles, block)
    block.pieces_damaged = block.pieces - block.frames
    block.bytes_damaged = int(lengths.sum()) - bytes_good
    return block


def _add(block: Block, order: np.ndarray, payloads: np.ndarray) -> None:
    """Sort payloads of one length by their type."""
    if not len(order):
        return
    kinds = payloads[0] & ~np.uint8(SATURATED)
    for kind in np.flatnonzero(np.bincount(kinds)).tolist():
        mine = kinds == kind
        if mine.all():
            block.parts.append(Part(kind, order, payloads))
        else:
            which = np.flatnonzero(mine)
            block.parts.append(Part(kind, order[which], payloads[:, which]))


def _decode_singly(data: np.ndarray, starts: np.ndarray, lengths: np.ndarray, which: np.ndarray, block: Block) -> int:
    """Decode pieces one by one; returns the bytes of good ones."""
    found: dict[int, tuple[list[int], list[bytes]]] = {}
    bytes_good = 0
    for number, start, length in zip(which.tolist(), starts[which].tolist(), lengths[which].tolist(), strict=True):
        try:
            payload = framing.decode(data[start : start + length].tobytes())
        except framing.FrameError:
            continue
        bytes_good += length
        order, payloads = found.setdefault(length, ([], []))
        order.append(number)
        payloads.append(payload)
    for length, (order, payloads) in found.items():
        block.frames += len(order)
        _add(block, np.array(order), np.frombuffer(b"".join(payloads), np.uint8).reshape(-1, length - 5).T)
    return bytes_good


def _decode_together(data: np.ndarray, starts: np.ndarray, length: int) -> tuple[np.ndarray | None, np.ndarray]:
    """(which pieces are frames, None: all; their payloads as columns[byte, piece])."""
    columns = _columns(data, starts, length)
    ends = _undo_cobs(columns)
    good = ends & (_crc_difference(columns[1:]) == 0)
    payloads = columns[1:-4]
    if good.all():
        return None, payloads
    which = np.flatnonzero(good)
    return which, payloads.take(which, axis=1)


def _columns(data: np.ndarray, starts: np.ndarray, length: int) -> np.ndarray:
    """columns[j, i] = byte j of the piece that begins at starts[i]."""
    stride = int(starts[1] - starts[0]) if len(starts) > 1 else length
    if (np.diff(starts) == stride).all():
        rows = np.lib.stride_tricks.as_strided(data[starts[0] :], (len(starts), length), (stride, 1))
    else:
        at_every_byte = np.ndarray((len(data) - length + 1,), f"V{length}", data, strides=(1,))
        rows = at_every_byte[starts].view(np.uint8).reshape(len(starts), length)
    columns = np.empty((length, len(starts)), np.uint8)
    columns[:] = rows.T
    return columns


def _undo_cobs(columns: np.ndarray) -> np.ndarray:
    """Put the zeros back in place; row 0 (the first code) is left. Returns which pieces end where their last code says."""
    # Row where each piece's next code stands. 8 bits suffice: a code that points past 255 comes out before the row it stands in, and is never met.
    following = columns[0].copy()
    is_code = np.empty(len(following), bool)
    code = np.empty_like(following)
    for number in range(1, len(columns)):
        row = columns[number]
        np.equal(following, np.uint8(number), out=is_code)
        np.multiply(row, is_code.view(np.uint8), out=code)
        np.add(following, code, out=following)
        np.subtract(row, code, out=row)
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


def _crc_difference(body: np.ndarray) -> np.ndarray:
    """CRC-32 of each payload XOR the one that follows it (last four rows of `body`): 0 where they agree."""
    payload = body[:-4]
    size = len(payload)
    stored = np.empty((body.shape[1], 4), np.uint8)
    stored[:] = body[-4:].T
    difference = stored.view("<u4")[:, 0]
    same = binascii.crc32(bytes(size))
    for row, table in zip(payload, _tables()[:size][::-1], strict=True):
        if row[0] == row[-1] and (row == row[0]).all():
            same ^= int(table[row[0]])
        else:
            difference ^= table.take(row)
    return difference ^ np.uint32(same)

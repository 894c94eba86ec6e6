"""A log like that of a drive, of any length: a recorded one repeated, its times and tick numbers continued."""

import struct

from hotfuel_wire import framing
from hotfuel_wire.messages import HEADER, TYPES

_HEAD = struct.Struct("<BII")  # type, tick, time_ms: the rows of messages.HEADER
assert [row[0] for row in HEADER] == ["type", "tick", "time_ms"]
_WALL = struct.Struct("<Q")
_ONCE = {TYPES["event"], TYPES["log_start"]}
_STAMPED = {TYPES["wall_anchor"], TYPES["mark"], TYPES["link_gap"]}  # types that begin with the wall time


def lengthened(log: bytes, frames: int) -> bytes:
    """A log of about `frames` frames with the mix of `log`, one start of the board; its beginning (the start event, the log's own name) comes once."""
    payloads = list(framing.FrameReader().feed(log))
    heads = [_HEAD.unpack_from(payload) for payload in payloads]
    lasts_ms = max(time_ms for kind, _, time_ms in heads) + 1000
    readings = [(tick, time_ms) for kind, tick, time_ms in heads if kind == TYPES["reading"]]
    period_ms = (readings[-1][1] - readings[0][1]) / (readings[-1][0] - readings[0][0])
    lasts_ms = round(round(lasts_ms / period_ms) * period_ms)
    found = []
    for copy in range(max(1, round(frames / len(payloads)))):
        for payload, (kind, tick, time_ms) in zip(payloads, heads, strict=True):
            if copy and kind in _ONCE:
                continue
            later = copy * lasts_ms
            one = bytearray(payload)
            _HEAD.pack_into(one, 0, kind, tick + round(later / period_ms) if tick else 0, time_ms + later)
            if kind in _STAMPED:
                (wall_us,) = _WALL.unpack_from(one, _HEAD.size)
                _WALL.pack_into(one, _HEAD.size, wall_us + later * 1000)
            found.append(framing.encode(bytes(one)))
    return b"".join(found)

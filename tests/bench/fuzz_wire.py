"""Targets that need only the wire and the units (see fuzz_targets.py): their process is ready in a second, because it loads no library."""

import contextlib
import math

from hotfuel import units
from hotfuel.errors import HotfuelError
from hotfuel_wire import codec, framing
from hotfuel_wire.kinds import KINDS
from hotfuel_wire.messages import PAYLOAD_MAX, TYPES

PIECE = 13  # bytes at a time to a reader of a growing stream: no frame arrives whole


def reader(data: bytes) -> None:
    """The reader of a stream, whole and in pieces: the same payloads, and every byte accounted for."""
    whole, pieces = framing.FrameReader(), framing.FrameReader()
    found = list(whole.feed(data + b"\x00"))
    again = [payload for at in range(0, len(data), PIECE) for payload in pieces.feed(data[at : at + PIECE])]
    again += pieces.feed(b"\x00")
    assert found == again and whole.bytes_damaged == pieces.bytes_damaged
    kept = sum(len(payload) + 5 for payload in found)  # CRC and one byte of COBS
    assert kept + whole.bytes_damaged == len(data) - data.count(b"\x00")


def payload(data: bytes) -> None:
    """One payload with a valid CRC: it is unchanged by framing, and its decoded values pack to the same bytes, as far as this version reads."""
    data = data[:PAYLOAD_MAX]
    if not data:
        return
    (back,) = framing.FrameReader().feed(framing.encode(data))
    assert back == data
    try:
        name, values = codec.unpack(back)
    except codec.WireError:
        return
    written = {key: value for key, value in values.items() if key not in defaults_behind(name, values, len(data))}
    again = bytearray(codec.pack(name, written))
    again[0] |= data[0] & 0x80
    assert data.startswith(again)
    assert len(again) == len(data) or len(written) == len(values), "bytes left unread though a known field has its default"


def defaults_behind(name: str, values: dict, length: int) -> set[str]:
    """Later fields that are missing in a payload of this length; each must have its default."""
    layout = codec.LAYOUTS[TYPES[name]]
    end = layout.size + len(values[layout.tail[0]] if layout.tail else ()) * layout.group_size
    behind = set()
    for field, kind, _, _, default in layout.later:
        end += KINDS[kind][1]
        if end > length:
            assert values[field] == default
            behind.add(field)
    return behind


_DIMENSIONS = sorted(units.UNITS)


def quantity(data: bytes) -> None:
    """A quantity as a person types it (the first byte says of what kind): a finite number, or a sentence."""
    if data:
        with contextlib.suppress(HotfuelError):
            assert math.isfinite(
                units.parse(data[1:].decode("utf-8", "surrogateescape"), _DIMENSIONS[data[0] % len(_DIMENSIONS)])
            )


WIRE = {
    "reader": (lambda: reader, 1024),
    "payload": (lambda: payload, PAYLOAD_MAX),
    "quantity": (lambda: quantity, 64),
}

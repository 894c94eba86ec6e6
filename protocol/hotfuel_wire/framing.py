"""Frames: zero, COBS of (payload + CRC-32), zero. Bytes in, frames out; touches no port.

COBS: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999. CRC-32: IEEE 802.3, little-endian after
the payload. There is a zero on both sides, so text printed between two frames (a traceback, a boot message) damages neither.
"""

import binascii

from hotfuel_wire.messages import PAYLOAD_MAX

BODY_MAX = PAYLOAD_MAX + 4  # payload and CRC; below 255, so COBS adds exactly one byte
FRAME_MAX = BODY_MAX + 3  # with both zeros


class FrameError(ValueError):
    """A piece between two zeros is not a frame. The message says why."""


def encode_into(frame, payload, length):
    """Frame the first `length` bytes of `payload` into the bytearray `frame` (FRAME_MAX bytes); returns the frame's length.

    Raises FrameError for an empty payload or one over PAYLOAD_MAX.
    """
    if not 0 < length <= PAYLOAD_MAX:
        raise FrameError("a payload has 1 to %d bytes, this one has %d" % (PAYLOAD_MAX, length))
    payload = memoryview(payload)[:length]
    crc = binascii.crc32(payload)
    end = length + 2
    frame[2:end] = payload
    for _ in range(4):
        frame[end] = crc & 0xFF
        crc >>= 8
        end += 1
    frame[0] = 0
    code_at = 1
    at = frame.find(b"\x00", 2, end)
    while at > 0:
        frame[code_at] = at - code_at
        code_at = at
        at = frame.find(b"\x00", at + 1, end)
    frame[code_at] = end - code_at
    frame[end] = 0
    return end + 1


def encode(payload):
    """The frame of a payload as bytes, both zeros included."""
    frame = bytearray(FRAME_MAX)
    return bytes(frame[: encode_into(frame, payload, len(payload))])


def decode(piece):
    """The payload of the bytes between two zeros. Raises FrameError."""
    if not 6 <= len(piece) <= BODY_MAX + 1:
        raise FrameError("a frame has 6 to %d bytes between its zeros, this piece has %d" % (BODY_MAX + 1, len(piece)))
    body = bytearray(piece)
    at = 0
    end = len(piece)
    while at < end:
        code = body[at]
        if code == 0:
            raise FrameError("a zero inside a frame")
        if at:
            body[at] = 0
        at += code
    if at != end:
        raise FrameError("a COBS code points beyond the end of its frame")
    crc = body[-4] | body[-3] << 8 | body[-2] << 16 | body[-1] << 24
    payload = bytes(body[1:-4])
    if binascii.crc32(payload) != crc:
        raise FrameError("the CRC-32 does not match")
    return payload


class FrameReader:
    """Takes bytes in blocks of any size and yields whole payloads; damage is counted, never raised.

    `frames`: good ones. `pieces_damaged`, `bytes_damaged`: what stood between two zeros and was no frame. Keeps at most one frame's length in memory.
    """

    def __init__(self):
        self.frames = 0
        self.pieces_damaged = 0
        self.bytes_damaged = 0
        self._piece = bytearray()
        self._overlong = 0  # bytes of the current piece already thrown away

    def feed(self, data):
        """Yields the payload of every frame that `data` completes; keeps the bytes after the last zero for the next call."""
        start = 0
        data = bytes(data)
        while True:
            end = data.find(b"\x00", start)
            if end < 0:
                self._keep(data[start:])
                return
            self._keep(data[start:end])
            payload = self._finish()
            if payload is not None:
                yield payload
            start = end + 1

    def _keep(self, part):
        room = BODY_MAX + 2 - len(self._piece)
        if len(part) > room:
            self._overlong += len(part) - room
            part = part[:room]
        self._piece.extend(part)

    def _finish(self):
        piece, overlong = self._piece, self._overlong
        if not piece:
            return None
        self._piece = bytearray()
        self._overlong = 0
        try:
            payload = decode(piece)
        except FrameError:
            self.pieces_damaged += 1
            self.bytes_damaged += len(piece) + overlong
            return None
        self.frames += 1
        return payload

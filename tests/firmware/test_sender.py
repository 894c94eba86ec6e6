"""Frames to a host that reads, stops, and comes back."""

import pytest
from hotfuel_wire import codec, framing
from hypothesis import given
from hypothesis import strategies as st
from sender import QUEUE_BYTES, Sender


class Port:
    """A port with a buffer of `free` bytes. It reports room for one free byte, as the board's does; a write beyond it blocks for
    a second and loses the rest."""

    def __init__(self, free=256):
        self.free = free
        self.written = bytearray()
        self.now_us = 0
        self.blocked = 0

    def room(self):
        return self.free > 0

    def ticks_us(self):
        return self.now_us & 0x3FFFFFFF

    def write(self, data):
        taken = bytes(data[: self.free])
        if len(taken) < len(data):
            self.blocked += 1
            self.now_us += 1_000_000
        self.free -= len(taken)
        self.written += taken
        return len(data)


class Clock:
    time_ms = 0

    def now(self):
        return self.time_ms


def sender(free=1 << 30):
    port = Port(free)
    return port, Sender(port, Clock())


def event(number, detail=b""):
    return {"code": 7, "channel": 255, "value": number, "detail": detail}


def values(port):
    reader = framing.FrameReader()
    numbers = [codec.unpack(payload)[1]["value"] for payload in reader.feed(bytes(port.written))]
    return numbers, reader


def test_a_frame_begins_and_ends_with_zero_and_carries_tick_and_time():
    port, out = sender()
    out.period_ms = 200
    payload, length = out.emit("event", event(1), 1234)
    assert out.pump()
    assert port.written[0] == port.written[-1] == 0
    name, got = codec.unpack(next(iter(framing.FrameReader().feed(bytes(port.written)))))
    assert (name, got["tick"], got["time_ms"], got["value"]) == ("event", 6, 1234, 1)
    assert bytes(payload[:length]) == codec.pack("event", {**event(1), "tick": 6, "time_ms": 1234})
    assert out.sent == 1
    assert not out.pump()


def test_a_number_that_does_not_fit_is_saturated_and_marked():
    port, out = sender()
    out.emit("event", event(1 << 40))
    out.pump()
    got = codec.unpack(next(iter(framing.FrameReader().feed(bytes(port.written)))))[1]
    assert (got["value"], got["saturated"]) == (0x7FFFFFFF, True)


def test_listeners_get_every_frame_except_replies_and_data():
    _, out = sender()
    heard = []
    out.listeners.append(lambda name, frame, length: heard.append((name, bytes(frame[:length]))))
    out.emit("event", event(5), 77)
    out.emit("reply", {"sequence": 1, "code": 1, "outcome": 0, "answer": b""})
    out.emit("data", {"segment": 1, "offset": 0, "data": b""})
    assert [name for name, _ in heard] == ["event"]
    assert codec.unpack(framing.decode(heard[0][1].strip(b"\x00")))[1]["value"] == 5


def test_a_host_that_stops_reading_blocks_at_most_once_and_the_oldest_frames_are_dropped():
    port, out = sender(free=256)
    for number in range(2000):
        out.emit("event", event(number))
        out.pump()
    assert port.blocked <= 1
    waiting = out.waiting()
    assert QUEUE_BYTES - 40 < waiting <= QUEUE_BYTES + framing.FRAME_MAX
    for _ in range(4000):
        port.free = 1 << 30  # it reads again
        out.pump()
    numbers, reader = values(port)
    assert port.blocked <= 1
    assert numbers == sorted(numbers)
    assert numbers[-1] == 1999
    assert reader.pieces_damaged <= 1, "only the frame that hit the full port"
    assert len(numbers) + out.dropped + reader.pieces_damaged == 2000
    assert out.dropped > 1000
    latest = [number for number in numbers if number > 100]
    assert latest == list(range(latest[0], 2000)), "what is left is the latest, without a gap"


def test_after_a_full_port_frames_are_sent_byte_by_byte_and_stay_whole():
    port, out = sender(free=0)
    for number in range(50):
        out.emit("event", event(number, b"x" * 60))
    assert not out.pump()
    for _ in range(6000):
        port.free = min(port.free + 1, 256)  # a host that takes one byte at a time
        out.pump()
    numbers, reader = values(port)
    assert numbers == list(range(50))
    assert (reader.pieces_damaged, port.blocked, out.dropped) == (0, 0, 0)


def test_normal_sending_resumes_after_a_while():
    port, out = sender(free=0)
    out.emit("event", event(0))
    out.pump()
    port.free = 1 << 30
    writes = []
    port.write = lambda data: writes.append(len(data)) or len(data)
    for number in range(1, 20):
        out.emit("event", event(number))
    while out.pump():
        pass
    assert out.waiting() == 0
    assert writes[0] == 1
    assert writes[-1] > 20


def test_a_port_that_takes_part_of_a_frame_gets_the_rest_later():
    port, out = sender()
    taken = bytearray()

    def half(data):
        piece = bytes(data[: max(1, len(data) // 2)])
        taken.extend(piece)
        return len(piece)

    port.write = half
    for number in range(5):
        out.emit("event", event(number))
    for _ in range(200):
        out.pump()
    port.written = taken
    assert values(port)[0] == [0, 1, 2, 3, 4]


def test_a_port_that_reports_room_and_takes_nothing_does_not_delay_the_board():
    """Before USB is up the port behaves like this."""
    port, out = sender()
    tries = []
    port.write = lambda data: tries.append(1) or 0
    for number in range(500):
        out.emit("event", event(number))
        assert not out.pump()
    assert len(tries) == 500
    assert out.dropped > 0
    del port.write
    while out.pump():
        pass
    first = 501 - out.sent
    assert values(port)[0] == [0, *range(first, 500)], "the frame that was being written is kept, then the latest"


@given(st.lists(st.tuples(st.integers(0, 200), st.integers(0, 300)), max_size=150))
def test_whatever_the_host_takes_frames_stay_in_order_and_all_are_accounted_for(steps):
    port, out = sender(free=0)
    for number, (size, taken) in enumerate(steps):
        out.emit("event", event(number, b"\x00\xff" * (size // 2)))
        port.free = min(port.free + taken, 300)
        out.pump()
    port.free = 1 << 30
    for _ in range(2000):
        out.pump()
    assert out.waiting() == 0
    numbers, reader = values(port)
    assert numbers == sorted(numbers)
    assert len(steps) - port.blocked <= len(numbers) + out.dropped <= len(steps), "a blocked write damages its own frame only"
    assert reader.pieces_damaged <= port.blocked
    assert out.sent + out.dropped == len(steps)


def test_the_firmware_has_no_message_longer_than_the_queue_takes():
    _, out = sender(free=0)
    with pytest.raises(KeyError):
        out.emit("event", {"code": 1})
    for number in range(200):
        out.emit("event", event(number, bytes(224)))
    assert out.waiting() <= QUEUE_BYTES + framing.FRAME_MAX

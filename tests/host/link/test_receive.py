"""The first frame, and a link that comes back."""

import itertools

import pytest
import wire_logs
from hotfuel.errors import LinkError
from hotfuel.link import port as ports
from hotfuel.link import receive
from hotfuel.link.port import Port
from hotfuel_wire import codec, framing


class Played(Port):
    """A port that returns the pieces it was made with, then nothing, or disappears."""

    def __init__(self, pieces, goes=False, url="played"):
        super().__init__(url)
        self.pieces, self.goes, self.written, self.closed = list(pieces), goes, b"", False

    def read(self, timeout_s):
        if self.pieces:
            return self.pieces.pop(0)
        if self.goes:
            raise self._gone("unplugged")
        return b""

    def write(self, data):
        self.written += data

    def close(self):
        self.closed = True


def test_hello_returns_the_first_frame_and_all_bytes_up_to_it():
    frame = framing.encode(wire_logs.description(2))
    port = Played([b"boot text\r\n", frame[:7], frame[7:]])
    found = receive.hello(port, 1)
    assert found.payload == wire_logs.description(2)
    assert found.received == b"boot text\r\n" + frame
    name, values = codec.unpack(framing.decode(port.written.strip(b"\0")))
    assert (name, values["code"]) == ("command", 1)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ([], "nothing was sent within"),
        ([b"MicroPython v1.26 on 2026-01-01; Raspberry Pi Pico\r\n>>> "], "prompt answers, but not our firmware"),
        ([b"Traceback (most recent call last):\r\n  File main.py\r\nKeyError: 5\r\n"], "sends an error text instead of frames"),
        ([b"$GPGGA,123519,4807.038,N\r\n"], 'another device; it sends text: "$GPGGA,123519'),
        ([bytes(range(128, 160))], "32 bytes came, none of them part of a hotfuel frame (first: 80 81 82"),
    ],
)
def test_the_wrong_device_is_described(sent, said):
    with pytest.raises(LinkError) as caught:
        receive.hello(Played(sent, url="/dev/ttyX"), 0.05)
    assert said in str(caught.value)
    assert str(caught.value).startswith("/dev/ttyX: ")


def test_boards_are_found_among_usb_ports(monkeypatch):
    class Found:
        vid, pid, serial_number = 0x2E8A, 5, "E66"

        def __init__(self, device):
            self.device = device

    played = {"/dev/a": Played([b"hello\r\n"]), "/dev/b": Played([framing.encode(wire_logs.description(1))], url="/dev/b")}
    monkeypatch.setattr(ports, "usb_ports", lambda: [Found("/dev/a"), Found("/dev/b")])
    monkeypatch.setattr(ports, "open_port", lambda url: played[url])
    boards, remarks = receive.find_boards(0.05)
    assert [board.url for board in boards] == ["/dev/b"]
    assert len(remarks) == 1
    assert "another device" in remarks[0]
    assert played["/dev/a"].closed
    assert played["/dev/b"].closed


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_a_link_comes_back_when_the_port_does(monkeypatch):
    clock = Clock()
    monkeypatch.setattr(receive.time, "sleep", lambda seconds: setattr(clock, "now", clock.now + seconds))
    answers = [Played([b"one"], goes=True), LinkError("there is no port x"), LinkError("there is no port x"), Played([b"two"])]
    tried = []

    def open_port(url):
        tried.append(clock.now)
        answer = answers.pop(0)
        if isinstance(answer, LinkError):
            raise answer
        return answer

    link = receive.Link("x", open_port=open_port, clock=clock)
    assert link.read(0.1) == b"one"
    assert link.read(0.1) == b""
    assert not link.connected
    assert "unplugged" in link.problem
    assert not link.write(b"lost")
    got = b""
    while not got:
        got = link.read(0.1)
        assert clock.now < 10
    assert got == b"two"
    assert link.connected
    assert link.problem == ""
    assert all(later - earlier >= receive.RECONNECT_EVERY_S for earlier, later in itertools.pairwise(tried[1:]))


def test_only_after_more_than_a_board_sends_at_once_is_more_waited_for(monkeypatch):
    waits = []
    monkeypatch.setattr(receive.time, "sleep", waits.append)
    pieces = [b"x" * 511, b"x" * 511, b"y" * 4095, b"x" * 45, b"x" * 45]
    link = receive.Link("x", open_port=lambda url: Played(pieces))
    waited = []
    for piece in list(pieces):
        assert link.read(0.1) == piece
        waited.append(sum(waits))
    assert waited[:3] == [0, 0, 0]
    assert 0 < waited[3] <= 0.05  # once, and no person sees it
    assert waited[4] == waited[3]


def test_a_usb_board_is_found_again_under_another_name(monkeypatch):
    class Found:
        def __init__(self, device, serial_number):
            self.device, self.serial_number = device, serial_number

    listed = [Found("/dev/ttyACM0", "E66")]
    monkeypatch.setattr(ports, "usb_ports", lambda: listed)
    monkeypatch.setattr(receive.time, "sleep", lambda seconds: None)
    opened = []
    link = receive.Link(
        "/dev/ttyACM0", open_port=lambda url: opened.append(url) or Played([], goes=True), clock=iter(range(1000)).__next__
    )
    link.read(0)
    listed[:] = [Found("/dev/ttyACM0", "other"), Found("/dev/ttyACM1", "E66")]
    link.read(0)
    assert opened == ["/dev/ttyACM0", "/dev/ttyACM1"]


def test_the_first_opening_must_work():
    def refuse(url):
        raise LinkError("there is no port x")

    with pytest.raises(LinkError, match="no port x"):
        receive.Link("x", open_port=refuse)

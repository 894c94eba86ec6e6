"""The host's own code on the emulated board: a port for hotfuel.link, and the board's time in place of the computer's."""

import contextlib
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any
from unittest import mock

from hotfuel.link.port import Port
from hotfuel.link.talk import Talk
from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader

from emulated.board import EmulatedBoard

STEP_S = 0.005
UNIX_S = 1_780_000_000  # the host's time at which the board was switched on


class EmulatedPort(Port):
    """A port whose reads run the board. `log`: everything received."""

    def __init__(self, board: EmulatedBoard) -> None:
        super().__init__("emulated")
        self._board = board
        self.log = bytearray()

    def read(self, timeout_s: float) -> bytes:
        with contextlib.suppress(TimeoutError):
            self._board.until(lambda: bool(self._board.usb.received), timeout_s, STEP_S)
        data = self._board.usb.take()
        self.log += data
        return data

    def write(self, data: bytes) -> None:
        self._board.usb.write(data)

    def close(self) -> None:
        pass


@contextlib.contextmanager
def boards_time(board: EmulatedBoard) -> Iterator[EmulatedPort]:
    """Inside this context, hotfuel.link.talk and hotfuel.record.download use the board's time."""
    clock = SimpleNamespace(
        monotonic=lambda: board.now_s,
        monotonic_ns=lambda: int(board.now_s * 1e9),
        time_ns=lambda: int((UNIX_S + board.now_s) * 1e9),
    )
    with mock.patch("hotfuel.link.talk.time", clock), mock.patch("hotfuel.record.download.time", clock):
        yield EmulatedPort(board)


def ask(board: EmulatedBoard, name: str, argument: bytes = b"") -> bytes:
    """The answer to one command. Raises LinkError, Refusal."""
    with boards_time(board) as port:
        return Talk(port).ask(name, argument)


def messages(data: bytes) -> list[tuple[str, dict[str, Any]]]:
    """Every message in these bytes, in order, without damaged ones."""
    found = []
    for payload in FrameReader().feed(b"\x00" + data):
        with contextlib.suppress(codec.WireError):
            found.append(codec.unpack(payload))
    return found


def last(data: bytes, name: str) -> dict[str, Any]:
    """The last message of this name. Raises LookupError."""
    for kind, values in reversed(messages(data)):
        if kind == name:
            return values
    raise LookupError(f"the board sent no {name}")

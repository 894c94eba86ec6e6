"""Receiving from a port: the hello, and a link that reconnects by itself."""

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass

from hotfuel_wire import codec, framing
from hotfuel_wire.messages import COMMANDS

from hotfuel.errors import LinkError
from hotfuel.link import port as ports
from hotfuel.link.port import Port
from hotfuel.text import counted

HELLO_S = 3.0
RECONNECT_EVERY_S = 0.5
# No board sends this much in a turn of its reader: it is one simulated many times faster than time, or it waited while this computer was busy. Then
# more is let come together before the next read, because a turn costs the same for a few readings as for many.
_FLOOD, _GATHER_S = 512, 0.04


def command(code: str, argument: bytes = b"", sequence: int = 0) -> bytes:
    """The frame of a command to the board, e.g. command("version"). Raises KeyError for an unknown command, WireError for a too long argument."""
    values = {"tick": 0, "time_ms": 0, "sequence": sequence & 0xFFFF, "code": COMMANDS[code], "argument": argument}
    return framing.encode(codec.pack("command", values))


@dataclass
class Hello:
    """The answer on a port: the first valid payload, and all bytes read up to it (the caller writes them to the log)."""

    url: str
    payload: bytes
    received: bytes


def hello(port: Port, timeout_s: float = HELLO_S) -> Hello:
    """Ask for the version and wait for any whole frame. Raises LinkError that says what was seen instead."""
    reader = framing.FrameReader()
    received = bytearray()
    end = time.monotonic() + timeout_s
    with contextlib.suppress(LinkError):  # a board that does not read may still send
        port.write(command("version"))
    while (left := end - time.monotonic()) > 0:
        data = port.read(min(left, 0.5))
        received += data
        for payload in reader.feed(data):
            return Hello(port.url, payload, bytes(received))
    raise LinkError(f"{port.url}: {what_was_seen(bytes(received), timeout_s)}")


def what_was_seen(received: bytes, seconds: float) -> str:
    """A sentence about bytes that are no frames, for a person who plugged in the wrong device."""
    if not received:
        return f"nothing was sent within {seconds:.0f} s; is this the board, and is its firmware installed (`hotfuel board install`)?"
    text = received[:200].decode("ascii", errors="replace")
    readable = sum(character.isascii() and (character.isprintable() or character in "\r\n\t") for character in text)
    if ">>>" in text or "MicroPython" in text:
        return "a MicroPython prompt answers, but not our firmware; install it with `hotfuel board install`."
    if "Traceback" in text:
        return f'the board sends an error text instead of frames: "{" ".join(text.split())[:120]}".'
    if readable > 0.9 * len(text):
        return f'this is another device; it sends text: "{" ".join(text.split())[:60]}".'
    came = counted(len(received), "byte")
    first = received[:12].hex(" ")
    return f"{came} came, none of them part of a hotfuel frame (first: {first}); another device, or a wrong baud rate."


def find_boards(timeout_s: float = HELLO_S) -> tuple[list[Hello], list[str]]:
    """(boards that answered, sentences about USB ports that did not). Only ports with the USB ids of such boards are opened."""
    boards, remarks = [], []
    for found in ports.usb_ports():
        if not ports.is_likely_board(found):
            continue
        try:
            with ports.open_port(found.device) as port:
                boards.append(hello(port, timeout_s))
        except LinkError as error:
            remarks.append(str(error))
    return boards, remarks


class Link:
    """A port that reconnects: after unplugging, a reboot of the board, sleep of the computer.

    `read` never raises. `connected`: whether the port is open; `problem`: the last error. A USB board is found again by its serial number, because its
    port's name may change. The first opening raises LinkError: the caller must fix a wrong port.
    """

    def __init__(
        self, url: str, *, open_port: Callable[[str], Port] = ports.open_port, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.url = url
        self.problem = ""
        self._open, self._clock = open_port, clock
        self._port: Port | None = open_port(url)
        self._serial_number = next((found.serial_number for found in ports.usb_ports() if found.device == url), None)
        self._next_try = 0.0
        self._flooded = False

    def __enter__(self) -> "Link":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def connected(self) -> bool:
        """True while the port is open."""
        return self._port is not None

    def read(self, timeout_s: float) -> bytes:
        """The bytes received, waiting at most `timeout_s`; b"" if none. Reconnects when due."""
        if self._port is None and not self._reconnect(timeout_s):
            return b""
        assert self._port is not None
        if self._flooded:
            time.sleep(_GATHER_S)
        try:
            data = self._port.read(timeout_s)
        except LinkError as error:
            self._lost(error)
            return b""
        self._flooded = len(data) >= _FLOOD
        return data

    def write(self, data: bytes) -> bool:
        """Send to the board; False if it did not take it."""
        if self._port is None:
            return False
        try:
            self._port.write(data)
        except LinkError as error:
            self.problem = str(error)
            return False
        return True

    def close(self) -> None:
        """Close the port and do not reconnect."""
        if self._port is not None:
            self._port.close()
            self._port = None

    def _lost(self, error: LinkError) -> None:
        self.problem = str(error)
        self.close()
        self._next_try = self._clock() + RECONNECT_EVERY_S

    def _reconnect(self, timeout_s: float) -> bool:
        wait = self._next_try - self._clock()
        if wait > 0:
            time.sleep(min(wait, timeout_s))
            if wait > timeout_s:
                return False
        self._next_try = self._clock() + RECONNECT_EVERY_S
        if self._serial_number:
            same = [found.device for found in ports.usb_ports() if found.serial_number == self._serial_number]
            self.url = same[0] if same else self.url
        try:
            self._port = self._open(self.url)
        except LinkError as error:
            self.problem = str(error)
            return False
        self.problem = ""
        return True

"""The simulated board's serial port: a pseudo-terminal where the system has them, else a TCP socket on this machine. Both can be unplugged."""

import contextlib
import os
import select
import socket
import struct
import time
from pathlib import Path
from typing import Protocol

from hotfuel.simulator.scratch import ScratchFolder

try:
    import fcntl
    import pty
    import termios
    import tty
except ImportError:  # a system without pseudo-terminals
    HAVE_PTY = False
else:
    HAVE_PTY = True

SETTLE_S = 0.25  # by then a reader has opened the port and discarded what was in it


class Port(Protocol):
    """What the board's thread needs of a port, whichever kind the reader uses. `device`: what pyserial opens."""

    device: str

    def reading(self) -> bool:
        """True while somebody has the port open and is ready for data."""

    def waits(self) -> list[int]:
        """File numbers that become readable when the reader sends something, or comes."""

    def room(self) -> list[int]:
        """File numbers that become writable when the port takes data."""

    def write(self, data: bytes) -> int:
        """Bytes taken; 0 when there is no room."""

    def read(self) -> bytes:
        """What the reader has sent; empty when there is nothing."""

    def unread(self) -> int:
        """Bytes the reader has not taken yet, as far as the system tells."""

    def unplug(self) -> None: ...

    def plug(self) -> None: ...


class PtyPort:
    """A pseudo-terminal behind a name that does not change when it is unplugged."""

    def __init__(self) -> None:
        self._folder = ScratchFolder()
        self.device = str(self._folder.path / "port")
        self._master = -1
        self.plug()

    def plug(self) -> None:
        if self._master >= 0:
            return
        self._master, slave = pty.openpty()
        tty.setraw(slave)  # else the terminal would echo what the board sends back to it until a reader sets it up
        # In packet mode the reader's flushing its input on opening shows up here: what was written before it is lost to it.
        fcntl.ioctl(self._master, termios.TIOCPKT, b"\x01\x00\x00\x00")
        os.set_blocking(self._master, False)
        Path(self.device).unlink(missing_ok=True)
        self._terminal = os.ttyname(slave)
        Path(self.device).symlink_to(self._terminal)
        os.close(slave)
        self._opened_s: float | None = None
        self._flushed = False

    def unplug(self) -> None:
        if self._master >= 0:
            Path(self.device).unlink(missing_ok=True)  # first, so that a reader that sees the port go does not find its name
            os.close(self._master)
            self._master = -1

    def reading(self) -> bool:
        if self._master < 0:
            return False
        poller = select.poll()
        poller.register(self._master, select.POLLIN)
        events = poller.poll(0)
        if events and events[0][1] & select.POLLHUP:
            self._opened_s = None
            self._flushed = False
            return False
        if self._opened_s is None:
            self._opened_s = time.monotonic()
        return self._flushed or time.monotonic() - self._opened_s > SETTLE_S

    def waits(self) -> list[int]:
        return [self._master] if self._opened_s is not None and self._master >= 0 else []

    def room(self) -> list[int]:
        return [self._master] if self._master >= 0 else []

    def write(self, data: bytes) -> int:
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0

    def read(self) -> bytes:
        try:
            packet = os.read(self._master, 4096)
        except OSError:  # nothing there (EAGAIN), or the reader has closed (EIO)
            return b""
        if packet[:1] != b"\x00":
            if packet and packet[0] & termios.TIOCPKT_FLUSHREAD:
                self._flushed = True
            return b""
        return packet[1:]

    def unread(self) -> int:
        try:
            slave = os.open(self._terminal, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:  # the reader keeps it for itself
            return 0
        try:
            return struct.unpack("i", fcntl.ioctl(slave, termios.FIONREAD, bytes(4)))[0]
        finally:
            os.close(slave)

    def close(self) -> None:
        """Close the port for good."""
        self.unplug()
        self._folder.close()


class SocketPort:
    """One reader at a time at a TCP port of the loopback interface."""

    def __init__(self) -> None:
        self._number = 0
        self._listener: socket.socket | None = None
        self._client: socket.socket | None = None
        self.plug()
        self.device = f"socket://127.0.0.1:{self._number}"

    def plug(self) -> None:
        if self._listener is not None:
            return
        self._listener = socket.socket()
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._listener.bind(("127.0.0.1", self._number))
        self._listener.listen(1)
        self._listener.setblocking(False)
        self._number = self._listener.getsockname()[1]

    def unplug(self) -> None:
        for line in (self._client, self._listener):
            if line is not None:
                line.close()
        self._client = self._listener = None

    def reading(self) -> bool:
        if self._client is None and self._listener is not None:
            with contextlib.suppress(BlockingIOError):
                self._client, _ = self._listener.accept()
                self._client.setblocking(False)
                # The real port's buffer is small; a reader that stops must be noticed.
                self._client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 8192)
        return self._client is not None

    def waits(self) -> list[int]:
        line = self._client or self._listener
        return [] if line is None else [line.fileno()]

    def room(self) -> list[int]:
        return [] if self._client is None else [self._client.fileno()]

    def write(self, data: bytes) -> int:
        if self._client is None:
            return 0
        try:
            return self._client.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._drop()
            return 0

    def read(self) -> bytes:
        if self._client is None:
            return b""
        try:
            data = self._client.recv(4096)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._drop()
        return data

    def unread(self) -> int:
        return 0  # what has been sent on a socket is delivered even when it is closed

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None

    def close(self) -> None:
        self.unplug()


def open_port(kind: str | None = None) -> PtyPort | SocketPort:
    """kind "pty", "socket", or None for the better one this system has."""
    return PtyPort() if (HAVE_PTY if kind is None else kind == "pty") else SocketPort()

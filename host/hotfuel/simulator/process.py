"""Starts the board's process: which interpreter, and its two channels (its serial port, and the simulation's own)."""

import importlib.util
import os
import socket
import struct
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import IO, Any

from hotfuel.errors import InputError
from hotfuel.simulator.firmware_sources import simulator_folder

MICROPYTHON, CPYTHON = "micropython", "cpython"
# A Pico leaves a program 192 KB; a word has 64 bits here and 32 there, so the same objects take nearly twice the room. On top what the stand-in, the
# chip models and the samples in hand take themselves: 87 KB measured with 3 chips, 94 with 8.
HEAP_KB = 2 * 192 + 96
CONNECT_S = 10.0
PIPE_BYTES = 16384  # small, so that a reader that stops is noticed soon
# The wheel's own entry points forget the exit code.
RUN_MICROPYTHON = "import sys, micropython_unix; sys.exit(micropython_unix.main())"

_HEAD = "<BI"
_ANSWER = "<BQ"
CONFIGURATION, BLOCK, CHANGE, END = 1, 2, 3, 4
TAKEN, STOPPED = 1, 2

# Exit codes of machine/timers.py
ENDED, RESET_BY_WATCHDOG, RESET_SOFT, POWER_LOST = 0, 10, 11, 12


def installed_engine() -> str:
    """ "micropython" where the unix port is installed, else "cpython"."""
    return MICROPYTHON if os.name == "posix" and importlib.util.find_spec("micropython_unix") else CPYTHON


def choose_engine(wanted: str | None) -> str:
    """The engine to use. Raises InputError for an unknown one, or for MicroPython where it is not installed."""
    if wanted is None:
        return installed_engine()
    if wanted not in (MICROPYTHON, CPYTHON):
        raise InputError(f'engine is "{wanted}"; allowed are "micropython" and "cpython"')
    if wanted == MICROPYTHON and installed_engine() != MICROPYTHON:
        raise InputError(
            "MicroPython is not installed here; install hotfuel[board], or leave the engine out to run the same firmware under CPython"
        )
    return wanted


class BoardProcess:
    """One life of the board, from power on to reset. `output` and `input`: its serial port's two directions; `line`: the simulation's own channel."""

    def __init__(self, engine: str, *, over_tcp: bool = False) -> None:
        self._errors: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the board
        start = str(Path(__file__).parent / "machine" / "start.py")
        folder = str(simulator_folder())
        if engine == MICROPYTHON:
            command = [sys.executable, "-c", RUN_MICROPYTHON, "-X", f"heapsize={HEAP_KB}K", start, folder]
        else:
            command = [sys.executable, "-X", "utf8", start, folder]
        if over_tcp:
            self._start_over_tcp(command)
        else:
            self._start_over_pipes(command)
        self._answers = b""

    def _start_over_pipes(self, command: list[str]) -> None:
        self.line, their_line = socket.socketpair()
        with their_line:
            self.process = subprocess.Popen(
                [*command, str(their_line.fileno())],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._errors,
                pass_fds=[their_line.fileno()],
                bufsize=0,
                pipesize=PIPE_BYTES,
            )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self._ends: list[Any] = [self.process.stdin, self.process.stdout]
        self.input, self.output = (end.fileno() for end in self._ends)
        os.set_blocking(self.input, False)
        os.set_blocking(self.output, False)
        self._read, self._write = os.read, os.write

    def _start_over_tcp(self, command: list[str]) -> None:
        """For systems whose child processes cannot inherit sockets."""
        with socket.create_server(("127.0.0.1", 0)) as data, socket.create_server(("127.0.0.1", 0)) as line:
            where = f"127.0.0.1:{data.getsockname()[1]}:{line.getsockname()[1]}"
            self.process = subprocess.Popen([*command, where], stdin=subprocess.DEVNULL, stdout=self._errors, stderr=self._errors)
            data.settimeout(CONNECT_S)
            line.settimeout(CONNECT_S)
            port, _ = data.accept()
            self.line, _ = line.accept()
        port.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, PIPE_BYTES)
        port.setblocking(False)
        self._ends = [port]
        self.input = self.output = port.fileno()
        self._read = lambda _number, most: port.recv(most)
        self._write = lambda _number, data: port.send(data)

    def receive(self) -> bytes:
        """What the board has sent, empty when there is nothing. Raises EOFError when it has gone."""
        try:
            data = self._read(self.output, 4096)
        except BlockingIOError:
            return b""
        if not data:
            raise EOFError
        return data

    def transmit(self, data: bytes) -> int:
        """Bytes the board's input takes now."""
        try:
            return self._write(self.input, data)
        except BlockingIOError:
            return 0

    def send(self, kind: int, content: bytes = b"") -> None:
        """Raises OSError when the process has gone."""
        self.line.sendall(struct.pack(_HEAD, kind, len(content)) + content)

    def answers(self) -> list[tuple[int, int]]:
        """(kind, board time in us) of everything it has said; call when `line` is readable. Raises EOFError when it has gone."""
        got = self.line.recv(4096)
        if not got:
            raise EOFError
        self._answers += got
        size = struct.calcsize(_ANSWER)
        whole = len(self._answers) // size * size
        answers = list(struct.iter_unpack(_ANSWER, self._answers[:whole]))
        self._answers = self._answers[whole:]
        return answers

    def said(self) -> str:
        """What it wrote to its error output, where an interpreter says why it failed."""
        self._errors.seek(0)
        return self._errors.read().decode(errors="replace").strip()

    def close(self) -> int:
        """End the process if it still runs; its exit code."""
        for end in (*self._ends, self.line):
            end.close()
        if self.process.poll() is None:
            self.process.kill()
        code = self.process.wait()
        self._errors.close()
        return code

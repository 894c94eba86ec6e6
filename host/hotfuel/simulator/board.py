"""The simulated board: the firmware, unmodified, in a process of its own, on a serial port that any reader can open.

One thread here controls the time: it gives the process blocks of samples no faster than `speed` allows, and no faster than the reader takes what
the board sends.
"""

import collections
import contextlib
import json
import math
import os
import select
import socket
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from hotfuel.errors import InputError
from hotfuel.simulator import process, wiring
from hotfuel.simulator.feed import Senders, Source, Supply, slices
from hotfuel.simulator.firmware_sources import firmware_folder, wire_folder
from hotfuel.simulator.outgoing import Outgoing
from hotfuel.simulator.port import open_port
from hotfuel.simulator.scratch import ScratchFolder

AHEAD = 3  # slices the process may hold: enough to keep it busy, few enough for a fault to act soon after it is switched on
IDLE_S = 0.02  # how often a port without a reader is checked
EXIT_S = 5.0
KILL_S = 1.0

FIRMWARE_ROM, WIRE_ROM = "/rom_firmware", "/lib/hotfuel_wire"


class SimulatedBoard:
    """A board wired as the firmware's pins.py says, with one thermocouple chip per entry of `chips`.

    source: blocks of samples (see feed.Samples), or an object whose `blocks()` yields them; what the board measures.
    speed: times faster than real time, at most. engine: "micropython", "cpython" or None for the better one installed; `.engine` says which.
    faults: channel -> fault name or names, on from the start. erase_ms: how long erasing a block of flash takes (MicroPython only).
    settings: firmware settings, name -> value, as if stored before. link: "pty", "socket" or None. folder: where the flash is kept, else a new one.
    hold_for_reader: True makes the board's time stand still while nobody takes what it sends; default: at any speed but 1.

    Example::

        with SimulatedBoard(steady([1.0, 2.0, 3.0], [25.0] * 3, seconds=60), speed=20) as board:
            port = serial.serial_for_url(board.device)
    """

    def __init__(
        self,
        source: Source,
        *,
        chips: Sequence[str] = ("MAX31856",) * 3,
        speed: float = 1.0,
        engine: str | None = None,
        faults: Mapping[int, str | Sequence[str]] | None = None,
        erase_ms: int = 0,
        settings: Mapping[str, object] | None = None,
        barometer: str | None = "BMP390",
        clock_chip: str | None = None,
        senders: Senders | None = None,
        link: str | None = None,
        hold_for_reader: bool | None = None,
        folder: Path | None = None,
        firmware: Path | None = None,
        wall_s: float | None = None,
    ) -> None:
        if not 0.01 <= speed <= 65535:
            raise InputError(f"speed is {speed:g}; allowed is 0.01 to 65535 times real time")
        self.engine = process.choose_engine(engine)
        self.chips = tuple(chips)
        self.speed = speed
        self.failure: str | None = None
        self.resets: list[tuple[float, int]] = []  # (time in s of the simulation, exit code) of every end but the last
        self._firmware = firmware or firmware_folder()
        self._wiring = wiring.read(self._firmware)
        self._supply = Supply(slices(source, senders or Senders(), len(self.chips), speed), speed)
        self._chip_rows = self._wiring.rows(self.chips, settings or {}, barometer, clock_chip)
        takes_settings = (self._firmware / "settings.py").is_file()  # some test programs do not
        self._settings = wiring.settings_text(self.chips, settings or {}) if takes_settings else ""
        self._erase_ms = erase_ms
        self._wall_s = time.time() if wall_s is None else wall_s
        self._changes = [
            {"chip": channel, "fault": fault, "on": True}
            for channel, names in (faults or {}).items()
            for fault in ([names] if isinstance(names, str) else names)
        ]
        self._scratch: ScratchFolder | None = None
        if folder is None:
            self._scratch = ScratchFolder()
            folder = self._scratch.path
        self._folder = folder
        self._port = open_port(link)
        self._out = Outgoing(self._port, hold=speed != 1.0 if hold_for_reader is None else hold_for_reader)
        self._over_tcp = (link == "socket" and self.engine == process.CPYTHON) or os.name != "posix"
        self._wake, self._waker = socket.socketpair()
        self._wake.setblocking(False)
        self._orders: collections.deque[tuple[str, Any]] = collections.deque()
        self._stop = threading.Event()
        self._finished = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated board", daemon=True)
        # From here on, used by the thread only.
        self._board: process.BoardProcess | None = None
        self._time_us = 0
        self._boot_us = 0
        self._cause = 1
        self._to_board = b""
        self._kill_s = math.inf

    @property
    def device(self) -> str:
        """What pyserial opens."""
        return self._port.device

    @property
    def finished(self) -> bool:
        """True when the source has ended and the reader has everything the board sent, or when the board could not go on (`failure` says why)."""
        return self._finished.is_set()

    @property
    def time_s(self) -> float:
        """Simulated time that the board has reached, s."""
        return self._time_us / 1e6

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until finished; False if the time ran out first."""
        return self._finished.wait(timeout_s)

    def __enter__(self) -> "SimulatedBoard":
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """End the process, close the port and delete the flash."""
        self._stop.set()
        self._waker.send(b"\x00")
        if self._thread.is_alive():
            self._thread.join(EXIT_S)
        if self._board is not None:
            self._board.close()
            self._board = None
        self._port.close()
        self._wake.close()
        self._waker.close()
        if self._scratch is not None:
            self._scratch.close()

    # What a person could do to the board; may be called at any time

    def fault(self, channel: int | str, name: str, on: bool | int = True, times_us: Sequence[int | None] | None = None) -> None:
        """Switch a fault of a channel's chip (or of "barometer", "clock"): chips/thermocouple.py names them. It persists through resets.
        times_us: the board switches it itself, by its own time (machine/outside.py: Planned)."""
        index = self._wiring.index_of(self._chip_rows, channel)
        self._change({"chip": index, "fault": name, "on": on, "times_us": times_us})

    def bus_stuck(self, bus: str, level: int | None, number: int = 0) -> None:
        """Hold the data line of "spi" or "i2c" at a level; None releases it."""
        self._change({"bus": bus, "number": number, "stuck": level})

    def receiver_says(self, sentence: bytes) -> None:
        """A satellite receiver at the board sends this line now."""
        self._order("change", {"uart": 0, "text": sentence.decode("ascii") + "\r\n"})

    def fail_power_after(self, flash_changes: int) -> None:
        """Power fails in the middle of the n-th flash write or erase from now; the board starts again at once (MicroPython only)."""
        self._order("change", {"flash": {"stop_after": flash_changes}})

    def power_cut(self) -> None:
        """Power fails now, and is back at once."""
        self._order("power_cut", None)

    def reboot(self) -> None:
        """Reset by the reset input: the same as a power cut, because the RP2040 cannot tell them apart."""
        self.power_cut()

    def unplug(self) -> None:
        """Pull the USB plug: the board runs on from the car's supply, and what it sends is lost."""
        self._order("unplug", None)

    def plug(self) -> None:
        """Plug it in again: the port comes back under the same name."""
        self._order("plug", None)

    def _change(self, change: dict[str, Any]) -> None:
        self._order("lasting change", change)

    def _order(self, kind: str, what: Any) -> None:
        self._orders.append((kind, what))
        self._waker.send(b"\x00")

    # The thread

    def _run(self) -> None:
        try:
            self._power_on()
            while not self._stop.is_set():
                self._turn()
        except Exception as error:
            self.failure = self.failure or f"{type(error).__name__}: {error}"
        finally:
            self._finished.set()

    def _power_on(self) -> None:
        board = self._board = process.BoardProcess(self.engine, over_tcp=self._over_tcp)
        self._to_board = b""
        how = {
            "channels": len(self.chips),
            "boot_us": self._boot_us,
            "wall_s": int(self._wall_s),
            "speed": max(1, round(self.speed)),
            "board_id": "simulate",
            "reset_cause": self._cause,
            "hold_for_reader": self._out.hold,
            "chips": self._chip_rows,
            "flash": str(self._folder / ("flash.img" if self.engine == process.MICROPYTHON else "flash")),
            "erase_ms": self._erase_ms,
            "rom": [[str(self._firmware), FIRMWARE_ROM], [str(wire_folder()), WIRE_ROM]],
            "main": FIRMWARE_ROM + "/main.py",
            "settings": self._settings if not self.resets else "",
            "changes": self._changes,
            **self._wiring.pins(),
        }
        board.send(process.CONFIGURATION, json.dumps(how).encode())
        for piece in self._supply.again(self._boot_us):
            self._tell(process.BLOCK, piece.content)
        if self._supply.ended:
            self._tell(process.END)

    def _turn(self) -> None:
        """Wait for whatever happens next, and handle it."""
        board = self._board
        reading = self._port.reading()
        timeout_s = IDLE_S
        if board is not None:
            timeout_s = min(timeout_s, self._feed())
            if time.monotonic() > self._kill_s:
                board.process.kill()
        readable: list[Any] = [self._wake, *self._port.waits()]
        writable: list[Any] = []
        if board is not None:
            readable.append(board.line)
            if self._to_board:
                writable.append(board.input)
        if self._out.pending and reading:
            writable += self._port.room()
        if board is not None and self._out.takes(reading):
            readable.append(board.output)
        can_read, can_write, _ = select.select(readable, writable, [], timeout_s)
        if self._wake in can_read:
            self._obey()
            return
        if any(number in can_read for number in self._port.waits()):
            self._to_board += self._port.read()
        if self._out.pending and reading and any(number in can_write for number in self._port.room()):
            self._out.push()
        if board is not None:
            self._serve(board, can_read, can_write, reading)
        elif self._out.delivered():
            self._finished.set()

    def _serve(self, board: process.BoardProcess, can_read: list[Any], can_write: list[Any], reading: bool) -> None:
        try:
            if board.input in can_write:
                self._to_board = self._to_board[board.transmit(self._to_board) :]
            if board.output in can_read:
                data = board.receive()
                if reading:
                    self._out.put(data)
            if board.line in can_read:
                for kind, board_us in board.answers():
                    self._time_us = self._boot_us + board_us
                    if kind == process.TAKEN:
                        self._supply.taken()
        except (EOFError, OSError):
            self._ended(board)

    def _feed(self) -> float:
        """Send what is due; returns how long until the next slice is due, s."""
        while self._supply.in_hand < AHEAD and not self._supply.ended:
            if self._out.hold and self._out.plugged and not self._port.reading():
                return IDLE_S  # time stands still until a reader comes, so that nothing is lost
            wait_s = self._supply.wait_s()
            if self._supply.ended:
                self._tell(process.END)
            elif wait_s > 0:
                return wait_s
            else:
                self._tell(process.BLOCK, self._supply.hand_out().content)
        return IDLE_S

    def _tell(self, kind: int, content: bytes = b"") -> None:
        if self._board is not None:
            with contextlib.suppress(OSError):  # it has ended; that is noticed when its lines are read
                self._board.send(kind, content)

    def _obey(self) -> None:
        with contextlib.suppress(BlockingIOError):
            self._wake.recv(4096)
        while self._orders:
            kind, what = self._orders.popleft()
            if kind == "unplug":
                self._out.unplug()
            elif kind == "plug":
                self._out.plug()
            elif kind == "power_cut":
                self._kill_s = time.monotonic() + KILL_S  # in case it does not respond
                self._tell(process.CHANGE, b'{"power": "cut"}')
            else:
                if kind == "lasting change":
                    self._changes.append(what)
                self._tell(process.CHANGE, json.dumps(what).encode())

    def _ended(self, board: process.BoardProcess) -> None:
        """The process has ended: because the source ended, by a reset or a power cut, or because it crashed."""
        self._out.begin_to_settle()
        self._drain(board)
        with contextlib.suppress(Exception):
            board.process.wait(EXIT_S)
        said = board.said()
        code = board.close()
        self._board = None
        if code == process.ENDED:
            return
        if code not in (process.RESET_BY_WATCHDOG, process.RESET_SOFT, process.POWER_LOST, -9):
            self.failure = f"the board's process ended with code {code}: {said or 'no message'}"
            return
        self._kill_s = math.inf
        self._boot_us = self._time_us
        if code != process.RESET_SOFT:
            self._cause = 3 if code == process.RESET_BY_WATCHDOG else 1
        self._out.reset()
        self.resets.append((self.time_s, code))  # now that the port is back
        self._power_on()

    def _drain(self, board: process.BoardProcess) -> None:
        """Read the last that it sent and reported."""
        with contextlib.suppress(OSError, EOFError):
            while data := board.receive():
                self._out.put_last(data)
        with contextlib.suppress(OSError, EOFError):
            board.line.setblocking(False)
            while True:
                for _, board_us in board.answers():
                    self._time_us = self._boot_us + board_us

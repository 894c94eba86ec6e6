"""The host's side of the emulated board's USB: bytes in, bytes out, a host that stops reading, a pseudo-terminal for other programs."""

import os
import pty
import select
import signal
import time
import tty
from collections.abc import Callable
from typing import Any

PACKET = 64
READ_AT_ONCE = 4096
PAUSE_S = 0.02


class UsbHost:
    """`received`: what the board sent and has not been taken yet. `at_ns`: the time of each packet, with its size."""

    def __init__(self, device: Any) -> None:
        self.received = bytearray()
        self.at_ns: list[tuple[int, int]] = []
        self.connected = False
        self.reading = True
        self._cdc = device.cdc
        self._usb = device.cdc.usb
        self._clock = device.mcu.clock
        self._to_send = bytearray()
        self._waiting: tuple[int, int] | None = None  # the board's pending read for which the host has no data
        self._held: list[Callable[[], None]] = []
        self._cdc.on_device_connected = self._connected
        self._cdc.on_serial_data = self._data
        self._answer_no_empty_reads()
        self._let_the_host_stop()

    def write(self, data: bytes) -> None:
        """Queue bytes for the board; they are sent as it takes them."""
        self._to_send += data
        self.feed()

    def take(self) -> bytes:
        """What has come since the last call."""
        data, self.received = bytes(self.received), bytearray()
        return data

    def read_on(self, reading: bool) -> None:
        """False: the host stops requesting data, like a program that does not read its port."""
        self.reading = reading
        if reading:
            held, self._held = self._held, []
            for deliver in held:
                deliver()

    def _connected(self) -> None:
        self.connected = True

    def _data(self, buffer: bytes) -> None:
        if buffer:
            self.received += buffer
            self.at_ns.append((int(self._clock.nanos), len(buffer)))

    def _answer_no_empty_reads(self) -> None:
        """Leave the board's reads pending while there is no data.

        The emulator would answer each with an empty packet at once and the board would read again without end: three times
        slower, and never idle. A real host sends nothing then.
        """
        answer = self._usb.on_endpoint_read

        def on_read(endpoint: int, size: int) -> None:
            if endpoint and endpoint == self._cdc._out_endpoint and self._cdc.tx_fifo.empty:
                self._waiting = (endpoint, size)
                self.feed()
            else:
                answer(endpoint, size)

        self._usb.on_endpoint_read, self._answer = on_read, answer

    def _let_the_host_stop(self) -> None:
        ready, reset = self._usb._indicate_buffer_ready, self._usb.on_reset

        def buffer_ready(endpoint: int, out: bool) -> None:
            if endpoint and not out and not self.reading:
                self._held.append(lambda: ready(endpoint, out))
            else:
                ready(endpoint, out)

        def gate(schedule: Callable[[Any, int], None]) -> Callable[[Any, int], None]:
            def gated(buffer: Any, delay_ns: int) -> None:
                if self.reading:
                    schedule(buffer, delay_ns)
                else:
                    self._held.append(lambda: schedule(buffer, delay_ns))

            return gated

        def on_reset() -> None:
            self._waiting, self._held, self.connected = None, [], False
            self._to_send.clear()
            reset()

        self._usb._indicate_buffer_ready, self._usb.on_reset = buffer_ready, on_reset
        for endpoint, alarm in enumerate(self._usb.endpoint_write_alarms):
            if endpoint:
                alarm.schedule = gate(alarm.schedule)

    def feed(self) -> None:
        """Hand over as much as the board is ready for."""
        fifo = self._cdc.tx_fifo
        while self._to_send and fifo.item_count < PACKET:
            fifo.push(self._to_send.pop(0))
        if self._waiting and not fifo.empty:
            waiting, self._waiting = self._waiting, None
            self._answer(*waiting)


def serve(board: Any, program: Callable[[str], int], most_s: float) -> int | None:
    """Run the board behind a pseudo-terminal while `program(its path)` runs in a child process; returns the program's exit code.

    None: the board's power was cut meanwhile, and the program ended. Raises TimeoutError after `most_s` seconds of real time.
    """
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    path = os.ttyname(theirs)
    child = os.fork()
    if child == 0:
        code = 1
        os.setsid()  # so that processes it starts end with it
        try:
            os.close(ours)
            code = program(path)
        finally:
            os._exit(code)
    begun, board_began = time.monotonic(), board.now_s
    end = begun + most_s
    out = bytearray()
    try:
        while True:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            if board.flash.is_cut or time.monotonic() > end:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                if board.flash.is_cut:
                    return None
                raise TimeoutError(f"the program had not ended after {most_s:.0f} s")
            board.step()
            out += board.usb.take()
            ahead_s = board.now_s - board_began - (time.monotonic() - begun)  # an idle board is faster than real time
            readable, writable, _ = select.select([ours], [ours] if out else [], [], min(max(0.0, ahead_s), PAUSE_S))
            if readable:
                board.usb.write(os.read(ours, READ_AT_ONCE))
            if writable:
                del out[: os.write(ours, out)]
            board.usb.feed()
    finally:
        os.close(ours)
        os.close(theirs)

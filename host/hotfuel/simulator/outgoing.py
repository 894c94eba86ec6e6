"""What the simulated board sends over USB, until the reader of its port has taken it. Used by the board's thread only."""

import math
import time

from hotfuel.simulator.port import Port

LAST_BYTES_S = 1.0
SETTLED_S = 0.05


class Outgoing:
    """Bytes from the board to its port.

    hold: True keeps bytes, and so the board's time, while nobody reads; False loses them, as a real board's port does.
    plugged: whether the USB plug is in. pending: bytes for which the port had no room yet.
    """

    def __init__(self, port: Port, hold: bool) -> None:
        self.hold = hold
        self.plugged = True
        self.pending = b""
        self._port = port
        self._unread_s = -math.inf  # when the reader last had unread data

    def takes(self, reading: bool) -> bool:
        """Whether the board may send more now. reading: whether somebody reads the port."""
        return len(self.pending) == 0 and (reading or not self.plugged or not self.hold)

    def put(self, data: bytes) -> None:
        """Send, and keep what the port has no room for."""
        self.pending = data[self._port.write(data) :]

    def push(self) -> None:
        """Send what is pending, as far as the port has room."""
        self.put(self.pending)

    def put_last(self, data: bytes) -> None:
        """Keep what a board sent before it ended; without a reader only if bytes are held for one."""
        self.pending += data if self.hold or self._port.reading() else b""

    def unplug(self) -> None:
        """Pull the USB plug: what is pending is lost."""
        self.plugged = False
        self._port.unplug()
        self.pending = b""

    def plug(self) -> None:
        """Plug it in again."""
        self._port.plug()
        self.plugged = True

    def reset(self) -> None:
        """A board that resets leaves the USB bus and comes back; the reader gets what is left first, because a closed port discards it."""
        if not self.plugged:
            return
        until = time.monotonic() + LAST_BYTES_S
        while self._port.reading() and not self.delivered() and time.monotonic() < until:
            if self.pending:
                self.push()
            time.sleep(0.005)
        if not self.hold:
            self.pending = b""
        self._port.unplug()
        self._port.plug()

    def begin_to_settle(self) -> None:
        """Start the wait of `delivered` anew."""
        self._unread_s = time.monotonic()

    def delivered(self) -> bool:
        """True once the reader, if there is one, has had everything for a moment: data just written does not show as unread at once."""
        if self.pending or (self._port.reading() and self._port.unread()):
            self._unread_s = time.monotonic()
        return time.monotonic() - self._unread_s > SETTLED_S

"""Splits a satellite receiver's bytes (NMEA 0183) into sentences. Checks only where they begin and end; their contents are read later."""

from collections.abc import Callable
from functools import partial

from hotfuel.link import port as ports
from hotfuel.link.receive import Link

SENTENCE_MAX = 120  # bytes; the standard allows 82 with $ and the line end, receivers exceed it
BAUD = 9600  # usual; the standard says 4800
_FIRST, _LAST = 0x20, 0x7E


class SentenceReader:
    """`feed` takes bytes in blocks of any size and returns whole sentences, from $ to the end of the line. `bytes_dropped` counts all other bytes."""

    def __init__(self) -> None:
        self._line: bytearray | None = None
        self.bytes_dropped = 0

    def feed(self, data: bytes) -> list[bytes]:
        """The sentences that `data` completes. Drops a sentence that is interrupted by $ or a control character, or longer than SENTENCE_MAX."""
        found = []
        for byte in data:
            if byte == ord("$"):
                self.bytes_dropped += len(self._line or b"")
                self._line = bytearray(b"$")
            elif self._line is None:
                self.bytes_dropped += byte not in b"\r\n"
            elif byte in b"\r\n":
                found.append(bytes(self._line))
                self._line = None
            elif _FIRST <= byte <= _LAST and len(self._line) < SENTENCE_MAX:
                self._line.append(byte)
            else:
                self.bytes_dropped += len(self._line) + 1
                self._line = None
        return found


class Receiver:
    """A receiver at a second port: reconnects by itself. Opening it raises LinkError for a wrong port; after that nothing raises."""

    def __init__(self, url: str, baud: int = BAUD, open_port: Callable[[str], ports.Port] | None = None) -> None:
        self._link = Link(url, open_port=open_port or partial(ports.open_port, baud=baud))
        self._reader = SentenceReader()

    @property
    def url(self) -> str:
        """The port's name."""
        return self._link.url

    @property
    def connected(self) -> bool:
        """True while its port is open."""
        return self._link.connected

    @property
    def bytes_dropped(self) -> int:
        """Bytes outside any sentence."""
        return self._reader.bytes_dropped

    def sentences(self) -> list[bytes]:
        """The sentences received since the last call; does not wait."""
        return self._reader.feed(self._link.read(0.0))

    def close(self) -> None:
        """Close the port."""
        self._link.close()

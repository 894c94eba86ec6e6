"""A log message by message as it arrives: the same answers as `decode` gives for the whole."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader

from hotfuel.samples.boots import Boots


@dataclass(frozen=True)
class Message:
    """One message: `values` as hotfuel_wire.codec.unpack gives them, and the time s since boot `boot` (nan: a host frame before any board frame)."""

    name: str
    values: dict[str, Any]
    boot: int
    time_s: float
    description_id: int | None = None  # of a description: its own


class Stream:
    """Takes bytes, or payloads, in log order; what cannot be read is counted, never raised."""

    def __init__(self) -> None:
        self.frames = FrameReader()
        self.unknown_types: dict[int, int] = {}
        self.payloads_misfit = 0
        self._boots = Boots()

    def feed(self, data: bytes) -> Iterator[Message]:
        """The messages completed by `data`."""
        for payload in self.frames.feed(data):
            message = self.take(payload)
            if message is not None:
                yield message

    def take(self, payload: bytes) -> Message | None:
        """One payload's message; None if this version cannot read it."""
        try:
            name, values = codec.unpack(payload)
        except codec.UnknownType:
            kind = payload[0] & 0x7F
            self.unknown_types[kind] = self.unknown_types.get(kind, 0) + 1
            return None
        except codec.WireError:
            self.payloads_misfit += 1
            return None
        key = (values["board_id"], values["boot_count"]) if name == "description" else None
        boot, time_s = self._boots.step(values["type"], values["tick"], values["time_ms"], values.get("description_id"), key)
        return Message(name, values, boot, time_s, codec.description_id(payload) if name == "description" else None)

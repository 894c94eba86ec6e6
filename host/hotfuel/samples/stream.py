"""A log as it arrives, message by message or with its readings as rows: the same results as `decode` gives for the whole log."""

import math
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from hotfuel_wire import codec
from hotfuel_wire.codec import LAYOUTS
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.samples import table
from hotfuel.samples.boots import Boots
from hotfuel.samples.build import ends_well, scans_of

ROWS_MAX = 600  # readings returned together; more gain nothing
_READING = LAYOUTS[TYPES["reading"]]
_FIELDS = [row[0] for row in _READING.fixed]


@dataclass(frozen=True)
class Message:
    """One message: `values` as hotfuel_wire.codec.unpack gives them, and the time s since boot `boot` (nan: a host frame before any board frame)."""

    name: str
    values: dict[str, Any]
    boot: int
    time_s: float
    description_id: int | None = None  # of a description: its own


@dataclass(frozen=True)
class _Reading:
    """A reading's payload, not yet unpacked."""

    payload: bytes
    boot: int
    time_s: float
    description_id: int


class Stream:
    """Takes bytes, or payloads, in log order; what cannot be read is counted, never raised."""

    def __init__(self) -> None:
        self.frames = FrameReader()
        self.unknown_types: dict[int, int] = {}
        self.payloads_misfit = 0
        self._boots = Boots()
        self._described: set[int] = set()
        self._boot = -1  # of the readings returned last

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

    def batches(self, payloads: Iterable[bytes]) -> Iterator[Message | np.ndarray]:
        """Readings as rows of `table.scans`, all of one boot and description; every other message by itself.

        A batch is returned before anything that could change its meaning (another boot, a description), after ROWS_MAX readings, and when `payloads`
        end. Other messages do not wait for it, except the first of a boot: what is returned first says where the boot's time begins. `known` is true
        where the description has been seen in this stream.
        """
        waiting: list[_Reading] = []
        for payload in payloads:
            one = self._reading(payload) if payload[0] & ~SATURATED == _READING.number else self.take(payload)
            if one is None:
                continue
            if isinstance(one, _Reading):
                if waiting and (one.boot, one.description_id) != (waiting[0].boot, waiting[0].description_id):
                    yield self._rows(waiting)
                    waiting = []
                waiting.append(one)
            elif waiting and (one.name == "description" or (one.boot != self._boot and math.isfinite(one.time_s))):
                yield self._rows(waiting)
                waiting = []
            if len(waiting) >= ROWS_MAX:
                yield self._rows(waiting)
                waiting = []
            if isinstance(one, Message):
                if one.description_id is not None:
                    self._described.add(one.description_id)
                yield one
        if waiting:
            yield self._rows(waiting)

    def _reading(self, payload: bytes) -> _Reading | None:
        """A reading with the time of its header; None, and counted, if it ends too soon."""
        if len(payload) < _READING.size:
            self.payloads_misfit += 1
            return None
        head = dict(zip(_FIELDS, struct.unpack_from(_READING.format, payload), strict=True))
        if not ends_well(_READING, len(payload) - _READING.size - head[table.COUNT] * _READING.group_size):
            self.payloads_misfit += 1
            return None
        boot, time_s = self._boots.step(_READING.number, head["tick"], head["time_ms"], head["description_id"], None)
        return _Reading(payload, boot, time_s, head["description_id"])

    def _rows(self, waiting: list[_Reading]) -> np.ndarray:
        self._boot = waiting[0].boot
        rows = scans_of([one.payload for one in waiting], waiting[0].boot, np.array([one.time_s for one in waiting]))
        rows["known"] = waiting[0].description_id in self._described
        return rows

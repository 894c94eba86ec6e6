"""numpy tables of what the wire carries, derived from hotfuel_wire.messages; nobody types a field twice."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from hotfuel_wire.codec import LAYOUTS, Layout
from hotfuel_wire.messages import HEADER, TYPES

_NUMPY = {
    "u8": "u1",
    "u16": "<u2",
    "u32": "<u4",
    "u64": "<u8",
    "i8": "i1",
    "i16": "<i2",
    "i32": "<i4",
    "i64": "<i8",
    "text12": "S12",
    "id8": "V8",
}


def placed(places: Mapping[str, tuple[Any, int]], itemsize: int) -> np.dtype:
    """A row of fields at given offsets: name -> (type, offset)."""
    return np.dtype(
        {
            "names": list(places),
            "formats": [np.dtype(kind) for kind, _ in places.values()],
            "offsets": [offset for _, offset in places.values()],
            "itemsize": itemsize,
        }
    )


def place(row: np.dtype, name: str) -> tuple[np.dtype, int]:
    """(type, offset) of a field in a row."""
    assert row.fields is not None
    return row.fields[name][:2]


def _wire_dtype(rows) -> np.dtype:
    """Rows as they lie on the wire, packed."""
    return np.dtype([(row[0], _NUMPY[row[1]]) for row in rows])


# type number -> the fixed part of its payload, header included, as it lies on the wire
WIRE: dict[int, np.dtype] = {number: _wire_dtype(layout.fixed) for number, layout in LAYOUTS.items()}
HEADER_SIZE = _wire_dtype(HEADER).itemsize
_READING = LAYOUTS[TYPES["reading"]]
# one channel's part of a reading, as it lies on the wire
CHANNEL = _wire_dtype(_READING.group)


def _readings_dtype() -> np.dtype:
    """28 bytes a row. What a frame's rows share stands in front and what one channel sent stands together, so that each is one copy."""
    own = {name: (CHANNEL[name], 20 + place(CHANNEL, name)[1]) for name in CHANNEL.names or ()}
    places = {
        "time": ("<f8", 0),
        "tick": ("<u4", 8),
        "boot": ("<u2", 16),
        "description_id": ("<u4", 12),
        "channel": ("u1", 20 + CHANNEL.itemsize),
        **own,
        "saturated": ("?", 18),
        "known": ("?", 19),
    }
    return placed(places, 21 + CHANNEL.itemsize)


# One row per reading and channel: time (s since that boot), tick, boot (0, 1, .. boots seen in this log), description_id, channel, hot, cold, status,
# saturated (the board had to change a number), known (the description it names is in the log).
READINGS = _readings_dtype()


def _message_dtype(layout: Layout) -> np.dtype:
    fields: list[tuple[str, str]] = [("boot", "<u2"), ("time", "<f8")]
    fields += [(row[0], _NUMPY[row[1]]) for row in layout.fixed if row[0] != "type"]
    if layout.name == "description":
        fields.append(("description_id", "<u4"))
    elif layout.tail:
        fields.append((layout.tail[0], "O"))
    return np.dtype([*fields, ("saturated", "?")])


# message name -> one row per message: boot, time (s since that boot, nan for a host frame before any board frame), the header's tick and time_ms, its
# own fields, its bytes as an object; for a description its id in place of the channels. Readings have their own table.
MESSAGES: dict[str, np.dtype] = {layout.name: _message_dtype(layout) for layout in LAYOUTS.values() if layout.name != "reading"}

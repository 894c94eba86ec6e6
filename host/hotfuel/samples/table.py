"""numpy tables of what the wire carries, derived from hotfuel_wire.messages; no field is declared twice."""

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from hotfuel_wire.codec import LAYOUTS, Layout
from hotfuel_wire.messages import HEADER, TYPES
from numpy.lib.stride_tricks import as_strided

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


def at_offsets(fields: Mapping[str, tuple[Any, int]], itemsize: int) -> np.dtype:
    """A row of fields at given offsets: name -> (type, offset)."""
    formats: list[np.dtype] = [np.dtype(kind) for kind, _ in fields.values()]
    offsets = [offset for _, offset in fields.values()]
    return np.dtype({"names": list(fields), "formats": formats, "offsets": offsets, "itemsize": itemsize})


def field(row: np.dtype, name: str) -> tuple[np.dtype, int]:
    """(type, offset) of a field in a row."""
    assert row.fields is not None
    return row.fields[name][:2]


def _wire_dtype(rows) -> np.dtype:
    """Rows as they lie on the wire, packed."""
    return np.dtype([(row[0], _NUMPY[row[1]]) for row in rows])


WIRE: dict[int, np.dtype] = {number: _wire_dtype(layout.fixed) for number, layout in LAYOUTS.items()}
"""Type number -> the fixed part of its payload, header included, as it lies on the wire."""
HEADER_SIZE = _wire_dtype(HEADER).itemsize
BEFORE_TICK = field(_wire_dtype(HEADER), "tick")[1]
_READING = LAYOUTS[TYPES["reading"]]
assert _READING.tail is not None
COUNT: str = _READING.tail[2]
"""The field of a reading that says how many channels it has."""
CHANNEL = _wire_dtype(_READING.group)
"""One channel's part of a reading, as it lies on the wire."""


def _shared_dtype() -> np.dtype:
    fields: dict[str, tuple[Any, int]] = {
        "time": ("<f8", 0),
        "tick": ("<u4", 8),
        "description_id": ("<u4", 12),
        "boot": ("<u2", 16),
        "saturated": ("?", 18),
        "known": ("?", 19),
        "width": ("u1", 20),
    }
    end = 21
    for row in _READING.later:
        fields[row[0]] = (_NUMPY[row[1]], end)
        end += np.dtype(_NUMPY[row[1]]).itemsize
    return at_offsets(fields, end)


SHARED = _shared_dtype()
"""What comes before a reading's channels, copied as one: time (s since that boot), tick, description_id, boot (0, 1, .. boots seen in this
log), saturated (the board had to change a number), known (the description it names is in the log), width (how many channels were sent), and what
later versions put after the channels."""


@lru_cache
def scans(channels: int) -> np.dtype:
    """One row a reading: SHARED and, side by side, `channels` as they lie on the wire (hot, cold, status); those from `width` on are zero."""
    shared = {name: field(SHARED, name) for name in SHARED.names or ()}
    size = SHARED.itemsize + channels * CHANNEL.itemsize
    return at_offsets(shared | {"channels": ((CHANNEL, (channels,)), SHARED.itemsize)}, -(-size // 8) * 8)


def _readings_dtype() -> np.dtype:
    fields = {name: field(SHARED, name) for name in SHARED.names or ()}
    fields["channel"] = fields["width"]
    fields |= {name: (CHANNEL[name], SHARED.itemsize + field(CHANNEL, name)[1]) for name in CHANNEL.names or ()}
    later = [row[0] for row in _READING.later]
    columns = "time", "tick", "boot", "description_id", "channel", *(CHANNEL.names or ()), "saturated", "known", *later
    return at_offsets({name: fields[name] for name in columns}, SHARED.itemsize + CHANNEL.itemsize)


READINGS = _readings_dtype()
"""One row per reading and channel: SHARED's, the channel's number in place of `width`, and its hot, cold, status."""


def readings(rows: np.ndarray) -> np.ndarray:
    """READINGS out of a table of scans, in the same order, the channels of each in turn."""
    channels = rows.dtype["channels"].shape[0]
    long = np.empty((len(rows), channels), READINGS)
    span(long, 0, SHARED.itemsize)[:] = span(rows, 0, SHARED.itemsize)[:, None]
    span(long, SHARED.itemsize, CHANNEL.itemsize)[:] = rows["channels"].view(f"V{CHANNEL.itemsize}")
    long["channel"] = np.arange(channels)
    whole = bool((rows["width"] == channels).all())
    return long.reshape(-1) if whole else long[long["channel"] < rows["width"][:, None]]


def span(rows: np.ndarray, at: int, size: int) -> np.ndarray:
    """`size` bytes of every row, from byte `at` on, as one element: copied far faster than field by field.

    In rows that hold objects too a field has to begin at `at`, and no object may be among the bytes.
    """
    if rows.dtype.hasobject:  # numpy cannot view such rows as bytes, only one of their fields
        first = rows[next(name for name in rows.dtype.names or () if field(rows.dtype, name)[1] == at)]
        one = as_strided(first, (len(rows), 1), (rows.strides[0], first.itemsize)).view(np.uint8)
        return as_strided(one, (len(rows), size), (rows.strides[0], 1)).view(f"V{size}")[:, 0]
    return rows.view(_span_dtype(at, size, rows.dtype.itemsize))["span"]


@lru_cache
def _span_dtype(at: int, size: int, itemsize: int) -> np.dtype:
    return at_offsets({"span": (f"V{size}", at)}, itemsize)


def _message_dtype(layout: Layout) -> np.dtype:
    fields: list[tuple[str, str]] = [("boot", "<u2"), ("time", "<f8")]
    fields += [(row[0], _NUMPY[row[1]]) for row in layout.fixed if row[0] != "type"]
    if layout.name == "description":
        fields.append(("description_id", "<u4"))
    elif layout.tail:
        fields.append((layout.tail[0], "O"))
    fields += [(row[0], _NUMPY[row[1]]) for row in layout.later]
    return np.dtype([*fields, ("saturated", "?")])


GROUPS: dict[str, np.dtype] = {
    layout.name: _wire_dtype(layout.group)
    for layout in LAYOUTS.values()
    if layout.group and layout.name not in ("reading", "description")
}
"""Message name -> what it repeats, as it lies on the wire; in MESSAGES these groups are kept as received, in bytes."""


def packed(name: str, groups: Sequence[Mapping[str, Any]]) -> bytes:
    """The groups of one message, as hotfuel_wire.codec.unpack gives them, as the bytes that MESSAGES holds."""
    row = GROUPS[name]
    return np.array([tuple(one[field] for field in row.names or ()) for one in groups], row).tobytes()


def later(layout: Layout, payloads: np.ndarray, count: int) -> Iterator[tuple[str, Any]]:
    """(name, values) of a message's later fields, from payloads (one a row) whose group or bytes repeat `count` times; the default where they end before."""
    end = layout.size + count * layout.group_size
    for name, kind, _, _, default in layout.later:
        begin, end = end, end + np.dtype(_NUMPY[kind]).itemsize
        yield name, payloads[:, begin:end].view(_NUMPY[kind])[:, 0] if payloads.shape[1] >= end else _as_column(kind, default)


def _as_column(kind: str, default: Any) -> Any:
    """A declared default as numpy takes it: byte strings padded to their field's length."""
    width = np.dtype(_NUMPY[kind]).itemsize
    return np.void(default.ljust(width, b"\0")) if _NUMPY[kind].startswith("V") else default


MESSAGES: dict[str, np.dtype] = {layout.name: _message_dtype(layout) for layout in LAYOUTS.values() if layout.name != "reading"}
"""Message name -> one row per message: boot, time (s since that boot, nan for a host frame before any board frame), the header's tick and time_ms, its
own fields, its bytes as an object; for a description its id in place of the channels. Readings have their own table."""


def row(name: str, boot: int, time_s: float, values: Mapping[str, Any]) -> np.void:
    """One message, as hotfuel_wire.codec.unpack gives it, as a row of MESSAGES; without a description's channels."""
    kind, layout = MESSAGES[name], LAYOUTS[TYPES[name]]
    told = {"boot": boot, "time": time_s, **values}
    if name in GROUPS and layout.tail:
        told[layout.tail[0]] = packed(name, values[layout.tail[0]])
    answer: np.void = np.array([tuple(told[field] for field in kind.names or ())], kind)[0]
    return answer

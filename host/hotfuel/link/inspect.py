"""The bytes of a log for people, frame by frame and field by field: a construct declaration derived from hotfuel_wire.messages, a second reader of the wire."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from construct import (
    Array,
    Bytes,
    Computed,
    Construct,
    Container,
    GreedyBytes,
    Int8sl,
    Int8ul,
    Int16sl,
    Int16ul,
    Int32sl,
    Int32ul,
    Int64sl,
    Int64ul,
    Struct,
    Subconstruct,
    stream_size,
    stream_tell,
    this,
)
from construct.core import ConstructError
from hotfuel_wire import framing
from hotfuel_wire.kinds import KINDS
from hotfuel_wire.meanings import FIELDS
from hotfuel_wire.messages import HEADER, MESSAGES, SATURATED

from hotfuel.errors import InputError
from hotfuel.text import counted

_NUMBERS = {
    "u8": Int8ul,
    "u16": Int16ul,
    "u32": Int32ul,
    "u64": Int64ul,
    "i8": Int8sl,
    "i16": Int16sl,
    "i32": Int32sl,
    "i64": Int64sl,
}

UNREAD = "unread"  # bytes that a newer version wrote after the last field known here


class _Later(Subconstruct):
    """A field of a later version: its default if the payload ends before it."""

    def __init__(self, subcon: Construct, default) -> None:
        super().__init__(subcon)
        self.default = default

    def _parse(self, stream, context, path):
        ended = stream_tell(stream, path) == stream_size(stream)
        return self.default if ended else self.subcon._parsereport(stream, context, path)


def _field(row) -> Construct:
    name, kind, third, rows = row[:4]
    if kind == "group":
        return name / Array(this[third], Struct(*[_field(inner) for inner in rows]))
    if kind == "bytes":
        return name / Bytes(this[third])
    field = _NUMBERS[kind] if kind in _NUMBERS else Bytes(KINDS[kind][1])
    return name / (_Later(field, row[4]) if len(row) == 5 else field)


def _message(name: str, rows) -> Struct:
    return Struct("message" / Computed(name), *[_field(row) for row in HEADER + rows], UNREAD / GreedyBytes)


# type number -> construct Struct of the whole payload
PAYLOADS: dict[int, Struct] = {number: _message(name, rows) for number, (name, rows) in MESSAGES.items()}


def view(payload: bytes) -> Container:
    """A payload as a construct Container: `message` (its name), every field as sent and, under UNREAD, the bytes after the last known field.

    Raises InputError for an unknown type or a payload that does not fit its message.
    """
    number = payload[0] & ~SATURATED if payload else 0
    if number not in PAYLOADS:
        raise InputError(f"message type {number} is not known here; this version knows {sorted(PAYLOADS)}")
    try:
        return PAYLOADS[number].parse(payload)
    except ConstructError as error:
        raise InputError(
            f"this {MESSAGES[number][0]} payload of {len(payload)} bytes does not fit: {str(error).splitlines()[0]}"
        ) from None


def lines(payload: bytes) -> list[str]:
    """A payload written out for a person: one field a line with its unit and its meaning. Raises InputError as `view` does."""
    seen = view(payload)
    number = payload[0] & ~SATURATED
    name, rows = MESSAGES[number]
    result = [name]
    for row in HEADER + rows:
        section = "header" if row in HEADER else name
        result += _written(seen[row[0]], row, f"{section}.{row[0]}")
    if seen[UNREAD]:
        result.append(f"  {counted(len(seen[UNREAD]), 'byte')} more, of a newer version: {seen[UNREAD].hex(' ')}")
    return result


def _written(value, row, path: str) -> list[str]:
    name, kind, third, rows = row[:4]
    if kind == "group":
        return [
            line
            for number, entry in enumerate(value)
            for line in [
                f"  {name}[{number}]",
                *["  " + text for inner in rows for text in _written(entry[inner[0]], inner, f"{path}.{inner[0]}")],
            ]
        ]
    shown = (
        value.rstrip(b"\0").decode("ascii", "backslashreplace")
        if kind == "text12"
        else value.hex(" ")
        if isinstance(value, bytes)
        else value
    )
    unit = "" if kind == "bytes" or third is None else f" {third}"
    return [f"  {name} = {shown}{unit}   {FIELDS[path]}"]


@dataclass(frozen=True)
class Seen:
    """The bytes between two zeros of a log. at: position of the first. name: the message's; "" if it cannot be read, and `problem` says why."""

    at: int
    raw: bytes
    name: str
    values: dict[str, Any]
    lines: list[str]
    problem: str = ""


def names(wanted: Iterable[str]) -> set[str]:
    """The names as a set. Raises InputError, with the allowed names, if one is not a message's."""
    known = {name for name, _ in MESSAGES.values()}
    unknown = sorted(set(wanted) - known)
    if unknown:
        raise InputError(f"there is no message {unknown[0]}; there are {', '.join(sorted(known))}")
    return set(wanted)


def frames(blocks: Iterable[bytes], first: int = 0) -> Iterator[Seen]:
    """Every frame or damaged piece that begins at or after byte `first`, in log order. blocks: the log in blocks of any size."""
    at, rest = 0, b""
    for data in blocks:
        *pieces, rest = (rest + data).split(b"\0")
        for piece in pieces:
            if piece and at >= first:
                yield _seen(at, piece)
            at += len(piece) + 1
    if rest and at >= first:
        yield _seen(at, rest)


def _seen(at: int, piece: bytes) -> Seen:
    try:
        payload = framing.decode(piece)
        container = view(payload)
    except (framing.FrameError, InputError) as error:
        shown = piece[:48].hex(" ") + (" ..." if len(piece) > 48 else "")
        return Seen(
            at, piece, "", {}, [f"byte {at}: {counted(len(piece), 'byte')}, no message: {error}", f"  {shown}"], str(error)
        )
    told = lines(payload)
    return Seen(at, piece, container["message"], _plain(container), [f"byte {at}: {told[0]}, {len(payload)} bytes", *told[1:]])


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items() if name not in ("_io", "message", UNREAD)}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return value.hex(" ") if isinstance(value, bytes) else value

"""Payloads to values and back, derived from messages.py.

A number that does not fit: the host raises, the board saturates it and marks the payload.
"""

import binascii
import struct

from hotfuel_wire.kinds import KINDS
from hotfuel_wire.messages import HEADER, MESSAGES, PAYLOAD_MAX, SATURATED, TYPES


class WireError(ValueError):
    """A payload or value does not fit the declaration. The message says what was seen and what is allowed."""


class UnknownType(WireError):
    """A payload of a type this version does not know: a newer protocol, not damage."""


def _format(rows):
    return "<" + "".join([KINDS[row[1]][0] for row in rows])


class Layout:
    """One message's rows: the fixed part, the repeated part (`tail`), and the fields that later versions appended (`later`)."""

    def __init__(self, name, number, rows):
        self.name = name
        self.number = number
        end = len(rows)
        while len(rows[end - 1]) == 5:
            end -= 1
        self.later = rows[end:]
        rows = rows[:end]
        self.tail = rows[-1] if rows[-1][1] in ("group", "bytes") else None
        self.fixed = HEADER + (rows[:-1] if self.tail else rows)
        self.format = _format(self.fixed)
        self.size = struct.calcsize(self.format)
        self.group = self.tail[3] if self.tail and self.tail[1] == "group" else None
        self.group_format = _format(self.group) if self.group else None
        self.group_size = struct.calcsize(self.group_format) if self.group else 1


LAYOUTS = {number: Layout(name, number, rows) for number, (name, rows) in MESSAGES.items()}


def _fit(row, value, saturate, message):
    """(the number to send, whether it was changed to fit)."""
    field, kind = row[0], row[1]
    _, size, least, greatest = KINDS[kind]
    if least is None:
        value = bytes(value)
        if len(value) <= size:
            return value, False
        if saturate:
            return value[:size], True
        raise WireError("%s.%s has %d bytes; %s holds at most %d" % (message, field, len(value), kind, size))
    if least <= value <= greatest:
        return value, False
    if saturate:
        return (least if value < least else greatest), True
    raise WireError("%s.%s is %d; %s holds %d to %d" % (message, field, value, kind, least, greatest))


def pack_into(buffer, name, values, saturate=False):
    """Write message `name` with the dict `values` (groups: a list of dicts; byte fields: bytes) into `buffer`; returns the payload's length.

    Fills in `type` and the counting field. Writes the later fields up to the last one in `values`. saturate: True on the board. Raises WireError if a
    number does not fit and `saturate` is False, KeyError for a missing field.
    """
    layout = LAYOUTS[TYPES[name]]
    changed = False
    repeated = values[layout.tail[0]] if layout.tail else ()
    later = layout.later
    while later and later[-1][0] not in values:
        later = later[:-1]
    room = PAYLOAD_MAX - layout.size
    for row in later:
        room -= KINDS[row[1]][1]
    most = room // layout.group_size
    if len(repeated) > most:
        if not saturate:
            raise WireError("%s.%s has %d entries; at most %d fit" % (name, layout.tail[0], len(repeated), most))
        repeated = repeated[:most]
        changed = True
    numbers = []
    for row in layout.fixed:
        if row[0] == "type":
            number = layout.number
        elif layout.tail and row[0] == layout.tail[2]:
            number = len(repeated)
        else:
            number, cut = _fit(row, values[row[0]], saturate, name)
            changed = changed or cut
        numbers.append(number)
    struct.pack_into(layout.format, buffer, 0, *numbers)
    at = layout.size
    if layout.group:
        for entry in repeated:
            numbers = []
            for row in layout.group:
                number = entry[row[0]]
                _, _, least, greatest = KINDS[row[1]]
                if least is None or not least <= number <= greatest:
                    number, cut = _fit(row, number, saturate, name)
                    changed = changed or cut
                numbers.append(number)
            struct.pack_into(layout.group_format, buffer, at, *numbers)
            at += layout.group_size
    elif repeated:
        buffer[at : at + len(repeated)] = repeated
        at += len(repeated)
    for row in later:
        number, cut = _fit(row, values.get(row[0], row[4]), saturate, name)
        changed = changed or cut
        letter, size = KINDS[row[1]][:2]
        struct.pack_into("<" + letter, buffer, at, number)
        at += size
    if changed:
        buffer[0] |= SATURATED
    return at


def pack(name, values, saturate=False):
    """The payload of message `name` as bytes; see pack_into."""
    buffer = bytearray(PAYLOAD_MAX)
    return bytes(buffer[: pack_into(buffer, name, values, saturate)])


def unpack(payload):
    """(message name, dict of values) of a payload. `values["saturated"]` says whether the board had to change a number to fit.

    Later fields missing at the payload's end get their defaults; bytes after the last known field are ignored. Raises UnknownType for a type this
    version does not know, WireError for a payload that is too short for its message or ends inside a field.
    """
    number = payload[0] & ~SATURATED if len(payload) else 0
    layout = LAYOUTS.get(number)
    if layout is None:
        raise UnknownType("message type %d is not known here; this version knows %s" % (number, sorted(LAYOUTS)))
    if len(payload) < layout.size:
        raise WireError("a %s payload has at least %d bytes, this one has %d" % (layout.name, layout.size, len(payload)))
    values = dict(zip([row[0] for row in layout.fixed], struct.unpack_from(layout.format, payload, 0)))
    values["saturated"] = bool(values["type"] & SATURATED)
    values["type"] = number
    count = values[layout.tail[2]] if layout.tail else 0
    end = layout.size + count * layout.group_size
    if len(payload) < end:
        raise WireError("a %s payload has at least %d bytes, this one has %d" % (layout.name, end, len(payload)))
    if layout.group:
        names = [row[0] for row in layout.group]
        values[layout.tail[0]] = [
            dict(zip(names, struct.unpack_from(layout.group_format, payload, at)))
            for at in range(layout.size, end, layout.group_size)
        ]
    elif layout.tail:
        values[layout.tail[0]] = bytes(payload[layout.size : end])
    for row in layout.later:
        letter, size = KINDS[row[1]][:2]
        if len(payload) >= end + size:
            values[row[0]] = struct.unpack_from("<" + letter, payload, end)[0]
        elif len(payload) > end:
            raise WireError("this %s payload of %d bytes ends inside %s" % (layout.name, len(payload), row[0]))
        else:
            values[row[0]] = row[4]
        end += size
    return layout.name, values


def description_id(payload):
    """The id by which readings refer to their description: CRC-32 of the description's payload after the header, exactly as received."""
    return binascii.crc32(memoryview(payload)[_HEADER_SIZE:])


_HEADER_SIZE = struct.calcsize(_format(HEADER))

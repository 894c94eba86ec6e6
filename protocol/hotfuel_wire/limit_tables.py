"""The board's limit tables: integers, packed in pieces that fit the command "warnings", and how to read them.

EMFs add, so a channel's margin needs no polynomial: total = (hot code << shift) + reference(cold code), margin = limit(pressure) - total, all in the
channel's own counts. A set is one HEAD piece followed by the pieces it counts: per channel one REFERENCE, one LIMIT with the engine running and one with
it stopped (two of each at a carburettor inlet: in the line and behind the needle). Integers only; runs on MicroPython and CPython.
"""

import binascii
import struct

from hotfuel_wire.alarm import IMPOSSIBLE, TOO_LOW, UNREADABLE

VERSION = 2  # 1: limits without a lag; a board reads both
HEAD, REFERENCE, LIMIT = 1, 2, 3
STANDING, RUNNING = 0, 1
IN_LINE, BEHIND_NEEDLE = 0, 1
INDICATIVE = 1  # flag: a clamp-on probe may raise warn, never act
LINE_PRESSURE = 2  # flag: a fitted fuel-pressure sender may replace `offset`
PERCOLATES = 4  # flag: boiling here while the engine is known to stand is usual and raises nothing
PRESSURE_UNIT_PA = 10
NODES_MAX = 20
PIECES_MAX = 40

# kind, version, made (unix seconds), altitude m, air pressure to use without a barometer, number of pieces, CRC-32 of all pieces after this one
HEAD_FORM = "<BBIhHBI"
# kind, channel, chip, gain, shift, nodes; then nodes of (cold code, counts)
REFERENCE_FORM = "<BBBBBB"
REFERENCE_NODE_FORM = "<hi"
# kind, channel, state, where, flags, counts per degC, warn below (hundredths of degC), pressure here over air (pressure units), nodes;
# then nodes of (pressure units, counts)
LIMIT_FORM = "<BBBBBHHhB"
LIMIT_NODE_FORM = "<Hi"
LIMIT_END_FORM = "<H"  # after the nodes: the probe's lag, tenths of a second

NO_VALUE = UNREADABLE  # x lies outside the nodes


class TableError(ValueError):
    """A piece or a set of pieces is not a valid table. The message says what was seen and what is allowed."""


def lookup(xs, ys, x):
    """y at x on the straight lines between the nodes, rounded down; NO_VALUE outside them. xs rising."""
    last = len(xs) - 1
    if x < xs[0] or x > xs[last]:
        return NO_VALUE
    low = 0
    high = last
    while high - low > 1:
        middle = (low + high) >> 1
        if xs[middle] <= x:
            low = middle
        else:
            high = middle
    return ys[low] + (ys[high] - ys[low]) * (x - xs[low]) // (xs[high] - xs[low])


def reading_centi(reference, per_degc, hot, cold):
    """A channel's reading in hundredths of a degC, or NO_VALUE where the cold code lies outside the table.

    Zero is an EMF of 0 and the scale is that at 60 degC, so use it for differences only (right to 4 %), not as a temperature.
    """
    at_cold = lookup(reference["xs"], reference["ys"], cold)
    if at_cold == NO_VALUE:
        return NO_VALUE
    return ((hot << reference["shift"]) + at_cold) * 100 // per_degc


def margin_centi(reference, limit, hot, cold, air_units, line_units=None):
    """Margin in hundredths of a degC; TOO_LOW if the pressure here is below the table, IMPOSSIBLE if it is not above zero: no temperature is cool enough;
    NO_VALUE if the cold code is outside its table or the pressure above it.

    reference, limit: rows as `unpack` gives them. air_units: air pressure in PRESSURE_UNIT_PA; line_units: measured line pressure over air, or None.
    """
    offset = limit["offset"]
    if line_units is not None and limit["flags"] & LINE_PRESSURE:
        offset = line_units
    at_cold = lookup(reference["xs"], reference["ys"], cold)
    here = air_units + offset
    if here <= 0:
        return IMPOSSIBLE
    if here < limit["xs"][0]:
        return TOO_LOW
    at_pressure = lookup(limit["xs"], limit["ys"], here)
    if at_cold == NO_VALUE or at_pressure == NO_VALUE:
        return NO_VALUE
    return (at_pressure - (hot << reference["shift"]) - at_cold) * 100 // limit["per_degc"]


def unpack(piece):
    """A piece as a dict with "kind" and its fields; "xs" and "ys" for tables. Raises TableError."""
    kind = piece[0] if len(piece) else 0
    if kind == HEAD:
        _length(piece, struct.calcsize(HEAD_FORM))
        names = ("kind", "version", "made", "altitude_m", "air_units", "pieces", "crc")
        row = dict(zip(names, struct.unpack(HEAD_FORM, piece)))
        if not 0 < row["version"] <= VERSION:
            raise TableError("limit tables of version %d, this board knows 1 to %d" % (row["version"], VERSION))
        if not 0 < row["pieces"] <= PIECES_MAX:
            raise TableError("a set has 1 to %d pieces, this one %d" % (PIECES_MAX, row["pieces"]))
        return row
    if kind == REFERENCE:
        return _table(piece, REFERENCE_FORM, REFERENCE_NODE_FORM, ("kind", "channel", "chip", "gain", "shift", "nodes"))
    if kind == LIMIT:
        row = _table(
            piece,
            LIMIT_FORM,
            LIMIT_NODE_FORM,
            ("kind", "channel", "state", "where", "flags", "per_degc", "warn_centi", "offset", "nodes"),
            struct.calcsize(LIMIT_END_FORM),
        )
        end = piece[struct.calcsize(LIMIT_FORM) + row["nodes"] * struct.calcsize(LIMIT_NODE_FORM) :]
        row["lag_ms"] = 100 * struct.unpack(LIMIT_END_FORM, end)[0] if len(end) else None
        if row["per_degc"] == 0:
            raise TableError("a limit piece needs counts per degC above 0")
        return row
    raise TableError("a piece of kind %d is not known; known are 1, 2 and 3" % kind)


def _table(piece, form, node_form, names, end=0):
    size = struct.calcsize(form)
    node_size = struct.calcsize(node_form)
    if len(piece) < size:
        raise TableError("a table piece has at least %d bytes, this one %d" % (size, len(piece)))
    row = dict(zip(names, struct.unpack(form, piece[:size])))
    count = row["nodes"]
    if not 2 <= count <= NODES_MAX:
        raise TableError("a table has 2 to %d nodes, this one %d" % (NODES_MAX, count))
    nodes_end = size + count * node_size
    if not end or len(piece) != nodes_end:
        _length(piece, nodes_end + end)
    xs = []
    ys = []
    for at in range(size, nodes_end, node_size):
        x, y = struct.unpack(node_form, piece[at : at + node_size])
        if xs and x <= xs[-1]:
            raise TableError("the nodes of a table must rise, %d follows %d" % (x, xs[-1]))
        xs.append(x)
        ys.append(y)
    row["xs"] = xs
    row["ys"] = ys
    return row


def _length(piece, expected):
    if len(piece) != expected:
        raise TableError("this piece should have %d bytes and has %d" % (expected, len(piece)))


def check(head, pieces):
    """Unpack a whole set: (head, {channel: reference}, [limits]). Raises TableError if it is incomplete or damaged."""
    first = unpack(head)
    if first["kind"] != HEAD:
        raise TableError("a set begins with its head")
    if first["pieces"] != len(pieces) or first["crc"] != binascii.crc32(b"".join(pieces)):
        raise TableError("the set has %d pieces or a CRC that does not fit; its head says %d" % (len(pieces), first["pieces"]))
    references = {}
    limits = []
    for piece in pieces:
        row = unpack(piece)
        if row["kind"] == REFERENCE:
            references[row["channel"]] = row
        elif row["kind"] == LIMIT:
            limits.append(row)
        else:
            raise TableError("a head stands inside a set")
    for row in limits:
        if row["channel"] not in references:
            raise TableError("channel %d has limits and no reference table" % row["channel"])
    return first, references, limits

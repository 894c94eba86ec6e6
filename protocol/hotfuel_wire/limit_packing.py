"""Writes the pieces that limit_tables.py reads. Host only."""

import binascii
import struct

from hotfuel_wire import limit_tables as wire


def pack_head(made, altitude_m, air_units, pieces):
    """The HEAD piece for the list of pieces that follow it."""
    return struct.pack(
        wire.HEAD_FORM, wire.HEAD, wire.VERSION, made, altitude_m, air_units, len(pieces), binascii.crc32(b"".join(pieces))
    )


def pack_reference(channel, chip, gain, shift, xs, ys):
    """One REFERENCE piece."""
    return struct.pack(wire.REFERENCE_FORM, wire.REFERENCE, channel, chip, gain, shift, len(xs)) + _nodes(
        wire.REFERENCE_NODE_FORM, xs, ys
    )


def pack_limit(channel, state, where, flags, per_degc, warn_centi, offset, xs, ys, lag_tenths):
    """One LIMIT piece."""
    head = struct.pack(wire.LIMIT_FORM, wire.LIMIT, channel, state, where, flags, per_degc, warn_centi, offset, len(xs))
    return head + _nodes(wire.LIMIT_NODE_FORM, xs, ys) + struct.pack(wire.LIMIT_END_FORM, lag_tenths)


def _nodes(form, xs, ys):
    if not 2 <= len(xs) <= wire.NODES_MAX:
        raise wire.TableError("a table has 2 to %d nodes, this one %d" % (wire.NODES_MAX, len(xs)))
    return b"".join([struct.pack(form, x, y) for x, y in zip(xs, ys)])

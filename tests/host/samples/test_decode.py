"""Whole logs: `decode` against the wire's own incremental reader on any bytes, and by hand on small logs."""

import dataclasses
import math
import random
from unittest import mock

import numpy as np
import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.samples import bulk, decode, table
from hotfuel.samples.stream import Stream
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import TYPES
from hypothesis import given, settings
from hypothesis import strategies as st


def by_the_stream(data):
    """(readings, messages, stream) from the incremental reader, as plain rows."""
    stream = Stream()
    found = [*stream.feed(data), *stream.feed(b"\x00")]
    told = {message.description_id for message in found if message.name == "description"}
    readings, messages = [], {name: [] for name in table.MESSAGES}
    for message in found:
        values = message.values
        if message.name == "reading":
            readings += [
                (
                    message.time_s,
                    values["tick"],
                    message.boot,
                    values["description_id"],
                    number,
                    channel["hot"],
                    channel["cold"],
                    channel["status"],
                    values["saturated"],
                    values["description_id"] in told,
                )
                for number, channel in enumerate(values["channels"])
            ]
            continue
        if message.name in table.GROUPS:
            groups = codec.LAYOUTS[values["type"]].tail[0]
            values = {**values, groups: table.packed(message.name, values[groups])}
        row = {"boot": message.boot, "time": message.time_s, "description_id": message.description_id, **values}
        messages[message.name].append(tuple(plain(row[name]) for name in table.MESSAGES[message.name].names))
    return readings, messages, stream


def plain(value):
    if isinstance(value, np.void):
        return value.tobytes()
    if isinstance(value, float) and math.isnan(value):
        return "nan"
    return value


def rows(array):
    """A structured array as plain tuples; numpy drops the padding of place names."""
    return [tuple(plain(value) for value in row.tolist()) for row in array]


def in_batches(data):
    """(scans, other messages, stream) from a reader of a growing log."""
    stream = Stream()
    found = [*stream.batches(stream.frames.feed(data)), *stream.batches(stream.frames.feed(b"\x00"))]
    return (
        [one for one in found if isinstance(one, np.ndarray)],
        [one for one in found if not isinstance(one, np.ndarray)],
        stream,
    )


def same_in_batches(data, decoded):
    """The rows of a growing log equal those of the whole one; a batch holds one boot and one description."""
    batches, others, stream = in_batches(data)
    assert stream.payloads_misfit == decoded.losses.payloads_misfit
    assert stream.unknown_types == decoded.losses.unknown_types
    assert len(others) == sum(map(len, decoded.messages.values()))
    for batch in batches:
        assert len(np.unique(batch["boot"])) == len(np.unique(batch["description_id"])) == 1
    at = 0
    for batch in batches:
        whole = decoded.scans[at : at + len(batch)]
        at += len(batch)
        for name in ("time", "tick", "description_id", "boot", "saturated", "width"):
            assert np.array_equal(batch[name], whole[name]), name
        width = batch.dtype["channels"].shape[0]
        assert np.array_equal(batch["channels"], whole["channels"][:, :width])
        assert width == batch["width"].max()
    assert at == len(decoded.scans)


def same(data):
    """All methods agree in every row and every count. (A reader of a growing log cannot join what test_order.py joins.)"""
    decoded = decode(data, as_it_stands=True)
    readings, messages, stream = by_the_stream(data)
    assert rows(decoded.readings) == readings
    for name, expected in messages.items():
        assert rows(decoded.messages[name]) == expected, name
    losses = decoded.losses
    assert (losses.frames, losses.pieces_damaged, losses.bytes_damaged) == (
        stream.frames.frames,
        stream.frames.pieces_damaged,
        stream.frames.bytes_damaged,
    )
    assert (losses.unknown_types, losses.payloads_misfit, losses.bytes_total) == (
        stream.unknown_types,
        stream.payloads_misfit,
        len(data),
    )
    same_in_batches(data, decoded)
    return decoded


def test_a_batch_ends_before_a_description_and_knows_the_earlier_ones():
    """A reading is known by a description that came before it in the log, not by one after it."""
    first, later = wire_logs.description(2), wire_logs.description(3)
    of = codec.description_id

    def reading(tick, told):
        channels = [{"hot": tick, "cold": 0, "status": 0}]
        return codec.pack("reading", {"tick": tick, "time_ms": 100 * tick, "description_id": of(told), "channels": channels})

    payloads = [reading(1, first), first, reading(2, first), reading(3, first), later, reading(4, later), reading(5, first)]
    found = [one if isinstance(one, np.ndarray) else one.name for one in Stream().batches(payloads)]
    told = [one if isinstance(one, str) else (one["tick"].tolist(), one["known"].tolist()) for one in found]
    assert told == [
        ([1], [False]),
        "description",
        ([2, 3], [True, True]),
        "description",
        ([4], [True]),
        ([5], [True]),
    ]


@given(wire_logs.streams())
@settings(max_examples=150)
def test_any_log_decodes_as_the_incremental_reader_does(data):
    same(data)


@given(st.integers(0, 2**32))
@settings(max_examples=60)
def test_many_pieces_of_one_length_decode_as_the_incremental_reader_does(seed):
    """Whatever zeros they hold, few or many bytes in which they differ, intact or damaged; looked up by bytes and by pairs of bytes."""
    chance = random.Random(seed)
    size, zeros, varied, damaged = chance.randint(1, 240), chance.random(), chance.random(), chance.choice([0, 0.002, 0.05])
    base = [chance.randrange(256) if chance.random() > zeros else 0 for _ in range(size)]
    pieces = []
    for _ in range(chance.randint(64, 200)):
        payload = bytes(chance.choice([0, chance.randrange(256)]) if chance.random() < varied else byte for byte in base)
        frame = bytes(chance.randint(1, 255) if byte and chance.random() < damaged else byte for byte in framing.encode(payload))
        pieces.append(frame)
    pairs, run = chance.choice([2, bulk._PAIRS_FROM]), chance.choice([3, 50, bulk._RUN])
    with mock.patch.multiple(bulk, _PAIRS_FROM=pairs, _RUN=run):
        same(b"".join(pieces))


def test_one_wrong_bit_at_the_same_position_of_two_frames_costs_these_two():
    """Where a run of frames is checked by one CRC, their errors must not cancel."""
    payloads = [bytes([2]) + number.to_bytes(2, "big") * 8 for number in range(257, 257 + 80)]
    log = b"".join(map(framing.encode, payloads))
    length = len(log) // len(payloads)
    for bit in range(8, 8 * (length - 1)):
        damaged = bytearray(log)
        for frame in (40, 79):
            damaged[frame * length + bit // 8] ^= 1 << bit % 8
        (block,) = bulk.blocks([bytes(damaged)])
        found = [payload.tobytes() for part in block.parts for payload in part.payloads]
        assert sorted(found) == sorted(framing.FrameReader().feed(bytes(damaged))), bit
        assert sorted(found) == [payload for payload in payloads if payload not in (payloads[40], payloads[79])], bit


@given(st.binary(max_size=3000))
def test_random_bytes_decode_as_the_incremental_reader_does(data):
    same(data)


@pytest.mark.parametrize("size", [1, 47, 997])
def test_block_boundaries_change_nothing(size, monkeypatch):
    """The same log taken in blocks of any size gives the same tables."""
    data = wire_logs.damage(wire_logs.drive(400), 0.002)
    whole = decode(data)
    monkeypatch.setattr(bulk, "BLOCK", size)
    parts = decode(data)
    assert rows(parts.readings) == rows(whole.readings)
    assert dataclasses.replace(parts.losses) == whole.losses


def test_a_damaged_drive_decodes_as_the_incremental_reader_does():
    """One byte in a hundred replaced: every frame that survived is found, none is invented."""
    clean = wire_logs.drive(6000)
    decoded = same(wire_logs.damage(clean, 0.01))
    sent = {row[:8] for row in rows(decode(clean).readings)}
    got = [row[:8] for row in rows(decoded.readings)]
    assert set(got) <= sent
    # a 49-byte frame survives with probability 0.99^47 = 0.62 (its delimiters are doubled)
    assert 0.59 < len(got) / len(sent) < 0.66
    assert decoded.losses.ticks_missing == pytest.approx(6000 - len(got) / 4, abs=3)


def test_a_log_of_several_kinds_by_hand():
    told = wire_logs.description(2)
    number = codec.description_id(told)
    payloads = [
        wire_logs.mark("before", 11),
        told,
        wire_logs.reading(100, number, [(1, 2, 3), (-4, -5, 6)]),
        wire_logs.anchor(100, 1_000_000_000_000_000, 5_000_000),
        wire_logs.reading(400, number, [(7, 8, 9), (10, 11, 12)]),
        wire_logs.reading(500, number ^ 1, [(7, 8, 9)]),
        wire_logs.gap(1_000_000_001_000_000, 2500, 1),
        wire_logs.event(600, "exception", b"ValueError"),
    ]
    decoded = decode(b"".join(map(framing.encode, payloads)) + b"junk\0\x05\0")
    assert decoded.readings["time"].tolist() == [0.1, 0.1, 0.4, 0.4, 0.5]
    assert decoded.readings["hot"].tolist() == [1, -4, 7, 10, 7]
    assert decoded.readings["cold"].tolist() == [2, -5, 8, 11, 8]
    assert decoded.readings["status"].tolist() == [3, 6, 9, 12, 9]
    assert decoded.readings["channel"].tolist() == [0, 1, 0, 1, 0]
    assert decoded.readings["known"].tolist() == [True] * 4 + [False]
    assert decoded.descriptions == {number: codec.unpack(told)[1]}
    assert decoded.messages["mark"]["text"].tolist() == [b"before"]
    assert math.isnan(decoded.messages["mark"]["time"][0])
    assert decoded.messages["event"]["detail"].tolist() == [b"ValueError"]
    assert decoded.messages["description"]["board_id"][0].tobytes() == wire_logs.BOARD_ID
    losses = decoded.losses
    assert (losses.ticks_missing, losses.readings, losses.readings_without_description) == (2, 3, 1)
    assert (losses.pieces_damaged, losses.bytes_damaged) == (2, 5)
    assert [(gap.length_s, gap.reason) for gap in losses.gaps] == [(2.5, "port_gone")]
    said = " ".join(losses.sentences())
    for piece in (
        "1 of 3 readings has no temperature: the board's list of its probes, without which it cannot be read",
        "2 readings are missing",
        "2 damaged pieces of the recording (5 of",
        "2.5 s because the connection to the board was lost",
    ):
        assert piece in said


def test_scans_of_fewer_channels_are_stored_with_wider_ones():
    """In any order; channels that a scan lacks are zero and do not count as readings."""
    narrow, wide = [wire_logs.reading(100, 5, [(1, 2, 3)])] * 70, [wire_logs.reading(200, 6, [(4, 5, 6), (7, 8, 9)])] * 70
    empty = [wire_logs.reading(300, 5, [])]
    mixed = [payload for pair in zip(narrow, wide, strict=True) for payload in pair]
    for payloads in (narrow + wide + empty, wide + empty + narrow, empty + mixed):
        decoded = decode(b"".join(map(framing.encode, payloads)))
        assert decoded.scans["width"].tolist() == [codec.unpack(payload)[1]["channel_count"] for payload in payloads]
        sent = {0: [(0, 0, 0)] * 2, 1: [(1, 2, 3), (0, 0, 0)], 2: [(4, 5, 6), (7, 8, 9)]}
        assert [row["channels"].tolist() for row in decoded.scans] == [sent[int(width)] for width in decoded.scans["width"]]
        assert len(decoded.readings) == 210


def test_a_description_after_its_readings_makes_them_known():
    told = wire_logs.description(1)
    frames = [wire_logs.reading(100, codec.description_id(told), [(1, 1, 0)]), told]
    decoded = decode(b"".join(map(framing.encode, frames)))
    assert decoded.readings["known"].tolist() == [True]
    assert decoded.losses.readings_without_description == 0


def test_unknown_type_and_newer_protocol_are_reported_and_the_rest_decoded():
    told = wire_logs.description(1, version=9)
    frames = [told, b"\x30" + bytes(20), wire_logs.reading(100, codec.description_id(told), [(5, 5, 0)])]
    decoded = decode(b"".join(map(framing.encode, frames)))
    assert decoded.readings["hot"].tolist() == [5]
    said = decoded.losses.sentences()
    assert any("newer than this program (protocol 9)" in sentence for sentence in said)
    assert "1 message of type 48, which this version does not know, was left out." in said


def test_the_boards_dropped_frames_are_counted_per_boot_from_its_first_message():
    frames = [wire_logs.description(1), wire_logs.health(5_000, 2, 1), wire_logs.health(15_000, 4, 1)]  # seen from its start: 5
    frames += [wire_logs.description(1, boot_count=2, time_ms=900_000)]
    frames += [wire_logs.health(1_000_000, 100, 0), wire_logs.health(1_010_000, 103, 4)]  # joined late: 7
    assert decode(b"".join(map(framing.encode, frames))).losses.board_dropped == 12


def boot(count, readings, period_ms=100, said_ms=60):
    """Payloads of one boot: its description, its start message, its readings, numbered from 1."""
    told = wire_logs.description(1, boot_count=count, period_ms=period_ms)
    number = codec.description_id(told)
    course = [
        wire_logs.reading(int((tick + 0.5) * period_ms), number, [(1, 1, 0)], period_ms=period_ms)
        for tick in range(1, readings + 1)
    ]
    return [told, wire_logs.event(said_ms, "boot", value=count)], course


@given(
    st.lists(st.tuples(st.integers(2, 30), st.integers(0, 2**30 - 1)), min_size=1, max_size=4),
    st.sampled_from([25, 100, 200]),
)
def test_whatever_is_removed_after_a_boots_start_is_counted(boots, period_ms):
    """All but a boot's last reading may be missing; no number can show what came after the last one received."""
    log, taken = [], 0
    for count, (readings, holes) in enumerate(boots, 1):
        start, course = boot(count, readings, period_ms, period_ms // 2)
        kept = [payload for tick, payload in enumerate(course[:-1]) if not holes >> tick & 1]
        log += [*start, *kept, course[-1]]
        taken += len(course) - 1 - len(kept)
    assert decode(b"".join(map(framing.encode, log))).losses.ticks_missing == taken


def test_before_a_first_reading_nothing_is_missing_unless_the_log_has_that_boots_start():
    (told, begun), course = boot(3, 9)
    late = boot(3, 9, said_ms=470)[0][1]  # it took four periods to report that
    other = wire_logs.event(60, "boot", value=2)
    for start, missing in (([told], 0), ([told, begun], 5), ([told, late], 1), ([told, other], 0), ([begun], 0)):
        log = decode(b"".join(map(framing.encode, [*start, *course[5:]])))
        assert log.losses.ticks_missing == missing
    whole = decode(b"".join(map(framing.encode, [told, late, *course])))
    assert whole.losses.ticks_missing == 0


def test_a_path_a_folder_and_bytes_give_the_same(tmp_path):
    data = wire_logs.drive(50)
    (tmp_path / "wire.log").write_bytes(data)
    for source in (tmp_path, tmp_path / "wire.log", str(tmp_path / "wire.log"), bytearray(data), memoryview(data)):
        assert rows(decode(source).readings) == rows(decode(data).readings)


def test_a_missing_log_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        decode(tmp_path / "nothing")


def test_no_bytes_give_empty_tables():
    decoded = decode(b"")
    assert len(decoded.readings) == 0
    assert set(decoded.messages) == {name for name in TYPES if name != "reading"}
    assert decoded.losses.sentences() == []


def test_every_field_of_the_declaration_has_a_column():
    for number, layout in codec.LAYOUTS.items():
        columns = table.READINGS.names if number == TYPES["reading"] else table.MESSAGES[layout.name].names
        fields = {row[0] for row in layout.fixed + layout.later} - {"type", "time_ms", "channel_count"}
        assert fields <= set(columns), layout.name

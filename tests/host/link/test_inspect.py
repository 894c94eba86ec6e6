"""The construct view is derived from the declaration: it must read what the codec reads, and refuse what the codec refuses."""

import pytest
import wire_logs
from construct import Bytes, ListContainer
from hotfuel.errors import InputError
from hotfuel.link import inspect
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import MESSAGES
from hypothesis import given
from hypothesis import strategies as st


def plain(value):
    if isinstance(value, ListContainer):
        return [{name: plain(entry) for name, entry in item.items() if name != "_io"} for item in value]
    return bytes(value) if isinstance(value, bytes | bytearray) else value


@given(st.one_of(wire_logs.payloads(), st.binary(max_size=60)))
def test_view_and_codec_agree_on_any_payload(payload):
    try:
        name, values = codec.unpack(payload)
    except codec.WireError:
        with pytest.raises(InputError):
            inspect.view(payload)
        return
    seen = inspect.view(payload)
    assert seen.message == name
    assert seen.type & 0x7F == values["type"]
    for field, value in values.items():
        if field not in ("type", "saturated"):
            assert plain(seen[field]) == value, field


def test_every_message_has_a_view_that_also_builds():
    assert set(inspect.PAYLOADS) == set(MESSAGES)
    payload = wire_logs.reading(100, 7, [(1, 2, 3), (4, 5, 6)])
    assert inspect.PAYLOADS[2].build(inspect.view(payload)) == payload
    assert isinstance(inspect._field(("x", "id8", None, 1)).subcon, Bytes)


def test_lines_for_a_person():
    said = inspect.lines(wire_logs.description(1, gain=8))
    assert said[0] == "description"
    assert "    place = place0   Where the probe sits, ASCII, padded with zeros" in said
    assert any(line.startswith("    gain = 8") for line in said)
    assert any(line.startswith("  period_ms = 100 ms") for line in said)


def test_a_newer_versions_fields_are_shown_and_missing_ones_are_defaults():
    payload = wire_logs.reading(100, 7, [(1, 2, 3)])
    assert inspect.view(payload + b"\x05\xff")[inspect.UNREAD] == b"\x05\xff"
    assert inspect.lines(payload + b"\x05\xff")[-1] == "  2 bytes more, of a newer version: 05 ff"
    short = wire_logs.auxiliary(100)
    assert inspect.view(short).fitted_high == 0
    assert inspect.view(wire_logs.auxiliary(100, fitted_high=515)).fitted_high == 515
    with pytest.raises(InputError, match="auxiliary payload of"):
        inspect.view(short + b"\0")


@given(wire_logs.payloads())
def test_lines_raise_only_the_one_error_type(payload):
    try:
        said = inspect.lines(payload)
    except InputError:
        return
    assert len(said) > 3


def test_unknown_and_misfitting_payloads_are_sentences():
    with pytest.raises(InputError, match="message type 99 is not known here"):
        inspect.view(bytes([99]) + bytes(20))
    with pytest.raises(InputError, match="this reading payload of 10 bytes does not fit"):
        inspect.view(bytes([2]) + bytes(9))
    with pytest.raises(InputError, match="type 0"):
        inspect.view(b"")


@given(wire_logs.streams(), st.integers(1, 300), st.integers(0, 400))
def test_frames_equal_the_readers_wherever_the_blocks_are_cut(stream, size, first):
    data = stream if isinstance(stream, bytes) else stream[0]
    seen = list(inspect.frames(data[at : at + size] for at in range(0, len(data), size)))
    reader = framing.FrameReader()
    payloads = list(reader.feed(data + b"\0"))
    whole = [payload for payload in payloads if not refused(payload)]
    assert [one.name for one in seen if one.name] == [codec.unpack(payload)[0] for payload in whole]
    assert all(data[one.at : one.at + len(one.raw)] == one.raw for one in seen)
    later = list(inspect.frames([data], first))
    assert later == [one for one in seen if one.at >= first]


def refused(payload):
    try:
        inspect.view(payload)
    except InputError:
        return True
    return False


def test_an_unknown_name_is_refused_with_the_known_ones():
    with pytest.raises(InputError, match="no message helth; there are .*health"):
        inspect.names(["helth"])

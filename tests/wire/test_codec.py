"""Values to payloads and back, for every message of the declaration."""

import pytest
from hotfuel_wire import codec, messages, status
from hotfuel_wire.kinds import KINDS
from hypothesis import given
from hypothesis import strategies as st


def number(kind, slack=0):
    _, size, least, greatest = KINDS[kind]
    if least is None:
        return st.binary(max_size=size + (4 if slack else 0)).map(lambda b: b.rstrip(b"\x00"))
    return st.integers(least - slack, greatest + slack)


def message_values(name, slack=0):
    layout = codec.LAYOUTS[messages.TYPES[name]]
    counted = layout.tail[2] if layout.tail else None
    fields = {row[0]: number(row[1], slack) for row in layout.fixed if row[0] not in ("type", counted)}
    most = (messages.PAYLOAD_MAX - layout.size) // layout.group_size
    if layout.group:
        entry = st.fixed_dictionaries({row[0]: number(row[1], slack) for row in layout.group})
        fields[layout.tail[0]] = st.lists(entry, max_size=min(most, messages.CHANNELS_MAX))
    elif layout.tail:
        later = sum(KINDS[row[1]][1] for row in layout.later)
        fields[layout.tail[0]] = st.binary(max_size=most - later + (20 if slack else 0))
    return st.fixed_dictionaries(fields, optional={row[0]: number(row[1], slack) for row in layout.later})


any_message = st.sampled_from(sorted(messages.TYPES)).flatmap(
    lambda name: message_values(name).map(lambda values: (name, values))
)
any_numbers = st.sampled_from(sorted(messages.TYPES)).flatmap(
    lambda name: message_values(name, 1 << 40).map(lambda values: (name, values))
)


def trimmed(value):
    """Text and id fields come back padded with zeros."""
    if isinstance(value, dict):
        return {key: trimmed(entry) for key, entry in value.items()}
    return [trimmed(entry) for entry in value] if isinstance(value, list) else value


@given(any_message)
def test_round_trip(sent):
    name, values = sent
    payload = codec.pack(name, values)
    assert len(payload) <= messages.PAYLOAD_MAX
    got_name, got = codec.unpack(payload)
    assert got_name == name
    assert got["saturated"] is False
    for field, value in values.items():
        if isinstance(value, bytes) and len(got[field]) > len(value):
            assert got[field] == value + bytes(len(got[field]) - len(value))
        elif isinstance(value, list):
            for entry, got_entry in zip(value, got[field], strict=True):
                for key, number_sent in entry.items():
                    same = (
                        got_entry[key].rstrip(b"\x00") == number_sent
                        if isinstance(number_sent, bytes)
                        else got_entry[key] == number_sent
                    )
                    assert same, key
        else:
            assert got[field] == value
    assert codec.pack(name, values, saturate=True) == payload, "the board must not change a value that fits"


@given(any_numbers)
def test_the_host_refuses_what_the_board_saturates_and_marks(sent):
    name, values = sent
    board = codec.pack(name, values, saturate=True)
    refused = ""
    try:
        host = codec.pack(name, values)
    except codec.WireError as error:
        refused = str(error)
    if refused:
        assert refused.startswith(name)
        assert codec.unpack(board)[1]["saturated"] is True
    else:
        assert host == board


@given(st.binary(max_size=240))
def test_garbage_behind_a_good_crc_raises_one_error_type(payload):
    try:
        name, values = codec.unpack(payload)
    except codec.WireError:
        return
    layout = codec.LAYOUTS[values["type"]]
    sent = {row[0] for row in layout.fixed} | {layout.tail[0] if layout.tail else ""}
    left = len(payload) - len(codec.pack(name, {field: value for field, value in values.items() if field in sent}))
    assert left >= 0
    for row in layout.later:
        if left:
            left -= KINDS[row[1]][1]
            assert left >= 0
        else:
            assert values[row[0]] == row[4]


@given(any_message, st.binary(max_size=80), st.data())
def test_bytes_from_a_newer_writer_are_left_unread(sent, more, data):
    """Whatever follows the last known field, the known ones are read as before; a payload that ends inside a known field is refused."""
    name, values = sent
    layout = codec.LAYOUTS[messages.TYPES[name]]
    values = {row[0]: row[4] for row in layout.later} | values
    try:
        payload = codec.pack(name, values)
    except codec.WireError:
        return  # a full payload has no room for the later fields
    whole = codec.unpack(payload)
    assert codec.unpack(payload + more) == whole
    shortest = layout.size + len(values[layout.tail[0]] if layout.tail else ()) * layout.group_size
    length = data.draw(st.integers(0, len(payload) - 1))
    ends = [shortest]
    for row in layout.later:
        ends.append(ends[-1] + KINDS[row[1]][1])
    if length in ends:
        left_out = {row[0]: row[4] for row, begin in zip(layout.later, ends, strict=False) if begin >= length}
        assert codec.unpack(payload[:length])[1] == {**whole[1], **left_out}
    else:
        with pytest.raises(codec.WireError):
            codec.unpack(payload[:length])


def test_repeated_entries_are_cut_to_make_room_for_later_fields():
    values = {"tick": 0, "time_ms": 0, "fitted": 0, "inputs": 0, "battery": 0, "fuel_pressure": 0, "pulses": 0, "fitted_high": 7}
    most = messages.PAYLOAD_MAX - codec.LAYOUTS[3].size - 2
    assert len(codec.pack("auxiliary", {**values, "barometer": bytes(most)})) == messages.PAYLOAD_MAX
    with pytest.raises(codec.WireError, match=f"at most {most} fit"):
        codec.pack("auxiliary", {**values, "barometer": bytes(most + 1)})
    board = codec.unpack(codec.pack("auxiliary", {**values, "barometer": bytes(300)}, saturate=True))[1]
    assert (len(board["barometer"]), board["fitted_high"], board["saturated"]) == (most, 7, True)


def test_an_unknown_type_is_not_damage():
    with pytest.raises(codec.UnknownType, match="message type 33 is not known here"):
        codec.unpack(bytes([33]) + bytes(20))


def test_a_missing_field_is_named():
    with pytest.raises(KeyError, match="tick"):
        codec.pack("reading", {"time_ms": 0, "description_id": 0, "channels": []})


def test_sizes_that_other_code_relies_on():
    """Four channels make 42 bytes; eight described channels, or 224 bytes of stored data, fit one payload."""
    header = {"tick": 0, "time_ms": 0}
    channel = {"hot": 0, "cold": 0, "status": 0}
    assert len(codec.pack("reading", {**header, "description_id": 0, "channels": [channel] * 4})) == 42
    assert codec.LAYOUTS[1].size + 8 * codec.LAYOUTS[1].group_size <= messages.PAYLOAD_MAX
    assert len(codec.pack("data", {**header, "segment": 0, "offset": 0, "data": bytes(224)})) == messages.PAYLOAD_MAX


def test_messages_grow_at_their_end_only():
    """Rows with a default come last; their kinds have a known size and their defaults fit."""
    for name, rows in messages.MESSAGES.values():
        later = [row for row in rows if len(row) == 5]
        assert list(rows[len(rows) - len(later) :]) == later, name
        assert all(codec._fit(row, row[4], False, name)[1] is False for row in later)


def test_only_the_last_row_may_repeat_and_its_counter_is_in_the_fixed_part():
    for layout in codec.LAYOUTS.values():
        assert all(row[1] in KINDS for row in layout.fixed)
        if layout.tail:
            assert layout.tail[2] in [row[0] for row in layout.fixed]


def test_the_description_layout_is_frozen():
    """The one layout that must never change: a reader of any version has to know who is talking."""
    layout = codec.LAYOUTS[1]
    assert (layout.format, layout.group_format) == ("<BIIBBBB8sIBHBHB", "<12sBBBBBBB")


@given(st.sampled_from(sorted(status.FAULT_BITS)), st.integers(0, 255))
def test_faults_are_named_bit_by_bit(chip, byte):
    rows = status.FAULT_BITS[chip]
    assert status.faults(chip, byte) == [name for mask, name, _ in rows if byte & mask]
    fatal = status.fatal_mask(chip)
    assert all(bool(fatal & mask) is is_fatal for mask, _, is_fatal in rows)


def test_an_unknown_chip_is_never_trusted():
    assert status.faults(99, 0) == ["unknown_chip"]
    assert status.fatal_mask(99) == 0xFF

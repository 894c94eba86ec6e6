"""Frames: against the published check value and the `cobs` library; fed whole, byte by byte, in pieces, with junk around."""

import binascii

import cobs.cobs
import pytest
from hotfuel_wire import framing
from hypothesis import given
from hypothesis import strategies as st

payloads = st.binary(min_size=1, max_size=240)
adversarial = st.one_of(
    payloads,
    st.integers(1, 240).map(bytes),  # all zeros
    st.integers(1, 240).map(lambda n: b"\xff" * n),
    st.lists(st.sampled_from([b"\x00", b"\x01", b"\xff"]), min_size=1, max_size=240).map(b"".join),
)


def test_crc32_check_value():
    """IEEE 802.3 CRC-32 of "123456789" is CBF43926 (the check value published in CRC catalogues)."""
    assert binascii.crc32(b"123456789") == 0xCBF43926
    assert cobs.cobs.decode(framing.encode(b"123456789")[1:-1])[-4:] == bytes.fromhex("2639f4cb")


@given(adversarial)
def test_encode_equals_the_cobs_library(payload):
    body = payload + binascii.crc32(payload).to_bytes(4, "little")
    assert framing.encode(payload) == b"\x00" + cobs.cobs.encode(body) + b"\x00"


@given(adversarial)
def test_round_trip(payload):
    assert framing.decode(framing.encode(payload)[1:-1]) == payload


@given(st.binary(max_size=260))
def test_decode_agrees_with_the_cobs_library_on_anything(piece):
    try:
        body = cobs.cobs.decode(piece)
        good = (
            0 not in piece
            and len(piece) <= framing.BODY_MAX + 1
            and len(body) > 4
            and binascii.crc32(body[:-4]) == int.from_bytes(body[-4:], "little")
        )
    except cobs.cobs.DecodeError:
        good = False
    if good:
        assert framing.decode(piece) == body[:-4]
    else:
        with pytest.raises(framing.FrameError):
            framing.decode(piece)


junk = st.binary(max_size=600).map(lambda data: data.replace(b"\x00", b"\x01"))


@given(st.lists(payloads, max_size=8), st.lists(junk, min_size=9, max_size=9), st.integers(1, 64))
def test_reader_keeps_good_frames_next_to_junk_and_counts_the_junk(sent, between, piece_size):
    """Text printed between frames costs no frame; every junk byte is counted; the size of the pieces fed changes nothing."""
    stream = (
        between[0] + b"".join(framing.encode(payload) + text for payload, text in zip(sent, between[1:], strict=False)) + b"\x00"
    )
    whole, bytewise, pieces = framing.FrameReader(), framing.FrameReader(), framing.FrameReader()
    got = list(whole.feed(stream))
    assert got == sent
    assert [payload for byte in stream for payload in bytewise.feed(bytes([byte]))] == sent
    assert [p for at in range(0, len(stream), piece_size) for p in pieces.feed(stream[at : at + piece_size])] == sent
    lost = sum(len(text) for text in between[: len(sent) + 1])
    for reader in (whole, bytewise, pieces):
        assert (reader.frames, reader.bytes_damaged) == (len(sent), lost)


@given(st.lists(payloads, min_size=2, max_size=6), st.data())
def test_a_flipped_bit_costs_its_own_frame_only(sent, data):
    """One flipped bit never produces a wrong payload and never costs a neighbour beyond the frame that it joins."""
    frames = [framing.encode(payload) for payload in sent]
    stream = bytearray(b"".join(frames))
    at = data.draw(st.integers(0, len(stream) - 1))
    stream[at] ^= 1 << data.draw(st.integers(0, 7))
    got = list(framing.FrameReader().feed(bytes(stream)))
    assert len(got) >= len(sent) - 1
    remaining = list(sent)
    for payload in got:
        assert payload in remaining
        remaining.remove(payload)


@given(st.lists(payloads, min_size=1, max_size=5), st.integers(0, 1000))
def test_truncated_anywhere_keeps_the_complete_frames(sent, cut):
    stream = b"".join(framing.encode(payload) for payload in sent)
    cut = min(cut, len(stream))
    whole = 0
    at = 0
    for payload in sent:
        at += len(framing.encode(payload))
        whole += at <= cut
    assert list(framing.FrameReader().feed(stream[:cut])) == sent[:whole]


def test_memory_is_bounded_when_no_zero_comes():
    reader = framing.FrameReader()
    for _ in range(1000):
        assert list(reader.feed(b"A" * 4096)) == []
    assert len(reader._piece) <= framing.FRAME_MAX
    assert list(reader.feed(b"\x00" + framing.encode(b"still here"))) == [b"still here"]
    assert reader.bytes_damaged == 1000 * 4096


@pytest.mark.parametrize("size", [0, 241, 300])
def test_a_payload_of_the_wrong_size_is_refused(size):
    with pytest.raises(framing.FrameError, match=f"1 to 240 bytes, this one has {size}"):
        framing.encode(b"x" * size)

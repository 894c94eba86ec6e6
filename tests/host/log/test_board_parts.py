"""Bytes of another log without its beginning, or a whole other log in the middle of one: set aside where board, start or ticks
show it, and nothing else."""

import functools

import pytest
import wire_logs
from hotfuel.log import follow, identity, others, rescue
from hotfuel.samples import decode
from hotfuel_wire import codec, framing
from hypothesis import given, settings
from hypothesis import strategies as st

DAY_S = 1_780_000_000.0
OURS, THEIRS = b"ourslog1", b"theirlog"


@functools.cache
def log(log_id, *, board=b"\1\2\3\4\5\6\7\x08", boot=1, first=0, count=60, began_s=DAY_S, told_every=20):
    """A recording: start, then every 100 ms a reading, every `told_every` of them the description and a wall anchor."""
    told = codec.unpack(wire_logs.description(1, boot_count=boot))[1] | {"board_id": board}
    frames = [identity.frame(log_id, began_s)]
    which = codec.description_id(codec.pack("description", told))
    for n in range(first, first + count):
        if (n - first) % told_every == 0:
            frames.append(framing.encode(codec.pack("description", told | {"tick": n, "time_ms": 100 * n})))
            frames.append(framing.encode(wire_logs.anchor(100 * n, round((began_s + n / 10) * 1e6), 100_000 * n, tick=n)))
        frames.append(framing.encode(wire_logs.reading(100 * n, which, [(n, 2, 0)])))
    return b"".join(frames)


WHOLE = log(OURS, first=300)
ANOTHER_BOARD = {"board": b"another!", "first": 9000, "began_s": DAY_S + 40}
ANOTHER_START = {"boot": 7, "first": 5000, "began_s": DAY_S + 90_000}
SAME_START = {"first": 900, "began_s": DAY_S + 60}


def hot(data):
    return decode(data).readings["hot"].tolist()


def frames_of(data):
    return list(framing.FrameReader().feed(data))


def own(path, step=1 << 20):
    """The frames of this drive; of two zeros in a row, or bytes that both logs share at the seam, either may be whose."""
    return frames_of(b"".join(follow.blocks(path, step)))


@settings(deadline=None, max_examples=15)
@given(
    st.integers(1500, len(WHOLE) - 60),
    st.sampled_from([ANOTHER_BOARD, ANOTHER_START]),
    st.tuples(st.integers(60, 3000), st.integers(1, 3000)),
    st.integers(1, 500),
)
def test_a_piece_of_another_log_inserted_anywhere_is_left_out_and_nothing_is_lost(tmp_path_factory, at, which, span, step):
    theirs = log(THEIRS, **which)[span[0] : sum(span)]
    path = tmp_path_factory.mktemp("log") / "wire.log"
    data = WHOLE[:at] + theirs + WHOLE[at:]
    path.write_bytes(data)
    # no reading of theirs is whole: nothing identifies it, nothing of it is read
    if not hot(identity.frame(THEIRS) + b"\0" + theirs + b"\7\0"):
        assert set(hot(WHOLE)) - set(hot(path)) <= {hot(WHOLE)[n] for n in range(60)}
        return
    assert own(path, step) == frames_of(WHOLE)
    assert hot(path) == hot(data) == hot(WHOLE)
    (found,) = others.of(path)
    assert (found.headless, found.sure) == (True, True)
    assert abs(found.end - found.begin - len(theirs)) < 12
    assert "another recording without its beginning" in decode(path).notes[0]
    rescue.split_out(path, found, path.with_name("theirs"))
    assert set(hot(path.with_name("theirs").read_bytes())) <= set(hot(log(THEIRS, **which)))


@settings(deadline=None, max_examples=10)
@given(st.integers(1500, len(WHOLE) - 60), st.sampled_from([ANOTHER_BOARD, ANOTHER_START, SAME_START]), st.integers(400, 3000))
def test_what_follows_a_whole_other_log_in_the_middle_is_this_drives_again(tmp_path_factory, at, which, end):
    theirs = log(THEIRS, **which)[:end]
    path = tmp_path_factory.mktemp("log") / "wire.log"
    path.write_bytes(WHOLE[:at] + theirs + WHOLE[at:])
    assert own(path) == frames_of(WHOLE)
    assert hot(path) == hot(WHOLE)
    (found,) = others.of(path)
    assert (found.begin, found.log_id, found.sure) == (at, THEIRS, True)
    assert abs(found.end - at - len(theirs)) < 12
    assert "up to where this drive continues" in decode(path).notes[0]


def test_another_boards_piece_after_a_log_is_left_out(tmp_path):
    path = tmp_path / "wire.log"
    theirs = log(THEIRS, **ANOTHER_BOARD)
    path.write_bytes(WHOLE + theirs[theirs.index(b"\0\0", 1500) + 1 :])
    assert own(path) == frames_of(WHOLE)
    assert "another recording without its beginning" in rescue.standing(path).sentence()


def gap(n, length_ms=4000):
    values = {"tick": n, "time_ms": 100 * n, "wall_us": 0, "length_ms": length_ms, "bytes_damaged": 0, "reason": 1}
    return framing.encode(codec.pack("link_gap", values))


FRESH = log(OURS, boot=2, first=1)[len(identity.frame(OURS)) :]
LATER = log(OURS, boot=2, first=400, began_s=DAY_S + 30)[len(identity.frame(OURS)) :]
SWAPPED = log(OURS, **ANOTHER_BOARD)[len(identity.frame(OURS)) :]


@pytest.mark.parametrize(
    "data",
    [
        WHOLE + FRESH,  # the board started again
        WHOLE + gap(360) + LATER,  # it did so while the port was away
        WHOLE + gap(360) + SWAPPED,  # another board was plugged in
        WHOLE + gap(360) + SWAPPED + gap(9060) + log(OURS, first=500)[len(identity.frame(OURS)) :],  # and the first one again
        WHOLE[:-30] + bytes(300) + b"\7" * 700 + LATER,  # the bytes in between are damaged
        WHOLE + LATER,  # or cut out
        WHOLE[:2500] + FRESH + WHOLE[2500:],  # blocks in the wrong order
        WHOLE + log(OURS, boot=2, first=300)[len(identity.frame(OURS)) :],
    ],
)
def test_what_may_belong_to_this_drive_is_never_left_out(tmp_path, data):
    path = tmp_path / "wire.log"
    path.write_bytes(data)
    assert others.of(path) == ()
    assert own(path) == frames_of(data)

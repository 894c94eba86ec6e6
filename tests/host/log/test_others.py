"""What another recording left in a log's file is never read as part of this drive, and is named; what belongs to this drive is never left out."""

import functools
import os

import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.log import follow, identity, others, rescue, reserve
from hotfuel.log.append import LogWriter
from hotfuel.samples import decode
from hotfuel_wire import codec, framing
from hypothesis import given, settings
from hypothesis import strategies as st

DAY_S = 1_780_000_000.0


@functools.cache
def part(log_id, number=0, *, boot_count=1, first=0, count=40, began_s=DAY_S, start=True):
    """One part of a recording: its start, the board's description, readings numbered from `first`, a wall anchor."""
    told = wire_logs.description(1, boot_count=boot_count, time_ms=100 * first)
    which = codec.description_id(told)
    payloads = [told, wire_logs.anchor(100 * first + 1, round((began_s + first / 10) * 1e6), 100_000 * first)]
    payloads += [wire_logs.reading(100 * n, which, [(n, 2, 3)]) for n in range(first, first + count)]
    return (identity.frame(log_id, began_s, number) if start else b"") + b"".join(map(framing.encode, payloads))


OURS, THEIRS = b"ourslog1", b"theirlog"
FIRST, SECOND = part(OURS), part(OURS, 1, first=400)
STRANGE = part(THEIRS, boot_count=7, first=500, began_s=DAY_S + 9000)


def hot(log):
    return decode(log).readings["hot"].tolist()


@settings(deadline=None, max_examples=15)
@given(
    st.integers(0, len(FIRST)),
    st.integers(0, len(STRANGE)),
    st.booleans(),
    st.sampled_from([0, 1]),
    st.integers(1, 300),
)
def test_another_recordings_bytes_after_or_inside_a_log_are_left_out_and_nothing_else(
    tmp_path_factory, cut, end, goes_on, their_part, step
):
    """Any cut of ours, any cut of theirs after it, with or without more of ours: bytes and readings are those without theirs, for
    the whole log and while it grows."""
    ours, theirs = FIRST[:cut] if cut > 60 else FIRST, part(THEIRS, their_part, boot_count=7, first=500)[: max(end, 45)]
    again = SECOND if goes_on else b""
    path = tmp_path_factory.mktemp("log") / "wire.log"
    data = ours + theirs + again
    path.write_bytes(data)
    assert b"".join(follow.blocks(path, step)) == ours + again
    assert hot(path) == hot(data) == hot(ours + again)
    (found,) = others.of(path)
    assert (found.begin, found.end, found.log_id, found.again) == (len(ours), len(ours + theirs), THEIRS, False)
    (said,) = rescue.standing(path).others
    assert f"From byte {len(ours)} of {path} on there is another recording" in said.sentence(path)
    assert [note for note in decode(path).notes if "another recording" in note] == [f"{said.sentence(path)}."]
    path.write_bytes(b"")
    seen = b""
    with follow.Follower(path) as follower:
        for at in range(0, len(data), 97):
            with open(path, "ab") as file:
                file.write(data[at : at + 97])
            while new := follower.read():
                seen += new
    # nobody can tell whose an incomplete start is: that much and no more of theirs was seen
    extra = len(seen) - len(ours + again)
    assert 0 <= extra < 60
    assert hot(seen) == hot(ours + again)


@settings(deadline=None, max_examples=10)
@given(st.integers(60, len(FIRST)), st.booleans())
def test_a_log_appended_to_itself_counts_once_whichever_copy_was_cut(tmp_path_factory, cut, cut_first):
    whole = FIRST + SECOND
    path = tmp_path_factory.mktemp("log") / "wire.log"
    path.write_bytes(whole[:cut] + whole if cut_first else whole + whole[:cut])
    assert b"".join(follow.blocks(path)) == whole
    assert hot(path) == hot(whole)
    (found,) = others.of(path)
    assert found.again
    assert "is repeated in its log, byte for byte" in decode(path).notes[0]
    path.write_bytes(whole * 3)
    assert b"".join(follow.blocks(path)) == whole


def test_parts_of_one_drive_stay_one_in_any_order():
    cut = SECOND.index(b"\x00\x00", 200) + 1
    for data in (FIRST + SECOND, SECOND + FIRST, SECOND[cut:] + FIRST + SECOND[:cut]):
        assert hot(data) == hot(FIRST + SECOND)
        assert not [note for note in decode(data).notes if "another recording" in note]


def test_a_drive_of_an_earlier_version_keeps_parts_without_a_number_and_continues(tmp_path):
    old = part(b"", start=False)
    path = tmp_path / "wire.log"
    path.write_bytes(old)
    log_id = identity.of(path)
    with LogWriter(path) as writer:
        assert writer.log_id == log_id
        writer.received(part(log_id, 1, first=400))
    assert hot(path) == hot(old + SECOND)
    path.write_bytes(old + STRANGE)
    assert identity.of(path) == log_id
    assert hot(path) == hot(old)
    assert others.of(path)[0].begin == len(old)


def test_blocks_of_one_log_in_the_wrong_order_are_not_taken_for_two_logs(tmp_path):
    data = part(OURS, count=400)
    for cut in (900, len(data) // 2, len(data) - 900):
        mixed = data[cut:] + data[:cut]
        assert hot(mixed) == pytest.approx(hot(data), abs=1) or len(hot(mixed)) >= 399  # the frame that was cut is lost
        assert others.Finder(others.reading_bytes(mixed)).others(len(mixed)) == ()


def test_a_log_with_damaged_first_bytes_continues_as_itself(tmp_path):
    path = tmp_path / "wire.log"
    path.write_bytes(b"\x07" * 30 + FIRST[30:] + SECOND)
    assert hot(path) == hot(FIRST + SECOND)
    assert others.of(path) == ()


def test_a_log_made_from_kept_parts_holds_the_later_parts_of_the_same_drive():
    made = identity.frame(identity.later(OURS), DAY_S) + b"\x00" + FIRST[-400:] + SECOND
    assert len(hot(made)) > 40
    assert others.Finder(others.reading_bytes(made)).others(len(made)) == ()
    assert not identity.goes_on(identity.new(), OURS)


def test_nothing_is_appended_to_another_recording(tmp_path):
    path = tmp_path / "wire.log"
    path.write_bytes(FIRST + STRANGE)
    with pytest.raises(InputError, match="there is another recording"):
        LogWriter(path)
    assert path.read_bytes() == FIRST + STRANGE


def test_each_drive_gets_its_own_log(tmp_path):
    path = tmp_path / "wire.log"
    path.write_bytes(FIRST + STRANGE)
    (found,) = others.of(path)
    rescue.split_out(path, found, tmp_path / "theirs" / "wire.log")
    rescue.copy(path, tmp_path / "ours" / "wire.log")
    assert (tmp_path / "theirs" / "wire.log").read_bytes() == STRANGE
    assert (tmp_path / "ours" / "wire.log").read_bytes() == FIRST
    assert path.read_bytes() == FIRST + STRANGE


def test_a_copy_of_the_log_alone_says_that_its_disk_was_full(tmp_path):
    """The disk takes 2000 bytes and the space of the reserve, then nothing; the copy has neither the note beside it nor the kept piece's folder."""
    path, copied = tmp_path / "wire.log", tmp_path / "copy.log"
    frames = framing.encode(wire_logs.description(1)), *(part(OURS, count=200)[-4000:][n : n + 50] for n in range(0, 4000, 50))
    taken, room = [0], [2000]

    def write(fd, data):
        there = room[0] + (60_000 if reserve.path_for(path).stat().st_size < reserve.SIZE else 0) - taken[0]
        if there <= 0:
            raise OSError(28, "No space left on device")
        done = os.write(fd, data[:there])
        taken[0] += done
        return done

    with LogWriter(path, write=write, wall=lambda: DAY_S) as writer:
        for frame in frames:
            writer.received(frame)
            if writer.failing:
                room[0] = -100_000
        size = path.stat().st_size
        copied.write_bytes(path.read_bytes())
        found = rescue.standing(copied)
        assert found is not None and writer.failing
        whole = b"".join(follow.blocks(path))
        spilled = [piece.path for piece in found.pieces]
        assert spilled
        for piece in spilled:  # as on another computer
            piece.rename(piece.with_suffix(".away"))
        found = rescue.standing(copied)
        assert found.went_on_s == DAY_S
        assert found.lost
        assert "from 2026-05-28 20:26:40 UTC on is missing" in found.sentence()
        assert decode(copied).losses.gaps == []
        for piece in spilled:
            piece.with_suffix(".away").rename(piece)
        room[0] = 10**9
    assert path.stat().st_size > size
    assert path.read_bytes() == whole
    assert whole.replace(reserve.frame(DAY_S), b"")[len(identity.frame(OURS)) :] == b"".join(frames)
    assert rescue.standing(path) is None


def test_when_nothing_came_after_the_disk_was_full_nothing_is_missing(tmp_path):
    path, calls = tmp_path / "wire.log", [0]

    def write(fd, data):
        calls[0] += 1
        if calls[0] == 3:
            raise OSError(28, "No space left on device")
        return os.write(fd, data)

    with LogWriter(path, write=write) as writer:
        for payload in (wire_logs.description(1), wire_logs.reading(100, 5, [(1, 2, 3)])):
            writer.received(framing.encode(payload)[1:])  # a board that sends only one zero: the frame under way is the last
        assert writer.failing
    assert len(decode(path).messages["link_gap"]) == 1
    assert rescue.standing(path) is None


def test_of_two_copies_that_both_continued_and_were_joined_the_first_ones_part_counts():
    """One number, part 1 twice, begun at two times: also where only the other's continuation follows, and where both hold the same beginning."""
    mine, other = FIRST + SECOND, part(OURS, 1, boot_count=3, first=700, began_s=DAY_S + 500)
    for log in (mine + other, mine + FIRST + other):
        assert hot(log) == hot(mine)
    found = others.Finder(others.reading_bytes(mine + other)).others(len(mine + other))
    assert [(one.begin, one.end, one.again) for one in found] == [(len(mine), len(mine + other), False)]


def test_an_older_log_with_the_same_start_after_one_with_a_damaged_start_is_not_counted():
    older, newer = part(THEIRS), part(OURS, first=400, began_s=DAY_S)
    assert hot(newer[45:] + older) == hot(newer)
    shuffled = part(THEIRS, first=40, start=False) + older  # blocks in another order: one continues where the other ends
    assert set(hot(shuffled)) == set(range(80))

"""A kept piece joins the log whose bytes it continues, and no other copy of it, however folders are copied, renamed, swapped or damaged."""

import errno
import os
import shutil

import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.log import follow, identity, joined, rescue, reserve, spill
from hotfuel.log.append import LogWriter
from hotfuel_wire import codec, framing
from hypothesis import example, given, settings
from hypothesis import strategies as st

NUMBER = codec.description_id(wire_logs.description(1))


def frames(first, count):
    return b"".join(framing.encode(wire_logs.reading(100 * n, NUMBER, [(n, 2, 3)])) for n in range(first, first + count))


def record(path, data, room, wall_s):
    """One recorder: it receives `data` in small reads, and its disk takes `room` bytes of it."""
    left = [room]

    def write(fd, piece):
        if left[0] <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done = os.write(fd, piece[: left[0]])
        left[0] -= done
        return done

    with LogWriter(path, write=write, wall=lambda: wall_s) as writer:
        writer.host_frame(framing.decode(identity.frame(writer.log_id, wall_s, 1)[1:-1]))
        for at in range(0, len(data), 33):
            writer.received(data[at : at + 33])


def nothing_is_kept():
    for piece in spill.everything():
        spill.discard(piece.path)


@pytest.fixture(autouse=True)
def nothing_stays():
    yield
    nothing_is_kept()


def cut_off(folder):
    """A drive whose recorder was killed: its log, its reserve."""
    folder.mkdir(parents=True)
    data = identity.frame(b"one log ", 1_780_000_000.0) + framing.encode(wire_logs.description(1)) + frames(1, 30)
    (folder / "wire.log").write_bytes(data)
    reserve.Reserve(folder / "wire.log", b"one log ")
    return folder / "wire.log"


def bytes_of(path):
    return b"".join(follow.blocks(path))


@settings(deadline=None, max_examples=12)
@example((0, 0), True, "swapped")  # both logs are equal byte for byte: only the notes beside them differ
@given(
    st.tuples(st.integers(0, 700), st.integers(0, 700)),
    st.booleans(),
    st.sampled_from(["as they are", "swapped", "one renamed", "one deleted", "read from a third", "without notes"]),
)
def test_two_copies_that_continued_separately_never_get_each_others_bytes(tmp_path_factory, rooms, alike, moved):
    """Both disks fill, at any byte. alike: the board sent the same to both except for the times, so that many bytes before the pieces agree."""
    nothing_is_kept()
    base = tmp_path_factory.mktemp("copies")
    one, two = cut_off(base / "one"), base / "two" / "wire.log"
    shutil.copytree(one.parent, two.parent)
    began = one.read_bytes()
    record(one, frames(100, 40), rooms[0], 1_780_000_100.0)
    record(two, frames(100 if alike else 300, 40), rooms[1], 1_780_000_200.0)
    whole = {"one": bytes_of(one), "two": bytes_of(two)}
    assert whole["one"] != whole["two"]
    assert frames(100, 40) in whole["one"].replace(reserve.frame(1_780_000_100.0), b"")
    assert frames(100 if alike else 300, 40) in whole["two"].replace(reserve.frame(1_780_000_200.0), b"")
    assert not set(rescue.groups()[0]) & set(rescue.groups()[1])
    there = {"one": one, "two": two}
    if moved == "swapped":
        one.parent.rename(base / "aside")
        two.parent.rename(one.parent)
        (base / "aside").rename(two.parent)
        there = {"one": two, "two": one}
    elif moved == "one renamed":
        one.parent.rename(base / "renamed")
        there["one"] = base / "renamed" / "wire.log"
    elif moved == "one deleted":
        shutil.rmtree(one.parent)
        del there["one"]
    elif moved == "without notes":
        for log in there.values():
            reserve.path_for(log).unlink(missing_ok=True)
    elif moved == "read from a third":
        third = base / "third" / "wire.log"
        third.parent.mkdir()
        third.write_bytes(began)
        assert bytes_of(third) in (began, *whole.values())
    for name, log in there.items():
        assert bytes_of(log) == whole[name]
    pieces = list(spill.everything())
    for piece in pieces:  # each put into a folder alone: its own stream's bytes and no other's
        made = base / f"made-{piece.path.name}" / "wire.log"
        rescue.make_log(joined.chain_of(piece, pieces), made)
        of = whole["one" if piece.log == one else "two"]
        assert of.endswith(made.read_bytes().split(b"\x00", 3)[3][-piece.size :])
    for name, log in there.items():
        rescue.put_back(log)
        assert log.read_bytes() == whole[name]
    left = [piece for piece in spill.everything() if piece.log == one]
    assert left if moved == "one deleted" else True


def test_of_two_pieces_that_continue_from_the_same_byte_a_third_copy_takes_neither(tmp_path):
    one, two, third = cut_off(tmp_path / "one"), tmp_path / "two" / "wire.log", tmp_path / "third" / "wire.log"
    for other in (two, third):
        shutil.copytree(one.parent, other.parent)
    record(one, frames(100, 9), 0, 1_780_000_100.0)
    record(two, frames(300, 9), 0, 1_780_000_200.0)
    began = third.read_bytes()
    for folder in (one.parent, two.parent):
        folder.rename(folder.with_name(f"{folder.name}-away"))
    assert bytes_of(third) == began
    found = rescue.standing(third)
    assert len(found.apart) == 2
    assert all(f"hotfuel rescue {piece.path} --into FOLDER" in found.sentence() for piece in found.apart)
    with LogWriter(third) as writer:
        writer.received(frames(500, 3))
    assert third.read_bytes() == began + frames(500, 3)
    assert len(list(spill.everything())) == 2


@pytest.mark.parametrize("note", [True, False])
def test_with_damaged_first_bytes_no_kept_piece_is_forgotten(tmp_path, note):
    log = cut_off(tmp_path / "one")
    record(log, frames(100, 40), 300, 1_780_000_100.0)
    size, whole = log.stat().st_size, bytes_of(log)
    with open(log, "r+b") as file:
        file.write(b"\x07" * 60)
    if not note:
        reserve.path_for(log).unlink()
    assert bytes_of(log)[60:] == whole[60:]
    assert rescue.standing(log).pieces
    with LogWriter(log) as writer:
        assert writer.log_id == b"one log "
    assert log.read_bytes()[60:] == whole[60:]
    assert log.stat().st_size > size
    assert not list(spill.everything())


def test_a_note_of_a_piece_that_is_nowhere_survives_the_next_recording(tmp_path):
    log = cut_off(tmp_path / "one")
    record(log, frames(100, 40), 300, 1_780_000_100.0)
    for piece in spill.everything():  # like the memory of a computer that was switched off
        piece.path.unlink()
    with LogWriter(log) as writer:
        writer.received(frames(200, 9))
    assert "are missing, from 2026-05-28 20:28:20 UTC" in rescue.standing(log).sentence()
    with LogWriter(log):
        pass
    assert rescue.standing(log).sentence().count("are missing, from") == 1
    log.write_bytes(identity.frame(b"another ", 1.0) + frames(1, 9))
    with LogWriter(log):
        pass
    assert reserve.path_for(log).with_name(f"wire.log.reserve-{b'one log '.hex()}").exists()


def test_a_piece_of_an_earlier_version_is_recognised_by_its_number(tmp_path):
    log = cut_off(tmp_path / "one")
    piece = spill.Spill(b"one log ", log, log.stat().st_size)
    piece.put(frames(100, 5))
    piece.keep()
    assert bytes_of(log).endswith(frames(100, 5))
    assert next(spill.everything()).before is None


def test_a_name_of_any_length_or_script_or_none_is_stored_with_the_piece(tmp_path):
    folder = tmp_path
    for name in (b"\xff\xfe drive", "поездка ".encode() * 12, "поездка ".encode() * 15, "д".encode() * 120, "д".encode() * 120):
        folder = folder / os.fsdecode(name)
    folder.mkdir(parents=True)
    piece = spill.Spill(b"one log ", folder / "wire.log", 0)
    piece.put(b"bytes")
    piece.keep()
    found = next(spill.everything())
    assert found.log == folder / "wire.log" or str(found.log) in str(folder / "wire.log")
    with pytest.raises(InputError, match="nothing is overwritten"):
        (tmp_path / "made").mkdir()
        (tmp_path / "made" / "wire.log").write_bytes(b"")
        rescue.make_log([found], tmp_path / "made" / "wire.log")


def test_a_disk_that_keeps_refusing_is_reported_once_and_counted(tmp_path):
    said, now, full = [], [0.0], [False]

    def write(fd, data):
        if full[0]:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return os.write(fd, data)

    with LogWriter(tmp_path / "wire.log", write=write, warn=said.append, clock=lambda: now[0]) as writer:
        for number in range(40):
            full[0] = number % 2 == 0
            writer.received(frames(number, 1))
            now[0] += 2.0
            writer.work()
        full[0] = False
        now[0] += 2.0
        writer.work()
        now[0] += 60.0
        writer.work()
        assert len(said) == 2
        assert "the disk refuses" in said[0]
        assert said[1].endswith("the disk works again; everything kept elsewhere is written; it refused 20 times")
    assert (tmp_path / "wire.log").read_bytes().endswith(frames(0, 40))
    assert len(said) == 2


def test_a_note_does_not_join_a_piece_to_a_log_of_another_number_and_other_bytes(tmp_path):
    """The log was replaced by another and its first bytes are damaged: the note beside it belongs to the earlier log, and its digests decide."""
    nothing_is_kept()
    log = cut_off(tmp_path / "drive")
    record(log, frames(100, 40), 0, 1_780_000_100.0)
    size = log.stat().st_size
    log.write_bytes((b"\xff" * 60 + frames(500, 400))[:size])
    standing = rescue.standing(log)
    assert not standing.pieces
    assert [piece.size for piece in standing.apart] != []
    assert bytes_of(log) == log.read_bytes()

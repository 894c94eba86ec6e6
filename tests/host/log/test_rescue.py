"""What a full disk left elsewhere: reported by every view, read by every reader, put back on demand, never mixed with another drive's."""

import errno
import os
import shutil

import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.log import disk, follow, identity, rescue, reserve, spill
from hotfuel.log.append import LogWriter
from hotfuel.samples import decode
from hotfuel_wire import codec, framing

NUMBER = codec.description_id(wire_logs.description(1))
FRAMES = [framing.encode(wire_logs.description(1))] + [
    framing.encode(wire_logs.reading(100 * n, NUMBER, [(n, 2, 3)])) for n in range(1, 60)
]


def full_disk(after):
    calls = [0]

    def write(fd, data):
        calls[0] += 1
        if calls[0] > after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return os.write(fd, data)

    return write


@pytest.fixture
def half(tmp_path):
    """A drive with 29 readings on the disk and 30 elsewhere; its recorder has ended."""
    path = tmp_path / "sunday" / "wire.log"
    path.parent.mkdir()
    with LogWriter(path, write=full_disk(31), wall=lambda: 1_780_000_000.0) as writer:
        for frame in FRAMES:
            writer.received(frame)
    yield path
    for piece in spill.everything():
        spill.discard(piece.path)


def readings(path):
    return decode(path).readings["hot"].tolist()


def test_a_half_drive_reads_whole_and_says_where_the_rest_is(half):
    assert readings(half) == list(range(1, 60))
    found = rescue.standing(half)
    assert found.kept_bytes == sum(map(len, FRAMES[30:]))
    assert found.missing is None
    assert f"hotfuel rescue {half.parent}" in found.sentence()
    assert str(found.pieces[0].path) in found.sentence()


def test_a_continued_recording_reports_at_its_end_what_the_earlier_one_left_too(half):
    said = []
    with LogWriter(half, write=full_disk(0), warn=said.append) as writer:
        for frame in FRAMES[30:]:
            writer.received(frame)
    first, second = rescue.standing(half).pieces
    assert f"{rescue.standing(half).kept_bytes} bytes of this drive" in said[-1]
    assert str(first.path) in said[-1]
    assert str(second.path) in said[-1]


def test_it_is_put_back_byte_for_byte_and_nothing_is_left_behind(half):
    whole = b"".join(follow.blocks(half))
    assert rescue.put_back(half) == sum(map(len, FRAMES[30:]))
    assert half.read_bytes() == whole
    assert rescue.standing(half) is None
    assert not list(spill.everything())
    assert [entry.name for entry in half.parent.iterdir()] == ["wire.log"]
    assert rescue.put_back(half) == 0


def test_a_copy_reads_whole_and_putting_it_back_there_leaves_the_original_its_part(half, tmp_path):
    shutil.copytree(half.parent, tmp_path / "copy")
    copied = tmp_path / "copy" / "wire.log"
    assert readings(copied) == list(range(1, 60))
    rescue.put_back(copied)
    assert rescue.standing(copied) is None
    assert readings(half) == list(range(1, 60))  # still has its part
    rescue.put_back(half)
    assert half.read_bytes() == copied.read_bytes()
    assert not list(spill.everything())


def test_after_a_restart_or_on_another_computer_the_missing_span_is_named(half, tmp_path):
    shutil.copytree(half.parent, tmp_path / "copy")
    for piece in spill.everything():
        spill.discard(piece.path)
    for path in (half, tmp_path / "copy" / "wire.log"):
        found = rescue.standing(path)
        assert found.pieces == ()
        assert f"{found.missing.base + found.missing.size - found.missing_from}" == str(sum(map(len, FRAMES[30:])))
        assert "missing, from 2026-05-28 20:26:40 UTC to 2026-05-28 20:26:40 UTC" in found.sentence()
        assert readings(path) == list(range(1, 30))
        assert rescue.put_back(path) == 0


def test_into_another_folder(half, tmp_path):
    target = tmp_path / "stick" / "sunday" / "wire.log"
    size = rescue.copy(half, target)
    assert target.stat().st_size == size
    assert readings(target) == list(range(1, 60))
    assert rescue.standing(target) is None
    with pytest.raises(InputError, match="nothing is overwritten"):
        rescue.copy(half, target)
    for piece in spill.everything():
        spill.discard(piece.path)
    assert f"The whole drive was put into {target.parent}" in rescue.standing(half).sentence()


def test_a_disk_that_still_refuses_keeps_everything(half, monkeypatch):
    whole = b"".join(follow.blocks(half))
    real = os.write
    monkeypatch.setattr("hotfuel.log.disk.put_back.__defaults__", (full_disk(0),))
    with pytest.raises(InputError, match=r"0 bytes of \d+ bytes were put back"):
        rescue.put_back(half)
    monkeypatch.undo()
    assert os.write is real
    assert b"".join(follow.blocks(half)) == whole
    rescue.put_back(half)
    assert half.read_bytes() == whole


def test_the_next_recorder_puts_it_back_first(half):
    whole = b"".join(follow.blocks(half))
    more = framing.encode(wire_logs.reading(9000, NUMBER, [(90, 2, 3)]))
    with LogWriter(half) as writer:
        writer.received(more)
    assert half.read_bytes() == whole + more
    assert not list(spill.everything())


def test_the_next_recorder_on_a_disk_still_full_continues_after_it(half):
    whole = b"".join(follow.blocks(half))
    more = [framing.encode(wire_logs.reading(100 * n, NUMBER, [(n, 2, 3)])) for n in range(60, 70)]
    with LogWriter(half, write=full_disk(0)) as writer:
        for frame in more:
            writer.received(frame)
    assert b"".join(follow.blocks(half)) == whole + b"".join(more)
    assert readings(half) == list(range(1, 70))
    rescue.put_back(half)
    assert half.read_bytes() == whole + b"".join(more)
    assert not list(spill.everything())


def test_a_recorder_does_not_join_across_a_gap(half):
    (piece,) = rescue.standing(half).pieces
    os.truncate(half, piece.base - 7)
    cut = half.read_bytes()
    with pytest.raises(InputError, match="lacks 7 bytes before what is kept elsewhere"):
        LogWriter(half)
    assert half.read_bytes() == cut
    assert rescue.put_back(half) == 0
    assert rescue.standing(half).behind == (piece,)
    assert [one.path for one in spill.everything()] == [piece.path]


def test_pieces_whose_log_is_gone_become_a_log(half, tmp_path):
    shutil.rmtree(half.parent)
    ((log_id, pieces),) = rescue.orphans().items()
    assert str(half.parent) in rescue.words(pieces)
    rescue.make_log(pieces, tmp_path / "found" / "wire.log")
    assert readings(tmp_path / "found")[-30:] == list(range(30, 60))
    assert identity.of(tmp_path / "found" / "wire.log") != log_id  # it is not the drive whose beginning is missing
    assert list(rescue.orphans()) == [log_id]  # which may come back


def test_a_damaged_note_or_piece_loses_no_reading(half):
    for junk in (b"", b"{", b'{"log_id": 5}', os.urandom(5000), b"[" * 3000):
        reserve.path_for(half).write_bytes(junk)
        assert readings(half) == list(range(1, 60))
        assert rescue.standing(half).kept_bytes > 0
    piece = next(spill.everything())
    piece.path.write_bytes(b"junk")
    assert readings(half) == list(range(1, 30))
    piece.path.unlink()


def test_another_users_piece_is_not_taken(half, monkeypatch):
    monkeypatch.setattr(os, "getuid", lambda: 4242)
    assert list(spill.of(identity.of(half), [next(iter(spill.folders()))])) == []


def test_a_piece_of_another_copys_continuation_is_never_removed(tmp_path):
    """Two copies of one log continued under its number: the log that was put back may hold the other's bytes at the position of
    the first one's piece."""
    log, kept = tmp_path / "wire.log", tmp_path / "kept"
    kept.mkdir()
    start = b"".join(bytes([number]) for number in range(200))
    log_id = b"one log "
    piece = spill.Spill(log_id, log, len(start), where=[kept])
    piece.put(b"what this one recorded")
    piece.keep()
    (found,) = spill.of(log_id, [kept])
    log.write_bytes(start + b"what the other did, longer")
    assert disk.let_go([found], log) == [found]
    assert found.path.exists()
    log.write_bytes(start + b"what this one recorded, and more")
    assert disk.let_go([found], log) == []
    assert not found.path.exists()

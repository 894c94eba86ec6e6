"""The log's writer on a disk that fails, fills up or is pulled out, or whose folder disappears: nothing received is lost, or the loss is counted."""

import errno
import itertools
import os
import shutil
import signal
import subprocess
import sys

import pytest
import wire_logs
from disks import MARK, START, Clock, Disk, board_only, errno_of, on_disk, whole
from hotfuel.log import follow, identity, reserve, spill
from hotfuel.log.append import LogWriter
from hotfuel_wire import framing

FULL_AT_S = 1_780_000_000.0


def but_full(data):
    """Without the frame that says where the disk was full, which occurs at most once."""
    head, _, tail = data.partition(reserve.frame(FULL_AT_S))
    assert reserve.frame(FULL_AT_S) not in tail
    return head + tail


def numbers_of(data):
    """The numbers of the board's frames, in order."""
    return [message.values["channels"][0]["hot"] for message in board_only(data)]


FAILURES = [errno_of(errno.ENOSPC), errno_of(errno.EIO), 0, 1, 7]


def failing_run(path, plan, told=None):
    """Frames into a writer whose disk fails as planned; returns (what was sent, writer, clock, warnings)."""
    clock, warnings, disk = Clock(), [], Disk(plan)
    writer = LogWriter(path, clock=clock, wall=lambda: FULL_AT_S, warn=warnings.append, write=disk.write, fsync=disk.fsync)
    sent = b""
    for number in range(12):
        frame = framing.encode(wire_logs.reading(100 * number, 5, [(number, 2, 3)]))
        writer.received(frame)
        sent += frame
        if told is not None:
            told(sent)
        clock.now += 1.1
    return sent, writer, clock, warnings, disk


@pytest.mark.parametrize("boundary", range(14))
@pytest.mark.parametrize("failure", FAILURES, ids=repr)
def test_each_write_and_fsync_failing_once_loses_nothing(tmp_path, boundary, failure):
    """The n-th system call fails once: a follower sees every byte all the time, and in the end the file holds them all."""
    path = tmp_path / "wire.log"
    seen = bytearray()

    def look(sent):
        follower.position = START + len(seen)
        while data := follower.read():  # what is in the file, then what is kept elsewhere
            seen.extend(data)
        assert but_full(bytes(seen)) == sent

    path.write_bytes(identity.frame(identity.new()))
    follower = follow.Follower(path)
    sent, writer, _, warnings, disk = failing_run(path, [None] * boundary + [failure], look)
    writer.close()
    assert disk.calls > boundary
    assert but_full(on_disk(path)) == sent
    assert writer.bytes_lost == 0
    call, what = disk.failed
    expected = {
        ("write", True): ["the disk refuses", "the disk works again"],
        ("write", False): [],  # a short write is simply continued
        ("fsync", True): ["did not confirm"],
        ("fsync", False): [],
    }[call, (what == 0 and call == "write") or isinstance(what, errno_of)]
    assert len(warnings) == len(expected)
    assert all(part in warning for part, warning in zip(expected, warnings, strict=True))
    assert not list(spill.everything())
    assert not reserve.path_for(path).exists()


def test_a_full_disk_is_reported_and_the_log_is_whole_when_space_returns(tmp_path):
    path = tmp_path / "wire.log"
    sent, writer, _, warnings, disk = failing_run(path, [None, 5] + [errno_of(errno.ENOSPC)] * 1000)
    assert writer.failing
    assert on_disk(path) == sent[: path.stat().st_size - START]
    assert path.stat().st_size - START < len(sent)
    assert whole(path) == sent  # followers see it all
    assert len(warnings) == 1
    assert "No space left on device" in warnings[0]
    disk.plan.clear()
    writer.close()
    assert on_disk(path) == sent
    assert "works again" in warnings[1]


def test_a_frame_in_the_reserves_room_is_no_disk_that_works_again(tmp_path):
    """The disk is full, the reserve's room takes the one whole frame that was refused, and nothing more: the last word stays that the disk refuses."""
    clock, warnings, disk = Clock(), [], Disk()
    writer = LogWriter(tmp_path / "wire.log", clock=clock, warn=warnings.append, write=disk.write)
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(90)]
    writer.received(frames[0][:1])  # as a port reads: a block ends where a frame does
    disk.plan = [errno_of(errno.ENOSPC), None] + [errno_of(errno.ENOSPC)] * 10_000
    for frame in frames:
        writer.received(frame[1:])
        clock.now += 1.1
        writer.work()
        writer.received(frame[:1])
    assert writer.failing
    assert len(warnings) == 1 and "the disk refuses" in warnings[0]
    disk.plan = []
    for _ in range(40):
        clock.now += 1.1
        writer.work()
    assert not writer.failing
    assert len(warnings) == 2 and "the disk works again; everything kept elsewhere is written" in warnings[1]
    writer.close()
    assert numbers_of(on_disk(tmp_path / "wire.log")) == list(range(90))


def test_when_memory_is_full_too_the_loss_is_counted_and_the_log_stays_valid(tmp_path):
    """The disk refuses, the spill holds 60 bytes: the loss is counted, and the frames before and after are whole."""
    path, clock, warnings = tmp_path / "wire.log", Clock(), []
    disk = Disk()
    writer = LogWriter(
        path, clock=clock, warn=warnings.append, write=disk.write, spill_max=60, spill_folders=[tmp_path / "second"]
    )
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(12)]
    for number, frame in enumerate(frames):
        disk.plan = [errno_of(errno.ENOSPC)] * 100 if 3 <= number < 8 else []
        writer.received(frame)
        clock.now += 1.1
    writer.close()
    data = on_disk(path)
    got = numbers_of(data)
    assert got[:5] == [0, 1, 2, 3, 4]
    assert got[-3:] == [9, 10, 11]
    lost = sum(map(len, frames)) - len(data)
    assert 0 < lost <= writer.bytes_lost
    assert any("is lost until there is space" in warning for warning in warnings)


def test_a_recorder_killed_with_its_log_in_memory_loses_nothing(tmp_path):
    """Its spill is read by followers, and taken over by the next writer."""
    path = tmp_path / "wire.log"
    disk = Disk([None, None, *[errno_of(errno.ENOSPC)] * 1000])
    writer = LogWriter(path, write=disk.write)
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(6)]
    for frame in frames:
        writer.received(frame)
    os.close(writer._fd)  # as the system does when the process is killed
    assert whole(path) == b"".join(frames)
    with LogWriter(path):
        pass
    assert on_disk(path) == b"".join(frames)
    assert not list(spill.everything())


@pytest.mark.parametrize("reuse_inode", [True, False])
def test_a_new_log_never_takes_over_what_an_earlier_one_left(tmp_path, reuse_inode):
    """The folder of a drive that is partly in memory is deleted, a new drive begins at the same path, and possibly on the same inode."""
    path = tmp_path / "sunday" / "wire.log"
    path.parent.mkdir()
    disk = Disk([None, *[errno_of(errno.ENOSPC)] * 1000])
    with LogWriter(path, write=disk.write) as writer:
        old_id = writer.log_id
        for number in range(5):
            writer.received(framing.encode(wire_logs.reading(100 * number, 5, [(number, 2, 3)])))
    if reuse_inode:
        path.write_bytes(b"")
        reserve.path_for(path).unlink()
    else:
        path.rename(tmp_path / "elsewhere.log")
        reserve.path_for(path).unlink()
    new = framing.encode(wire_logs.reading(7000, 5, [(77, 2, 3)]))
    with LogWriter(path) as writer:
        writer.received(new)
    assert on_disk(path) == whole(path) == new
    pieces = list(spill.everything())
    assert [piece.log_id for piece in pieces] == [old_id]
    assert pieces[0].log == path  # kept under the old drive's name
    if not reuse_inode:
        moved = board_only(whole(tmp_path / "elsewhere.log"))
        assert [m.values["channels"][0]["hot"] for m in moved] == list(range(5))
    for piece in pieces:
        spill.discard(piece.path)


def test_kept_bytes_move_from_place_to_place_and_read_as_one(tmp_path):
    """Each of the usual places takes 60 bytes: the second disk first, memory last; a follower reads across them."""
    path, disk = tmp_path / "wire.log", Disk([None, *[errno_of(errno.ENOSPC)] * 1000])
    writer = LogWriter(path, write=disk.write, spill_max=60)
    sent = bytes(range(1, 181))
    for at in range(0, 180, 7):
        writer.received(sent[at : at + 7])
    pieces = spill.of(writer.log_id)
    assert [piece.path.parent for piece in pieces] == spill.folders()
    assert [piece.size for piece in pieces] == [60, 60, 60]
    assert whole(path) == sent
    note = reserve.read(path)
    assert (note.kept.base, note.kept.pieces[0], note.ended) == (START, pieces[0].path, False)
    disk.plan.clear()
    writer.close()
    assert on_disk(path) == sent
    assert not list(spill.everything())


def test_a_deleted_folder_continues_in_the_fallback_with_everything(tmp_path):
    """Within a second of the check, byte for byte, including host frames; and the old folder is not created again."""
    clock, warnings, folder = Clock(), [], tmp_path / "sunday"
    folder.mkdir()

    def fallback():
        (tmp_path / "fallback").mkdir()
        return tmp_path / "fallback" / "wire.log"

    writer = LogWriter(folder / "wire.log", clock=clock, warn=warnings.append, fallback=fallback)
    writer.received(b"\0before\0")
    shutil.rmtree(folder)
    clock.now += 1.1
    writer.received(b"\0between\0")
    assert writer.path == tmp_path / "fallback" / "wire.log"
    assert "HAS GONE" in warnings[0]
    writer.host_frame(MARK)
    writer.close()
    assert on_disk(writer.path) == b"\0before\0\0between\0" + framing.encode(MARK)
    assert identity.of(writer.path) == writer.log_id
    assert not folder.exists()
    assert not writer.headless


def test_a_disk_that_was_pulled_out_costs_only_what_it_had_confirmed(tmp_path, monkeypatch):
    """The old descriptor can no longer be read: the new log begins with what no fsync had confirmed."""
    clock, warnings, folder = Clock(), [], tmp_path / "stick"
    folder.mkdir()
    writer = LogWriter(folder / "wire.log", clock=clock, warn=warnings.append, fallback=lambda: tmp_path / "wire.log")
    writer.received(b"\0confirmed\0")
    clock.now += 6
    writer.work()
    writer.received(b"\0not yet\0")
    shutil.rmtree(folder)
    monkeypatch.setattr(os, "pread", Disk([errno_of(errno.EIO)] * 9).read)
    clock.now += 1.1
    writer.received(b"\0after\0")
    monkeypatch.undo()
    writer.close()
    assert on_disk(writer.path) == b"\0\0not yet\0\0after\0"
    assert writer.headless
    assert "on the removed disk" in warnings[0]


def test_a_renamed_folder_is_followed(tmp_path):
    clock, warnings, folder = Clock(), [], tmp_path / "sunday"
    folder.mkdir()
    writer = LogWriter(folder / "wire.log", clock=clock, warn=warnings.append, fallback=lambda: tmp_path / "never")
    writer.received(b"\0before\0")
    folder.rename(tmp_path / "race")
    clock.now += 1.1
    writer.received(b"\0after\0")
    writer.close()
    assert writer.path == tmp_path / "race" / "wire.log"
    assert on_disk(writer.path) == b"\0before\0\0after\0"
    assert "was moved" in warnings[0]
    assert [entry.name for entry in (tmp_path / "race").iterdir()] == ["wire.log"]


def test_without_a_fallback_a_deleted_log_is_kept_where_it_can_be_found(tmp_path):
    clock, warnings, folder = Clock(), [], tmp_path / "sunday"
    folder.mkdir()
    writer = LogWriter(folder / "wire.log", clock=clock, warn=warnings.append)
    writer.received(b"\0before\0")
    shutil.rmtree(folder)
    clock.now += 1.1
    writer.received(b"\0after\0")
    writer.close()
    pieces = list(spill.everything())
    assert [(piece.log, piece.base) for piece in pieces] == [(folder / "wire.log", 0)]
    assert pieces[0].read(START, 99) == b"\0before\0\0after\0"
    assert "hotfuel rescue" in warnings[-1]
    spill.discard(pieces[0].path)


KILLED = """
import sys
from hotfuel.log.append import LogWriter
writer = LogWriter(sys.argv[1])
for number in range(10**9):
    writer.received(b"\\0" + str(number).encode() + b"\\0")
    print(number, flush=True)
"""


def test_killing_the_process_loses_no_bytes_it_received(tmp_path):
    path = tmp_path / "wire.log"
    process = subprocess.Popen([sys.executable, "-c", KILLED, path], stdout=subprocess.PIPE, text=True)
    told = [int(line) for line in itertools.islice(process.stdout, 300)]
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    kept = [int(piece) for piece in on_disk(path).split(b"\0") if piece]
    assert kept[: len(told)] == told
    assert kept == list(range(len(kept)))

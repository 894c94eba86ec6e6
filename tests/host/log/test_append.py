"""The log's writer: what arrives is kept byte for byte, whatever disk and process do."""

import errno
import itertools
import os
import signal
import subprocess
import sys

import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.log import follow, spill
from hotfuel.log.append import LogWriter
from hotfuel.samples.stream import Stream
from hotfuel_wire import framing
from hypothesis import given
from hypothesis import strategies as st

MARK = wire_logs.mark("here", 1)


class Disk:
    """Stands in for os.write and os.fsync; `plan` says how the next calls end: an errno, a number of bytes taken at most, None: well."""

    def __init__(self, plan=()):
        self.plan = list(plan)
        self.calls = 0
        self.failed = None

    def write(self, fd, data):
        self.calls += 1
        what = self.plan.pop(0) if self.plan else None
        self.failed = ("write", what) if what is not None else self.failed
        if isinstance(what, errno_of):
            raise OSError(what.number, os.strerror(what.number))
        return os.write(fd, data if what is None else data[:what])

    def fsync(self, fd):
        self.calls += 1
        what = self.plan.pop(0) if self.plan else None
        self.failed = ("fsync", what) if what is not None else self.failed
        if isinstance(what, errno_of):
            raise OSError(what.number, os.strerror(what.number))
        os.fsync(fd)


class errno_of:
    def __init__(self, number):
        self.number = number

    def __repr__(self):
        return errno.errorcode[self.number]


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


def whole(path):
    return b"".join(follow.blocks(path))


def board_only(data):
    """The payloads of board frames in a log, in order."""
    stream = Stream()
    return [m for m in stream.feed(data + b"\0") if m.name not in ("mark", "wall_anchor", "link_gap")]


@given(st.lists(st.one_of(st.binary(min_size=1, max_size=40), st.none()), max_size=30))
def test_bytes_stay_bytes_and_host_frames_stand_between(tmp_path_factory, events):
    """Any bytes in any pieces: every host frame is whole, and without them the log is what came."""
    path = tmp_path_factory.mktemp("log") / "wire.log"
    clock = Clock()
    frame = framing.encode(MARK)
    with LogWriter(path, clock=clock) as writer:
        for event in events:
            if event is None:
                writer.host_frame(MARK)
            else:
                writer.received(event)
    data = path.read_bytes()
    sent = b"".join(event for event in events if event is not None)
    marks = sum(event is None for event in events)
    assert len(data) == len(sent) + marks * len(frame)
    kept, at, seen = bytearray(), 0, 0
    while at < len(data):  # take out host frames where a boundary stands
        if data.startswith(frame, at):
            at += len(frame)
            seen += 1
        else:
            kept.append(data[at])
            at += 1
    assert seen == marks
    assert bytes(kept) == sent


def test_a_host_frame_waits_for_the_end_of_the_board_frame(tmp_path):
    frame = framing.encode(wire_logs.reading(100, 5, [(1, 2, 3)]))
    with LogWriter(tmp_path / "wire.log") as writer:
        writer.received(frame[:10])
        writer.host_frame(MARK)
        writer.received(frame[10:])
    assert whole(tmp_path / "wire.log") == frame + framing.encode(MARK)


def test_a_host_frame_waits_only_so_long(tmp_path):
    """The board fell silent inside a frame: after half a second the mark is written, and ends the piece."""
    clock = Clock()
    with LogWriter(tmp_path / "wire.log", clock=clock) as writer:
        writer.received(b"\x00abc")
        writer.host_frame(MARK)
        writer.work()
        assert whole(tmp_path / "wire.log") == b"\x00abc"
        clock.now += 0.6
        writer.work()
        assert whole(tmp_path / "wire.log") == b"\x00abc" + framing.encode(MARK)


def test_a_device_that_never_sends_a_zero_does_not_keep_marks_waiting(tmp_path):
    with LogWriter(tmp_path / "wire.log") as writer:
        writer.host_frame(MARK)
        writer.received(b"$GPGGA,text without end\r\n" * 20)
        writer.host_frame(MARK)
        writer.received(b"more")
        assert whole(tmp_path / "wire.log").count(framing.encode(MARK)) == 2


def test_fsync_every_five_seconds_and_at_the_end(tmp_path):
    clock, synced = Clock(), []
    writer = LogWriter(tmp_path / "wire.log", clock=clock, fsync=lambda fd: synced.append(clock.now))
    for _ in range(24):
        clock.now += 0.5
        writer.received(b"\x00a\x00")
    writer.close()
    assert synced == [105.0, 110.0, 112.0]


def test_two_writers_are_refused(tmp_path):
    with LogWriter(tmp_path / "wire.log"), pytest.raises(InputError, match="being written by another recording"):
        LogWriter(tmp_path / "wire.log")
    LogWriter(tmp_path / "wire.log").close()


def test_a_log_goes_on_after_an_earlier_recording_that_stopped_inside_a_frame(tmp_path):
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(3)]
    (tmp_path / "wire.log").write_bytes(frames[0] + frames[1][1:20])
    with LogWriter(tmp_path / "wire.log") as writer:
        writer.received(frames[2][1:])  # a board that sends one zero only
    assert [m.values["channels"][0]["hot"] for m in board_only(whole(tmp_path / "wire.log"))] == [0, 2]


FAILURES = [errno_of(errno.ENOSPC), errno_of(errno.EIO), 0, 1, 7]


def failing_run(path, plan, told=None):
    """Frames into a writer whose disk fails as planned; returns (what was sent, writer, clock, warnings)."""
    clock, warnings, disk = Clock(), [], Disk(plan)
    writer = LogWriter(path, clock=clock, warn=warnings.append, write=disk.write, fsync=disk.fsync)
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
def test_each_write_and_fsync_failing_once_costs_nothing(tmp_path, boundary, failure):
    """The n-th call to the system fails once: a follower sees every byte all the while, and in the end the file holds them all."""
    path = tmp_path / "wire.log"
    seen = bytearray()

    def look(sent):
        follower.position = len(seen)
        seen.extend(follower.read())
        assert bytes(seen) == sent

    path.touch()
    follower = follow.Follower(path)
    sent, writer, _, warnings, disk = failing_run(path, [None] * boundary + [failure], look)
    writer.close()
    assert disk.calls > boundary
    assert path.read_bytes() == sent
    assert writer.bytes_lost == 0
    call, what = disk.failed
    expected = {
        ("write", True): ["the disk refuses", "the disk works again"],
        ("write", False): [],  # a short write is simply gone on with
        ("fsync", True): ["did not confirm"],
        ("fsync", False): [],
    }[call, (what == 0 and call == "write") or isinstance(what, errno_of)]
    assert len(warnings) == len(expected)
    assert all(part in warning for part, warning in zip(expected, warnings, strict=True))
    assert spill.read(path, 0, 10) == b""


def test_a_full_disk_is_told_and_the_log_is_whole_when_space_returns(tmp_path):
    path = tmp_path / "wire.log"
    sent, writer, _, warnings, disk = failing_run(path, [None, 5] + [errno_of(errno.ENOSPC)] * 1000)
    assert writer.failing
    assert path.read_bytes() == sent[: path.stat().st_size]
    assert path.stat().st_size < len(sent)
    assert whole(path) == sent  # followers see it all
    assert len(warnings) == 1
    assert "No space left on device" in warnings[0]
    disk.plan.clear()
    writer.close()
    assert path.read_bytes() == sent
    assert "works again" in warnings[1]


def test_memory_full_too_is_counted_and_the_log_stays_valid(tmp_path):
    """Disk refuses, spill holds 60 bytes: the loss is counted, and the frames before and after are whole."""
    path, clock, warnings = tmp_path / "wire.log", Clock(), []
    disk = Disk()
    writer = LogWriter(path, clock=clock, warn=warnings.append, write=disk.write, spill_max=60)
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(12)]
    for number, frame in enumerate(frames):
        disk.plan = [errno_of(errno.ENOSPC)] * 100 if 3 <= number < 8 else []
        writer.received(frame)
        clock.now += 1.1
    writer.close()
    data = path.read_bytes()
    got = [m.values["channels"][0]["hot"] for m in board_only(data)]
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
    assert path.read_bytes() == b"".join(frames)
    spill.path_for(path).unlink(missing_ok=True)


def test_a_new_log_does_not_take_over_a_stranger_spill(tmp_path):
    path = tmp_path / "wire.log"
    path.touch()
    stale = spill.Spill(spill.path_for(path), 0, 100)
    stale.put(b"old")
    inode = path.stat().st_ino
    path.unlink()
    with LogWriter(path) as writer:
        writer.received(b"\0new\0")
    if path.stat().st_ino == inode:
        assert whole(path) == b"\0new\0"
    stale.remove()


KILLED = """
import sys
from hotfuel.log.append import LogWriter
writer = LogWriter(sys.argv[1])
for number in range(10**9):
    writer.received(b"\\0" + str(number).encode() + b"\\0")
    print(number, flush=True)
"""


def test_killing_the_process_loses_nothing_it_was_given(tmp_path):
    path = tmp_path / "wire.log"
    process = subprocess.Popen([sys.executable, "-c", KILLED, path], stdout=subprocess.PIPE, text=True)
    told = [int(line) for line in itertools.islice(process.stdout, 300)]
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    kept = [int(piece) for piece in path.read_bytes().split(b"\0") if piece]
    assert kept[: len(told)] == told
    assert kept == list(range(len(kept)))


def test_no_board_byte_waits_for_anything(tmp_path):
    """Every byte can be read by others as soon as `received` returns."""
    with LogWriter(tmp_path / "wire.log") as writer:
        for number in range(50):
            writer.received(bytes([number + 1]))
            assert (tmp_path / "wire.log").stat().st_size == number + 1


def test_an_unwritable_place_is_an_error_at_once(tmp_path):
    with pytest.raises(OSError, match="No such file"):
        LogWriter(tmp_path / "no" / "folder" / "wire.log")

"""The log's writer: what arrives is stored byte for byte, whatever disk and process do."""

import pytest
import wire_logs
from disks import MARK, START, Clock, board_only, on_disk, whole
from hotfuel.errors import InputError
from hotfuel.log.append import LogWriter
from hotfuel_wire import framing
from hypothesis import given
from hypothesis import strategies as st


@given(st.lists(st.one_of(st.binary(min_size=1, max_size=40), st.none()), max_size=30))
def test_bytes_are_unchanged_and_host_frames_are_between_them(tmp_path_factory, events):
    """Any bytes in any pieces: every host frame is whole, and without them the log equals what was received."""
    path = tmp_path_factory.mktemp("log") / "wire.log"
    clock = Clock()
    frame = framing.encode(MARK)
    with LogWriter(path, clock=clock) as writer:
        for event in events:
            if event is None:
                writer.host_frame(MARK)
            else:
                writer.received(event)
    data = on_disk(path)
    sent = b"".join(event for event in events if event is not None)
    marks = sum(event is None for event in events)
    assert len(data) == len(sent) + marks * len(frame)
    kept, at, seen = bytearray(), 0, 0
    while at < len(data):  # remove host frames where there is a boundary
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


def test_a_host_frame_waits_only_for_a_limited_time(tmp_path):
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


def test_a_device_that_never_sends_a_zero_does_not_delay_marks(tmp_path):
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


def test_a_second_writer_is_refused(tmp_path):
    with LogWriter(tmp_path / "wire.log"), pytest.raises(InputError, match="being written by another recording"):
        LogWriter(tmp_path / "wire.log")
    LogWriter(tmp_path / "wire.log").close()


def test_a_log_continues_after_an_earlier_recording_that_stopped_inside_a_frame(tmp_path):
    frames = [framing.encode(wire_logs.reading(100 * n, 5, [(n, 2, 3)])) for n in range(3)]
    (tmp_path / "wire.log").write_bytes(frames[0] + frames[1][1:20])
    with LogWriter(tmp_path / "wire.log") as writer:
        writer.received(frames[2][1:])  # a board that sends one zero only
    assert [m.values["channels"][0]["hot"] for m in board_only((tmp_path / "wire.log").read_bytes())] == [0, 2]


def test_no_board_byte_is_delayed(tmp_path):
    """Every byte can be read by others as soon as `received` returns."""
    with LogWriter(tmp_path / "wire.log") as writer:
        for number in range(50):
            writer.received(bytes([number + 1]))
            assert (tmp_path / "wire.log").stat().st_size == START + number + 1


def test_an_unwritable_place_is_an_error_at_once(tmp_path):
    with pytest.raises(OSError, match="No such file"):
        LogWriter(tmp_path / "no" / "folder" / "wire.log")

"""The store's rules one by one, on this machine's file system: what is kept, when it is flushed, where a segment ends, what is protected and deleted."""

import importlib.util
from pathlib import Path

import pytest

spec = importlib.util.spec_from_file_location("ring_rules", Path(__file__).parent.parent.parent / "firmware" / "ring.py")
ring = importlib.util.module_from_spec(spec)
spec.loader.exec_module(ring)

FRAME = bytes(1) + b"\x07" * 40 + bytes(1)  # 41 bytes are stored: without the zero in front
SEGMENT, MINUTE = 32000, 60_000


@pytest.fixture
def free(monkeypatch):
    """The blocks of 4096 bytes that the file system reports free; may be changed."""
    blocks = [1000]
    monkeypatch.setattr(ring.os, "statvfs", lambda _: (4096, 0, 0, blocks[0]), raising=False)
    return blocks


@pytest.fixture
def store(tmp_path, free):
    """Makes a store on the same folder, as after a boot."""
    return lambda room=4096, head=(FRAME,): ring.Ring(str(tmp_path / "s"), lambda: list(head), bytearray(room))


def offer(one, name="event", time_ms=0, frame=FRAME, size=None, **more):
    one.offer(name, frame, len(frame) if size is None else size, time_ms, **more)


def full_segments(one, ends_ms):
    """One segment ending at each of these times, and one being written."""
    for time_ms in ends_ms:
        one.flush(time_ms)
        one._size = SEGMENT
        offer(one, "event", time_ms)


def test_what_is_stored_and_when(store):
    one = store()
    for name in ("reply", "data", "hello"):
        offer(one, name)
    assert (one.stored, one._filled) == (0, 0)
    for name in ("reading", "auxiliary", "more_inputs", "track", "description", "barometer", "wall_anchor", "health"):
        offer(one, name)
    assert one._waiting == 8
    one.paused = True
    for name in ("reading", "auxiliary", "more_inputs", "track"):
        offer(one, name, 5000)
    assert one._waiting == 8
    offer(one, "barometer", 5000)
    assert one._waiting == 9
    offer(one, "event", 5000, at_once=False)
    assert (one._waiting, one.stored) == (10, 0)
    offer(one, "event", 5000)
    assert (one._waiting, one.stored, one._filled) == (0, 11, 0)
    assert one.segments() == [(0, 12 * 41, False)]
    one.full = True
    offer(one, "event", 6000)
    assert one.stored == 11


@pytest.mark.parametrize(("name", "interval_ms"), [("reading", 500), ("auxiliary", 1000), ("health", 60000)])
def test_one_frame_per_slot(store, name, interval_ms):
    one = store()
    for time_ms in (0, interval_ms - 1, interval_ms, 2 * interval_ms - 1, 2 * interval_ms, 2 * interval_ms):
        offer(one, name, time_ms)
    assert one._waiting == 3
    offer(one, "track", 0)
    offer(one, "track", 0)
    assert one._waiting == 5


def test_flushed_when_due_or_when_the_buffer_is_full(store):
    one = store(room=82)
    one.poll(20000)
    assert one.segments() == []  # nothing to flush, so no segment
    offer(one, "barometer", 20000)
    offer(one, "barometer", 20000)
    assert one.stored == 0  # two fit exactly
    offer(one, "barometer", 20000)
    assert (one.stored, one._waiting, one._filled) == (2, 1, 41)
    one.poll(29999)
    assert one.stored == 2
    one.poll(30000)
    assert one.stored == 3
    offer(one, "barometer", 30001, size=21)
    one.flush(30002)
    assert one.segments() == [(0, 4 * 41 + 20, False)]
    with open(one._path(0), "rb") as file:
        assert file.read() == 4 * FRAME[1:] + FRAME[1:21]
    assert one._path(0).endswith("/00000.seg")


@pytest.mark.parametrize(("size", "segments"), [(SEGMENT - 41, 1), (SEGMENT - 40, 2)])
def test_a_segment_takes_32000_bytes(store, size, segments):
    one = store(room=SEGMENT)
    offer(one, "barometer")
    one.flush(0)  # head and frame: 82
    one._size -= 41  # as if only the head were there
    offer(one, "barometer", frame=bytes(size + 1))
    one.flush(1)
    assert len(one.segments()) == segments
    assert one.segments()[0][1] == 82 + (size if segments == 1 else 0)
    assert one.stored == 2


def test_numbers_continue_across_a_boot_and_the_wrap(store, tmp_path):
    (tmp_path / "s").mkdir()
    (tmp_path / "s" / "65535.seg").write_bytes(b"1234567")
    (tmp_path / "s" / "65534.key").write_bytes(b"12")
    one = store()
    assert one.happened == [("store_recovered", 7)]
    assert one.writing() == 65535
    offer(one)
    assert one.segments() == [(65534, 2, True), (65535, 7, False), (0, 82, False)]
    assert (one.writing(), one.size(12)) == (0, 0)


def test_the_oldest_deletable_segments_are_deleted_to_make_room(store, free):
    one = store()
    full_segments(one, [0, 1, 2, 3])
    assert [number for number, _, _ in one.segments()] == [0, 1, 2, 3]
    one._rename(0, True)
    assert one.read(1, 0, 5, 3) == FRAME[1:6]
    free[0] = (ring.KEEP_FREE_BYTES + ring.SEGMENT_BLOCKS_BYTES) // 4096
    full_segments(one, [4])
    assert [number for number, _, _ in one.segments()] == [0, 1, 2, 3, 4]  # just enough is free
    gone = []
    one.forget = lambda number: gone.append(number) or free.__setitem__(0, 1000) or ring.Ring.forget(one, number)
    free[0] -= 1
    full_segments(one, [5])
    assert gone == [2]  # 0 is protected, 1 is being fetched


def test_with_nothing_to_delete_it_is_full_and_counts_losses(store, free):
    one = store()
    full_segments(one, [0, 1])
    for number in (0, 1):
        one._protected[number] = True
        Path(one._path(number).replace("key", "seg")).rename(one._path(number))
    free[0], stored = 0, one.stored
    offer(one, "barometer", 2)
    offer(one, "barometer", 2)
    one._size = SEGMENT
    one.flush(2)
    assert (one.full, one.lost, one.stored, one._waiting, one._filled) == (True, 2, stored, 0, 0)
    assert one.happened[-1] == ("store_full", 2)
    one.downloaded(0)
    assert not one.full
    assert one.segments()[0] == (0, 82, False)
    one.full = True
    one.downloaded(0)  # it is no longer protected: but nothing is gained
    assert one.full
    assert one.forget(0)
    assert not one.full


@pytest.mark.parametrize(("after_ms", "kept"), [(20 * MINUTE, True), (20 * MINUTE + 1, False)])
def test_a_mark_protects_the_last_twenty_minutes(store, after_ms, kept):
    one = store()
    full_segments(one, [0, 5, 5 + 2 * MINUTE])
    assert [number for number, _, _ in one.segments()] == [0, 1, 2]
    one.protect(5 + after_ms)  # segment 0 ended at 5, 1 two minutes later; 2 is being written
    assert [protected for _, _, protected in one.segments()] == [kept, True, True]
    offer(one, "event", 6 + after_ms)
    assert one.segments()[2] == (2, 3 * 41, True)  # it continues in the file under its new name


def test_segments_of_another_boot_are_not_recent(store):
    full_segments(store(), [0, 1, 2])
    again = store()
    again.protect(0)
    assert [protected for _, _, protected in again.segments()] == [False, False, True]


@pytest.mark.parametrize(("begins_ms", "kept"), [(20 * MINUTE - 1, True), (20 * MINUTE, False)])
def test_a_mark_protects_the_next_twenty_minutes(store, begins_ms, kept):
    one = store()
    one.protect(0)
    full_segments(one, [begins_ms])
    assert [protected for _, _, protected in one.segments()] == [kept]


@pytest.mark.parametrize(("spare", "protected"), [(0, 1), (1, 2), (2, 2), (4, 3)])
def test_at_most_half_of_the_ring_is_protected(store, free, spare, protected):
    """Four segments, and room for `spare` more of 32000 bytes beyond the reserve: fewer than half, counting the next one."""
    one = store()
    full_segments(one, [0, 1, 2, 3])
    free[0] = (ring.KEEP_FREE_BYTES + spare * SEGMENT) // 4096 + 1
    one.protect(4)
    assert sum(kept for _, _, kept in one.segments()) == protected
    assert not one.segments()[-1][2]  # starting with the oldest


def test_a_segment_being_fetched_is_kept_for_thirty_seconds(store):
    one = store()
    full_segments(one, [0, 1])
    assert one.read(0, 40, 3, 1000) == FRAME[41:42] + FRAME[1:3]
    one.unpin(1000 + 30000)
    assert one._pinned[0] == 0
    one.unpin(1000 + 30001)
    assert one._pinned[0] == -1
    one.read(0, 0, 1, 0)
    one.downloaded(1)
    assert one._pinned[0] == 0
    one.downloaded(0)
    assert one._pinned == (-1, 0)
    assert one.read(7, 0, 1, 0) is None
    Path(one._path(0)).unlink()
    assert one.read(0, 0, 1, 0) is None


def test_the_segment_being_written_is_not_deleted(store):
    one = store()
    full_segments(one, [0, 1])
    assert not one.forget(1)
    assert not one.forget(7)
    assert one.forget(0)
    assert 0 not in one._ended
    one.close(2)
    assert one.forget(1)
    assert one.segments() == []
    offer(one)
    assert one.segments() == [(2, 82, False)]
    Path(one._path(2)).unlink()
    one.close(3)
    assert one.forget(2)
    assert one.happened[-1] == ("exception", 2)  # no such file


def test_after_a_close_a_new_segment_begins(store):
    one = store()
    offer(one, "barometer", 0)
    one.close(0)
    one.close(1)
    offer(one, "event", 2)
    assert one.segments() == [(0, 82, False), (1, 82, False)]


def test_the_first_eight_errors_are_kept(store):
    one = store()
    for value in range(10):
        one._say("exception", value)
    assert [value for _, value in one.happened] == list(range(8))


def test_a_refused_rename_is_undone(store, monkeypatch):
    one = store()
    full_segments(one, [0, 1])
    monkeypatch.setattr(ring.os, "rename", lambda *_: (_ for _ in ()).throw(OSError(5, "no")))
    one._rename(0, True)
    assert one.segments()[0] == (0, 82, False)
    assert one.happened[-1] == ("exception", 5)
    one._rename(1, True)
    monkeypatch.undo()
    assert not one.segments()[1][2]


@pytest.mark.parametrize(
    ("numbers", "ordered"),
    [
        ([], []),
        ([7], [7]),
        ([3, 1, 2], [1, 2, 3]),
        ([0, 65535, 1], [65535, 0, 1]),
        ([10, 40000], [40000, 10]),
        ([0, 32768], [0, 32768]),
        ([5, 20, 60000], [60000, 5, 20]),
    ],
)
def test_the_order_starts_after_the_largest_gap(numbers, ordered):
    assert ring.order(numbers) == ordered

"""A disk whose free space comes and goes in steps: what was kept elsewhere is put back whole, once, in order, and nothing is left behind."""

import errno
import os
from collections import namedtuple

import pytest
import wire_logs
from hotfuel.log import identity, reserve, spill
from hotfuel.log.append import LogWriter
from hotfuel_wire import codec, framing
from hypothesis import example, given, settings
from hypothesis import strategies as st

Usage = namedtuple("Usage", "total used free")
FRAME = len(framing.encode(wire_logs.reading(0, 5, [(1, 2, 3)])))
STEP = st.one_of(
    st.tuples(st.just("frames"), st.integers(1, 60)),
    st.tuples(st.just("room"), st.integers(0, 90 * FRAME)),
    st.tuples(st.just("again"), st.just(0)),
    st.tuples(st.just("killed"), st.just(0)),
    st.tuples(st.just("closed"), st.just(0)),
)


class Disk:
    """A disk with room for so many bytes of a log; a write that does not fit is taken in part, as a full disk does."""

    def __init__(self, room):
        self.room = room

    def write(self, fd, data):
        count = min(len(data), self.free(fd))
        if count <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return os.write(fd, data[:count])

    def free(self, file):
        return max(0, self.room - os.stat(file).st_size)


def numbers(data):
    """The numbers of the board's frames, in order."""
    frames = (codec.unpack(payload) for payload in framing.FrameReader().feed(data))
    return [values["channels"][0]["hot"] for name, values in frames if name == "reading"]


def killed(writer):
    """As the system leaves a process that it kills: files closed, nothing more written."""
    for fd in (writer._fd, writer._reserve._fd):
        os.close(fd)
    if writer._spill is not None:
        writer._spill.keep()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 90 * FRAME), st.lists(STEP, max_size=30), st.booleans())
@example(1, [("killed", 0), ("frames", 26), ("killed", 0), ("frames", 1)], False)
@example(
    40 * FRAME,
    [("frames", 60), ("closed", 0), ("frames", 60), ("room", 50 * FRAME + 5), ("again", 0), ("room", 60 * FRAME), ("again", 0)],
    False,
)
def test_every_byte_is_there_once_and_in_order_when_there_is_room_at_last(tmp_path_factory, room, steps, says_how_full):
    folder = tmp_path_factory.mktemp("room")
    path, places = folder / "wire.log", [folder / f"place{n}" for n in range(12)]
    disk, now, sent = Disk(room), [100.0], 0

    def opened():
        return LogWriter(path, write=disk.write, clock=lambda: now[0], spill_folders=places, spill_max=25 * FRAME)

    with pytest.MonkeyPatch.context() as patch:
        if says_how_full:
            patch.setattr(
                "hotfuel.log.disk.shutil.disk_usage",
                lambda _: Usage(1 << 30, 0, disk.free(path) if disk.room < 1 << 40 else 1 << 40),
            )
            patch.setattr("hotfuel.log.spill._LEFT_FREE", -(1 << 40))
        writer = opened()
        for what, count in [*steps, ("room", 1 << 40), ("again", 0), ("closed", 0)]:
            if what == "frames":
                for _ in range(count):
                    sent += 1
                    writer.received(framing.encode(wire_logs.reading(100 * sent, 5, [(sent, 2, 3)])))
            elif what == "room":
                disk.room = count if count == 1 << 40 else path.stat().st_size + count - 30 * FRAME
            elif what == "again":
                now[0] += 1.5
                writer.work()
            else:
                killed(writer) if what == "killed" else writer.close()
                writer = opened()
        writer.close()
    assert writer.bytes_lost == 0
    assert numbers(path.read_bytes()) == list(range(1, sent + 1))
    assert not any(place.exists() for place in places)
    assert not spill.of(identity.of(path), places)
    assert reserve.read(path) is None


@pytest.mark.parametrize("says_how_full", [True, False])
def test_the_reserve_is_not_filled_with_bytes_kept_elsewhere(tmp_path, monkeypatch, says_how_full):
    """A full log copied alone, at any moment, ends with the frame that says that the drive continues elsewhere."""
    path, disk, now = tmp_path / "wire.log", Disk(40 * FRAME), [100.0]

    def give(self):
        disk.room += 60_000 * (not self._given)
        self._given = True

    def take(self):
        if self._given and disk.free(path) >= 60_000:
            disk.room -= 60_000
            self._given = False
        return not self._given

    monkeypatch.setattr(reserve.Reserve, "give_room", give)
    monkeypatch.setattr(reserve.Reserve, "take_room", take)
    if says_how_full:
        monkeypatch.setattr("hotfuel.log.disk.shutil.disk_usage", lambda _: Usage(1 << 30, 0, disk.free(path)))
        monkeypatch.setattr("hotfuel.log.spill._LEFT_FREE", -(1 << 40))
    writer = LogWriter(path, write=disk.write, clock=lambda: now[0], spill_folders=[tmp_path / "kept"])
    for number in range(1, 60_000 // FRAME + 400):
        writer.received(framing.encode(wire_logs.reading(100 * number, 5, [(number, 2, 3)])))
        now[0] += 0.1
        assert not writer.failing or reserve.went_on_elsewhere(path.read_bytes()[-500:]) is not None
    assert writer.failing
    disk.room += 30_000  # some, and not enough
    now[0] += 61
    writer.work()
    assert reserve.went_on_elsewhere(path.read_bytes()[-500:]) is not None
    disk.room = 1 << 40
    now[0] += 61
    writer.work()
    assert not writer.failing
    assert numbers(path.read_bytes()) == list(range(1, number + 1))
    writer.close()

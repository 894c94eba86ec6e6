"""The mark of a log's end: without it a log that was cut between two messages would read as whole."""

import errno
import random

import pytest
import wire_logs
from disks import Disk, errno_of
from hotfuel.log import follow, identity, rescue, reserve
from hotfuel.log.append import LogWriter
from hotfuel.log.ending import ending, mark
from hotfuel.record.recorder import Recorder
from hotfuel.samples import decode
from hotfuel_wire import codec, framing

NUMBER = codec.description_id(wire_logs.description(1))
FIRST = len(identity.frame(b"anything"))  # before its end nobody can know whose log it is
OLD = identity.frame(b"earlier!", 1_780_000_000.0)  # as a recorder wrote it that marks no end


class Link:
    """Gives a block a turn, then nothing; each turn takes a tenth of a second."""

    url, problem, connected = "played", "", True

    def __init__(self, blocks):
        self.blocks, self.now = list(blocks), 50.0

    def read(self, timeout_s):
        self.now += 0.1
        return self.blocks.pop(0) if self.blocks else b""

    def write(self, data):
        return True

    def monotonic(self):
        return self.now

    def wall(self):
        return 1_780_000_000.0 + self.now


def readings(first, last):
    return [framing.encode(wire_logs.reading(100 * n, NUMBER, [(n, 2, 3)])) for n in range(first, last)]


DRIVE = [framing.encode(wire_logs.description(1)), *readings(1, 30)]


def record(path, blocks, *, until=None, go_on=None, **more):
    """Record the blocks; until: turns after which it is ended, so that what follows is left. Returns the recorder."""
    link = Link(blocks)
    with LogWriter(path, clock=link.monotonic, wall=link.wall, **more) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        if go_on is not None:
            made.go_on(*go_on)
        turns = iter(range(len(blocks) if until is None else until))
        made.run(stop=lambda: next(turns, None) is None)
    return made


def kill(path, blocks):
    """What a recorder leaves that is killed after these blocks: its log, and its note."""
    link = Link(blocks)
    writer = LogWriter(path, clock=link.monotonic)
    made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
    for _ in blocks:
        made.turn(0.1)
    left = reserve.path_for(path).read_bytes()
    writer.close()
    reserve.path_for(path).write_bytes(left)


def found(path):
    """How the log breaks off, as a session finds it."""
    return ending(path, marks_end=decode(path).marks_end, standing=rescue.standing(path))


def boundaries(data):
    """Every place between two messages, in front of the zero that begins one and behind it, from the first message's end to the last one's beginning."""
    return [at + 1 for at, one in enumerate(data[:-1]) if one == 0 and at + 1 >= FIRST]


@pytest.fixture
def path(tmp_path):
    return tmp_path / "wire.log"


def plain(path):
    record(path, DRIVE)


def silent_at_its_end(path):
    record(path, [*DRIVE, *[b""] * 50])


def continued_after_a_crash(path):
    kill(path, DRIVE)
    record(path, readings(600, 620), go_on=(1, 29, 2900, 1_780_000_050.0))


def of_several_boots(path):
    again = [framing.encode(wire_logs.description(1, boot_count=2)), *readings(1, 9)]
    record(path, [*DRIVE, *again, framing.encode(wire_logs.description(1, boot_count=3)), *readings(1, 5)])


@pytest.mark.parametrize("made", [plain, silent_at_its_end, continued_after_a_crash, of_several_boots])
def test_every_cut_between_two_messages_is_reported_and_the_whole_log_is_not(path, made):
    made(path)
    assert found(path) is None
    data = path.read_bytes()
    cuts = boundaries(data)
    assert len(cuts) >= 60
    for cut in cuts:
        path.write_bytes(data[:cut])
        broken = found(path)
        assert broken is not None and broken.sure, cut
        assert "breaks off" in broken.sentence() and "what followed is missing" in broken.sentence()


def test_every_cut_within_a_message_is_reported_too(path):
    plain(path)
    data = path.read_bytes()
    for cut in random.Random(3).sample(range(FIRST, len(data) - 1), 200):
        path.write_bytes(data[:cut])
        assert found(path).sure, cut


def test_the_same_log_of_a_recorder_that_wrote_no_end_is_never_said_to_break_off(path):
    data = OLD + b"".join(DRIVE)
    for cut in boundaries(data):
        path.write_bytes(data[:cut])
        assert found(path) is None


def test_an_earlier_recorder_that_went_on_with_a_log_owes_no_end(path):
    kill(path, DRIVE)
    reserve.path_for(path).unlink()
    assert found(path).unmarked
    log_id = identity.of(path)
    path.write_bytes(path.read_bytes() + identity.frame(log_id, 1_780_000_100.0, part=1) + b"".join(readings(600, 620)))
    assert found(path) is None


def test_the_mark_is_the_last_message_counts_as_no_gap_and_says_when(path):
    made = record(path, [*DRIVE, b"noise\0"])
    decoded = decode(path)
    last = list(framing.FrameReader().feed(path.read_bytes()))[-1]
    name, values = codec.unpack(last)
    assert (name, values["reason"], values["length_ms"], values["time_ms"]) == ("link_gap", 4, 0, 2900)
    assert values["bytes_damaged"] == 5
    assert values["wall_us"] == pytest.approx(made.wall() * 1e6, abs=2e5)
    assert decoded.losses.gaps == [] and made.counts.gaps == 0 and decoded.losses.sentences()[0].startswith("1 damaged piece")


def test_the_message_that_is_coming_in_is_taken_whole_and_what_follows_it_is_not(path):
    """Half a message before the mark would read as damage in every second recording."""
    whole, half = readings(30, 31)[0], len(readings(30, 31)[0]) // 2
    record(path, [*DRIVE, whole[:half], whole[half:] + readings(31, 32)[0]], until=len(DRIVE) + 1)
    decoded = decode(path)
    assert found(path) is None
    assert decoded.losses.pieces_damaged == 0 and decoded.scans["time"][-1] == pytest.approx(3.0)


def test_a_message_whose_rest_never_comes_does_not_keep_the_recording_open(path):
    made = record(path, [*DRIVE, readings(30, 31)[0][:20]])
    assert made.monotonic() < 50 + 0.1 * len(DRIVE) + 1.0
    assert found(path) is None and decode(path).losses.pieces_damaged == 1


def test_zeros_behind_the_mark_are_no_loss(path):
    plain(path)
    path.write_bytes(path.read_bytes() + bytes(70_000))
    assert found(path) is None


def test_a_note_left_behind_the_mark_is_no_loss(path):
    """The power went between the last write and the removal of the note."""
    plain(path)
    LogWriter(path.with_name("other.log"))
    reserve.path_for(path).write_bytes(reserve.path_for(path.with_name("other.log")).read_bytes())
    assert found(path) is None


def test_a_recording_that_goes_on_or_was_killed(path):
    link = Link(DRIVE)
    with LogWriter(path, clock=link.monotonic) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        for _ in DRIVE:
            made.turn(0.1)
        assert found(path) is None  # it is being recorded
    assert found(path).unmarked  # closed after an error: nobody ended it
    path.unlink()
    kill(path, DRIVE)
    assert found(path).unended and "did not end this recording" in found(path).sentence()


class Full(Disk):
    """A disk without room, as long as it is so."""

    full = False

    def write(self, fd, data):
        self.plan = [errno_of(errno.ENOSPC)] if self.full else []
        return super().write(fd, data)


def test_the_mark_is_kept_elsewhere_with_the_rest_and_put_back_with_it(path, tmp_path):
    disk = Full()
    link = Link(DRIVE)
    with LogWriter(path, clock=link.monotonic, write=disk.write) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        for at in range(len(DRIVE)):
            disk.full = at > 10
            made.turn(0.1)
        made.run(0)
    standing = rescue.standing(path)
    assert standing.pieces and found(path) is None
    copied = tmp_path / "copied.log"
    rescue.copy(path, copied)
    assert found(copied) is None
    (piece,) = standing.pieces
    elsewhere = tmp_path / "elsewhere.log"
    rescue.make_log([piece], elsewhere)  # as of a log that has gone
    assert found(elsewhere) is None
    whole = piece.path.read_bytes()
    piece.path.write_bytes(whole[: -len(framing.encode(mark(0, 0, 1 << 50)))])
    short = tmp_path / "short.log"
    rescue.make_log(rescue.standing(path).pieces, short)
    assert found(short).unmarked
    piece.path.write_bytes(whole)
    rescue.put_back(path)
    assert rescue.standing(path) is None and found(path) is None


def test_with_no_room_anywhere_the_log_says_that_its_disk_was_full(path, tmp_path):
    disk = Full()
    link = Link(DRIVE)
    nowhere = tmp_path / "a file"
    nowhere.write_bytes(b"")
    with LogWriter(path, clock=link.monotonic, write=disk.write, spill_folders=[nowhere]) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        for at in range(len(DRIVE)):
            disk.full = at > 10
            made.turn(0.1)
        made.run(0)
    broken = found(path)
    said = broken.sentence() if broken is not None else rescue.standing(path).sentence()
    assert "disk" in said and "full" in said


def test_another_recording_behind_the_mark_leaves_it_the_end(path):
    plain(path)
    whole = path.read_bytes()
    theirs = identity.frame(b"another!", 1_780_100_000.0, marks_end=True) + b"".join(DRIVE)
    path.write_bytes(whole + theirs)
    assert rescue.standing(path).others and found(path) is None
    path.write_bytes(whole[: boundaries(whole)[-3]] + theirs)
    assert found(path).unmarked


@pytest.mark.parametrize("foreign", [b"\x55", b"copied by a person\n", b"a line\n" * 400, b"ab\0cd\0\0ef"])
def test_foreign_bytes_behind_the_mark_leave_it_the_end(path, foreign):
    plain(path)
    rows = len(decode(path).scans["time"])
    path.write_bytes(path.read_bytes() + foreign)
    assert found(path) is None
    assert len(decode(path).scans["time"]) == rows
    path.write_bytes(path.read_bytes() + bytes(20))
    assert found(path) is None


def test_foreign_bytes_behind_a_message_are_no_end(path):
    plain(path)
    data = path.read_bytes()
    path.write_bytes(data[: boundaries(data)[-2]] + b"copied by a person\n")
    assert found(path).unmarked


def test_a_recording_that_went_on_behind_the_mark_and_was_cut_in_its_first_message_breaks_off(path):
    plain(path)
    whole = path.read_bytes()
    later = identity.frame(identity.of(path), 1_780_000_100.0, part=1, marks_end=True)
    for cut in range(2, len(later) - 1):
        path.write_bytes(whole + later[:cut])
        assert found(path).unmarked, cut


def test_a_log_cut_at_its_beginning_has_its_end(path):
    plain(path)
    data = b"".join(follow.blocks(path))
    path.write_bytes(data[len(data) // 2 :])
    assert found(path) is None

"""How a log breaks off: cut in a message, ended by zeros, nothing but zeros, or left by a recorder that did not end."""

import fcntl

import pytest
from hotfuel import session
from hotfuel.cli.shared import recording
from hotfuel.errors import InputError
from hotfuel.log import reserve
from hotfuel.log.append import LogWriter
from hotfuel.log.ending import ending, mark
from hotfuel_wire import framing

FRAMES = b"".join(framing.encode(bytes([1, number]) * 20) for number in range(50))


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "wire.log"
    path.write_bytes(FRAMES)
    return path


def test_a_log_that_ends_whole_has_no_remark(log):
    assert ending(log) is None
    log.write_bytes(b"")
    assert ending(log) is None


def test_a_cut_message_may_be_a_cut_log(log):
    log.write_bytes(FRAMES[:-10])
    found = ending(log)
    assert found.begun > 0 and not found.sure
    assert f"after {found.begun} bytes of it" in found.sentence() and "what followed is missing" in found.sentence()


@pytest.mark.parametrize("zeros", [64, 200_000])
def test_zeros_at_the_end_are_a_loss_of_power(log, zeros):
    log.write_bytes(FRAMES[:-10] + bytes(zeros))
    found = ending(log)
    assert found.zeros == zeros and found.sure and not found.only_zeros
    assert f"{zeros} bytes of zeros" in found.sentence()


def test_nothing_but_zeros_is_a_lost_recording(log):
    log.write_bytes(bytes(100_000))
    assert ending(log).only_zeros
    with pytest.raises(InputError, match="100000 bytes of nothing but zeros: a recording was lost"):
        recording(session.open(log))


def test_a_recorder_that_did_not_end_leaves_its_note(tmp_path):
    path = tmp_path / "wire.log"
    writer = LogWriter(path)
    writer.received(FRAMES)
    assert ending(path) is None  # it is still being written
    left = reserve.path_for(path).read_bytes()
    writer.host_frame(mark(0, 0, 1 << 50))
    writer.close()
    assert ending(path) is None
    path.write_bytes(path.read_bytes()[: -len(framing.encode(mark(0, 0, 1 << 50)))])
    reserve.path_for(path).write_bytes(left)  # as after kill -9
    found = ending(path)
    assert found.unended and found.sure and "did not end this recording" in found.sentence()


def test_a_log_that_is_being_recorded_is_not_cut(log):
    log.write_bytes(FRAMES[:-10])
    with open(log, "rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        assert ending(log) is None

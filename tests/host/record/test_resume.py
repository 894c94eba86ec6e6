"""The same command after a crash: continues the drive if it is the same one, records beside it otherwise, never over it."""

import os
import time

import pytest
import wire_logs
from hotfuel import car
from hotfuel.errors import InputError
from hotfuel.log import reserve
from hotfuel.log.append import LogWriter
from hotfuel.record import resume
from hotfuel.record.resume import Board
from hotfuel_wire import codec, framing

NUMBER = codec.description_id(wire_logs.description(1))
SAME = Board(wire_logs.BOARD_ID.hex())


def frames(count):
    return framing.encode(wire_logs.description(1)) + b"".join(
        framing.encode(wire_logs.reading(100 * n, NUMBER, [(n, 2, 3)])) for n in range(1, count + 1)
    )


@pytest.fixture
def cut_off(tmp_path):
    """A drive whose recorder died just now; returns the folder asked for."""
    return make(tmp_path / "sunday")


def make(folder, ended=False, text=None):
    folder.mkdir()
    if text:
        (folder / "car.toml").write_text(text)
    writer = LogWriter(folder / "wire.log")
    writer.received(frames(20))
    writer.host_frame(wire_logs.mark("here", 2000))
    if ended:
        writer.close()
    else:
        os.close(writer._fd)  # as the system does when the process dies
    return folder


def must_not_ask():
    raise AssertionError("the board must not be asked")


def test_a_free_folder_is_used_without_a_message(tmp_path):
    assert resume.place(tmp_path / "sunday", None, must_not_ask) == resume.Place(tmp_path / "sunday")
    (tmp_path / "monday").mkdir()
    assert resume.place(tmp_path / "monday", None, must_not_ask).folder == tmp_path / "monday"


@pytest.mark.parametrize("board", [SAME, Board("", {NUMBER})], ids=["by its id", "by its readings"])
def test_an_interrupted_drive_is_continued(cut_off, board):
    found = resume.place(cut_off, None, lambda: board)
    assert found.folder == cut_off
    assert (found.earlier.parts, found.earlier.tick, found.earlier.time_ms) == (1, 20, 2000)
    assert "goes on with it" in found.sentence


@pytest.mark.parametrize(
    ("board", "words"), [(Board("0" * 16, {1}), "another board"), (Board(), "does not say who it is")], ids=["another", "silent"]
)
def test_another_board_gets_a_folder_beside_it(cut_off, board, words):
    found = resume.place(cut_off, None, lambda: board)
    assert found.folder == cut_off.with_name("sunday-2")
    assert found.earlier is None
    assert words in found.sentence
    assert "sunday-2" in found.sentence


def test_another_car_gets_a_folder_beside_it(tmp_path):
    folder = make(tmp_path / "sunday", text=car.EXAMPLE)
    assert resume.place(folder, car.load(car.EXAMPLE), lambda: SAME).folder == folder
    other = car.load(car.EXAMPLE.replace("Blue saloon", "Heron"))
    for described in (other, None):
        assert resume.place(folder, described, must_not_ask).folder == tmp_path / "sunday-2"


def test_a_finished_one_is_left_alone(tmp_path):
    folder = make(tmp_path / "sunday", ended=True)
    found = resume.place(folder, None, must_not_ask)
    assert (found.folder, found.earlier) == (tmp_path / "sunday-2", None)
    assert "finished recording" in found.sentence


def test_the_last_folder_of_a_series_counts(tmp_path):
    make(tmp_path / "sunday", ended=True)
    last = make(tmp_path / "sunday-2")
    assert resume.place(tmp_path / "sunday", None, lambda: SAME).folder == last
    make(tmp_path / "sunday-3", ended=True)
    assert resume.place(tmp_path / "sunday", None, must_not_ask).folder == tmp_path / "sunday-4"


def test_two_hours_later_it_is_another_drive(cut_off):
    assert resume.place(cut_off, None, lambda: SAME, time.time() + 7100).earlier is not None
    assert resume.place(cut_off, None, lambda: SAME, time.time() - 7100).earlier is not None  # the clock was set back
    found = resume.place(cut_off, None, must_not_ask, time.time() + 7300)
    assert found.earlier is None
    assert "cut off 2.0 h ago" in found.sentence


def test_a_drive_being_recorded_is_left_alone(tmp_path):
    folder = tmp_path / "sunday"
    folder.mkdir()
    with LogWriter(folder / "wire.log"):
        found = resume.place(folder, None, must_not_ask)
    assert found.folder == tmp_path / "sunday-2"
    assert "is being recorded" in found.sentence


def test_a_folder_that_holds_only_a_car_file_or_a_log_that_cannot_be_read(tmp_path):
    (tmp_path / "sunday").mkdir()
    (tmp_path / "sunday" / "car.toml").write_text("mine")
    assert resume.place(tmp_path / "sunday", None, must_not_ask).folder == tmp_path / "sunday-2"
    (tmp_path / "sunday" / "wire.log").mkdir()
    assert resume.place(tmp_path / "sunday", None, must_not_ask).folder == tmp_path / "sunday-2"
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        resume.place(tmp_path / "file", None, must_not_ask)


def test_a_log_cut_to_nothing_is_continued(cut_off):
    (cut_off / "wire.log").write_bytes(b"")
    found = resume.place(cut_off, None, lambda: SAME)
    assert found.folder == cut_off
    assert reserve.read(cut_off / "wire.log") is not None


class Played:
    def __init__(self, pieces):
        self.pieces, self.written, self.now = list(pieces), [], 0.0

    def read(self, timeout_s):
        self.now += 0.1
        return self.pieces.pop(0) if self.pieces else b""

    def write(self, data):
        self.written.append(codec.unpack(framing.decode(data.strip(b"\0")))[1])


def reply(code, answer):
    return framing.encode(
        codec.pack("reply", {"tick": 0, "time_ms": 0, "sequence": 0, "code": code, "outcome": 0, "answer": answer})
    )


def test_the_board_is_queried_and_what_it_sends_meanwhile_is_kept():
    reading = framing.encode(wire_logs.reading(100, NUMBER, [(1, 2, 3)]))
    pieces = [reading, reply(1, b"last_sequence=7\n"), reading, reply(2, b"board_id=0102030405060708\n"), b"not read"]
    link = Played(pieces)
    board = resume.ask(link, clock=lambda: link.now)
    assert (board.board_id, board.descriptions) == ("0102030405060708", {NUMBER})
    assert board.received == b"".join(pieces[:4])
    assert [(asked["code"], asked["sequence"]) for asked in link.written] == [(1, 0), (2, 8)]


def test_a_silent_board_is_waited_for_at_most_three_seconds():
    link = Played([b"$GPGGA\r\n"] * 5)
    board = resume.ask(link, clock=lambda: link.now)
    assert board.board_id == ""
    assert link.now == pytest.approx(3.0, abs=0.2)

"""Faults asked for by words: `hotfuel simulator --fault "pump=loose at 60 s"` does to the board what it says, when it says."""

import itertools
import time
from pathlib import Path

import pytest
from hotfuel.errors import UsageError
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.faults import AT_A_PLACE, Fault, Switchboard, fault_of
from hotfuel.simulator.feed import steady
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER, NOT_A_CODE, NOT_READY

PLACES = ("tank", "pump", "carb_inlet")
CODES_PER_MV = 32 * 1.6 * 2**17 / 1000
SPEED = 40
ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        ("pump=unplugged", Fault("pump", "unplugged")),
        ("pump=loose at 2 min for 30 s", Fault("pump", "loose", 120.0, 30.0)),
        (" tank = stopped at 0.5 h ", Fault("tank", "stopped", 1800.0)),
        ("usb=unplugged for 20 s", Fault("usb", "unplugged", 0.0, 20.0)),
    ],
)
def test_words_become_a_fault(asked, fault):
    assert fault_of(asked, PLACES) == fault


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("pump", 'write it like "carb_inlet=loose at 2 min for 30 s"'),
        ("pup=loose", 'there is no place "pup"; there are tank, pump, carb_inlet, usb'),
        ("pump=lose", f'there is no fault "lose" at pump; there are {", ".join(AT_A_PLACE)}'),
        ("usb=loose", 'there is no fault "loose" at usb; there are unplugged'),
        ("pump=loose at 3", "a time needs one of s, ms, min, h"),
        ("pump=dip at 3 s for 5 s", 'leave out "for 5 s"'),
        ("pump=loose at -3 s", "it begins at 0 s of the drive or later"),
        ("pump=loose for 0 s", "lasts longer than 0 s"),
    ],
)
def test_what_is_not_understood_is_told_with_what_there_is(asked, says):
    with pytest.raises(UsageError) as error:
        fault_of(asked, PLACES)
    assert says in str(error.value)


def test_the_readme_names_every_fault():
    row = next(line for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines() if "--fault" in line)
    assert [kind for kind in AT_A_PLACE if f"`{kind}`" not in row] == []


@pytest.mark.parametrize("speed", [5, 30, 100])
def test_a_loose_plug_comes_and_goes_by_the_boards_time_at_any_speed(read, speed):
    switchboard = Switchboard([fault_of("pump=loose at 10 s for 20 s", PLACES)], PLACES, lambda sentence: None)
    board = SimulatedBoard(steady([1.0, 2.5, 3.0], [25.0] * 3, seconds=40), speed=speed)
    switchboard.turn(board)
    with board, read(board) as reader:
        while not board.finished:
            reader.take()
            switchboard.turn(board)
            time.sleep(0.1)  # as the command does: seconds of the board's time
        reader.to_the_end()
    rows = [(one["time_ms"] / 1000, bool(one["channels"][1]["status"] & 0x01)) for one in reader.of("reading")]
    assert not any(acts for at, acts in rows if at < 10)
    assert not any(acts for at, acts in rows if at > 30.5)
    during = [acts for at, acts in rows if 10 <= at <= 30.5]
    assert sum(during) / len(during) == pytest.approx(0.4, abs=0.03)
    assert sum(before[1] != after[1] for before, after in itertools.pairwise(rows)) == 20, "ten times off and on"


@pytest.mark.parametrize(
    ("kind", "shows"),
    [
        ("unplugged", lambda hot, status: status & 0x01),
        ("loose", lambda hot, status: status & 0x01),
        ("shorted", lambda hot, status: hot == 0 and status == 0),
        ("grounded", lambda hot, status: status & 0x02),
        ("reversed", lambda hot, status: hot == -round(2.5 * CODES_PER_MV)),
        ("dead", lambda hot, status: hot == NO_ANSWER),
        ("stopped", lambda hot, status: hot == NOT_READY),
        ("dip", lambda hot, status: hot == CONFIGURATION_LOST),
    ],
)
def test_each_shows_in_what_the_board_sends_and_is_over_in_time(read, kind, shows):
    asked = f"pump={kind} at 6 s" + ("" if kind == "dip" else " for 12 s")
    said = []
    switchboard = Switchboard([fault_of(asked, PLACES)], PLACES, said.append)
    with SimulatedBoard(steady([1.0, 2.5, 3.0], [25.0] * 3, seconds=40), speed=SPEED) as board, read(board) as reader:
        while not board.finished:
            reader.take()
            switchboard.turn(board)
        reader.to_the_end()
    rows = [(one["time_ms"] / 1000, one["channels"]) for one in reader.of("reading")]
    seen = [at for at, channels in rows if shows(channels[1]["hot"], channels[1]["status"])]
    assert seen, "it shows"
    assert 5 < seen[0] < 14
    assert seen[-1] < 30, "and is over"
    assert rows[-1][1][1]["hot"] == round(2.5 * CODES_PER_MV)
    assert rows[-1][1][1]["status"] == 0
    for channel in (0, 2):
        assert all(channels[channel]["status"] == 0 and channels[channel]["hot"] > NOT_A_CODE for _, channels in rows[2:])
    assert said[0].startswith("pump: ")
    assert len(said) == 1 or said[1].startswith("pump: whole again")


def test_the_usb_plug_is_pulled_and_put_in_again():
    switchboard = Switchboard([fault_of("usb=unplugged at 5 s for 5 s", PLACES)], PLACES, lambda sentence: None)
    done = []

    class Board:
        time_s = 0.0

        def unplug(self):
            done.append(("out", self.time_s))

        def plug(self):
            done.append(("in", self.time_s))

    board = Board()
    for tenth in range(200):
        board.time_s = tenth / 10
        switchboard.turn(board)
    assert done == [("out", 5.0), ("in", 10.0)]

"""From a source's arrays to the whole numbers that the board's process takes."""

import itertools
import struct

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.simulator.feed import Samples, Senders, Supply, slices, steady


def unpacked(piece):
    start_us, step_us, count = struct.unpack_from("<QIH", piece.content)
    return start_us, step_us, np.frombuffer(piece.content[14:], dtype="<i4").reshape(-1, count)


def test_a_block_becomes_columns_of_whole_numbers():
    block = Samples(
        time_s=np.array([10.0, 10.05]),
        emf_mv=np.array([[1.0, -0.5], [1.5, 0.0]]),
        cold_degc=np.array([[25.0, -10.0], [25.5, -10.0]]),
        engine_rpm=np.array([3000.0, 3000.0]),
        fuel_pressure_kpa=np.array([0.0, 103.421]),
        ambient_pressure_kpa=83.4,
        battery_v=np.array([14.4, np.nan]),
        ignition=np.array([0.0, 1.0]),
    )
    (piece,) = slices([block], Senders(pulses_per_revolution=2.0), 2, speed=100)
    start_us, step_us, columns = unpacked(piece)
    assert (start_us, step_us, piece.end_us) == (10_000_000, 50_000, 10_100_000)
    assert columns[:4].tolist() == [[1_000_000, 1_500_000], [-500_000, 0], [25_600, 26_112], [-10_240, -10_240]]
    # 14.4 V over 11 is 1.309 V of 3.3 V; a sender at 10 and at 90 per cent of 5 V behind 10k over 19.6k: 0.3311 and 2.9797 V
    assert columns[4].tolist() == [round(14.4 / 11 / 3.3 * 65535), 0]
    assert columns[5].tolist() == [round(0.5 * 19.6 / 29.6 / 3.3 * 65535), round(4.5 * 19.6 / 29.6 / 3.3 * 65535)]
    assert columns[6].tolist() == [83_400, 83_400]
    assert columns[8].tolist() == [5, 10]  # 100 pulses a second
    assert columns[9].tolist() == [0, 1]


def test_pulses_continue_over_blocks():
    pieces = list(slices(steady([0.0], [20.0], seconds=3, engine_rpm=6000.0), Senders(), 1, speed=1000))
    assert [unpacked(piece)[2][6][-1] for piece in pieces] == [200, 400, 600]


@pytest.mark.parametrize(("speed", "samples"), [(1, 1), (10, 8), (1000, 20)])
def test_slices_are_short_enough_to_keep_pace(speed, samples):
    pieces = list(slices(steady([0.0], [20.0], seconds=2), Senders(), 1, speed))
    assert max(unpacked(piece)[2].shape[1] for piece in pieces) == samples
    assert pieces[0].start_us == 0
    assert all(a.end_us == b.start_us for a, b in itertools.pairwise(pieces))
    assert pieces[-1].end_us == 2_000_000


def test_a_source_with_too_few_channels_is_refused():
    with pytest.raises(InputError, match="2 channels and the board 3 chips"):
        list(slices(steady([0.0, 0.0], [20.0, 20.0], seconds=1), Senders(), 3, 1))


def test_senders_are_the_car_files():
    from hotfuel import car

    senders = Senders.of(car.load(car.EXAMPLE))
    assert senders.pulses_per_revolution == 4
    assert senders.fuel_pressure_range_kpa == pytest.approx(103.42, abs=0.01)  # 15 psi


def supply(speed, seconds=5):
    return Supply(slices(steady([0.0], [20.0], seconds=seconds), Senders(), 1, speed), speed)


def test_a_slice_is_due_when_the_wall_clock_reaches_it(monkeypatch):
    now = [1000.0]
    monkeypatch.setattr("hotfuel.simulator.feed.time.monotonic", lambda: now[0])
    source = supply(speed=100)
    assert source.wait_s() == 0
    source.hand_out()
    assert source.wait_s() == pytest.approx(0.01)  # the second at 1 s begins 10 ms later
    now[0] += 0.02
    assert source.wait_s() == 0
    source.hand_out()
    now[0] += 60  # the reader made it wait: lost time is not caught up
    assert source.wait_s() == 0
    source.hand_out()
    assert source.wait_s() == pytest.approx(0.01)


def test_after_the_last_slice_the_supply_ends():
    source = supply(speed=60000, seconds=2)
    given = []
    while not source.ended:
        if source.wait_s() == 0:
            given.append(source.hand_out().start_us)
    assert given == [0, 1_000_000]


def test_a_restarted_board_gets_again_what_it_had_not_finished():
    source = supply(speed=60000)
    for _ in range(4):
        while source.wait_s() > 0:
            pass
        source.hand_out()
    source.taken()
    source.taken()
    assert source.in_hand == 2
    assert [piece.start_us for piece in source.again(1_400_000)] == [1_000_000, 2_000_000, 3_000_000]
    assert source.in_hand == 3

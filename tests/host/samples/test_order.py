"""Blocks of a log in the wrong order: put together where board, start and ticks show how; reported where they do not."""

import functools
import random

import numpy as np
import pytest
import wire_logs
from hotfuel.samples import decode
from hotfuel_wire import codec, framing
from hypothesis import given, settings
from hypothesis import strategies as st

NUMBER = codec.description_id(wire_logs.description(1))


@functools.cache
def block(first_s, last_s, *, boot_count=1, wall_s=None, offset=0, described=True, hot=None):
    """Half an open interval of board time at 10 Hz, its description in front, an anchor at its end if wall_s (of board time 0) is given."""
    description = wire_logs.description(1, boot_count=boot_count, time_ms=round(first_s * 1000))
    number = codec.description_id(description)
    payloads = [description] if described else []
    if wall_s is not None:
        payloads.append(wire_logs.anchor(round(first_s * 1000), round((wall_s + first_s) * 1e6), round(first_s * 1e6)))
    for tick in range(round(first_s * 10), round(last_s * 10)):
        payloads.append(wire_logs.reading(tick * 100, number, [(tick + offset if hot is None else hot, 2, 3)]))
    return b"".join(map(framing.encode, payloads))


def read(*blocks):
    return decode(b"".join(blocks))


in_order = functools.cache(read)  # what every example is held against


@given(st.permutations(range(6)))
def test_any_order_of_blocks_gives_the_same_table(order):
    blocks = [block(n * 30, n * 30 + 30, wall_s=1_780_000_000.0) for n in range(6)]
    plain, mixed = in_order(*blocks), read(*(blocks[number] for number in order))
    for name in ("time", "tick", "boot", "hot"):
        np.testing.assert_array_equal(plain.readings[name], mixed.readings[name])
    assert mixed.losses.ticks_missing == plain.losses.ticks_missing == 0
    np.testing.assert_allclose(
        mixed.clock.wall_s(mixed.readings["boot"], mixed.readings["time"]),
        plain.clock.wall_s(0, plain.readings["time"]),
        atol=1e-3,
    )
    assert plain.notes == []
    assert bool(mixed.notes) == (order != sorted(order))
    for note in mixed.notes:
        assert "put in order by the board's count of its readings" in note


def test_also_without_wall_times_and_a_duplicated_block_counts_once():
    mixed = read(block(60, 90), block(0, 60), block(60, 90))
    assert mixed.readings["tick"].tolist() == list(range(900))
    assert set(mixed.readings["boot"].tolist()) == {0}


def test_a_gap_between_blocks_is_counted_once():
    mixed = read(block(100, 130), block(0, 60))
    assert mixed.losses.ticks_missing == 400


def test_two_starts_of_the_board_stay_two():
    decoded = read(block(0, 60), block(0, 60, boot_count=2))
    assert sorted(set(decoded.readings["boot"].tolist())) == [0, 1]
    assert decoded.notes == []


def test_parts_of_one_start_on_both_sides_of_another_are_put_together():
    decoded = read(block(60, 90), block(0, 50, boot_count=2), block(0, 60))
    boots = decoded.readings["boot"]
    assert decoded.readings["tick"][boots == 0].tolist() == list(range(900))
    assert decoded.readings["tick"][boots == 1].tolist() == list(range(500))


@pytest.mark.parametrize("why", ["other values at the same ticks", "other wall times"])
def test_contradicting_blocks_are_left_in_place_and_reported(why):
    """A board whose settings could not be written uses the same boot count twice."""
    if why == "other wall times":
        decoded = read(block(100, 160, wall_s=1_780_000_000.0), block(0, 60, wall_s=1_780_003_600.0))
    else:
        decoded = read(block(0, 60), block(0, 50, offset=7))
    assert sorted(set(decoded.readings["boot"].tolist())) == [0, 1]
    assert len(decoded.notes) == 1
    assert "contradict" in decoded.notes[0]


@pytest.mark.parametrize("walls", [False, True])
@settings(max_examples=20)
@given(order=st.permutations(range(4)), cut=st.integers(0, 3))
def test_starts_of_one_board_in_any_order_are_sorted_by_its_count(walls, order, cut):
    """Blocks shuffled across starts, one start in two pieces, with wall times and without."""
    began_s = [1_780_000_000.0 + 1000 * n if walls else None for n in range(4)]
    blocks = [block(0, 40, boot_count=5 + n, wall_s=began_s[n], offset=1000 * n) for n in range(4)]
    torn = (
        block(0, 20, boot_count=5 + cut, wall_s=began_s[cut], offset=1000 * cut),
        block(20, 40, boot_count=5 + cut, wall_s=began_s[cut], offset=1000 * cut),
    )
    plain = in_order(*blocks)
    mixed = read(torn[1], *(torn[0] if number == cut else blocks[number] for number in order))
    for name in ("boot", "tick", "hot"):
        np.testing.assert_array_equal(plain.readings[name], mixed.readings[name])
    assert plain.notes == []
    assert mixed.notes


def test_a_boot_count_that_may_have_restarted_is_reported_and_left():
    """Settings erased or parts swapped: without wall times the two cannot be told apart."""
    decoded = read(block(0, 60, boot_count=8), block(0, 50, boot_count=1))
    assert [int((decoded.readings["boot"] == boot).sum()) for boot in (0, 1)] == [600, 500]
    assert len(decoded.notes) == 1
    assert "number 1 comes after its number 8" in decoded.notes[0]


@pytest.mark.parametrize(("first_s", "second_s", "boots"), [(0.0, 3600.0, [600, 500]), (3600.0, 0.0, [500, 600])])
def test_wall_times_decide_whether_the_boot_count_restarted(first_s, second_s, boots):
    at = 1_780_000_000.0
    decoded = read(block(0, 60, boot_count=8, wall_s=at + first_s), block(0, 50, boot_count=1, wall_s=at + second_s))
    assert [int((decoded.readings["boot"] == boot).sum()) for boot in (0, 1)] == boots
    assert bool(decoded.notes) == (first_s > second_s)


def test_parts_of_two_boards_are_ordered_each_by_its_own_count():
    at = block(0, 10, boot_count=9), block(0, 30, boot_count=8)
    other = framing.encode(bytes(wire_logs.description(1, boot_count=3)).replace(wire_logs.BOARD_ID, b"otherone"))
    number = codec.description_id(framing.decode(other[1:-1]))
    others = other + b"".join(framing.encode(wire_logs.reading(tick * 100, number, [(tick, 2, 3)])) for tick in range(200))
    decoded = read(at[0], others, at[1])
    assert [int((decoded.readings["boot"] == boot).sum()) for boot in (0, 1, 2)] == [300, 200, 100]


def test_readings_without_a_known_description_stay_as_they_are():
    decoded = read(block(60, 90, described=False), block(0, 30, described=False))
    assert len(decoded.readings) == 600
    assert decoded.losses.readings_without_description == 600


def test_cuts_at_random_places_lose_only_the_frames_they_cut():
    """A log cut into pieces anywhere and shuffled: every reading that is whole is there once, in order."""
    whole = b"".join(block(n * 10, n * 10 + 10, wall_s=1_780_000_000.0) for n in range(30))
    draw = random.Random(5)
    for _ in range(10):
        cuts = sorted(draw.sample(range(len(whole)), 4))
        pieces = [whole[a:b] for a, b in zip([0, *cuts], [*cuts, len(whole)], strict=True)]
        draw.shuffle(pieces)
        ticks = decode(b"\0".join(pieces)).readings["tick"]
        assert (np.diff(ticks.astype(int)) > 0).all()
        assert len(ticks) >= 3000 - 8

"""Tick numbers, late and skipped ticks, and the ring buffer, on a board whose time the test controls."""

from itertools import pairwise

import pytest
from clock import TICKS_MASK, U32, Clock
from fake_board import SETTINGS, FakeBoard
from hypothesis import given
from hypothesis import strategies as st
from sampler import DEPTH, Sampler


class Counter:
    """A chip whose code is the number of times it was read."""

    def __init__(self):
        self.hot = self.cold = self.status = 0
        self.configured = 0

    def configure(self):
        self.configured += 1

    def read_raw(self):
        self.hot += 1
        self.cold = -self.hot
        self.status = self.hot & 0xFF


def started(period_ms=200, start_ms=0, channels=1):
    board = FakeBoard(0, start_ms=start_ms)
    chips = [Counter() for _ in range(channels)]
    sampler = Sampler(board, chips, period_ms)
    clock = Clock(board.ticks_ms)
    sampler.start(clock)
    return board, sampler, clock, chips


def taken(sampler, clock):
    rows = []
    while sampler.take():
        rows.append((clock.at(sampler.raw_ms), list(sampler.hot)))
    return rows


def test_the_timer_starts_in_the_middle_of_a_window():
    for start_ms in (0, 1, 99, 100, 101, 199, 0x3FFFFFFF - 50):
        board = FakeBoard(0, start_ms=start_ms)
        sampler = Sampler(board, [Counter()], 200)
        clock = Clock(board.ticks_ms)
        board.advance(37)
        sampler.start(clock)
        assert clock.now() % 200 == 100
        assert board.slept_ms < 200
        assert board.timer[0] == 200
        assert sampler.chips[0].configured == 1


def test_ticks_on_time_are_all_read_and_none_is_late():
    board, sampler, clock, _ = started()
    for _ in range(10):
        board.advance(200)
        board.timer[1](None)
    rows = taken(sampler, clock)
    assert [hot for _, hot in rows] == [[n] for n in range(1, 11)]
    assert [time_ms // 200 for time_ms, _ in rows] == list(range(1, 11))
    assert (sampler.late, sampler.skipped, sampler.dropped) == (0, 0, 0)


def test_a_flash_erase_of_400_ms_is_one_late_tick_and_its_burst_is_skipped():
    """Interrupts off for 400 ms at 5 Hz: two callbacks come at once afterwards. One tick is lost and shows as a gap, and time stamps stay true."""
    board, sampler, clock, _ = started()
    board.advance(200)
    board.timer[1](None)  # 300 ms, tick 1
    board.advance(350)  # off from just before 500 until 650
    board.timer[1](None)  # due at 500: tick 3, late
    board.advance(1)
    board.timer[1](None)  # nothing was due at 651: the second callback of the burst
    board.advance(49)
    board.timer[1](None)  # due at 700
    board.advance(200)
    board.timer[1](None)  # 900
    rows = taken(sampler, clock)
    assert [time_ms for time_ms, _ in rows] == [300, 650, 900]
    assert [time_ms // 200 for time_ms, _ in rows] == [1, 3, 4]
    assert sampler.late == 1
    assert sampler.skipped == 2


@given(
    lateness=st.lists(st.integers(0, 900), min_size=1, max_size=60),
    period_ms=st.sampled_from([100, 200, 500, 1000]),
    start_ms=st.integers(0, TICKS_MASK),
)
def test_whatever_the_callbacks_do_tick_numbers_rise_and_are_half_a_period_apart(lateness, period_ms, start_ms):
    board, sampler, clock, _ = started(period_ms, start_ms)
    elapsed_ms = 0
    rows = []
    for number, late_ms in enumerate(lateness):
        due = number * period_ms + late_ms
        if due > elapsed_ms:
            board.advance(due - elapsed_ms)
            elapsed_ms = due
        board.timer[1](None)
        rows += taken(sampler, clock)
    assert sampler.error is None
    ticks = [time_ms // period_ms for time_ms, _ in rows]
    assert all(later > earlier for earlier, later in pairwise(ticks))
    times = [time_ms for time_ms, _ in rows]
    assert all((later - earlier) * 2 >= period_ms for earlier, later in pairwise(times))
    assert len(rows) + sampler.skipped == len(lateness)


@pytest.mark.parametrize("timer_ms", [200.3, 199.7, 200.0])
def test_a_timer_at_a_wrong_rate_is_corrected_before_it_costs_a_tick(timer_ms):
    """A timer 0.15 % off drifts through a whole window in two minutes."""
    board, sampler, clock, _ = started()
    rows, aligned = [], 0
    due = 0.0
    begun_ms = board.now_ms
    for _ in range(5000):
        due += timer_ms
        board.advance(round(begun_ms + due) - board.now_ms)
        board.timer[1](None)
        if sampler.astray > 8:
            sampler.align(clock)
            aligned += 1
            begun_ms, due = board.now_ms, 0.0
        rows += taken(sampler, clock)
    ticks = [time_ms // 200 for time_ms, _ in rows]
    assert [later - earlier for earlier, later in pairwise(ticks)] == [1] * (len(ticks) - 1)
    assert sampler.late == 0
    assert sampler.skipped <= aligned
    assert (aligned > 20) == (timer_ms != 200.0)


def test_a_full_ring_drops_the_oldest_and_counts_them():
    board, sampler, clock, _ = started(channels=2)
    for _ in range(DEPTH + 7):
        board.advance(200)
        board.timer[1](None)
    rows = taken(sampler, clock)
    assert [hot for _, hot in rows] == [[n, n] for n in range(8, DEPTH + 8)]
    assert sampler.dropped == 7
    assert list(sampler.cold) == [-(DEPTH + 7)] * 2


def test_a_callback_during_take_corrupts_nothing():
    """The tick being copied is overwritten meanwhile: the next oldest is returned instead, and the loss counted."""
    board, sampler, clock, _ = started()

    class Interrupting(list):
        def __getitem__(self, index):
            if self.armed:
                self.armed = False
                board.advance(200)
                board.timer[1](None)
            return list.__getitem__(self, index)

    for _ in range(DEPTH):
        board.advance(200)
        board.timer[1](None)
    ring = Interrupting(sampler._ring_cold)
    ring.armed = True
    sampler._ring_cold = ring
    assert sampler.take()
    assert (sampler.hot[0], sampler.cold[0]) == (2, -2)
    assert sampler.dropped == 1
    assert [hot[0] for _, hot in taken(sampler, clock)] == list(range(3, DEPTH + 2))


def test_an_exception_in_a_tick_is_kept_for_the_main_loop_and_the_next_tick_is_read():
    board, sampler, clock, chips = started()
    chips[0].read_raw, working = (lambda: 1 // 0), chips[0].read_raw
    board.advance(200)
    board.timer[1](None)
    assert isinstance(sampler.error, ZeroDivisionError)
    chips[0].read_raw = working
    board.advance(200)
    board.timer[1](None)
    assert [hot for _, hot in taken(sampler, clock)] == [[1]]


def test_a_pending_callback_does_nothing_after_sampling_is_stopped():
    board, sampler, clock, chips = started()
    callback = board.timer[1]
    sampler.stop()
    board.advance(200)
    callback(None)
    assert board.timer is None
    assert chips[0].hot == 0
    assert taken(sampler, clock) == []


def test_longest_tick():
    board, sampler, _, chips = started()

    def slow():
        board.advance(3)

    chips[0].read_raw = slow
    board.advance(200)
    board.timer[1](None)
    assert sampler.longest_us == 3000


def test_board_time_continues_across_the_interpreters_wrap_and_wraps_at_32_bits():
    board = FakeBoard(0, start_ms=TICKS_MASK - 10)
    clock = Clock(board.ticks_ms)
    board.advance(30)
    assert clock.now() == 30
    clock._total = U32 - 5
    raw = board.ticks_ms()
    board.advance(10)
    assert clock.now() == 4
    assert clock.at(raw) == U32 - 5


@given(st.lists(st.integers(0, TICKS_MASK), min_size=1, max_size=30), st.integers(0, TICKS_MASK))
def test_board_time_is_the_sum_of_all_that_passed(steps, start_ms):
    board = FakeBoard(0, start_ms=start_ms)
    clock = Clock(board.ticks_ms)
    total = 0
    for step in steps:
        raw = board.ticks_ms()
        board.advance(step)
        before = total
        total += step
        assert clock.now() == total & U32
        assert clock.at(raw) == before & U32


def test_a_real_driver_reads_through_the_sampler():
    from chips.max31856 import Chip
    from fake_board import converted

    board = FakeBoard(2)
    sampler = Sampler(board, [Chip(board, channel, SETTINGS) for channel in range(2)], 200)
    clock = Clock(board.ticks_ms)
    sampler.start(clock)
    converted(board.chips[0], 6711, 6400)
    converted(board.chips[1], -40, -64, 1)
    board.advance(200)
    board.timer[1](None)
    assert sampler.take()
    assert (list(sampler.hot), list(sampler.cold), list(sampler.status)) == ([6711, -40], [6400, -64], [0, 1])

"""The simulated clock: timers as the rp2 port's, wraps, watchdog, interrupts held off by flash."""

import datetime

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.machine import rtc
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.clock import QUEUE_LENGTH, Reset, clock
from hotfuel.simulator.machine.timers import RESET_BY_WATCHDOG
from hypothesis import given
from hypothesis import strategies as st


def fired(period_ms, **how):
    times_ms = []
    timer = machine.Timer(period=period_ms, callback=lambda _timer: times_ms.append(clock.now_us / 1000), **how)
    return timer, times_ms


def test_a_periodic_timer_fires_at_its_scheduled_times(bench):
    _, times_ms = fired(100)
    time.sleep_ms(1050)
    assert times_ms == [100, 200, 300, 400, 500, 600, 700, 800, 900, 1000]


def test_callbacks_run_between_two_calls_of_the_program_and_time_continues_from_there(bench):
    _, times_ms = fired(7)
    while clock.now_us < 30_000:
        time.ticks_us()
    assert [round(t) for t in times_ms] == [7, 14, 21, 28]
    assert max(t - round(t) for t in times_ms) < 0.01


def test_a_timer_held_up_by_flash_comes_in_a_burst_and_keeps_its_schedule(bench):
    _, times_ms = fired(100)
    time.sleep_ms(50)
    clock.stop_world(350_000)
    assert times_ms == []  # interrupts were off
    time.sleep_ms(150)
    assert times_ms == [400, 400, 400, 400, 500]  # re-armed from when it was due


def test_callbacks_beyond_the_schedulers_queue_are_dropped_and_counted(bench):
    _, times_ms = fired(100)
    clock.stop_world(2_000_000)
    time.sleep_ms(1)
    assert len(times_ms) == QUEUE_LENGTH
    assert clock.callbacks_lost == 20 - QUEUE_LENGTH


def test_callbacks_do_not_nest(bench):
    depth, deepest = 0, 0

    def slow(_timer):
        nonlocal depth, deepest
        depth += 1
        deepest = max(deepest, depth)
        time.sleep_ms(250)
        depth -= 1

    machine.Timer(period=100, callback=slow)
    time.sleep_ms(1000)
    assert deepest == 1


def test_one_shot_timers_fire_once_and_stopped_ones_not_at_all(bench):
    _, once = fired(30, mode=machine.Timer.ONE_SHOT)
    timer, never = fired(50)
    timer.deinit()
    time.sleep_ms(500)
    assert once == [30]
    assert never == []


def test_a_timer_has_no_hard_callbacks_because_1_24_has_none(bench):
    with pytest.raises(TypeError):
        machine.Timer(period=10, hard=True)
    with pytest.raises(ValueError, match="exist"):
        machine.Timer(0)


def test_an_exception_in_a_callback_is_reported_and_its_timer_continues(bench):
    reports, calls = [], []
    clock.on_exception = reports.append

    def bad(_timer):
        calls.append(clock.now_us)
        raise RuntimeError("broken")

    machine.Timer(period=10, callback=bad)
    time.sleep_ms(35)
    assert len(calls) == len(reports) == 3
    assert str(reports[0]) == "broken"


def test_interrupts_switched_off_hold_callbacks_back(bench):
    _, times_ms = fired(10)
    state = machine.disable_irq()
    time.sleep_ms(25)
    assert times_ms == []
    machine.enable_irq(state)
    time.sleep_ms(0)
    assert len(times_ms) == 2


def test_idle_jumps_to_the_next_alarm_and_no_further(bench):
    _, times_ms = fired(30)
    machine.idle()
    assert times_ms == [30]
    machine.Timer(period=100_000, callback=None)
    machine.idle()
    machine.idle()
    assert clock.now_us <= 30_000 + 2 * machine.IDLE_LONGEST_US


def test_the_watchdog_resets_a_program_that_does_not_feed_it(bench):
    watchdog = machine.WDT(timeout=1000)
    for _ in range(5):
        time.sleep_ms(900)
        watchdog.feed()
    with pytest.raises(Reset) as reset:
        time.sleep_ms(1001)
    assert reset.value.args == (RESET_BY_WATCHDOG,)
    assert clock.now_us == 5_500_000


def test_the_watchdog_counts_while_flash_holds_interrupts_off(bench):
    machine.WDT(timeout=1000)
    with pytest.raises(Reset):
        clock.stop_world(1_500_000)


def test_the_watchdog_of_an_rp2040_allows_at_most_8388_ms(bench):
    machine.WDT(timeout=8388)
    with pytest.raises(ValueError, match="8388"):
        machine.WDT(timeout=8389)


def test_ticks_wrap_at_2_to_30(bench):
    clock.now_us = (1 << 30) - 3
    before = time.ticks_us()
    time.sleep_us(10)
    after = time.ticks_us()
    assert before > after
    assert time.ticks_diff(after, before) == 10 + time.CALL_US
    clock.now_us = (1 << 30) * 1000
    assert time.ticks_ms() == 0


@given(ticks=st.integers(0, (1 << 30) - 1), delta=st.integers(-(1 << 29), (1 << 29) - 1))
def test_ticks_diff_undoes_ticks_add(ticks, delta):
    later = time.ticks_add(ticks, delta)
    assert 0 <= later < 1 << 30
    assert time.ticks_diff(later, ticks) == delta


@given(st.datetimes(datetime.datetime(1970, 1, 1), datetime.datetime(2199, 12, 31)))
def test_dates_agree_with_the_calendar(moment):
    """Against Python's datetime."""
    moment = moment.replace(microsecond=0)
    since_s = round((moment - datetime.datetime(1970, 1, 1)).total_seconds())
    expected = moment.timetuple()
    assert rtc.date_and_time(since_s) == (*expected[:6], expected.tm_wday, expected.tm_yday)
    assert rtc.seconds_since_1970(*expected[:6]) == since_s


def test_the_processors_clock_starts_in_2021_and_can_be_set(bench):
    clock_of_board = machine.RTC()
    assert clock_of_board.datetime()[:3] == (2021, 1, 1)
    time.sleep(5)
    clock_of_board.datetime((2026, 7, 4, 5, 12, 30, 0, 0))
    time.sleep(61)
    assert clock_of_board.datetime() == (2026, 7, 4, 5, 12, 31, 1, 0)
    assert time.gmtime()[:6] == (2026, 7, 4, 12, 31, 1)
    assert time.mktime(time.localtime()) == time.time()

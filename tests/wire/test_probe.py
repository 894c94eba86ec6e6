"""What a probe can and cannot do physically: properties on random sequences. Hand-written ones are in alarm_vectors.jsonl."""

import itertools
import math

import pytest
from hotfuel_wire.probe import DOUBT_MS, NOISE, UNREADABLE, Probe
from hypothesis import given
from hypothesis import strategies as st

readings = st.integers(-2000, 15000)
lags_ms = st.sampled_from([0, 100, 1500, 8000, 25000])
steps_ms = st.sampled_from([100, 200, 1000])


def believed(course, step_ms, lag_ms=1500):
    one = Probe(lag_ms)
    return [one.take(reading, step_ms) for reading in course]


@given(
    st.lists(st.tuples(readings, st.integers(1, 40)), min_size=1, max_size=8), steps_ms, st.sampled_from([500, 1500, 8000, 25000])
)
def test_a_real_probe_is_believed_however_the_fuel_temperature_moves(plugs, step_ms, lag_ms):
    """A first-order probe in fuel that jumps by up to 50 degC, read with noise of +-1 degC, is never doubted."""
    at, course = float(plugs[0][0]), []
    for wanted, ticks in plugs:
        fuel = min(max(wanted, round(at) - 5000), round(at) + 5000)  # of the probe: two jumps in a row are limited to one
        for tick in range(ticks):
            at = fuel + (at - fuel) * math.exp(-step_ms / lag_ms)
            course.append(round(at) + (100, -100)[tick % 2])
    spread = max(course) - min(course)
    if spread < 5500:
        assert all(believed(course, step_ms, lag_ms))


@given(st.lists(st.one_of(readings, st.just(UNREADABLE)), max_size=200), steps_ms, lags_ms)
def test_a_rise_is_always_believed_and_doubt_ends(course, step_ms, lag_ms):
    found = believed(course, step_ms, lag_ms)
    last = None
    for reading, trusted in zip(course, found, strict=True):
        if reading == UNREADABLE:
            assert not trusted
            continue
        if last is not None and reading >= last:
            assert trusted
        last = max(last, reading) if last is not None and not trusted else reading
    for at, run in itertools.groupby(enumerate(found), key=lambda pair: pair[1]):
        doubted = [course[number] for number, _ in run] if not at else []
        assert len([r for r in doubted if r != UNREADABLE]) * step_ms <= DOUBT_MS + step_ms


@pytest.mark.parametrize("step_ms", [100, 200, 500])
def test_a_short_is_doubted_for_ten_seconds_and_then_reported(step_ms):
    one = Probe(1500)
    assert all(one.take(7000, step_ms) for _ in range(20))
    seconds, said = 0.0, []
    while not one.take(2500, step_ms):
        seconds += step_ms / 1000
    said.append(one.fell)
    assert 9.9 <= seconds <= 10.6
    assert one.take(2500, step_ms)
    assert said == [4500]
    assert one.fell == 0


def test_a_fall_within_the_noise_is_not_reported():
    one = Probe(600_000)
    one.take(5000, 200)
    assert one.take(5000 - NOISE, 200)

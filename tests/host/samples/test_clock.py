"""Board time to wall time: crystals that drift, anchors that come late, clocks that are set, computers that sleep."""

import numpy as np
import pytest
from hotfuel.samples import table
from hotfuel.samples.clock import Clock
from hypothesis import given, settings
from hypothesis import strategies as st

START_S = 1_780_000_000.0
EVERY_S = 5.0


def anchors(length_s, *, drift=0.0, boot=0, late=None, shift=None, slept=None, flags=0):
    """Anchors every 5 s. drift: how much the board's clock is slow. late[i]: delay of the i-th anchor, s. shift(true) -> error of the wall clock, s."""
    true = np.arange(1, length_s / EVERY_S) * EVERY_S
    rows = np.zeros(len(true), table.MESSAGES["wall_anchor"])
    arrival = true + (np.zeros(len(true)) if late is None else late(len(true)))
    wall = arrival + (0 if shift is None else shift(true))
    rows["boot"], rows["time"], rows["flags"] = boot, true / (1 + drift), flags
    rows["wall_us"] = np.rint((START_S + wall) * 1e6).astype(np.uint64)
    rows["monotonic_us"] = np.rint((1000 + arrival - (0 if slept is None else slept(true))) * 1e6).astype(np.uint64)
    return rows


def errors(clock, rows, drift=0.0, boot=0):
    true = np.linspace(EVERY_S, rows["time"][-1] * (1 + drift), 500)
    return clock.wall_s(boot, true / (1 + drift)) - START_S - true


@given(st.floats(-100e-6, 100e-6), st.integers(0, 2**31))
@settings(max_examples=25)
def test_drift_and_late_anchors(drift, seed):
    """24 h, anchors late by an exponential of 2 ms and every twentieth by up to 2 s: within 5 ms everywhere."""
    chance = np.random.default_rng(seed)
    rows = anchors(
        86_400, drift=drift, late=lambda n: chance.exponential(0.002, n) + (chance.random(n) < 0.05) * chance.uniform(0, 2, n)
    )
    clock = Clock.from_anchors(rows)
    assert np.abs(errors(clock, rows, drift)).max() < 0.005
    assert clock.lines[0].drift * 1e6 == pytest.approx(drift * 1e6, abs=0.5)
    assert clock.uncertainty_s(0) < 0.005


def test_a_crystal_that_warms_up():
    """Its rate changes by 20 ppm over a day: followed in windows, within 5 ms where a straight line would be off by 0.2 s."""
    rows = anchors(86_400)
    true = rows["time"].copy()
    rows["time"] = true - 20e-6 * true**2 / (2 * 86_400)
    clock = Clock.from_anchors(rows)
    assert np.abs(clock.wall_s(0, rows["time"]) - START_S - true).max() < 0.005


def test_a_clock_that_was_set_during_the_drive():
    """The laptop was 300 s wrong for the first half: the later time applies to the whole boot."""
    rows = anchors(3600, shift=lambda true: np.where(true < 1800, -300.0, 0.0))
    assert np.abs(errors(Clock.from_anchors(rows), rows)).max() < 0.001


def test_a_computer_that_slept():
    """Its monotonic clock stood still for ten minutes, wall time and board continued: nothing to correct."""
    rows = anchors(3600, slept=lambda true: np.where(true < 1800, 0.0, 600.0))
    assert np.abs(errors(Clock.from_anchors(rows), rows)).max() < 0.001


def test_wrong_anchors_are_outvoted():
    rows = anchors(3600)
    rows["wall_us"][::7] += 40_000_000
    rows["monotonic_us"][::7] += 40_000_000
    assert np.abs(errors(Clock.from_anchors(rows), rows)).max() < 0.001


def test_every_boot_has_its_own_line_and_none_is_invented():
    clock = Clock.from_anchors(np.concatenate([anchors(600), anchors(600, boot=2)]))
    assert [clock.known(boot) for boot in range(3)] == [True, False, True]
    wall = clock.wall_s(np.array([0, 1, 2]), np.array([7.0, 7.0, 7.0]))
    assert wall[0] == pytest.approx(START_S + 7)
    assert np.isnan(wall[1])
    assert np.isnan(clock.uncertainty_s(1))


def test_a_single_anchor_is_enough():
    rows = anchors(600)[3:4]
    assert Clock.from_anchors(rows).wall_s(0, 100.0) == pytest.approx(START_S + 100)


def test_a_measured_time_takes_precedence_over_a_stated_one():
    stated = anchors(600, flags=2)[:1]
    stated["wall_us"] += 3_600_000_000
    rows = np.concatenate([stated, anchors(600)])
    assert Clock.from_anchors(rows).wall_s(0, 100.0) == pytest.approx(START_S + 100)
    assert Clock.from_anchors(stated).wall_s(0, 100.0) == pytest.approx(START_S + 3700)


def test_a_fast_simulation_keeps_its_own_seconds():
    rows = anchors(600)
    rows["time"] *= 50
    wall = Clock.from_anchors(rows, frozenset({0})).wall_s(0, np.array([rows["time"][0], rows["time"][0] + 1000]))
    assert wall[0] == pytest.approx(START_S + EVERY_S)
    assert wall[1] - wall[0] == pytest.approx(1000)


def test_beyond_the_last_anchor_the_drift_continues():
    rows = anchors(3600, drift=100e-6)
    assert Clock.from_anchors(rows).wall_s(0, 10_000 / (1 + 100e-6)) - START_S == pytest.approx(10_000, abs=0.01)


def test_a_clock_set_by_an_hour_is_noted_and_one_set_by_seconds_is_not():
    for by, words in ((3600, "forward by 60 min"), (-7200, "back by 2.0 h"), (5, "")):
        clock = Clock.from_anchors(anchors(1800, shift=lambda true, by=by: np.where(true > 900, by, 0.0)))
        assert len(clock.notes) == bool(words)
        assert all(f"The computer's clock was set {words}" in note for note in clock.notes)
        assert float(clock.wall_s(0, 100.0)) == pytest.approx(START_S + 100 + by, abs=0.01)  # by the clock as it was afterwards


def test_a_clock_set_more_than_once_is_told_with_how_often():
    (note,) = Clock.from_anchors(anchors(3000, shift=lambda true: -3600 * (true > 900) - 3600.0 * (true > 1800))).notes
    assert note == (
        "The computer's clock was set back by 60 min twice during the recording; times are by the clock as it was after."
    )
    shift = [lambda true: -3600 * (true > 600) - 3600 * (true > 1200) - 3600 * (true > 1800) + 7200.0 * (true > 2400)]
    (note,) = Clock.from_anchors(anchors(3000, shift=shift[0])).notes
    assert "was set back by 60 min 3 times and forward by 2.0 h during" in note


def test_impossible_wall_times_are_reported():
    rows = anchors(600)
    rows["wall_us"][3:5] = 2**63
    clock = Clock.from_anchors(rows)
    assert "2 of 119 times of day in this recording are impossible" in clock.notes[0]
    assert float(clock.wall_s(0, 100.0)) == pytest.approx(START_S + 100, abs=0.01)
    rows = anchors(600)
    rows["wall_us"] -= round((START_S - 86400 * 2) * 1e6)  # a computer whose battery was flat: 1970
    (note,) = Clock.from_anchors(rows).notes
    assert "The clock said 1970-01-03 when this was recorded, which is impossible" in note


def test_wall_times_that_contradict_the_others_are_left_out_and_reported():
    rows = anchors(600)
    rows["wall_us"][40] += 7_200_000_000
    rows["monotonic_us"][40] += 7_200_000_000
    clock = Clock.from_anchors(rows)
    assert float(clock.wall_s(0, 300.0)) == pytest.approx(START_S + 300, abs=0.01)
    assert len(clock.notes) == 1
    assert "1 of 119 times of day contradicts the others by up to 2.0 h" in clock.notes[0]


def test_a_computer_that_slept_is_not_called_a_clock_that_was_set():
    assert Clock.from_anchors(anchors(1800, slept=lambda true: np.where(true > 900, 600.0, 0.0))).notes == []

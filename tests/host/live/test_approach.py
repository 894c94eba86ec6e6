"""The limit ahead: announced in time, not by noise, not across a jump; the trial uses drives that it was not tuned on."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.live import approach
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
import approach_drives
import bench_approach

CAR = car_file.load(car_file.EXAMPLE)
FUEL = CAR.fuel()


def announced(degc, running=1.0, seconds=None):
    """For every second, whether the limit of the pump is announced, and its margins."""
    degc = np.asarray(degc, dtype=float)
    seconds = np.arange(len(degc), dtype=float) if seconds is None else np.asarray(seconds, dtype=float)
    found = margins(CAR, FUEL, {"pump": degc}, Conditions(running=np.broadcast_to(running, degc.shape).astype(float)))
    made, on, arrays = approach.Approaches(FUEL), [], bench_approach._arrays(found["pump"])
    for row in range(len(degc)):
        part = {"pump": bench_approach._row(found["pump"], slice(row, row + 1), arrays)}
        made.update(seconds[row : row + 1], part)
        on.append(made.ahead("pump"))
    return np.array(on), found["pump"], made


@pytest.mark.parametrize("rate", [1.0, 2.0, 3.5, 5.0])
def test_a_steady_approach_is_announced_more_than_a_minute_ahead(rate):
    noise = np.random.default_rng(1).normal(0, 0.05, 900)
    degc = 45 + rate / 60 * np.arange(900) + noise
    on, place, _ = announced(degc)
    crossing = int(np.argmax(place.margin_degc < 0))
    assert on[crossing - 60]
    assert not on[: max(crossing - 600, 0)].any()  # and not during the half hour before


def test_the_time_left_allows_for_the_heat_of_boiling():
    heat = approach.HeatScale(FUEL)
    kpa, limit = 94.0, 58.0
    curve = FUEL.enthalpy_kj_per_kg(np.array([45.0, 50.0, 58.0]), kpa) / 2.1
    assert [heat(degc, kpa) for degc in (45.0, 50.0, limit)] == pytest.approx(curve, abs=0.02)
    assert np.isnan(heat(np.nan, kpa))
    assert np.isnan(heat(50.0, 5.0))


def test_a_place_that_is_steady_or_cools_or_is_far_from_its_limit_is_not_announced():
    noise = np.random.default_rng(2).normal(0, 0.2, 900)
    for degc in (np.full(900, 52.0) + noise, 54 - np.arange(900) / 120 + noise, np.full(900, 20.0) + np.arange(900) / 60):
        assert not announced(degc)[0].any()


def test_a_jump_of_the_limit_is_not_an_approach():
    running = (np.arange(600) < 300).astype(float)
    on, place, _ = announced(np.full(600, 45.0), running)
    assert abs(np.diff(place.limit_degc)).max() > 1 or not on.any()
    assert not on.any()


def test_it_is_withdrawn_when_the_margin_opens_and_after_a_false_one_the_next_waits_longer():
    _, place, _ = announced(np.full(1, 45.0))
    nearest = float(place.limit_degc[0] - place.uncertainty_degc[0]) - 0.5  # not near enough for a warning: a false announcement
    rise, fall, level = nearest - 4.45 + np.arange(90) * 0.05, nearest - np.arange(240) * 0.02, np.full(60, nearest - 4.45)
    first, _, _ = announced(np.concatenate([level, rise, fall]))
    assert first.any()
    assert not first[-1]
    twice, _, _ = announced(np.concatenate([level, rise, fall, level, rise]))
    begun = np.flatnonzero(twice[1:] & ~twice[:-1])
    assert begun[0] < 150
    assert len(begun) == 1 or begun[1] - 390 > begun[0] + 10


def test_a_gap_in_the_readings_pauses_it():
    degc = 44 + np.arange(400) / 20
    degc[150:158] = np.nan
    on, place, _ = announced(degc)
    crossing = int(np.argmax(place.margin_degc < 0))
    assert on[crossing - 60]


@pytest.mark.slow
def test_on_drives_of_two_models_announced_a_minute_ahead_and_seldom_falsely():
    """The full size is tests/bench/bench_approach.py."""
    count = bench_approach.Count()
    for drive in approach_drives.drives(30, seed=7):
        count.add(drive)
    crossings, told, _ = count.crossings["slow"]
    assert crossings >= 20
    assert told / crossings >= 0.9
    assert count.vain / count.hours <= 1.0

"""Forecasts after a stop use this car's own earlier stops, recorded beside the session that is shown."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.live import forecasts
from hotfuel.live.forecasts import Task
from hotfuel.risk.soak import AFTER_STOP, REAL_SOAKS_NEEDED
from hotfuel.session import soaks
from hotfuel.session.soaks import Soak

ONSET_DEGC = 60.0


def made_up(heat_degc, seed, air_degc=25.0, minutes=40):
    """A stop in which the place follows surroundings heat_degc above the air: below boiling onset throughout."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, minutes * 60, 1.0)
    heat = heat_degc + rng.normal(0, 1.0)
    around = air_degc + heat * np.exp(-time_s / 3600)
    degc = np.empty(len(time_s))
    value = air_degc + 8.0
    for i, target in enumerate(around):
        value += (target - value) / 900.0
        degc[i] = value
    return Soak("pump", time_s, degc + rng.normal(0, 0.1, len(time_s)), air_degc, ONSET_DEGC)


@pytest.fixture
def car():
    return car_file.load(car_file.EXAMPLE)


def outlook(known, seen_min=3):
    soak = made_up(22.0, 99)
    rows = soak.time_s <= seen_min * 60
    task = Task(True, seen_min * 60.0, soak.air_degc, [("pump", soak.time_s[rows], soak.degc[rows], 70.0, 98.0)])
    (told,) = forecasts.outlooks(task, car_file.load(car_file.EXAMPLE).fuel(), known)
    return told, soak


def test_without_own_soaks_it_is_model_only():
    told, _ = outlook({})
    assert told.model_only


def test_own_soaks_narrow_the_band_and_remove_the_model_only_mark(monkeypatch, tmp_path, car):
    monkeypatch.setattr(forecasts, "earlier", lambda path, name: iter([made_up(22.0, seed) for seed in range(12)]))
    known = forecasts.experience(tmp_path, car)
    assert known["pump"].prior.soaks >= REAL_SOAKS_NEEDED
    told, soak = outlook(known)
    before, _ = outlook({})
    assert not told.model_only
    width = told.soak.peak_degc.greatest - told.soak.peak_degc.least
    assert width < before.soak.peak_degc.greatest - before.soak.peak_degc.least
    assert told.soak.peak_degc.least - 0.5 <= soak.peak_degc <= told.soak.peak_degc.greatest + 0.5


def test_fewer_than_ten_stay_model_only(monkeypatch, tmp_path, car):
    monkeypatch.setattr(forecasts, "earlier", lambda path, name: iter([made_up(22.0, seed) for seed in range(4)]))
    known = forecasts.experience(tmp_path, car)
    assert known["pump"].prior.soaks == 4
    assert known["pump"].widening == 1.0
    assert outlook(known)[0].model_only
    assert AFTER_STOP.soaks == 0


def test_stops_count_only_after_running_and_from_ten_minutes_on():
    seconds = np.arange(0, 3000.0)
    running = np.ones(3000)
    running[:700] = 0  # standing before the first start: not a hot soak
    running[1000:1500] = 0  # eight minutes
    running[1800:2700] = 0  # fifteen
    assert list(soaks._stops(seconds, running)) == [(1800, 2700)]


def test_a_folder_beside_it_that_is_not_a_session_is_skipped(tmp_path):
    (tmp_path / "here").mkdir()
    (tmp_path / "junk").mkdir()
    (tmp_path / "junk" / "wire.log").write_bytes(b"\x00\x01junk")
    (tmp_path / "junk" / "car.toml").write_text("not a car")
    assert list(soaks.earlier(tmp_path / "here", "Blue saloon, road and sprint")) == []

"""Trend in enthalpy: crossing times at constant heating, also through boiling, and the words for a person."""

import numpy as np
import pytest
from hotfuel.fuel import Fuel
from hotfuel.risk.trend import BOILING, CLOSING, LEVEL, OPENING, UNKNOWN, trend

KPA = 101.325


@pytest.fixture(scope="module")
def fuel():
    return Fuel.from_measurements(vapour_pressure_kpa=60, t10_degc=55, t50_degc=100, t90_degc=165)


def heated(fuel, start_degc, w_kg, seconds, kpa=KPA, noise=0.0):
    """Temperatures of fuel that takes up constant watts per kilogram, through boiling where it comes to that."""
    times = np.arange(0, seconds, 1.0)
    grid = np.linspace(20, 75, 1500)
    enthalpy = fuel.enthalpy_kj_per_kg(grid, kpa)
    begin = np.interp(start_degc, grid, enthalpy)
    clean = np.interp(begin + w_kg * times / 1000, enthalpy, grid)
    return times, clean + noise * np.random.default_rng(1).standard_normal(times.size)


@pytest.mark.parametrize("start_degc", [40.0, 48.0, 52.0, 54.5])
@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_constant_watts_into_a_hose_cross_the_limit_at_the_forecast_time(fuel, start_degc, noise):
    w_kg = 120.0
    times, temperatures = heated(fuel, start_degc, w_kg, 100, noise=noise)
    found = trend(times, temperatures, KPA, fuel, 20.0)
    limit = float(fuel.limit_degc(KPA, 20.0))
    left = (float(fuel.enthalpy_kj_per_kg(limit, KPA)) - float(fuel.enthalpy_kj_per_kg(start_degc, KPA))) * 1000 / w_kg - times[
        -1
    ]
    assert found.minutes == pytest.approx(left / 60, rel=0.2)
    assert found.minutes_least <= found.minutes <= found.minutes_greatest
    assert found.heating_w_kg == pytest.approx(w_kg, rel=0.2)


def test_the_range_is_two_standard_errors_of_the_heating_on_either_side(fuel):
    """Time is inversely proportional to heating, so the inverses of both ends are equally far from the middle's; and the error
    agrees with scatter drawn here."""
    found = trend(*heated(fuel, 48.0, 120.0, 100, noise=0.1), KPA, fuel, 20.0)
    assert found.minutes_least < found.minutes < found.minutes_greatest
    assert 1 / found.minutes_least + 1 / found.minutes_greatest == pytest.approx(2 / found.minutes)
    error_w_kg = 2100 * 0.1 / (100 * 100**2 / 12) ** 0.5  # heat capacity, scatter, 100 seconds of a straight line
    assert found.heating_w_kg * (found.minutes / found.minutes_least - 1) == pytest.approx(2 * error_w_kg, rel=0.4)


def test_a_slope_within_its_scatter_gives_no_time(fuel):
    steady = trend(*heated(fuel, 48.0, 60.0, 100), KPA, fuel, 20.0)
    assert 0.5 < steady.minutes < 15
    times, degc = heated(fuel, 48.0, 60.0, 100)
    found = trend(times, degc + 2.0 * np.where(np.arange(100) % 20 < 10, -1, 1), KPA, fuel, 20.0)
    assert found.way == CLOSING  # its minutes would be within the range that is reported
    assert np.isnan(found.minutes)


def test_a_minute_of_readings_is_enough_and_less_is_not(fuel):
    times, degc = heated(fuel, 48.0, 120.0, 100)
    every = slice(None, None, 2)
    assert np.isfinite(trend(times[:61][every], degc[:61][every], KPA, fuel, 20.0).minutes)
    assert trend(times[:59][every], degc[:59][every], KPA, fuel, 20.0).way == UNKNOWN


def test_a_temperature_trend_would_have_been_wrong_there(fuel):
    times, temperatures = heated(fuel, 52.0, 120.0, 160)
    limit = float(fuel.limit_degc(KPA, 20.0))
    slope_before, slope_boiling = (
        np.polyfit(times[:15], temperatures[:15], 1)[0],
        np.polyfit(times[-40:], temperatures[-40:], 1)[0],
    )
    assert slope_boiling < 0.5 * slope_before
    by_temperature = (limit - temperatures[40]) / np.polyfit(times[:15], temperatures[:15], 1)[0]
    by_enthalpy = trend(times[:100], temperatures[:100], KPA, fuel, 20.0)
    truth = (float(fuel.enthalpy_kj_per_kg(limit, KPA)) - float(fuel.enthalpy_kj_per_kg(52.0, KPA))) * 1000 / 120 - 99
    assert by_enthalpy.minutes * 60 == pytest.approx(truth, rel=0.2)
    assert by_temperature < 0.7 * (truth + 59)


def test_words(fuel):
    times = np.arange(0, 100, 1.0)
    flat = 0.02 * np.sin(times / 3)
    assert trend(times, 40 + flat, KPA, fuel, 20.0).way == LEVEL
    assert trend(*heated(fuel, 40.0, 120.0, 100), KPA, fuel, 20.0).way == CLOSING
    assert trend(times, 50 - 0.05 * times, KPA, fuel, 20.0).way == OPENING
    assert trend(times, 57 + flat, KPA, fuel, 20.0).way == BOILING
    assert trend(times, 57 - 0.01 * times, KPA, fuel, 20.0).way == BOILING  # never "not closing" above the bubble point
    assert trend([], [], KPA, fuel, 20.0).way == UNKNOWN
    assert trend(times, np.full(100, np.nan), KPA, fuel, 20.0).way == UNKNOWN


def test_no_time_is_given_from_less_than_a_minute_or_beyond_a_quarter_of_an_hour(fuel):
    times, temperatures = heated(fuel, 40.0, 120.0, 50)
    short = trend(times, temperatures, KPA, fuel, 20.0)
    assert (short.way, np.isnan(short.minutes)) == (UNKNOWN, True)
    assert np.isnan(trend(*heated(fuel, 30.0, 15.0, 120), KPA, fuel, 20.0).minutes)
    assert trend(*heated(fuel, 30.0, 15.0, 120), KPA, fuel, 20.0).way == LEVEL
    soon = trend(*heated(fuel, 57.0, 200.0, 100), KPA, fuel, 20.0)
    assert np.isnan(soon.minutes) or soon.minutes >= 0.5


def test_boiling_is_judged_at_the_present_pressure(fuel):
    times = np.arange(0, 100, 1.0)
    pressures = np.where(times < 95, 140.0, 90.0)  # key off: the line loses its pressure
    temperatures = np.full(100, 58.0)
    assert trend(times[:90], temperatures[:90], pressures[:90], fuel, 20.0).way == LEVEL
    assert trend(times, temperatures, pressures, fuel, 20.0).way == BOILING


def test_readings_outside_the_flashs_range_are_left_out_and_never_an_error(fuel):
    """A pull at altitude leaves the pump 17 kPa for a while; a probe touching the exhaust reads 300 degC."""
    times = np.arange(0, 100, 1.0)
    temperatures, pressures = np.full(100, 30.0), np.full(100, 60.0)
    whole = trend(times, temperatures, pressures, fuel, 20.0)
    assert whole.way == LEVEL
    pressures[20:50], temperatures[70] = 17.5, 300.0
    assert trend(times, temperatures, pressures, fuel, 20.0).way == LEVEL
    for low in (17.5, -3.0):
        pressures[-1] = low
        assert trend(times, temperatures, pressures, fuel, 20.0, limit_degc=40.0).way == UNKNOWN


def test_behind_the_needle_the_time_is_to_its_own_limit(fuel):
    line_kpa, bowl_kpa, w_kg = 137.0, 98.0, 150.0
    times, temperatures = heated(fuel, 57.0, w_kg, 100, kpa=line_kpa)
    needle_degc = float(fuel.needle_limit_degc(line_kpa, bowl_kpa, 20.0))
    assert needle_degc < float(fuel.limit_degc(line_kpa, 20.0)) - 3
    found = trend(times, temperatures, line_kpa, fuel, 20.0, limit_degc=needle_degc)
    left = float(fuel.enthalpy_kj_per_kg(needle_degc, line_kpa)) - float(fuel.enthalpy_kj_per_kg(temperatures[-1], line_kpa))
    assert found.minutes == pytest.approx(left * 1000 / w_kg / 60, rel=0.1)
    # the fuel that crosses there has V/L 20 behind the needle at that time, and is still liquid in the line
    later = trend(times, temperatures, line_kpa, fuel, 20.0)
    assert later.minutes > 1.3 * found.minutes
    at_limit = float(fuel.isenthalpic_vapour_liquid_ratio(needle_degc, line_kpa, bowl_kpa))
    assert at_limit == pytest.approx(20.0, abs=0.2)
    assert trend(times, temperatures, line_kpa, fuel, 20.0, limit_degc=np.nan).way == UNKNOWN

"""A hot-fuel scenario from airworthiness rules: a suction-lift system must work with fuel at 110 degF (14 CFR 27.961)."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.fuel import fuel_named
from hotfuel.risk.level import Level
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.units import parse


@pytest.fixture
def hot_fuel_degc():
    return parse("110 degF", "temperature")


def test_a_suction_pump_has_margin_at_sea_level_with_summer_fuel_at_43_3_degc(hot_fuel_degc):
    assert hot_fuel_degc == pytest.approx(43.3, abs=0.05)
    car = car_file.load(car_file.EXAMPLE.replace('"600 m"', '"0 m"'))
    row = margins(car, fuel_named("D4814 A-1"), {"pump": np.array([hot_fuel_degc])}, Conditions(running=1))["pump"]
    assert row.state[0] == Level.QUIET
    assert row.margin_degc[0] > 5


def test_winter_fuel_at_43_3_degc_boils_on_a_mountain_pass(hot_fuel_degc):
    car = car_file.load(car_file.EXAMPLE.replace('"600 m"', '"2000 m"'))
    row = margins(car, fuel_named("D4814 E-5"), {"pump": np.array([hot_fuel_degc])}, Conditions(running=1))["pump"]
    assert row.state[0] == Level.ACT
    assert row.vapour_liquid_ratio[0] > 20

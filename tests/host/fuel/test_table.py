"""The limit table against the direct flash, over its whole range; nan in, nan out; nan outside it."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.fuel.grid import along, look_up

FUELS = [
    Fuel.from_measurements(60, 55, 100, 165),
    Fuel.from_measurements(94.5, 42, 75, 160, 10),
    Fuel.from_measurements(62, ethanol_vol=80),
    Fuel.from_class("D4814", "AA-1"),
]


@pytest.mark.parametrize("fuel", FUELS, ids=lambda fuel: fuel.name)
def test_within_0_05_degc_of_the_flash(fuel):
    rng = np.random.default_rng(3)
    pressure, ratio = np.exp(rng.uniform(np.log(25), np.log(500), 1500)), rng.uniform(0, 40, 1500)
    direct = fuel.limit_degc(pressure, ratio)
    np.testing.assert_allclose(fuel.limit_table.limit_degc(pressure, ratio), direct, atol=0.05)
    np.testing.assert_allclose(fuel.limit_table.vapour_liquid_ratio(direct, pressure), ratio, atol=0.1)
    for criterion in (0.0, 4.0, 20.0, 36.0):
        np.testing.assert_allclose(
            fuel.limit_table.limit_degc(pressure, criterion), fuel.limit_degc(pressure, criterion), atol=0.05
        )


@pytest.mark.parametrize("fuel", FUELS[:2], ids=lambda fuel: fuel.name)
def test_needle_within_0_05_degc_of_the_flash(fuel):
    line, bowl = np.array([105.0, 125.0, 142.7, 150.0]), np.array([101.3, 84.0, 101.3, 70.0])
    limit = fuel.needle_limit_degc(line, bowl, 20.0)
    np.testing.assert_allclose(fuel.limit_table.needle_limit_degc(line, bowl, 20.0), limit, atol=0.05)
    np.testing.assert_allclose(fuel.limit_table.isenthalpic_vapour_liquid_ratio(limit, line, bowl), 20.0, atol=0.15)


def test_missing_and_outside_are_nan():
    table = FUELS[0].limit_table
    pressure = np.array([np.nan, 24.0, 501.0, 100.0])
    assert np.isnan(table.limit_degc(pressure)).tolist() == [True, True, True, False]
    assert np.isnan(table.limit_degc(pressure, np.full(4, 20.0))).tolist() == [True, True, True, False]
    assert np.isnan(table.vapour_liquid_ratio(np.array([50, 50, 50, np.nan]), pressure)).all()
    assert np.isnan(table.needle_limit_degc(np.array([np.nan, 140.0]), np.array([100.0, np.nan]))).all()
    assert table.vapour_liquid_ratio(20.0, 101.3) == 0
    assert table.vapour_liquid_ratio(150.0, 101.3) == pytest.approx(40)
    with pytest.raises(InputError, match="0 to 40"):
        table.limit_degc(100.0, 50.0)


def test_shapes_broadcast():
    table = FUELS[0].limit_table
    assert table.limit_degc(np.ones((3, 1)) * 100, np.array([4.0, 20.0])).shape == (3, 2)
    assert table.limit_degc(np.ones((3, 2)) * 100).shape == (3, 2)
    assert table.limit_degc(100.0).shape == ()
    assert table.vapour_liquid_ratio(np.ones((2, 1)) * 60, np.array([90.0, 100.0, 110.0])).shape == (2, 3)


def test_bilinear_is_exact_on_a_plane():
    plane = np.add.outer(2.0 * np.arange(5), 3.0 * np.arange(4))
    assert look_up(plane, np.array([1.25, 4.0]), np.array([0.5, 3.0])) == pytest.approx([4.0, 17.0])
    assert along(np.array([1.0, 3.0, 5.0]), np.array([0.5, 2.0])) == pytest.approx([2.0, 5.0])


def test_one_pressure_for_all_gives_the_very_numbers_of_an_array_of_it():
    table, degc = FUELS[1].limit_table, np.append(np.linspace(20, 110, 500), np.nan)
    line, bowl = np.full(degc.shape, 130.0), np.full(degc.shape, 99.0)
    np.testing.assert_array_equal(table.vapour_liquid_ratio(degc, 99.0), table.vapour_liquid_ratio(degc, bowl))
    of_one = table.isenthalpic_vapour_liquid_ratio(degc, np.array([130.0]), np.array([99.0]))
    np.testing.assert_array_equal(of_one, table.isenthalpic_vapour_liquid_ratio(degc, line, bowl))
    assert (of_one[:-1] > 0).any()

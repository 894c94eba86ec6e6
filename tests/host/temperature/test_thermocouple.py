"""Shapes, ranges and round trips of the type K functions. Their numbers are tested against NIST in tests/authority."""

import numpy as np
import pytest
from hotfuel.temperature.thermocouple import emf_mv, seebeck_mv_per_degc, temperature_degc
from hypothesis import given
from hypothesis import strategies as st


@given(st.floats(-200, 1372), st.floats(-55, 125))
def test_round_trip_through_any_cold_junction(hot, cold):
    assert temperature_degc(emf_mv(hot) - emf_mv(cold), cold) == pytest.approx(hot, abs=0.001)
    assert temperature_degc([emf_mv(hot) - emf_mv(cold)] * 3, [cold, cold, 20.0])[:2] == pytest.approx(hot, abs=0.001)


@given(
    st.lists(st.floats(allow_nan=True, allow_infinity=True), min_size=2, max_size=30),
    st.floats(allow_nan=True, allow_infinity=True),
)
def test_any_number_gives_a_temperature_in_range_or_nan(emfs, cold):
    for junction in (cold, [cold] * len(emfs)):
        degc = temperature_degc(emfs, junction)
        assert np.all(np.isnan(degc) | ((degc >= -200) & (degc <= 1372)))


def test_outside_the_range_is_nan_and_the_ends_are_not():
    ends = emf_mv([-200.0, 1372.0])
    assert temperature_degc(ends) == pytest.approx([-200, 1372], abs=0.001)
    assert np.isnan(temperature_degc([ends[0] - 0.0001, ends[1] + 0.0001])).all()
    assert np.isnan(emf_mv([-270.01, 1372.01, np.nan])).all()
    assert np.isnan(seebeck_mv_per_degc([-271.0, 1373.0])).all()
    assert not np.isnan(emf_mv(-270.0))


def test_rises_without_a_step_across_cells_and_zero():
    emf = np.linspace(-0.02, 0.02, 40_001)
    steps = np.diff(temperature_degc(emf))
    assert steps.min() > 0
    assert steps.max() < 1.02 * steps.min()


def test_cold_junctions_broadcast_like_numpy():
    emf = np.array([[1.0], [2.0]])
    cold = np.array([20.0, 30.0, 40.0])
    table = temperature_degc(emf, cold)
    assert table.shape == (2, 3)
    assert table[1, 2] == pytest.approx(float(temperature_degc(2.0, 40.0)), abs=0.001)
    assert temperature_degc([], []).shape == (0,)
    assert np.isnan(temperature_degc([1.0, 1.0], [np.nan, 20.0])).tolist() == [True, False]


def test_cold_junctions_beyond_every_chips_range_are_still_exact():
    assert temperature_degc([0.0, 0.0], [-150.0, 300.0]) == pytest.approx([-150, 300], abs=0.001)


@given(st.floats(-199, 1371))
def test_seebeck_coefficient_is_the_slope_of_the_emf(degc):
    slope = (emf_mv(degc + 0.01) - emf_mv(degc - 0.01)) / 0.02
    assert seebeck_mv_per_degc(degc) == pytest.approx(slope, rel=1e-4)

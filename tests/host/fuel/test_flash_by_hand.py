"""The flash against a slow one (Rachford and Rice by bisection, activity iterated to convergence), and the small formulas of a fuel by hand."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, flash
from hotfuel.fuel import components as c
from hotfuel.fuel.activity import Activity
from hotfuel.units import Shown
from scipy.optimize import brentq

KELVIN = np.array([310.0, 330.0, 350.0])
PLAIN = Fuel.from_measurements(60, 55, 100, 165, 0)


def feed_of(anchor=0.0, onset=0.0):
    """A light component, a heavy one and ethanol."""
    volumes = np.zeros(len(c.COMPONENTS))
    volumes[[1, len(c.COMPONENTS) - 3, c.ETHANOL]] = 0.3, 0.6, 0.1
    return flash.Feed.of_volumes(volumes, anchor, onset)


def slow_split(feed, kelvin, pressure):
    """(V/L, vapour's moles, liquid's fractions) at one temperature and pressure."""
    saturation = np.exp(c.log_vapour_pressure(np.array([kelvin]), feed.which))[:, 0]
    moles, ratio_per_mole = feed.moles[:, 0], c.GAS_CONSTANT * kelvin / (1000 * pressure * float(feed.liquid_volume_m3[0]))
    activity = Activity(feed.which, np.array([kelvin]))
    liquid, vapour = moles, 0.0
    for _ in range(300):
        gamma = np.exp(activity.log_gamma(liquid[:, None]))[:, 0]

        def excess(share, gamma=gamma):
            ratio = share * ratio_per_mole
            k = (
                gamma
                * saturation
                / pressure
                * np.exp(feed.onset * max(1 - ratio / 4, 0) ** 2 - feed.anchor * 2 * (ratio - 4) / (ratio + 12))
            )
            return float((moles * (k - 1) / (1 + share * (k - 1))).sum()), k

        was = vapour
        vapour = 0.0 if excess(0.0)[0] <= 0 else brentq(lambda share, excess=excess: excess(share)[0], 0.0, 0.999999, xtol=1e-14)
        liquid = moles / (1 + vapour * (excess(vapour)[1] - 1))
        if abs(vapour - was) < 1e-12 and _ > 3:
            break
    return vapour * ratio_per_mole, vapour, liquid


@pytest.mark.parametrize(("anchor", "onset"), [(0.0, 0.0), (0.05, 0.0), (-0.03, 0.04)])
@pytest.mark.parametrize("ratio", [0.5, 4.0, 20.0])
def test_pressure_temperature_and_vapour_fraction_equal_the_slow_flashs(anchor, onset, ratio):
    feed = feed_of(anchor, onset)
    pressures = flash.pressure_kpa(feed, KELVIN, np.full(3, ratio))
    liquids = flash.liquid_at(feed, KELVIN, np.full(3, ratio))
    np.testing.assert_allclose(flash.temperature_k(feed, pressures, np.full(3, ratio)), KELVIN, atol=1e-4)
    shares, beside = flash.vapour_share(feed, KELVIN, pressures, np.full(3, 0.05), np.zeros((3, 3)))
    for at, kelvin in enumerate(KELVIN):
        found, vapour, liquid = slow_split(feed, kelvin, pressures[at])
        assert found == pytest.approx(ratio, rel=2e-4)
        np.testing.assert_allclose(liquids[:, at], liquid, rtol=1e-4)
        np.testing.assert_allclose(beside[:, at], liquid, rtol=2e-3)
        assert shares[at] == pytest.approx(vapour, abs=5e-4)


def test_the_bubble_point_and_both_sides_of_it():
    feed = feed_of(onset=0.05)
    bubble = flash.pressure_kpa(feed, KELVIN, np.zeros(3))
    gamma = np.exp(Activity(feed.which, KELVIN).log_gamma(feed.moles + np.zeros(3)))
    partial = gamma * np.exp(c.log_vapour_pressure(KELVIN, feed.which)) * feed.moles
    np.testing.assert_allclose(bubble, partial.sum(axis=0) * np.exp(0.05), rtol=1e-8)
    shares, liquid = flash.vapour_share(feed, KELVIN, 1.01 * bubble, np.zeros(3), np.zeros((3, 3)))
    assert shares.tolist() == [0.0, 0.0, 0.0]
    np.testing.assert_allclose(liquid, feed.moles + np.zeros(3))
    assert (flash.vapour_share(feed, KELVIN, 0.99 * bubble, np.zeros(3), np.zeros((3, 3)))[0] > 0).all()
    plain = feed_of()
    many = flash.Feed(plain.which, plain.moles + np.zeros(3))
    found, vapour = flash.bubble_k(
        many, float(flash.pressure_kpa(plain, KELVIN, np.zeros(3))[1]), np.array([300.0, 330.0, 380.0])
    )
    np.testing.assert_allclose(found, 330.0, atol=2e-3)
    np.testing.assert_allclose(vapour[:, 0], (partial / partial.sum(axis=0))[:, 1], rtol=1e-3)
    np.testing.assert_allclose(vapour.sum(axis=0), 1.0)


def test_the_corrections_of_ln_p_and_their_slopes():
    ratio = np.array([0.0, 2.0, 4.0, 8.0, 20.0, 36.0])
    assert flash.volatility_shift(ratio) == pytest.approx([-2 / 3, -2 / 7, 0, 0.4, 1.0, 64 / 48])
    assert flash.onset_shift(ratio) == pytest.approx([1, 0.25, 0, 0, 0, 0])
    inside = np.array([0.5, 1.0, 3.0, 8.0, 20.0])
    feed = feed_of(0.1, 0.2)
    for function, slope in (
        (flash.volatility_shift, flash.volatility_shift_slope), (flash.onset_shift, flash.onset_shift_slope), (feed.log_k_shift, feed.log_k_shift_slope),
    ):  # fmt: skip
        np.testing.assert_allclose(
            slope(inside), (function(inside + 1e-5) - function(inside - 1e-5)) / 2e-5, rtol=1e-5, atol=1e-9
        )
    assert feed.log_k_shift(ratio) == pytest.approx(0.2 * flash.onset_shift(ratio) - 0.1 * flash.volatility_shift(ratio))


def test_a_feed_from_volumes_and_back_to_volumes():
    volumes = np.zeros((len(c.COMPONENTS), 2))
    volumes[0], volumes[3] = (0.2, 0.0), (0.6, 1.0)
    feed = flash.Feed.of_volumes(volumes)
    assert feed.which.tolist() == [0, 3]
    moles = volumes[[0, 3]] / c.VOLUME_15C_M3_MOL[[0, 3]][:, None]
    np.testing.assert_allclose(feed.moles, moles / moles.sum(axis=0))
    np.testing.assert_allclose(feed.volume_fraction(), volumes / volumes.sum(axis=0))
    np.testing.assert_allclose(
        feed.liquid_volume_m3, feed.moles[0] * c.VOLUME_0C_M3_MOL[0] + feed.moles[1] * c.VOLUME_0C_M3_MOL[3]
    )
    np.testing.assert_allclose(
        feed.molar_mass_kg_mol, feed.moles[0] * c.MOLAR_MASS_KG_MOL[0] + feed.moles[1] * c.MOLAR_MASS_KG_MOL[3]
    )
    assert feed_of().volume_fraction().shape == (len(c.COMPONENTS),)
    assert feed_of().volume_fraction()[c.ETHANOL] == pytest.approx(0.1)


def test_a_ratio_that_needs_nine_tenths_as_vapour_is_refused():
    feed = feed_of()
    most = 0.9 * 450 * c.GAS_CONSTANT / (1000 * 100.0 * float(feed.liquid_volume_m3[0]))
    assert np.isfinite(flash.temperature_k(feed, np.array([100.0]), np.array([0.999 * most]))).all()
    with pytest.raises(InputError, match=f"V/L {1.001 * most:g} cannot be reached at 100 kPa"):
        flash.temperature_k(feed, np.array([100.0, 100.0]), np.array([4.0, 1.001 * most]))


def test_a_fuels_own_figures_by_hand():
    assert PLAIN.vapour_pressure_kpa == pytest.approx(60.0, abs=0.1)
    assert float(PLAIN.limit_degc(PLAIN.true_vapour_pressure_kpa(50.0), 0.0)) == pytest.approx(50.0, abs=0.01)
    assert float(PLAIN.bubble_point_degc(95.0)) == float(PLAIN.limit_degc(95.0, 0.0))
    assert float(PLAIN.limit_degc(95.0)) == float(PLAIN.limit_degc(95.0, 20.0))
    assert PLAIN.density_15c_kg_m3 == 740.0
    assert Fuel.from_measurements(60, 55, 100, 165, density_kg_m3=731.0).density_15c_kg_m3 == 731.0
    ten = Fuel.from_measurements(63.5, 53, 72, 160, 10)
    assert ten.density_15c_kg_m3 == pytest.approx(0.9 * 740 + 0.1 * float(c.DENSITY_15C_KG_M3[c.ETHANOL]), abs=0.051)
    assert float(PLAIN.density_kg_m3(15.0)) == pytest.approx(740.0, abs=0.01)


def test_blends_and_weathered_fuels_by_volume():
    blend = PLAIN.blended(25.0)
    before, after = PLAIN.feed.volume_fraction(), blend.feed.volume_fraction()
    np.testing.assert_allclose(
        after[np.arange(len(after)) != c.ETHANOL], 0.75 * before[np.arange(len(before)) != c.ETHANOL], rtol=1e-9
    )
    assert after[c.ETHANOL] == pytest.approx(0.25)
    more = blend.blended(40.0)
    np.testing.assert_allclose(
        more.feed.volume_fraction(), np.where(np.arange(len(after)) == c.ETHANOL, 0.4, 0.6 * before), rtol=1e-9
    )
    assert (blend.ethanol_vol, blend.name) == (25.0, "measured fuel with 25 % ethanol")
    assert PLAIN.blended(90.0).ethanol_vol == 90.0
    for wrong in (90.1, -0.1):
        with pytest.raises(InputError, match="0 to 90"):
            PLAIN.blended(wrong)
    aged = PLAIN.weathered(5.0)
    assert (aged.name, aged.ethanol_vol) == ("measured fuel, if weathered by 5 %", 0.0)
    assert aged.limit_uncertainty_degc == pytest.approx(np.hypot(PLAIN.limit_uncertainty_degc, 2.0))
    fresh = PLAIN.weathered(0.0)
    assert fresh.limit_uncertainty_degc == PLAIN.limit_uncertainty_degc
    assert float(fresh.limit_degc(101.325)) == pytest.approx(float(PLAIN.limit_degc(101.325)), abs=0.01)
    assert float(PLAIN.weathered(20.0).limit_degc(101.325)) > float(aged.limit_degc(101.325)) + 2
    with pytest.raises(InputError, match="0 to 20"):
        PLAIN.weathered(20.1)
    assert blend.weathered(0.0).ethanol_vol == 25.0


def test_sentences_about_a_fuel_in_the_readers_units():
    first, onset, *_ = PLAIN.describe(Shown("us"))
    assert first == (
        "measured fuel: at 141.2 °F and 14.7 psi (sea level) its vapour takes up 20 times the volume of its liquid (V/L 20), give or take 3.0 °F (95 %); "
        "linear equation of ASTM D4814 on measured values."
    )
    assert onset == "Boiling onset at 128.2 °F, uncertainty ±3.0 °F (95 %)."
    assert "at 60.7 °C and 101.3 kPa" in PLAIN.describe()[0]

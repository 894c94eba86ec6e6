"""What cooler fuel may do for power, by enthalpy balance: by hand, closed balance, order of the laws."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import gain_words
from hotfuel.study.power.expectation import Share, expectation, share
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st


def test_by_hand():
    # 24 degC cooler fuel, air-fuel 12.8: 2.1 x 24 / (12.8 x 1.005 + 2.1) = 50.4 / 14.964 = 3.368 degC
    found = expectation(24.0)
    assert found.charge_cooler_degc == pytest.approx(3.368, abs=0.001)
    assert found.ceiling_percent == pytest.approx(100 * 3.368 / (298.15 - 3.368), abs=0.001)  # 1.143 %
    assert found.ceiling_with_friction_percent == pytest.approx(1.143 / 0.85, abs=0.001)
    assert found.square_root_percent == pytest.approx(100 * (np.sqrt(298.15 / 294.782) - 1), abs=0.001)  # 0.570 %
    assert found.richer_percent == pytest.approx(1.49, abs=0.01)  # density 3.0 % up, a jet's mass flow by the root
    assert (round(found.ceiling_percent, 1), round(found.ceiling_with_friction_percent, 1)) == (1.1, 1.3)


def test_the_balance_closes():
    """Enthalpy before and after mixing is equal: 12.8 kg of air and 1 kg of fuel, the fuel entering 24 degC cooler."""
    found = expectation(24.0, charge_degc=30.0)
    taken_from_charge = (12.8 * 1.005 + 2.1) * found.charge_cooler_degc
    assert taken_from_charge == pytest.approx(2.1 * 24.0)


@given(st.floats(0.5, 90.0), st.floats(-10.0, 60.0))
def test_order_of_the_values_and_sign(degc, charge_degc):
    cooler, hotter = expectation(degc, charge_degc), expectation(-degc, charge_degc)
    assert 0 < cooler.square_root_percent < cooler.ceiling_percent < cooler.ceiling_with_friction_percent
    assert cooler.square_root_percent < cooler.square_root_with_friction_percent < cooler.ceiling_with_friction_percent
    assert hotter.ceiling_percent < 0
    assert hotter.richer_percent < 0
    assert cooler.square_root_percent == pytest.approx(cooler.ceiling_percent / 2, rel=0.05)


def test_no_change_gives_no_gain():
    found = expectation(0.0)
    assert (found.charge_cooler_degc, found.ceiling_percent, found.square_root_percent, found.richer_percent) == (0, 0, 0, 0)


def test_values_at_the_ends_of_the_allowed_ranges_are_accepted():
    assert expectation(100.0).charge_cooler_degc == -expectation(-100.0).charge_cooler_degc > 10


@pytest.mark.parametrize("value", [101.0, -200.0, float("nan")])
def test_bad_input_is_one_sentence(value):
    with pytest.raises(InputError, match="allowed is -100 to 100 °C"):
        expectation(value)


def test_a_fuels_share_by_hand():
    """24 degC cooler, 4 either way: square-root law at 20 less 0.2/2.1, ceiling with friction at 28 more 0.2/2.1; a gain of at
    least 3.0 % is beyond it."""
    found = share(24.0, 3.0, fuel_half_degc=4.0, same_mixture=True)
    low, high = (
        100 * ((298.15 / (298.15 - 2.8067)) ** 0.5 - 1) * (1 - 0.2 / 2.1),
        100 * 3.9294 / (298.15 - 3.9294) / 0.85 * (1 + 0.2 / 2.1),
    )
    assert found.charge_percent == found.allowed_percent == pytest.approx((low, high), rel=1e-3)
    assert found.jet_percent == (0.0, 0.0)
    assert found.beyond_percent == pytest.approx(3.0 - high, rel=1e-3)
    jet = share(24.0, 3.0, fuel_half_degc=4.0, same_mixture=False)
    assert jet.jet_percent == pytest.approx((0.0, expectation(28.0).richer_percent))
    assert jet.allowed_percent == pytest.approx((low, high + jet.jet_percent[1]), rel=1e-3)
    assert share(24.0, 1.0, fuel_half_degc=4.0, same_mixture=True).beyond_percent == 0.0


def test_from_two_probes_a_small_difference_may_have_either_sign():
    assert share(24.0, 0.0, same_mixture=True).fuel_half_degc == pytest.approx(2 * 2**0.5)  # two probes of 1 degC each, 95 %
    found = share(1.0, 0.0, fuel_half_degc=4.0, same_mixture=False)  # -3 to 5 degC cooler
    more = 1 + 0.2 / 2.1
    ends = [expectation(degc).ceiling_with_friction_percent * more for degc in (-3.0, 5.0)]
    assert found.charge_percent == pytest.approx(tuple(ends))
    assert found.jet_percent == pytest.approx(tuple(expectation(degc).richer_percent for degc in (-3.0, 5.0)))
    turned = share(-1.0, 0.0, fuel_half_degc=4.0, same_mixture=True)
    assert turned.charge_percent == pytest.approx(tuple(expectation(d).ceiling_with_friction_percent * more for d in (-5.0, 3.0)))


def test_a_share_in_words():
    known = Share(24.0, 3.0, (0.5, 1.6), (0.0, 1.7), (0.5, 3.3), 0.0)
    assert gain_words.allowed(known, Shown("si")) == (
        "Fuel 24.0 °C (3.0 °C either way) cooler can do between +0.5 and +3.3 % by physics (charge cooling +0.5 to +1.6 %, denser fuel through a fixed jet "
        "+0.0 to +1.7 % by the mixture before)."
    )
    hotter = gain_words.allowed(Share(-24.0, 3.0, (-1.6, -0.5), (-1.7, 0.0), (-3.3, -0.5), 0.0), Shown("si"))
    assert hotter.startswith("Fuel 24.0 °C (3.0 °C either way) hotter can do between -3.3 and -0.5 %")
    assert "fixed jet -1.7 to +0.0 %" in hotter
    assert "denser fuel adds nothing" in gain_words.allowed(
        Share(24.0, 3.0, (0.5, 1.6), (0.0, 0.0), (0.5, 1.6), 0.0), Shown("si")
    )


def test_the_gain_that_physics_allows():
    # Orders of magnitude by enthalpy balance worked by hand: 24 degC cooler fuel, AFR 12.8: 2.1 x 24 / (12.8 x 1.005 + 2.1) = 3.37 degC of charge
    expected = expectation(24)
    assert expected.charge_cooler_degc == pytest.approx(3.37, abs=0.01)
    assert expected.ceiling_percent == pytest.approx(100 * 3.37 / 294.8, abs=0.02)
    assert expected.ceiling_with_friction_percent == pytest.approx(1.35, abs=0.02)
    assert expected.square_root_percent == pytest.approx(0.57, abs=0.02)
    assert 0.6 <= expected.square_root_with_friction_percent <= 0.7
    assert expectation(29).ceiling_with_friction_percent == pytest.approx(1.64, abs=0.03)
    assert expectation(0).ceiling_percent == 0
    with pytest.raises(InputError, match="-100 to 100"):
        expectation(400)

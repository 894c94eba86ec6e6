"""JCGM 101:2008 (GUM Supplement 1), clause 9.2, and JCGM 100:2008 (GUM), annex H.1: how uncertainties and degrees of freedom are combined here."""

import numpy as np
import pytest
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.temperature.accuracy import Contribution, root_sum_square


def together(*uncertainties):
    return float(root_sum_square(Contribution("", u, False, "") for u in uncertainties))


def test_9_2_2_four_normal_quantities():
    assert together(1, 1, 1, 1) == pytest.approx(2.0)


def test_9_2_3_four_rectangular_quantities():
    # limits +-sqrt(3) have a standard deviation of 1; the sum's 95 % interval is +-3.88, inside twice its standard uncertainty
    ones = [np.sqrt(3) / np.sqrt(3)] * 4
    assert together(*ones) == pytest.approx(2.0)
    draws = np.random.default_rng(1).uniform(-np.sqrt(3), np.sqrt(3), (200_000, 4)).sum(axis=1)
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(3.88, abs=0.03)
    assert 2 * together(*ones) > 3.88


def test_9_2_4_one_rectangular_quantity_dominates():
    # one of them ten times as wide: u = 10.1, +-17.0 by Monte Carlo, where the law of propagation says +-19.9
    u = together(1, 1, 1, 10 * np.sqrt(3) / np.sqrt(3))
    assert u == pytest.approx(10.1, abs=0.06)
    assert 1.96 * u == pytest.approx(19.9, abs=0.05)
    rng = np.random.default_rng(2)
    draws = rng.uniform(-np.sqrt(3), np.sqrt(3), (200_000, 4)) @ [1, 1, 1, 10]
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(17.0, abs=0.1)


def test_h_1_end_gauge():
    # u_c = 32 nm, effective degrees of freedom 16 (Welch and Satterthwaite): 25 nm (18), 9.7 nm (25.6), 2.9 nm (50), 16.6 nm (2)
    components, freedom = [25.0, 9.7, 2.9, 16.6], [18.0, 25.6, 50.0, 2.0]
    assert together(*components) == pytest.approx(32, abs=0.6)
    # widened treats what is added as exactly known, so the first row alone: 25 nm (18) and 18.5 nm known
    found = Estimate(0.0, 25.0, 18.0, 25.0, 10, 10, "", "run").widened(together(9.7, 2.9, 16.6))
    assert found.standard_error == pytest.approx(together(*components))
    assert found.degrees_of_freedom == pytest.approx(18 * (together(*components) / 25.0) ** 4)
    by_hand = together(*components) ** 4 / sum(u**4 / v for u, v in zip(components, freedom, strict=True))
    assert by_hand == pytest.approx(16, abs=1.5)

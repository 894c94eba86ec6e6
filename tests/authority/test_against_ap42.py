"""EPA AP-42 chapter 7.1: table 7.1-2 of true vapour pressures, and the equation of figure 7.1-15 with slope 3."""

import numpy as np
import pytest
from hotfuel.fuel import Fuel, volatility

KPA_PER_PSI = 6.894757293168361
DEGF = [40, 50, 60, 70, 80, 90, 100]
TABLE_PSIA = {  # as printed, rows RVP
    13: [4.7, 5.7, 6.9, 8.3, 9.9, 11.7, 13.8],
    10: [3.4, 4.2, 5.2, 6.2, 7.4, 8.8, 10.5],
    7: [2.3, 2.9, 3.5, 4.3, 5.2, 6.2, 7.4],
}


@pytest.mark.parametrize("rvp_psi", TABLE_PSIA)
def test_every_table_cell_within_2_5_percent(rvp_psi):
    found = volatility.true_vapour_pressure_kpa(rvp_psi * KPA_PER_PSI, (np.array(DEGF) - 32) / 1.8) / KPA_PER_PSI
    np.testing.assert_allclose(found, TABLE_PSIA[rvp_psi], rtol=0.025)


@pytest.mark.parametrize(
    ("rvp_psi", "degf", "psia"),
    [(13, 50, 5.7426), (13, 100, 13.9013), (10, 40, 3.4643), (10, 60, 5.1857), (7, 70, 4.2555), (7, 100, 7.4252)],
)
def test_equation(rvp_psi, degf, psia):
    assert float(volatility.true_vapour_pressure_kpa(rvp_psi * KPA_PER_PSI, (degf - 32) / 1.8)) / KPA_PER_PSI == pytest.approx(
        psia, abs=0.001
    )


@pytest.mark.parametrize(("vp", "t10", "t50"), [(60, 55, 100), (79, 48, 95)])
def test_mixture_agrees_with_the_equation_within_its_own_scatter(vp, t10, t50):
    # the equation is a fit to gasolines of one slope; a mixture of real slopes is flatter or steeper at the cold end
    fuel, degc = Fuel.from_measurements(vp, t10, t50, 165), np.array([20, 30, 37.8, 50, 60])
    np.testing.assert_allclose(fuel.true_vapour_pressure_kpa(degc), volatility.true_vapour_pressure_kpa(vp, degc), rtol=0.08)


MEASURED = [(63.4, 49.4, 99.3, 164.0), (62.4, 49.9, 100.8), (60.0, 50.9, 99.6), (88.8, 44.3, 69.8), (75.3, 50.8, 103.2)]
ORDINARY = [
    (48, 60, 104),
    (54, 58, 103),
    (60, 55, 100, 165),
    (69, 51, 98),
    (79, 48, 95),
    (90, 44, 91),
    (90, 40, 85),
    (75, 46, 90, 165),
]
ALONE = [(48,), (60,), (75,), (90,)]
# AP-42 does not cover ethanol, so only up to 10 %
BLENDS = [(88.9, 43.1, 73.3, 164.2, 10.1), (63.5, 53, 72, 160, 10), (60, 55, 95, 160, 5)]


@pytest.mark.parametrize("figures", MEASURED + ORDINARY + ALONE + BLENDS)
def test_boiling_onset_is_within_one_degree_and_twice_its_uncertainty(figures):
    # the equation of figure 7.1-15 solved for temperature; before this check the onset read 0.1 to 2.1 degC high from 48 to 90
    # kPa
    fuel, kpa = Fuel.from_measurements(*figures), np.arange(75, 101.4, 5)
    degc = np.linspace(10, 60, 501)
    # its chart ends at 60 degC
    published = np.interp(kpa, volatility.true_vapour_pressure_kpa(figures[0], degc), degc, right=np.nan)
    off = fuel.bubble_point_degc(kpa) - published
    assert np.nanmax(np.abs(off)) <= 1.0
    assert np.nanmax(np.abs(off)) <= 2 * fuel.onset_uncertainty_degc
    assert any(sentence.startswith("Boiling onset at") and "uncertainty" in sentence for sentence in fuel.describe())


@pytest.mark.parametrize("name", ["AA-1", "A-1", "B-2", "C-3", "D-4"])
def test_boiling_onset_of_the_classes(name):
    fuel = Fuel.from_class("D4814", name)
    degc = np.linspace(5, 60, 501)
    published = np.interp(92.0, volatility.true_vapour_pressure_kpa(fuel.vapour_pressure_kpa, degc), degc)
    assert float(fuel.bubble_point_degc(92.0)) == pytest.approx(published, abs=0.4)  # on a flat plateau the correction ends early


@pytest.mark.parametrize(("rvp", "degc"), [(5, 20), (200, 20), (60, 90)])
def test_outside_its_range_is_refused(rvp, degc):
    with pytest.raises(Exception, match="is outside"):
        volatility.true_vapour_pressure_kpa(rvp, degc)

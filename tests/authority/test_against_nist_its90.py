"""Type K against NIST Monograph 175 / SRD 60: table rows, the published size of the inverse polynomials' error, and another implementation."""

import numpy as np
import pytest
from hotfuel.temperature.thermocouple import emf_mv, seebeck_mv_per_degc, temperature_degc

thermocouple_its90 = pytest.importorskip("thermocouple_its90")

microvolt = 0.001  # mV
millikelvin = 0.001

# NIST ITS-90 table for type K, reference junctions at 0 degC, to the table's own microvolt.
TABLE = """
 -40 -1.527   -30 -1.156   -20 -0.778   -10 -0.392     0 0.000
  10  0.397    20  0.798    30  1.203    40  1.612    50 2.023
  60  2.436    70  2.851    80  3.267    90  3.682   100 4.096
 110  4.509   120  4.920   130  5.328   140  5.735   150 6.138
 160  6.540   170  6.941   180  7.340   190  7.739   200 8.138
 300 12.209   400 16.397   500 20.644   600 24.905   700 29.129
 800 33.275   900 37.326  1000 41.276  1100 45.119  1200 48.838
1300 52.410
"""
ROWS = [(float(t), float(e)) for t, e in zip(TABLE.split()[::2], TABLE.split()[1::2], strict=True)]


@pytest.mark.parametrize(("degc", "mv"), ROWS)
def test_emf_is_the_tables(degc, mv):
    assert emf_mv(degc) == pytest.approx(mv, abs=0.5001 * microvolt)


@pytest.mark.parametrize(("degc", "mv"), ROWS)
def test_temperature_is_the_tables_within_its_rounding(degc, mv):
    assert temperature_degc(mv) == pytest.approx(degc, abs=0.5001 * microvolt / seebeck_mv_per_degc(degc) + millikelvin)


def test_seebeck_coefficients():
    # calculated with thermocouple_its90.TypeK.seebeck, uV/degC
    for degc, uv in ((0, 39.450), (25, 40.518), (50, 41.246), (60, 41.421), (100, 41.369)):
        assert 1000 * seebeck_mv_per_degc(degc) == pytest.approx(uv, abs=0.001)


def test_every_tenth_of_a_degree_agrees_with_the_library():
    degc = np.arange(-2700, 13721) / 10
    theirs = np.array([thermocouple_its90.TypeK.emf(t) for t in degc])
    assert np.abs(emf_mv(degc) - theirs).max() < 1e-9
    assert 1000 * seebeck_mv_per_degc(317.3) == pytest.approx(1000 * thermocouple_its90.TypeK.seebeck(317.3), rel=1e-9)


def test_cold_junction_compensation_agrees_with_the_library():
    generator = np.random.default_rng(3)
    emf, cold = generator.uniform(-3, 40, 400), generator.uniform(-40, 110, 400)
    theirs = [thermocouple_its90.TypeK.temperature(e, reference=c) for e, c in zip(emf, cold, strict=True)]
    assert np.abs(temperature_degc(emf, cold) - theirs).max() < millikelvin


def test_inverse_is_within_a_millikelvin_of_the_exact_inverse_everywhere():
    exact = np.linspace(-200, 1372, 1_572_001)
    assert np.abs(temperature_degc(emf_mv(exact)) - exact).max() < millikelvin


def test_published_inverse_polynomial_is_off_by_its_published_error():
    # NIST SRD 60, inverse 0 to 500 degC, coefficients as printed; its published error band is -0.05 to +0.04 degC
    printed = [
        0,
        2.508355e1,
        7.860106e-2,
        -2.503131e-1,
        8.315270e-2,
        -1.228034e-2,
        9.804036e-4,
        -4.413030e-5,
        1.057734e-6,
        -1.052755e-8,
    ]
    degc = np.linspace(0, 500, 5001)
    error = np.polyval(printed[::-1], emf_mv(degc)) - degc
    assert -0.05 < error.min() < -0.04
    assert 0.03 < error.max() < 0.04


def test_worked_example_of_cold_junction_compensation():
    # hot 60, cold junction 35: the EMFs' difference is 1.02932 mV; adding temperatures instead gives 60.72
    assert emf_mv(60.0) - emf_mv(35.0) == pytest.approx(1.02932, abs=5e-6)
    assert temperature_degc(1.02932, 35.0) == pytest.approx(60.0, abs=millikelvin)
    assert temperature_degc(1.02932) + 35.0 == pytest.approx(60.72, abs=0.005)

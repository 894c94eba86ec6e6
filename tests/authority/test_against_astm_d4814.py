"""ASTM D4814-18: linear equation and ethanol step (appendix X2), vapour-lock classes (table 3), altitude rule (5.2.1), driveability index.

Table values are as quoted in public documents; kPa and distillation limits as quoted in the Gasoline FAQ 4.10.1, index limits from memory.
"""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, volatility

CLASSES_2018 = {1: 54, 2: 50, 3: 47, 4: 42, 5: 39, 6: 35}
FIVE_CLASSES = {1: 60, 2: 56, 3: 51, 4: 47, 5: 41}
VAPOUR_PRESSURE_MAX_KPA = {"AA": 54, "A": 62, "B": 69, "C": 79, "D": 93, "E": 103}


@pytest.mark.parametrize(
    ("vp", "t10", "t50", "degc"),
    [
        (60, 55, 100, 60.67),
        (62, 55, 100, 60.01),
        (54, 60, 105, 64.50),
        (79, 48, 95, 52.15),
        (93, 43, 90, 45.68),
        (103, 40, 85, 40.93),
    ],
)
def test_linear_equation(vp, t10, t50, degc):
    assert float(volatility.t_vl20_linear_degc(vp, t10, t50)) == pytest.approx(degc, abs=0.01)


@pytest.mark.parametrize(
    ("vp_psi", "t10_degf", "t50_degf", "degf"), [(9.0, 131, 212, 139.94), (7.8, 140, 221, 148.19), (13.5, 110, 190, 113.55)]
)
def test_linear_equation_against_its_us_form(vp_psi, t10_degf, t50_degf, degf):
    # the US form's constants are rounded (114.6, 4.1): the two differ by 0.0045 x VP, up to 0.07 degF
    found = volatility.t_vl20_linear_degc(vp_psi * 6.894757, (t10_degf - 32) / 1.8, (t50_degf - 32) / 1.8)
    assert float(found) * 1.8 + 32 == pytest.approx(degf, abs=0.08)


@pytest.mark.parametrize(("number", "minimum"), CLASSES_2018.items())
def test_vapour_lock_class_is_the_limit(number, minimum):
    fuel = Fuel.from_class("D4814", f"{'AABCDE'[number - 1]}-{number}")
    assert float(fuel.limit_degc(101.325)) == pytest.approx(minimum, abs=0.01)
    assert "2018" in fuel.edition


@pytest.mark.parametrize(("number", "degc"), FIVE_CLASSES.items())
def test_older_edition_has_its_own_table(number, degc):
    fuel = Fuel.from_class("D4814", f"A-{number}", edition="five-class")
    assert float(fuel.limit_degc(101.325)) == pytest.approx(degc, abs=0.01)
    assert "five-class" in fuel.edition
    with pytest.raises(InputError, match="choose 1, 2, 3, 4, 5"):
        Fuel.from_class("D4814", "A-6", edition="five-class")


@pytest.mark.parametrize(
    ("name", "vp", "t10", "t50"),
    [("AA", 54, 70, 121), ("A", 62, 70, 121), ("B", 69, 65, 118), ("C", 79, 60, 116), ("D", 93, 55, 113), ("E", 103, 50, 110)],
)
def test_equation_on_class_maxima_is_refused(name, vp, t10, t50):
    assert vp == VAPOUR_PRESSURE_MAX_KPA[name]
    with pytest.raises(InputError, match=f"maxima of D4814 class {name}"):
        Fuel.from_measurements(vp, t10, t50, 185)


def test_class_maxima_would_be_unsafe_by_12_6_degc():
    assert float(volatility.t_vl20_linear_degc(62, 70, 121)) - 54 == pytest.approx(12.6, abs=0.05)


def test_altitude_rule_against_the_mixture():
    # the rule: 4.4 degC per 1000 m; mixtures give 4.3 to 4.8 over the first 1000 m (101.325 -> 89.876 kPa)
    for vp, t10, t50 in [(55, 57, 100), (60, 55, 100), (79, 48, 95), (103, 40, 85)]:
        limits = Fuel.from_measurements(vp, t10, t50, 165).limit_degc([101.325, 89.876])
        assert limits[0] - limits[1] == pytest.approx(4.4, abs=0.4)


def test_reproducibility_of_the_linear_method():
    np.testing.assert_allclose(volatility.t_vl20_reproducibility_degc([43, 66]), [1.9, 0.8])

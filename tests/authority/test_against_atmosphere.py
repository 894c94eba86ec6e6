"""Air pressure against U.S. Standard Atmosphere 1976 (table and the fluids library) and against the standard's altitude rule for fuels."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.risk.limits_card import altitude_curves
from hotfuel.risk.pressure import standard_atmosphere_kpa

fluids = pytest.importorskip("fluids")

# U.S. Standard Atmosphere 1976, geopotential altitude: m, kPa
TABLE = ((0, 101.325), (500, 95.461), (1000, 89.875), (1609, 83.431), (2000, 79.495), (3000, 70.109))


@pytest.mark.parametrize(("altitude_m", "kpa"), TABLE)
def test_pressure_is_the_standards(altitude_m, kpa):
    assert standard_atmosphere_kpa(altitude_m) == pytest.approx(kpa, abs=0.001)


def test_agrees_with_another_implementation_that_takes_geometric_altitude():
    for altitude_m in (0, 500, 1000, 1609, 2000, 3000, 4000):
        theirs = fluids.atmosphere.ATMOSPHERE_1976(altitude_m).P / 1000
        assert standard_atmosphere_kpa(altitude_m) == pytest.approx(theirs, abs=0.03)


def test_altitude_takes_about_11_kpa_for_1000_m():
    # common practice, no source: "about 11 kPa per 1000 m"
    assert standard_atmosphere_kpa(0) - standard_atmosphere_kpa(1000) == pytest.approx(11, abs=1)


def test_a_fuels_limit_falls_with_altitude_as_the_standards_rule_says():
    # ASTM D4814-18, 5.2.1: raise the ambient by 4.4 degC per 1000 m before comparing with the sea-level table
    fuel = Fuel.from_measurements(vapour_pressure_kpa=60, t10_degc=55, t50_degc=100, t90_degc=165)
    curves = altitude_curves({"summer": fuel}, [0, 1000, 2000])
    drops = -np.diff(curves["summer_limit_degc"])
    assert drops == pytest.approx(4.4, abs=0.5)
    assert np.all(curves["summer_onset_degc"] < curves["summer_limit_degc"])


@pytest.mark.parametrize("altitude_m", [-501, 11001, np.nan])
def test_an_altitude_outside_the_layer_is_refused(altitude_m):
    with pytest.raises(InputError, match="-500 m to 11000 m"):
        standard_atmosphere_kpa(altitude_m)

"""Boiling water against IAPWS: the published check values of R7-97 and CoolProp's IAPWS-95."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.temperature.calibration import water_boiling_degc


@pytest.mark.parametrize(("kpa", "kelvin"), [(100, 0.372755919e3), (1000, 0.453035632e3)])
def test_check_values_of_the_release(kpa, kelvin):
    # IAPWS R7-97(2012), table 36: saturation temperature at 0.1 and 1 MPa
    assert water_boiling_degc(kpa) + 273.15 == pytest.approx(kelvin, abs=2e-6)


def test_agrees_with_coolprop_from_high_passes_to_sea_level(coolprop):
    for kpa in np.linspace(55, 106, 12):
        theirs = coolprop.PropsSI("T", "P", kpa * 1000, "Q", 0, "Water") - 273.15
        assert water_boiling_degc(kpa) == pytest.approx(theirs, abs=0.005)


def test_outside_the_range_is_refused():
    with pytest.raises(InputError, match="1 to 1000 kPa"):
        water_boiling_degc(0.5)
    with pytest.raises(InputError, match="1 to 1000 kPa"):
        water_boiling_degc([101.325, 1001])

"""Directive 98/70/EC (as amended by 2009/30/EC), Annex III: the rise of vapour pressure by ethanol that is waived, 0 to 10 vol-%."""

import pytest
from hotfuel.fuel import Fuel

RISE_KPA = {0: 0, 1: 3.7, 2: 6.0, 3: 7.2, 4: 7.8, 5: 8.0, 6: 8.0, 7: 7.9, 8: 7.9, 9: 7.8, 10: 7.8}


@pytest.mark.parametrize(("ethanol_vol", "rise"), RISE_KPA.items())
def test_mixture_gives_every_point_within_half_a_kpa(ethanol_vol, rise):
    base = Fuel.from_measurements(60, 55, 100, 165)
    assert base.blended(ethanol_vol).vapour_pressure_kpa - base.vapour_pressure_kpa == pytest.approx(rise, abs=0.5)

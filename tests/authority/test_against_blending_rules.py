"""Blends against published rules: EPA's answers of 1 July 1994 on reformulated gasoline (EPA420-R-03-009), which say that vapour pressure and per cent
evaporated at a temperature blend "very linearly" by volume, the lighter alcohols apart; the vapour pressure blending index, RVP^1.25 by volume, as public
pages quote it; and Directive 98/70/EC (2009/30/EC), Annex III, for a blend whose parts differ in ethanol.
"""

import numpy as np
import pytest
from hotfuel.fuel import Fuel, fit
from hotfuel.fuel.blend import blended

RISE_KPA = [0, 3.7, 6.0, 7.2, 7.8, 8.0, 8.0, 7.9, 7.9, 7.8, 7.8]  # by vol-% of ethanol, straight between them
WINTER = Fuel.from_measurements(90, 42, 92, 160, 0)
SUMMER = Fuel.from_measurements(60, 55, 100, 165, 0)
RACE = Fuel.from_measurements(45, 65, 98, 120, 0)
SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)


@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize(("first", "second"), [(WINTER, SUMMER), (RACE, SUMMER), (WINTER, RACE)])
def test_hydrocarbons_vapour_pressure_lies_by_the_straight_line_and_the_index(first, second, share):
    """Within half a kPa, which is less than a laboratory repeats (0.7 kPa); the limit rests on the higher of mixture and index."""
    made = blended([share, 1 - share], [first, second])
    straight = share * first.vapour_pressure_kpa + (1 - share) * second.vapour_pressure_kpa
    index = (share * first.vapour_pressure_kpa**1.25 + (1 - share) * second.vapour_pressure_kpa**1.25) ** 0.8
    assert straight - 0.2 <= made.vapour_pressure_kpa <= index + 0.5
    mean = share * first.limit_degc(101.325) + (1 - share) * second.limit_degc(101.325)
    assert mean - 1.5 < made.limit_degc(101.325) <= mean


@pytest.mark.parametrize("share", SHARES)
def test_per_cent_evaporated_blends_straight_and_the_temperatures_do_not(share):
    parts = [fit.open_distillation(fuel.feed.volume_fraction()[:, None]) for fuel in (WINTER, SUMMER)]
    made = fit.open_distillation(blended([share, 1 - share], [WINTER, SUMMER]).feed.volume_fraction()[:, None])

    def at(curve, degc):
        return float(np.interp(degc, curve[1][:, 0], curve[0][:, 0]))

    for degc in (70.0, 100.0, 150.0):
        straight = share * at(parts[0], degc) + (1 - share) * at(parts[1], degc)
        assert at(made, degc) == pytest.approx(straight, abs=1.5)


@pytest.mark.parametrize("share", [0.1, 0.2, 0.25, 0.5, 0.75])
def test_a_part_with_ethanol_raises_the_vapour_pressure_as_the_directive_has_it(share):
    """E10 and E0, both of 62 kPa: the E10's hydrocarbons alone have 7.8 kPa less, and the blend gets the rise for the ethanol it then holds."""
    e10, e0 = Fuel.from_measurements(62, 52, 95, 160, 10), Fuel.from_measurements(62, 52, 100, 165, 0)
    base = share * (62 - RISE_KPA[10]) + (1 - share) * 62
    expected = base + np.interp(10 * share, range(11), RISE_KPA)
    made = blended([share, 1 - share], [e10, e0])
    assert made.vapour_pressure_kpa == pytest.approx(expected, abs=1.0)
    assert made.vapour_pressure_kpa > 63, "higher than either"
    assert made.limit_degc(101.325) < share * e10.limit_degc(101.325) + (1 - share) * e0.limit_degc(101.325) - 1.0

"""Against the worked pair of examples on a finned crossflow exchanger in F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, chapter 11.

Figures from memory: exhaust gas (cp 1000 J/(kg K)) from 300 to 100 degC heats 1 kg/s of water (4197 J/(kg K)) from 35 to 125 degC; U = 100 W/(m2 K)
gives NTU = 2.1 and A = 39.7 m2 by chart. Then the same exchanger, taken as 40 m2, with 1.5 kg/s of gas at 250 degC: effectiveness 0.82,
265 kW, water leaving at 98.1 degC, gas at 73.3 degC. The exact integral for
this exchanger is 0.836, so the chart's 0.82 was read to 0.016; the usual formula is 0.009 above the integral: together 0.025.
"""

import numpy as np
import pytest
from hotfuel.study.line import cooler


def test_sizing_the_exchanger():
    water = 1.0 * 4197
    gas = water * (125 - 35) / (300 - 100)
    ntu = cooler.ntu_of((300 - 100) / (300 - 35), gas / water, "crossflow")
    assert ntu == pytest.approx(2.1, abs=0.1)
    assert ntu * gas / 100 == pytest.approx(39.7, rel=0.05)


def test_the_same_exchanger_with_other_gas():
    gas, water, ua = 1.5 * 1000, 1.0 * 4197, 100 * 40
    share = cooler.effectiveness(ua / gas, gas / water, "crossflow")
    assert share == pytest.approx(0.82, abs=0.025)
    heat = share * gas * (250 - 35)
    assert heat == pytest.approx(265e3, rel=0.025 / 0.82)
    assert 250 - heat / gas == pytest.approx(73.3, abs=0.025 * 215)
    assert 35 + heat / water == pytest.approx(98.1, abs=0.025 * 215 * 1500 / 4197)


def test_limits_every_textbook_gives():
    for kind in ("counterflow", "parallel flow", "crossflow", "bath"):
        # the other side keeps its temperature: one formula for all arrangements
        assert cooler.effectiveness(1.7, 0.0, kind) == pytest.approx(1 - np.exp(-1.7))
    assert cooler.effectiveness(3.0, 1.0, "counterflow") == pytest.approx(3 / 4)
    assert cooler.effectiveness(50.0, 1.0, "parallel flow") == pytest.approx(0.5)


@pytest.mark.parametrize("kind", ["counterflow", "parallel flow"])
@pytest.mark.parametrize("ratio", [0.2, 0.7, 0.999])
def test_against_the_logarithmic_mean_difference(kind, ratio):
    """Q = UA x logarithmic mean difference: the same answer without effectiveness or NTU."""
    fuel, ua, hot, cold = 5.0, 8.0, 60.0, 20.0
    heat = cooler.effectiveness(ua / fuel, ratio, kind) * fuel * (hot - cold)
    hot_out, cold_out = hot - heat / fuel, cold + heat / (fuel / ratio)
    ends = (hot - cold_out, hot_out - cold) if kind == "counterflow" else (hot - cold, hot_out - cold_out)
    assert ua * (ends[0] - ends[1]) / np.log(ends[0] / ends[1]) == pytest.approx(heat, rel=1e-6)

"""Coolers: measured ones against heat balances, the same one elsewhere, ice by its latent heat."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import cooler_words
from hotfuel.simulator.plug_flow import Line
from hotfuel.study.line import cooler
from hotfuel.study.line.line_cooler import Ice, There
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

KINDS = st.sampled_from(list(cooler.ARRANGEMENTS))


@given(KINDS, st.floats(0.001, 5.0), st.floats(0.0, 1.0))
def test_ntu_is_the_inverse_of_effectiveness(kind, ntu, ratio):
    share = cooler.effectiveness(ntu, ratio, kind)
    assert 0 < share < 1
    assert cooler.effectiveness(cooler.ntu_of(share, ratio, kind), ratio, kind) == pytest.approx(share, abs=1e-9)
    if cooler.effectiveness(ntu * 1.01, ratio, kind) - share > 1e-6:  # where the curve still rises, NTU itself is recovered
        assert cooler.ntu_of(share, ratio, kind) == pytest.approx(ntu, rel=1e-3)


@given(KINDS, st.floats(0.01, 8.0), st.floats(0.0, 1.0))
def test_a_larger_cooler_never_cools_less_and_counterflow_is_the_best(kind, ntu, ratio):
    share = cooler.effectiveness(ntu, ratio, kind)
    assert cooler.effectiveness(ntu * 1.1, ratio, kind) >= share - 1e-12
    if kind != "bath":
        assert share <= cooler.effectiveness(ntu, ratio, "counterflow") + 2e-3  # crossflow's formula is an approximation


@given(KINDS, st.floats(0.5, 12.0), st.floats(5.0, 80.0), st.floats(35.0, 80.0), st.floats(5.0, 25.0), st.floats(5.0, 80.0))
def test_a_measured_coolers_ua_is_recovered_and_forecasts_its_own_readings(kind, ua, flow, inlet, coolant, coolant_w_k):
    fuel = flow / 3.6e6 * 740 * 2100  # W/K by hand
    other = np.inf if kind == "bath" else coolant_w_k
    least, most = min(fuel, other), max(fuel, other)
    ratio = 0.0 if kind == "bath" else least / most
    if ua / least > 4:
        return  # so near its limit that no reading can distinguish one UA from another
    heat = cooler.effectiveness(ua / least, ratio, kind) * least * (inlet - coolant)
    outlet = inlet - heat / fuel
    found = cooler.measured(inlet, outlet, coolant, flow, coolant_w_k=other, arrangement=kind)
    assert found.ua_w_k == pytest.approx(ua, rel=1e-4)
    assert found.heat_w == pytest.approx(heat, rel=1e-9)
    assert found.effectiveness == pytest.approx((inlet - outlet) / (inlet - coolant))
    assert found.heat_u_w >= 0.1 * heat  # no watts without the flow's uncertainty, which is 10 % unless stated
    assert found.ua_u_w_k > 0.1 * ua
    again = cooler.elsewhere(found, inlet, coolant, flow)
    assert again.outlet_degc == pytest.approx(outlet, abs=1e-4)
    assert again.heat_w == pytest.approx(heat, rel=1e-4)


def test_the_flows_uncertainty_is_included_in_the_watts():
    sure, unsure = (cooler.measured(60, 40, 25, 30, flow_relative_u=u) for u in (0.02, 0.35))
    # 30 L/h x 0.74 kg/L x 2100 J/(kg K) / 3600 s = 12.95 W/K; times 20 degC
    assert sure.heat_w == pytest.approx(259, abs=0.5) == unsure.heat_w
    # readings 0.5 x sqrt 2 / 20, flow, heat capacity 10 %
    assert sure.heat_u_w == pytest.approx(259 * np.sqrt(0.0354**2 + 0.02**2 + 0.1**2), rel=0.01)
    assert unsure.heat_u_w == pytest.approx(259 * np.sqrt(0.0354**2 + 0.35**2 + 0.1**2), rel=0.01)


def test_repeated_readings_scatter_as_much_as_stated():
    rng = np.random.default_rng(4)
    true = cooler.measured(60, 38, 25, 30)
    many = [cooler.measured(*(np.array([60, 38, 25]) + rng.normal(0, 0.5, 3)), 30, flow_relative_u=0.0) for _ in range(600)]
    assert np.std([c.effectiveness for c in many]) == pytest.approx(true.effectiveness_u, rel=0.15)
    alone = cooler.measured(60, 38, 25, 30, flow_relative_u=0.0)
    scatter = float(np.std([c.heat_w for c in many]))
    assert scatter == pytest.approx(np.sqrt(alone.heat_u_w**2 - (0.1 * alone.heat_w) ** 2), rel=0.15)


def test_a_simulated_cooler_measured_at_one_flow_is_forecast_at_others():
    """Truth: the simulated car's core, 9 W/K at every flow, solved cell by cell until it is steady."""

    def steady(flow_l_h, inlet, air):
        line, out = Line(90.0, 9.0, inlet, 40), inlet
        for _ in range(4000):
            out = line.step(0.25, flow_l_h / 3.6, inlet, air)
        return out

    seen = cooler.measured(55, steady(30, 55, 25), 25, 30, arrangement="bath", flow_relative_u=0.02)
    assert seen.ua_w_k == pytest.approx(9.0, rel=0.03)
    for flow, inlet, air in ((30, 70, 25), (30, 55, 5), (15, 55, 25), (75, 65, 35), (8, 70, 30)):
        there = cooler.elsewhere(seen, inlet, air, flow)
        truth = steady(flow, inlet, air)
        assert abs(there.outlet_degc - truth) <= 2 * there.outlet_u_degc, (flow, inlet, air)
        assert there.outlet_u_degc < 0.25 * (inlet - air)
    warm, cool = (cooler.elsewhere(seen, 55, air, 30) for air in (35, 15))
    # heat is proportional to the difference to the coolant
    assert warm.heat_w / cool.heat_w == pytest.approx((55 - 35) / (55 - 15))
    fast = cooler.elsewhere(seen, 55, 25, 60)
    assert fast.outlet_degc > cooler.elsewhere(seen, 55, 25, 30).outlet_degc
    assert fast.heat_w > seen.heat_w
    assert "to the power 0.4" in cooler_words.elsewhere(There(55, 25, 60, fast), Shown("si"))


def test_ice_by_its_latent_heat():
    # By hand with 334 kJ/kg (handbook): 2 kg x 334 kJ/kg / 300 W = 2227 s = 37.1 min
    assert cooler.ice_minutes(2.0, 300) == pytest.approx(2 * 334e3 / 300 / 60, rel=0.002)
    # ice at -18 degC takes 2.1 kJ/(kg K) x 18 = 37.8 kJ/kg more
    assert cooler.ice_minutes(2.0, 300, start_degc=-18) == pytest.approx(2 * (334e3 + 37.8e3) / 300 / 60, rel=0.002)
    # 1 kg of water at 20 degC melts 83.8 kJ worth, a quarter of a kilogram of ice
    assert cooler.ice_minutes(2.0, 300, water_kg=1, water_degc=20) == pytest.approx((2 * 334 - 83.8) / 0.3 / 60, rel=0.002)
    assert cooler.ice_minutes(0.1, 300, water_kg=5, water_degc=40) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cooler.measured(27, 26, 25, 30), "at least 3 °C"),
        (lambda: cooler.measured(float("nan"), 26, 25, 30), "at least 3 °C"),
        (lambda: cooler.measured(60, 40, 25, 0), "must be above 0"),
        (lambda: cooler.measured(60, 20, 25, 30), "contradict each other"),
        (lambda: cooler.measured(60, 65, 25, 30), "contradict each other"),
        (
            lambda: cooler.measured(60, 30, 25, 30, coolant_w_k=13, arrangement="parallel flow"),
            "more than parallel flow can reach",
        ),
        (lambda: cooler.effectiveness(1, 0.5, "sideways"), "choose counterflow"),
        (lambda: cooler.effectiveness(1, 1.5), "allowed are 0 to 100 and 0 to 1"),
        (lambda: cooler.effectiveness(float("nan"), 0.5), "allowed are 0 to 100 and 0 to 1"),
        (lambda: cooler.elsewhere(cooler.measured(60, 40, 25, 30), 60, 25, -1), "must be above 0"),
        (lambda: cooler.ice_minutes(0, 300), "above 0"),
        (lambda: cooler.ice_minutes(2, 300, start_degc=4), "above 0"),
    ],
)
def test_bad_input_is_one_sentence(call, words):
    with pytest.raises(InputError, match=words) as seen:
        call()
    assert "\n" not in str(seen.value)


def test_heat_that_is_more_than_half_uncertainty_is_given_as_a_bound():
    assert cooler_words.watts(100.0, 10.0) == "100 ±20 W"
    assert cooler_words.watts(26.0, 12.0) == "at most 50 W"
    assert cooler_words.watts(-5.0, 2.0) == "at most 0 W"


@pytest.mark.parametrize(
    ("value", "u", "said"), [(0.618, 0.05, "0.62 ±0.10"), (0.1, 0.1, "at most 0.3"), (0.6, 0.4, "at most 1.0")]
)
def test_an_effectiveness_that_may_be_nothing_has_no_sign_left_open(value, u, said):
    one = cooler.Cooler(value, u, 5.0, 1.0, 100.0, 10.0, 10.0, np.inf, "bath")
    assert cooler_words.effectiveness(one) == said


def test_ice_on_a_heat_hardly_known_lasts_at_least_so_long():
    assert "takes up 100 W for 60 min (±20)" in cooler_words.ice(Ice(1.0, 100.0, 60.0, 10.0))
    assert "takes up at most 200 W, so it lasts 30 min or longer, " in cooler_words.ice(Ice(1.0, 100.0, 60.0, 60.0 / 1.96))

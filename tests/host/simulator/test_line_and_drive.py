"""The parts of the thermal car: the delay and heat of a line, and what a drive asks of the engine."""

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.simulator.car_model import Scenario
from hotfuel.simulator.drives import STEP_S, Engine, Phase, drive
from hotfuel.simulator.plug_flow import J_PER_ML_K, Line
from hypothesis import given
from hypothesis import strategies as st

flows = st.lists(st.floats(0, 30), min_size=1, max_size=60)


def run(line, flow_ml_s, inlet_degc, around_degc, seconds):
    return [line.step(STEP_S, flow_ml_s, inlet_degc, around_degc) for _ in range(round(seconds / STEP_S))]


def stored_j(line):
    """Heat held, against liquid at 0 degC."""
    held = line.fuel_degc.sum() + line._filled * (line._entering_degc - line.fuel_degc[-1])
    return float(held) * line.cell_ml * J_PER_ML_K


class TestLine:
    @given(st.floats(20, 400), st.floats(0.5, 25))
    def test_a_change_arrives_one_line_volume_later(self, volume_ml, flow_ml_s):
        line = Line(volume_ml, 0.0, 20.0)
        out = np.array(run(line, flow_ml_s, 50.0, 20.0, 2 * volume_ml / flow_ml_s + 1))
        arrived_s = (np.argmax(out > 35.0) + 0.5) * STEP_S
        assert arrived_s == pytest.approx(volume_ml / flow_ml_s, abs=STEP_S + line.cell_ml / flow_ml_s)

    def test_handbook_example_of_the_delay(self):
        # 3 m of 5/16 in line hold 148 mL, at 10 L/h 53 s
        bore_mm = 5 / 16 * 25.4
        volume_ml = np.pi / 4 * bore_mm**2 * 3000 / 1000
        out = np.array(run(Line(volume_ml, 0.0, 20.0), 10 / 3.6, 30.0, 20.0, 80))
        assert np.argmax(out > 25.0) * STEP_S == pytest.approx(53, abs=2)

    @given(st.floats(0.05, 3), st.floats(1, 20))
    def test_steady_rise_is_that_of_a_heat_exchanger(self, ua_w_k, flow_ml_s):
        # as in any heat-transfer textbook: T_out = T_around + (T_in - T_around) exp(-UA / (m cp))
        line = Line(80.0, ua_w_k, 20.0)
        out = run(line, flow_ml_s, 20.0, 70.0, 4 * 80.0 / flow_ml_s + 10)
        expected = 70.0 - 50.0 * np.exp(-ua_w_k / (flow_ml_s * J_PER_ML_K))
        assert np.mean(out[-16:]) - 20.0 == pytest.approx(expected - 20.0, rel=0.04)

    def test_43_watts_warm_10_litres_an_hour_by_10_degrees(self):
        # m cp = 10 L/h x 0.74 kg/L x 2.1 kJ/kgK = 4.3 W/K
        line = Line(150.0, 0.5, 20.0)
        out = run(line, 10 / 3.6, 20.0, 110.0, 400)
        assert line.heat_w / (np.mean(out[-20:]) - 20.0) == pytest.approx(4.3, rel=0.02)

    @given(flows, st.floats(-10, 90), st.floats(-10, 90), st.floats(0, 5))
    def test_heat_is_conserved(self, flows_ml_s, inlet_degc, around_degc, ua_w_k):
        line = Line(60.0, ua_w_k, 30.0, cells=12)
        before, carried_j, heat_j = stored_j(line), 0.0, 0.0
        for flow in flows_ml_s:
            out = line.step(STEP_S, flow, inlet_degc, around_degc)
            carried_j += flow * STEP_S * J_PER_ML_K * (inlet_degc - out)
            heat_j += line.heat_w * STEP_S
        assert stored_j(line) - before == pytest.approx(carried_j + heat_j, abs=1e-6 * (1 + abs(before)))

    def test_standing_fuel_approaches_its_surroundings_with_its_time_constant(self):
        line = Line(100.0, 0.5, 20.0)
        tau_s = 100.0 * J_PER_ML_K / 0.5
        run(line, 0.0, 20.0, 80.0, tau_s)
        assert line.outlet_degc == pytest.approx(80 - 60 / np.e, abs=0.1)


class TestDrive:
    def test_fuel_use_at_idle_and_full_power_is_the_engines(self):
        engine = Engine()
        assert engine.used_l_h(np.array(750.0), np.array(0.0)) == pytest.approx(4.0)
        assert engine.used_l_h(np.array(5000.0), np.array(179.0)) == pytest.approx(75.0)

    def test_the_engine_is_the_example_cars(self):
        car, engine = load(EXAMPLE), Engine()
        assert (engine.idle_flow_l_h, engine.full_flow_l_h, engine.idle_rpm) == (
            car.engine.idle_flow_l_h,
            car.engine.full_flow_l_h,
            car.engine.idle_speed_rpm,
        )
        assert car.engine.power_kw == pytest.approx(engine.full_power_kw, rel=0.01)
        assert Scenario().body.pump_pressure_kpa == pytest.approx(car.pump.pressure_kpa, rel=0.01)
        litres = [place.volume_from_previous_l for place in car.places]
        body = Scenario().body
        assert body.chassis_line_ml + body.bonnet_line_ml == pytest.approx(1000 * litres[1])
        assert body.hose_ml == pytest.approx(1000 * litres[2])

    def test_full_throttle_uses_many_times_as_much_as_a_cruise_and_gains_height(self):
        phases = (Phase("hill", 4, "cruise", 60, climb_m=200), Phase("pull", 3, "pulls", 70))
        profile = drive(phases, Engine(), np.random.default_rng(0), variation=0)
        assert profile.climbed_m[-1] == pytest.approx(200, rel=0.01)
        hill = profile.used_l_h[profile.phase == 0][200:-200].mean()
        assert profile.used_l_h[profile.phase == 1].max() > 3 * hill
        assert profile.used_l_h.max() <= 75.0

    @pytest.mark.parametrize("bad", [{"kind": "fly"}, {"minutes": 0}, {"minutes": 1e6}])
    def test_what_cannot_be_driven_is_reported(self, bad):
        with pytest.raises(InputError, match="allowed|there are"):
            Phase(**{"name": "x", "minutes": 1, "kind": "idle", **bad})

    def test_no_drive_at_all(self):
        with pytest.raises(InputError, match="at least one phase"):
            drive((), Engine(), np.random.default_rng(0))

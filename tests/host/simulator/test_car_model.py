"""The thermal car: heat balances, delays, the effect of each fix, and that the same seed is the same day."""

from dataclasses import replace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.fuel import fuel_from
from hotfuel.simulator import probes
from hotfuel.simulator.car_model import CarModel, Scenario, scenarios
from hotfuel.simulator.drives import STEP_S, Phase
from hotfuel.simulator.feed import Senders
from hotfuel.simulator.plug_flow import J_PER_ML_K, Line
from hotfuel.simulator.scenarios import EIGHT_PROBES, SUMMER_FUEL, FittedProbe
from hotfuel.simulator.thermal import Boiling
from hotfuel.study.fixes.fitted import kind_of

TypeK = pytest.importorskip("thermocouple_its90").TypeK


def test_between_onset_and_the_limit_a_degree_takes_as_much_heat_as_the_mixture_says():
    fuel = fuel_from(dict(SUMMER_FUEL))
    boiling = Boiling(fuel)
    onset, limit = float(fuel.bubble_point_degc(94.0)), float(fuel.limit_degc(94.0))
    heat = float(fuel.enthalpy_kj_per_kg(limit, 94.0) - fuel.enthalpy_kj_per_kg(onset, 94.0))
    liquid = float(fuel.enthalpy_kj_per_kg(onset, 94.0) - fuel.enthalpy_kj_per_kg(onset - 1, 94.0))
    steps = np.linspace(0, limit - onset, 200)
    mean = np.mean([boiling.times(above) for above in steps])
    assert mean == pytest.approx(heat / liquid / (limit - onset), rel=0.1)
    assert boiling.onset_degc(94.0) == pytest.approx(onset, abs=0.02)
    assert boiling.pressure_kpa(onset) == pytest.approx(94.0, abs=0.1)
    assert boiling.times(-3.0) == 1.0


@pytest.fixture(scope="module")
def summer():
    return CarModel(scenarios()["summer drive"])


@pytest.fixture(scope="module")
def soaks():
    """The car as built and with each fix, on the same day with the same driver."""
    wanted = {name: scenario for name, scenario in scenarios().items() if scenario.drive is scenarios()["as built"].drive}
    return {name: CarModel(replace(scenario, variation=0.0)).truth for name, scenario in wanted.items()}


def test_watts_taken_up_equal_rise_times_mass_flow_times_cp():
    truth = CarModel(replace(scenarios()["steady 40 mph"], variation=0)).truth
    steady = truth[truth["phase"] == "steady"].iloc[1200:-200]
    watts = (steady["line_heat_w"] + steady["pump_heat_w"]).mean()
    carried = (steady["flow_l_h"] / 3.6 * J_PER_ML_K * (steady["pump_outlet_degc"] - steady["tank_degc"])).mean()
    assert watts == pytest.approx(carried, rel=0.02)
    hose = (steady["flow_l_h"] / 3.6 * J_PER_ML_K * (steady["carb_inlet_degc"] - steady["pump_outlet_degc"])).mean()
    assert steady["hose_heat_w"].mean() == pytest.approx(hose, abs=1.0)


def test_the_tank_loses_what_the_engine_burns(summer):
    truth = summer.truth
    burnt_l = truth["used_l_h"].sum() * STEP_S / 3600
    bowl_l = (truth["bowl_share"].iloc[-1] - 1) * summer.scenario.body.bowl_ml / 1000
    left_l = summer.scenario.fuel_l - truth["tank_l"].iloc[-1]
    boiled_l = left_l - burnt_l - bowl_l
    assert burnt_l > 2
    assert 0 <= boiled_l < 0.1  # what boiled out of the bowl


def test_the_demo_lasts_as_long_as_a_lunch_drive_and_passes_its_limit_in_the_soak(summer):
    truth = summer.truth.iloc[::20]
    assert 35 <= summer.duration_s / 60 <= 40
    fuel = fuel_from(dict(summer.scenario.fuel))
    margin = fuel.limit_degc(truth["pump_inlet_pressure_kpa"].to_numpy()) - truth["pump_degc"]
    least = margin.groupby(truth["phase"], observed=True).min()
    assert least["hill"] > 7
    assert 0 < least["queue"] < 7
    assert -16 < least["hot soak"] < -3
    assert least["drive on"] > 0
    at_restart = summer.truth[summer.truth["phase"] == "restart"]
    assert at_restart["fuel_pressure_kpa"].iloc[40] < 0.9 * summer.scenario.body.pump_pressure_kpa  # vapour at the pump


@pytest.mark.parametrize("seed", [1, 5])
def test_the_hot_soak_peaks_10_to_30_minutes_after_the_stop(seed):
    # common practice, no source
    phases = (Phase("drive", 12, "cruise", 64), Phase("hot soak", 60, "off"))
    truth = CarModel(Scenario(drive=phases, seed=seed, start_block_degc=85.0)).truth
    soak = truth[truth["phase"] == "hot soak"]
    for place in ("pump_degc", "bowl_degc"):
        peak_min = (soak["time_s"][soak[place].idxmax()] - soak["time_s"].iloc[0]) / 60
        assert 8 <= peak_min <= 40, place
    peak_min = (soak["time_s"][soak["pump_degc"].idxmax()] - soak["time_s"].iloc[0]) / 60
    assert 10 <= peak_min <= 30
    assert soak["pump_degc"].max() > truth["pump_degc"][truth["phase"] == "drive"].max() + 10


def test_a_pull_after_idling_brings_hot_fuel_to_the_carburettor_though_nothing_got_hotter():
    phases = (Phase("drive", 8, "cruise", 64), Phase("queue", 6, "idle"), Phase("pull", 1, "pulls", 70))
    truth = CarModel(Scenario(drive=phases, variation=0.0, start_block_degc=85.0)).truth
    pull = truth[truth["phase"] == "pull"]
    through_s = np.cumsum(pull["flow_l_h"].to_numpy() / 3.6) * STEP_S
    late_s = float(np.argmax(through_s > 80 + 20)) * STEP_S  # volume of hose and pump outlet chamber over flow
    begins = pull["carb_inlet_degc"].iloc[0]
    assert abs(pull["carb_inlet_degc"].iloc[int(late_s / STEP_S / 3)] - begins) < 3
    assert pull["carb_inlet_degc"].iloc[int(2.5 * late_s / STEP_S)] < begins - 4  # fresh fuel has arrived


# fix -> (place, phase) it is meant for, and the smallest improvement in degC
FIXES = {
    "sleeved line": ("carb_inlet_degc", "queue", 1.5),
    "heat shield": ("carb_inlet_degc", "queue", 1.0),
    "spacer": ("bowl_degc", "hot soak", 2.0),
    "return line": ("carb_inlet_degc", "queue", 5.0),
    "pump in the tank": ("pump_degc", "hot soak", 10.0),
    "cooler": ("carb_inlet_degc", "drive", 2.0),
    "cooler with fan": ("carb_inlet_degc", "queue", 5.0),
    "ice can": ("carb_inlet_degc", "drive", 10.0),
    "fan run-on": ("pump_degc", "hot soak", 1.0),
}


@pytest.mark.parametrize("name", FIXES)
def test_each_fix_lowers_the_temperature_it_is_meant_for(soaks, name):
    place, phase, least_degc = FIXES[name]
    before, after = (truth[truth["phase"] == phase][place].max() for truth in (soaks["as built"], soaks[name]))
    assert before - after > least_degc


def test_the_table_of_fixes_is_complete(soaks):
    changed = set(soaks) - {"as built", "nothing changed", "winter fuel", "at 1600 m"}
    assert changed == set(FIXES)


def test_a_cooler_does_less_in_the_queue_without_a_fan(soaks):
    hottest = {name: truth[truth["phase"] == "queue"]["carb_inlet_degc"].max() for name, truth in soaks.items()}
    assert hottest["cooler with fan"] + 5 < hottest["cooler"]


def test_an_unchanged_car_shows_no_difference(soaks):
    assert np.array_equal(soaks["as built"]["pump_degc"], soaks["nothing changed"]["pump_degc"])


def test_ice_melts_and_then_helps_less():
    phases = (Phase("drive", 90, "cruise", 64),)
    scenario = replace(scenarios()["ice can"], drive=phases, variation=0.0)
    warm = CarModel(replace(scenarios()["as built"], drive=phases, variation=0.0)).truth["carb_inlet_degc"]
    gain = warm - CarModel(scenario).truth["carb_inlet_degc"]
    assert gain.iloc[4000] > 2 * gain.iloc[-1]


def test_boiling_fuel_warms_at_about_a_third_of_the_rate_at_constant_watts():
    # between onset and V/L 20 this fuel takes 39.4 kJ/kg where liquid alone takes 14.1 (own calculation on a ten-component mixture)
    boiling = Boiling(fuel_from(dict(SUMMER_FUEL)))
    onset = boiling.onset_degc(101.325)
    line = Line(60.0, 0.02, onset - 5.0, cells=4)
    path = []
    for _ in range(6000):  # surroundings 1000 degC away: constant watts
        line.step(STEP_S, 0.0, onset, onset + 1000.0, factor=boiling.factor(line.fuel_degc, onset))
        path.append(line.outlet_degc)
    path = np.array(path)
    liquid_s = np.sum((path > onset - 4) & (path < onset)) * STEP_S / 4.0
    boiling_s = np.sum((path > onset) & (path < onset + 6.7)) * STEP_S / 6.7
    assert liquid_s / boiling_s == pytest.approx(14.1 / 39.4, rel=0.2)


def test_boiling_flattens_the_soak():
    stop = replace(scenarios()["as built"], variation=0.0)
    dull = {"vapour_pressure_kpa": 30.0, "t10_degc": 80.0, "t50_degc": 110.0, "t90_degc": 170.0}
    boils, does_not = (
        truth[truth["phase"] == "hot soak"]["pump_degc"].iloc[720]
        for truth in (CarModel(stop).truth, CarModel(replace(stop, fuel=dull)).truth)
    )
    assert boils < does_not - 2


def test_altitude_lowers_the_pressure_by_the_standard_atmosphere(soaks):
    # U.S. Standard Atmosphere 1976
    assert soaks["at 1600 m"]["ambient_pressure_kpa"].iloc[0] == pytest.approx(83.52, abs=0.05)


class TestChance:
    def test_the_same_seed_is_the_same_run(self):
        first, second = (CarModel(replace(scenarios()["as built"], seed=4)).all(0.25) for _ in range(2))
        assert np.array_equal(first.emf_mv, second.emf_mv)
        assert np.array_equal(first.cold_degc, second.cold_degc)

    def test_another_seed_is_another_day(self):
        peaks = [CarModel(replace(scenarios()["as built"], seed=seed)).truth["pump_degc"].max() for seed in range(8)]
        assert 0.3 < np.std(peaks) < 4.0

    def test_without_variation_seeds_differ_by_probe_noise_only(self):
        models = [CarModel(replace(scenarios()["as built"], seed=seed, variation=0.0)) for seed in (1, 2)]
        for column in ("tank_degc", "pump_degc", "carb_inlet_degc", "ambient_pressure_kpa"):
            assert np.array_equal(models[0].truth[column], models[1].truth[column]), column
        assert not np.array_equal(models[0].all(0.25).emf_mv, models[1].all(0.25).emf_mv)

    def test_another_fix_leaves_day_and_driver_unchanged(self):
        a, b = (CarModel(scenarios()[name]).truth for name in ("as built", "cooler"))
        assert np.array_equal(a["ambient_degc"], b["ambient_degc"])
        assert np.array_equal(a["engine_rpm"], b["engine_rpm"])


class TestBlocks:
    def test_the_loop_gives_the_emf_of_probe_less_terminals(self, summer):
        # thermocouple_its90 is an independent implementation of the NIST functions
        block = summer.all(0.25)
        truth = summer.truth
        for channel, fitted in enumerate(summer.scenario.probes):
            for n in range(100, len(block.time_s), 900):
                probe = float(truth[f"{fitted.where}_probe_degc"].iloc[n])
                cold = float(block.cold_degc[n, channel])
                ideal = TypeK.emf(probe) - TypeK.emf(cold)
                # wire error up to 0.5 degC, the chip's offset and gradient up to 1.2, noise
                assert block.emf_mv[n, channel] == pytest.approx(ideal, abs=0.041 * 1.9)
            fine = block.emf_mv[40:, channel]
            assert np.std(np.diff(fine)) < 0.02

    def test_emf_of_a_loop_with_and_without_its_wires_error(self):
        junctions, terminals = np.array([[60.0, 30.0], [95.0, 5.0]]), np.array([35.0, 35.0])
        ideal = [[TypeK.emf(t) - TypeK.emf(35.0) for t in row] for row in junctions]
        assert probes.loop_emf_mv(junctions, terminals, np.zeros(2)) == pytest.approx(np.array(ideal), abs=1e-9)
        wrong = probes.loop_emf_mv(junctions, terminals, np.array([0.5, 0.5])) - np.array(ideal)
        assert wrong[1, 0] == pytest.approx(0.5 * TypeK.seebeck(95.0), rel=0.01)  # 60 degC along the wire: the full error
        # colder than the terminals: the opposite sign
        assert wrong[0, 1] == pytest.approx(-0.5 * 5 / 60 * TypeK.seebeck(30.0), rel=0.01)

    def test_the_chips_own_sensor_is_off_and_drifts_but_stays_within_its_data_sheet(self, summer):
        ambient = summer.truth["ambient_degc"].to_numpy()
        box = probes.terminals(ambient, 3, np.random.default_rng(2))
        off = box.chip_degc - box.terminals_degc[:, None]
        assert 0.05 < np.abs(off.mean(axis=0)).max() < 0.7 + 0.6
        assert np.ptp(off[:, 0]) > 0.2  # a gradient while the box warms up
        assert box.terminals_degc[-1] > ambient[-1] + 6

    @pytest.mark.parametrize(("dt_s", "block_s"), [(0.05, 1.0), (0.1, 7.0)])
    def test_blocks_are_continuous(self, dt_s, block_s):
        model = CarModel(replace(scenarios()["as built"], drive=(Phase("idle", 1, "idle"),), variation=0))
        blocks = list(model.blocks(dt_s, block_s))
        times = np.concatenate([block.time_s for block in blocks])
        assert times == pytest.approx(np.arange(len(times)) * dt_s)
        assert len(times) * dt_s == pytest.approx(60, abs=dt_s)
        whole = model.all(dt_s)
        assert np.array_equal(np.concatenate([block.emf_mv for block in blocks]), whole.emf_mv)

    def test_cranking_pulls_the_battery_down_and_the_ignition_shows_the_stop(self, summer):
        block, truth = summer.all(0.25), summer.truth
        assert block.battery_v.min() == pytest.approx(8.5)
        assert block.battery_v[block.engine_rpm > 700].min() > 13
        assert np.array_equal(block.ignition == 0, (truth["phase"] == "hot soak").to_numpy())

    def test_pressures(self, summer):
        block = summer.all(0.25)
        running = block.engine_rpm > 600
        assert np.median(block.fuel_pressure_kpa[running]) == pytest.approx(37.9, abs=0.5)
        assert block.fuel_pressure_kpa.min() >= 0
        assert 88 < block.ambient_pressure_kpa.min() < block.ambient_pressure_kpa.max() < 99

    def test_the_senders_share_of_its_supply_is_the_boards_share_of_full_scale(self):
        # a ratiometric sender: 10 % without pressure, 90 % at full range; the host takes per cent of full scale as per cent of the supply
        car = load(EXAMPLE)
        codes = Senders.of(car).fuel_pressure_code(np.array([0.0, car.sensors.fuel_pressure_range_kpa]))
        assert 100 * codes / 65535 == pytest.approx([10.0, 90.0], rel=0.005)

    def test_eight_channels(self):
        scenario = Scenario(probes=EIGHT_PROBES, drive=(Phase("drive", 3, "cruise", 60),))
        block = CarModel(scenario).all(0.25)
        assert block.emf_mv.shape == block.cold_degc.shape == (len(block.time_s), 8)
        assert np.isfinite(block.emf_mv).all()

    def test_a_stem_reads_the_fitting_at_idle_and_the_fuel_at_full_flow(self):
        phases = (Phase("drive", 8, "cruise", 64), Phase("queue", 5, "idle"), Phase("fast", 4, "cruise", 170))
        truth = CarModel(Scenario(drive=phases, variation=0.0, start_block_degc=85.0)).truth
        off = (truth["carb_inlet_probe_degc"] - truth["carb_inlet_degc"]) / (truth["carburettor_degc"] - truth["carb_inlet_degc"])
        idling = off[truth["phase"] == "queue"].iloc[600:1100].median()
        fast = off[truth["phase"] == "fast"].iloc[400:-100].median()
        assert 0.05 < idling < 0.2
        assert abs(fast) < 0.5 * idling

    @pytest.mark.parametrize(("dt_s", "block_s"), [(0.0, 1.0), (2.0, 5.0), (0.5, 0.1), (float("nan"), 1.0)])
    def test_inconsistent_steps_are_refused(self, dt_s, block_s):
        with pytest.raises(InputError, match="allowed are steps"):
            CarModel().blocks(dt_s, block_s)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ambient_degc": 200}, "ambient_degc"),
        ({"altitude_m": 9000}, "altitude_m"),
        ({"fuel_l": 100}, "fuel_l"),
        ({"variation": float("nan")}, "variation"),
        ({"probes": ()}, "1 to 8"),
    ],
)
def test_an_impossible_scenario_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        Scenario(**change)


def test_a_probe_at_an_unknown_place_is_refused():
    with pytest.raises(InputError, match='no place "moon"'):
        FittedProbe("moon", EIGHT_PROBES[0].probe)


def test_each_scenario_names_its_fix_as_a_comparison_knows_it():
    fitted = {name: scenario.fix for name, scenario in scenarios().items()}
    assert all(fix == "" or kind_of(fix) for fix in fitted.values())
    assert {name for name, fix in fitted.items() if not fix} == {
        "summer drive", "as built", "as built, hot laps", "nothing changed", "at 1600 m", "track day", "steady 40 mph"
    }  # fmt: skip
    assert all(fitted[name] == fitted[name.removesuffix(", hot laps")] for name in fitted)

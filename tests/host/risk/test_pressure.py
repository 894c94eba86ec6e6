"""Absolute pressure place by place, by hand; the engine's state; what is asked of the user."""

import dataclasses

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.risk.pressure import Conditions, ambient, at_places, launch_acceleration_m_s2, lowest_recent, running_state
from hypothesis import example, given
from hypothesis import strategies as st

PSI = 6.894757


def car(text=""):
    return car_file.load('units = "us"\n[fuel]\nclass = "D4814 A-1"\n' + text)


def kpa(a_car, name, **conditions):
    return at_places(a_car, Conditions(**conditions))[name].pressure_kpa


def at_altitude(top):
    return car_file.load(top + '\n[fuel]\nclass = "D4814 A-1"\n')


def test_ambient_from_altitude_station_pressure_or_neither():
    assert ambient(at_altitude('altitude = "1609 m"')).pressure_kpa == pytest.approx(83.431, abs=0.001)
    assert ambient(at_altitude('station_pressure = "24.9 inHg"')).pressure_kpa == pytest.approx(84.32, abs=0.01)
    nothing = ambient(car())
    assert nothing.pressure_kpa == 101.325
    assert "Where will the car drive" in nothing.question


def test_a_sea_level_barometer_at_altitude_is_asked_about_and_the_lower_used():
    wrong = ambient(at_altitude('altitude = "1600 m"\nstation_pressure = "101.3 kPa"'))
    assert wrong.pressure_kpa == pytest.approx(83.52, abs=0.01)
    assert "sea-level value" in wrong.question
    assert "101.3 kPa" in wrong.question
    low = ambient(at_altitude('altitude = "0 m"\nstation_pressure = "90 kPa"'))
    assert (low.pressure_kpa, low.question is None) == (90, False)
    assert ambient(at_altitude('altitude = "1600 m"\nstation_pressure = "84 kPa"')).question is None


def test_running_and_standing_at_every_place():
    a_car = car(
        '[pump]\npressure = "6 psi"\npressure_full = "6 psi"\n[carburettor]\nvent_depression = "1 kPa"\n'
        '[suction]\nsuction_idle = "4 kPa"\nsuction_full = "4 kPa"\nrigid_length = "0 m"\n'
    )
    air = 95.0
    running = {
        name: float(p.pressure_kpa) for name, p in at_places(a_car, Conditions(running=1, ambient_pressure_kpa=air)).items()
    }
    assert running == pytest.approx({"tank": 95, "pump": 91, "carb_inlet": 95 + 6 * PSI, "carb_inlet_needle": 94})
    standing = {
        name: float(p.pressure_kpa) for name, p in at_places(a_car, Conditions(running=0, ambient_pressure_kpa=air)).items()
    }
    assert standing == pytest.approx({"tank": 95, "pump": 95, "carb_inlet": 95, "carb_inlet_needle": 94})


def test_unknown_state_takes_the_lower_pressure_of_both_at_each_place():
    a_car = car('[suction]\nsuction_idle = "4 kPa"\nsuction_full = "4 kPa"\nrigid_length = "0 m"\n')
    unknown = {name: float(p.pressure_kpa) for name, p in at_places(a_car, Conditions(ambient_pressure_kpa=95.0)).items()}
    assert unknown == pytest.approx({"tank": 95, "pump": 91, "carb_inlet": 95, "carb_inlet_needle": 95})


def test_measured_line_pressure_counts_after_a_stop_too_and_missing_samples_fall_back():
    a_car = car('[pump]\npressure = "6 psi"\n')
    line = kpa(a_car, "carb_inlet", running=[1, 0, 0], fuel_pressure_kpa=[40.0, 12.0, np.nan], ambient_pressure_kpa=95.0)
    assert line == pytest.approx([135, 107, 95])


def test_submerged_pump_has_no_suction_and_a_blow_through_carburettor_raises_the_bowl_pressure():
    a_car = car('[pump]\nkind = "electric_submerged"\n[suction]\nlift = "1 m"\n[carburettor]\nboost = "6 psi"\n')
    assert kpa(a_car, "pump", running=1, ambient_pressure_kpa=95.0) == pytest.approx(95)
    assert kpa(a_car, "carb_inlet_needle", running=1, ambient_pressure_kpa=95.0) == pytest.approx(95 + 6 * PSI)
    assert kpa(a_car, "carb_inlet_needle", running=0, ambient_pressure_kpa=95.0) == pytest.approx(95)


def test_sealed_tank_counts_measured_pressure_or_the_caps_vacuum_relief_never_its_pressure_relief():
    sealed = car('[tank]\nsealed = true\ncap_vacuum_relief = "3 kPa"\n')
    assert kpa(sealed, "tank", ambient_pressure_kpa=95.0) == pytest.approx(92)
    assert kpa(sealed, "tank", ambient_pressure_kpa=95.0, tank_gauge_kpa=[5.0, -4.0, np.nan]) == pytest.approx([100, 91, 92])
    stated = car('[tank]\nsealed = true\ngauge_pressure = "2 kPa"\n')
    assert kpa(stated, "tank", ambient_pressure_kpa=95.0) == pytest.approx(97)
    # pressure in the tank does not help the pump's inlet of a standing car: the line may have drained
    assert kpa(stated, "pump", running=0, ambient_pressure_kpa=95.0) == pytest.approx(95)


def test_launch_applies_the_car_files_acceleration_to_the_pump_only():
    a_car = car('[suction]\nlaunch_acceleration = "1.5 g"\nline_length = "4 m"\n')
    calm, launch = (
        at_places(a_car, Conditions(running=1)),
        at_places(a_car, Conditions(running=1, acceleration_m_s2=a_car.suction.launch_acceleration_m_s2)),
    )
    assert calm["pump"].pressure_kpa - launch["pump"].pressure_kpa == pytest.approx(740 * 1.5 * 9.80665 * 4 / 1000)
    assert calm["carb_inlet"].pressure_kpa == launch["carb_inlet"].pressure_kpa
    keen = car('[suction]\nacceleration = "2 g"\nlaunch_acceleration = "1.5 g"\n')
    assert launch_acceleration_m_s2(keen) == pytest.approx(2 * 9.80665), "a launch is never less severe than everyday use"
    assert launch_acceleration_m_s2(a_car) == pytest.approx(1.5 * 9.80665)


@pytest.mark.parametrize(
    ("conditions", "state"),
    [
        ({}, np.nan),
        ({"running": 1}, 1),
        ({"engine_rpm": 800}, 1),
        ({"engine_rpm": 0}, 0),
        ({"engine_rpm": 0, "running": 1}, 1),  # what a person states takes precedence
        ({"engine_rpm": np.nan, "fuel_pressure_kpa": 30.0}, 1),
        ({"fuel_pressure_kpa": 2.0}, 0),
        ({"fuel_pressure_kpa": 12.0}, np.nan),
        ({"ignition": 0}, 0),
        ({"ignition": 1}, np.nan),  # on, but it may have stalled
        ({"ignition": 1, "engine_rpm": 900}, 1),
        ({"ignition": 0, "fuel_pressure_kpa": 30.0}, 0),  # key-off: the line still holds its pressure
        ({"ignition": 1, "fuel_pressure_kpa": 30.0}, 1),
        ({"ignition": np.nan, "fuel_pressure_kpa": 30.0}, 1),  # not wired: tells nothing
        ({"ignition": 0, "engine_rpm": 900}, 1),  # the engine turns: the ignition's wire is off
        ({"ignition": 0, "running": 1}, 1),
    ],
)
def test_the_inputs_that_show_that_the_engine_runs(conditions, state):
    assert running_state(car(), Conditions(**conditions)) == pytest.approx(state, nan_ok=True)


def test_arrays_of_two_lengths_are_an_input_error():
    with pytest.raises(InputError, match="one length"):
        running_state(car(), Conditions(running=[1, 0], engine_rpm=[800, 0, 0]))


@given(
    st.lists(st.tuples(st.floats(0.05, 3), st.floats(60, 110) | st.just(float("nan"))), min_size=1, max_size=40),
    st.floats(0.5, 8),
)
@example([(1.0, float("nan")), (3.0, 60.0), (0.7315116159026293, float("nan"))], 0.7315116159026293)
def test_lowest_recent_is_the_lowest_of_the_window(rows, look_back):
    times = np.cumsum([row[0] for row in rows])
    values = np.array([row[1] for row in rows])
    lowest = lowest_recent(times, values, look_back)
    for i, time in enumerate(times):
        window = values[(times <= time) & (time - times <= look_back)]
        expected = np.nan if np.isnan(window).all() else np.nanmin(window)
        assert lowest[i] == pytest.approx(expected, nan_ok=True)


def test_limits_look_back_five_seconds_when_times_are_known():
    times = np.arange(0, 10, 1.0)
    air = np.where(times == 2, 80.0, 95.0)
    dipped = kpa(car(), "tank", ambient_pressure_kpa=air, time_s=times)
    assert dipped.tolist() == [95, 95, 80, 80, 80, 80, 80, 80, 95, 95]


@given(st.floats(60, 105), st.floats(0, 40), st.floats(0, 20))
def test_more_suction_or_acceleration_never_raises_the_pressure_at_the_pump(air, flow, acceleration):
    base = Conditions(running=1, ambient_pressure_kpa=air, flow_l_h=flow, acceleration_m_s2=acceleration)
    here = at_places(car(), base)["pump"].pressure_kpa
    for change in ({"flow_l_h": flow + 10}, {"acceleration_m_s2": acceleration + 1}, {"ambient_pressure_kpa": air - 1}):
        assert at_places(car(), dataclasses.replace(base, **change))["pump"].pressure_kpa <= here


def test_a_meters_own_uncertainty_is_included_in_the_pressures_uncertainty():
    """Suction from 3 kPa at 4 L/h to 9 at 60, pump from 40 to 28 kPa, both with the square of the flow: the effect of 4 % of 40 L/h, by hand."""
    text = (
        '[suction]\nlift = "0 m"\nsuction_idle = "3 kPa"\nsuction_full = "9 kPa"\nrigid_length = "0 m"\n'
        '[pump]\npressure = "40 kPa"\npressure_full = "28 kPa"\n[engine]\nidle_flow = "4 L/h"\nfull_flow = "60 L/h"\n'
    )
    meter = '[[input]]\nname = "meter"\nsource = "flow_1"\npulses_per_litre = 1000\nmeasures = "line"\nuncertainty = 4.0\n'
    step = ((40 * 1.04) ** 2 - 40**2) / (60**2 - 4**2)
    for place, moved in (("pump", 6.0 * step), ("carb_inlet", 12.0 * step)):
        known = Conditions(running=1.0, flow_l_h=40.0, acceleration_m_s2=0.0)
        without, with_meter = (float(at_places(car(more), known)[place].uncertainty_kpa) for more in (text, text + meter))
        assert np.sqrt(with_meter**2 - without**2) == pytest.approx(moved, rel=1e-6)
        unknown = Conditions(running=1.0)
        at_full = [float(at_places(car(more), unknown)[place].uncertainty_kpa) for more in (text, text + meter)]
        assert at_full[0] == at_full[1]

"""Voltages with a calibration and flow meters, from raw codes on the wire to columns, tables, export and the live page."""

import sys

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel import session as sessions
from hotfuel.errors import InputError
from hotfuel.live.intake import Batch, Intake
from hotfuel.report import input_table
from hotfuel.report.session_notes import all_notes
from hotfuel.samples import table
from hotfuel.session import export, more_inputs
from hotfuel.study.drive import course
from hotfuel.study.fixes import measured_inputs
from hotfuel.study.line import transport
from hotfuel.study.line.hose import FlowBasis
from hotfuel.units import Shown
from hotfuel.wired import Input
from hypothesis import given
from hypothesis import strategies as st

CAR = (
    car_file.EXAMPLE
    + """
[[input]]
name = "mixture"
source = "analogue_1"
unit = "lambda"
points = [["0.5 V", 0.70], ["2.5 V", 1.00], ["4.5 V", 1.60]]
range = [0.7, 1.5]
uncertainty = 0.01

[[input]]
name = "second_pressure"
source = "analogue_2"
unit = "psi"
points = [["0.5 V", 0], ["4.5 V", 15]]
uncertainty = 0.1

[[input]]
name = "line_meter"
source = "flow_1"
pulses_per_litre = 8000
measures = "line"
uncertainty = 2

[[input]]
name = "return_meter"
source = "flow_2"
pulses_per_litre = 4000
measures = "return"
"""
)
DIVIDED = 27 / 42
pytestmark = pytest.mark.usefixtures("synthetic")


def code(volts):
    return round(volts * DIVIDED / 125e-6)


def recorded(seconds=60, flow_l_h=36.0, mixture_v=2.5, gauge_percent=None):
    made = sys.modules["synthetic"].Recording()
    made.anchor(0.0)
    for tenth in range(seconds * 5):
        at = tenth / 5
        made.reading(at, [30.0, 40.0, 50.0])
        if tenth % 5 == 0:
            made.auxiliary(at, pulses=int(at * 100), fuel_pressure_percent=gauge_percent)
            inputs = [
                {"input": 1, "value": code(mixture_v)},
                {"input": 2, "value": code(0.5 + 4.0 / 15 * 6)},  # 6 psi
                {"input": 17, "value": int(1000 + at * flow_l_h / 3600 * 8000) % (1 << 30)},
                {"input": 18, "value": int(7 + at * 9.0 / 3600 * 4000)},
            ]
            made.add("more_inputs", at, inputs=inputs)
    return made


@pytest.fixture(scope="module")
def opened(tmp_path_factory, synthetic):
    folder = tmp_path_factory.mktemp("drive")
    (folder / "wire.log").write_bytes(recorded().data)
    (folder / "car.toml").write_text(CAR, encoding="utf-8")
    return sessions.open(folder)


def test_codes_become_calibrated_values_and_pulses_a_flow(opened):
    inputs = opened.inputs().iloc[-20:]
    assert inputs["mixture_lambda"].to_numpy() == pytest.approx(1.0, abs=1e-3)
    assert inputs["second_pressure_kpa"].to_numpy() == pytest.approx(6 * 6.894757, abs=0.02)
    assert inputs["line_meter_l_h"].to_numpy() == pytest.approx(36.0, rel=0.02)
    assert inputs["return_meter_l_h"].to_numpy() == pytest.approx(9.0, rel=0.12)
    assert inputs["flow_l_h"].to_numpy() == pytest.approx(36.0, rel=0.02)


def test_they_are_in_the_export_in_the_readers_unit_and_in_the_reviews_table(opened):
    frame = export.table(opened, "us")
    assert frame["second_pressure_psi"].iloc[-1] == pytest.approx(6.0, abs=0.01)
    assert {"mixture_lambda", "line_meter_l_h", "flow_l_h"} <= set(frame.columns)
    rows = {row[0]: row[1:] for row in input_table.of_session(opened, Shown("us")).rows}
    assert rows["Mixture lambda"][0] == "1.00"
    assert rows["Second pressure"][0] == "6.0 psi"
    # a sensor of 0.1 psi and 0.2 % of 2.1 V at 3.75 psi a volt: 0.101 psi, doubled
    assert rows["Second pressure"][4] == "±0.2 psi"
    lines = input_table.sentences(measured_inputs.of_variants({"as built": [opened], "cooler": [opened]}), Shown("us"))
    assert "Second pressure, engine running: 6.0 psi (as built) and 6.0 psi (cooler)." in lines
    assert "Mixture lambda, engine running: 1.00 (as built) and 1.00 (cooler)." in lines
    both = input_table.of_variants({"as built": [opened], "cooler": [opened]}, Shown("si"))
    assert [row[:3] for row in both.rows][:2] == [("Mixture lambda", "as built", "1.00"), ("Mixture lambda", "cooler", "1.00")]


def test_a_measured_flow_is_used_for_transport_and_the_pumps_pressure(opened, tmp_path):
    flow = transport.flow_of(course.of_session(opened))
    assert flow.basis is FlowBasis.METER
    assert flow.litres_h[20:50] == pytest.approx(36.0, rel=0.03)
    assert flow.relative_u == pytest.approx(0.02)
    (tmp_path / "wire.log").write_bytes(recorded(flow_l_h=5.0).data)
    slow = sessions.open(tmp_path, car_file.load(CAR))
    # a mechanical pump's pressure falls with its flow: less flow leaves more pressure at the carburettor's inlet
    fast_kpa, slow_kpa = (one.margins()["carb_inlet_pressure_kpa"].iloc[-10:].mean() for one in (opened, slow))
    assert slow_kpa > fast_kpa + 1.0


def test_a_pressure_named_tank_gauge_is_the_tanks(opened, tmp_path):
    """Six psi over the air's, in the table and live; without it this car's vented tank is at the air's pressure."""
    (tmp_path / "wire.log").write_bytes(recorded(20).data)
    car = car_file.load(CAR.replace("second_pressure", "tank_gauge"))
    measured = sessions.open(tmp_path, car).margins()["tank_pressure_kpa"].iloc[-20:]
    air = opened.margins()["tank_pressure_kpa"].iloc[-20:]
    assert measured.to_numpy() - air.to_numpy() == pytest.approx(6 * 6.894757, abs=0.02)
    *_, last = (one for one in Intake(car, car.fuel()).feed(recorded(20).data) if isinstance(one, Batch))
    assert last.margins["tank"].pressure_kpa[-1] == pytest.approx(measured.iloc[-1], abs=0.1)


def test_the_live_page_has_the_recordings_values(opened):
    car = opened.car
    intake = Intake(car, car.fuel())
    batches = [one for one in intake.feed(recorded().data) if isinstance(one, Batch)]
    whole = {name: np.concatenate([batch.inputs[name] for batch in batches]) for name in more_inputs.names(car)}
    assert set(whole) == {"mixture_lambda", "second_pressure_kpa", "line_meter_l_h", "return_meter_l_h", "flow_l_h"}
    pieces = Intake(car, car.fuel())
    data = recorded().data
    last = None
    for at in range(0, len(data), 3000):
        for one in pieces.feed(data[at : at + 3000]):
            last = one if isinstance(one, Batch) else last
    for name in whole:
        assert last.inputs[name][-1] == pytest.approx(opened.inputs()[name].iloc[-1], rel=0.05), name


def test_beyond_calibration_or_range_there_is_no_value_and_it_is_reported(tmp_path):
    for volts in (0.2, 4.9, 4.4):  # below the first point, above the last, and 1.57 lambda where 1.5 is allowed
        (tmp_path / "wire.log").write_bytes(recorded(20, mixture_v=volts).data)
        opened = sessions.open(tmp_path, car_file.load(CAR))
        assert opened.inputs()["mixture_lambda"].isna().all()
        assert any(
            note.startswith("Mixture_lambda: 100 % of its readings are beyond the calibration or range")
            for note in all_notes(opened)
        )


def test_an_input_without_any_data_is_named(tmp_path):
    made = sys.modules["synthetic"].Recording()
    for tenth in range(100):
        made.reading(tenth / 5, [30.0, 40.0, 50.0])
    (tmp_path / "wire.log").write_bytes(made.data)
    opened = sessions.open(tmp_path, car_file.load(CAR))
    assert opened.inputs()["mixture_lambda"].isna().all()
    assert sum("the recording has no value of it" in note for note in all_notes(opened)) == 4


@given(st.lists(st.floats(-5, 5, allow_nan=False), min_size=2, max_size=8), st.floats(0, 1))
def test_interpolated_between_the_points_and_never_beyond_them(values, share):
    points = [[f"{0.3 + 0.5 * row} V", value] for row, value in enumerate(values)]
    one = Input.model_validate({"name": "x", "source": "analogue_1", "unit": "V", "points": points})
    row = min(int(share * (len(values) - 1)), len(values) - 2)
    within = share * (len(values) - 1) - row
    got, beyond = one.of_codes(np.array([(0.3 + 0.5 * (row + within)) / one.divider / 125e-6]))
    assert not beyond[0]
    assert got[0] == pytest.approx(values[row] + within * (values[row + 1] - values[row]), abs=1e-6)


@given(st.integers(0, (1 << 30) - 1), st.floats(0.5, 200), st.floats(300, 60000))
def test_flow_over_the_counters_wrap_and_at_any_resolution(start, flow_l_h, per_litre):
    meter = Input.model_validate({"name": "m", "source": "flow_1", "pulses_per_litre": per_litre, "measures": "line"})
    at = np.arange(0.0, 40.0)
    pulses = np.floor(start + 1 + at * flow_l_h / 3600 * per_litre) % (1 << 30)
    got = more_inputs._flow_l_h(np.zeros(40, int), at, pulses, meter)
    seen = flow_l_h / 3600 * per_litre * 10  # pulses in the longest window
    # ten pulses counted may be a flow of slightly more than nine
    assert np.abs(got[15:][pulses[15:] > 0] / flow_l_h - 1).max(initial=0.0) <= 1.0 / min(9.0, max(seen, 1e-9)) + 1e-9


def test_a_new_boot_or_a_gap_is_not_a_flow():
    meter = Input.model_validate({"name": "m", "source": "flow_1", "pulses_per_litre": 1000, "measures": "line"})
    boot, at = np.repeat([0, 1], 5), np.tile(np.arange(5.0), 2)
    got = more_inputs._flow_l_h(boot, at, np.array([1.0, 11, 21, 31, 41, 1, 11, 21, 31, 41]), meter)
    assert np.isnan(got[[0, 5]]).all()
    assert got[[4, 9]] == pytest.approx(36.0)
    got = more_inputs._flow_l_h(np.zeros(4, int), np.array([0.0, 1, 31, 32]), np.array([1.0, 11, 500, 510]), meter)
    assert np.isnan(got[2])
    assert got[3] == pytest.approx(36.0)
    assert np.isnan(more_inputs._flow_l_h(np.zeros(3, int), np.arange(3.0), np.zeros(3), meter)).all(), (
        "no pulse ever: a broken lead, or fuel that stands still"
    )


@pytest.mark.parametrize(
    ("meters", "line"),
    [
        ([("flow_1", "line")], 40.0),
        ([("flow_1", "engine")], 60.0),  # and the car file's return
        ([("flow_1", "engine"), ("flow_2", "return")], 80.0),
        ([("flow_1", "line"), ("flow_2", "return")], 40.0),
        ([("flow_2", "return")], None),
    ],
)
def test_two_meters_or_one_and_a_stated_place(meters, line):
    tables = "".join(
        f'\n[[input]]\nname = "{source}"\nsource = "{source}"\npulses_per_litre = 9000\nmeasures = "{where}"\n'
        for source, where in meters
    )
    car = car_file.load(car_file.EXAMPLE.replace('# return_flow = "20 L/h"', 'return_flow = "20 L/h"') + tables)
    at = np.arange(30)
    rows = np.zeros(30, [("boot", int), ("time", float), ("count", int), ("inputs", object)])
    rows["time"], rows["count"] = at, len(meters)
    rows["inputs"] = [
        table.packed("more_inputs", [{"input": int(source[-1]) + 16, "value": 1 + 100 * t} for source, _ in meters]) for t in at
    ]
    columns, _ = more_inputs.from_messages(rows, car)
    assert ("flow_l_h" in more_inputs.names(car)) == (line is not None)
    if line is None:
        assert "flow_l_h" not in columns
    else:
        assert columns["flow_l_h"][-1] == pytest.approx(line)  # 100 pulses a second of 9000 a litre are 40 L/h each


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('source = "analogue_1"\nunit = "lambda"\npoints = [["0.5 V", 0.7]]', "2 to 100 pairs"),
        ('source = "analogue_1"\nunit = "lambda"\npoints = [["2 V", 0.7], ["1 V", 1]]', "the voltages rising"),
        ('source = "analogue_1"\nunit = "furlong"\npoints = [["0 V", 0], ["1 V", 1]]', "one of kPa"),
        ('source = "analogue_1"\nunit = "V"\npoints = [["0 V", 0], ["1 V", 1]]\npulses_per_litre = 5', "no pulses_per_litre"),
        ('source = "analogue_1"\nunit = "V"\npoints = [["0 V", 0], ["1 bar", 1]]', "voltage"),
        ('source = "flow_1"\npulses_per_litre = 5', "measures"),
        ('source = "flow_1"\nmeasures = "line"\npulses_per_litre = 0', "greater than 0"),
        ('source = "flow_3"\nmeasures = "line"\npulses_per_litre = 5', "allowed are"),
        ('source = "flow_1"\nmeasures = "line"\npulses_per_litre = 5\nrange = [5, 2]', "least value"),
    ],
)
def test_a_mistake_in_the_car_file_is_one_sentence(text, said):
    with pytest.raises(InputError) as told:
        car_file.load(f'{car_file.EXAMPLE}\n[[input]]\nname = "mixture"\n{text}\n')
    assert said in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("name", ["flow", "engine", "Mixture", "2nd", ""])
def test_names_of_the_boards_own_inputs_and_invalid_column_names_are_refused(name):
    one = 'unit = "rpm"' if name == "engine" else ""
    table = f'\n[[input]]\nname = "{name}"\nsource = "flow_1"\npulses_per_litre = 5\nmeasures = "line"\n{one}\n'
    with pytest.raises(InputError):
        car_file.load(car_file.EXAMPLE + table)

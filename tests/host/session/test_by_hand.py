"""Readings a person took: marks, tables, their columns, a meter's flow in pressures; and what is not accepted as a table."""

import numpy as np
import pytest
from hotfuel import car, session
from hotfuel.errors import InputError
from hotfuel.report.session_notes import all_notes
from hotfuel.session import by_hand, export, folder
from hotfuel.session.by_hand import HandReading
from hypothesis import given
from hypothesis import strategies as st

START_S = 1_780_000_000.0  # 2026-05-28 20:26:40 UTC


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("block 183 degF", ("block", "temperature", 83.889)),
        ("Block: 183 °F", ("block", "temperature", 83.889)),
        ("manifold left = 95.5 C", ("manifold_left", "temperature", 95.5)),
        ("fuel pressure 5.5 psi", ("fuel_pressure", "pressure", 37.92)),
        ("return flow 22 L/h", ("return_flow", "volume flow", 22.0)),
        ("lambda sensor 0.45 V", ("lambda_sensor", "voltage", 0.45)),
        ("block 300", None),
        ("lap 3", None),
        ("stumbled at 60 mph", None),
        ("block 5000 degF", None),
        ("183 degF", None),
        ("fan on", None),
        ("", None),
    ],
)
def test_marks(text, wanted):
    found = by_hand.of_mark(text)
    if wanted is None:
        assert found is None
    else:
        assert found[:2] == wanted[:2]
        assert found[2] == pytest.approx(wanted[2], abs=0.01)


@given(st.text(max_size=60))
def test_any_mark_is_a_reading_or_none(text):
    found = by_hand.of_mark(text)
    assert found is None or (found[0] and found[1] in by_hand.DIMENSIONS and np.isfinite(found[2]))


def table(text, anchored=True, offset=None):
    return by_hand.of_table(text, "camera.csv", START_S, anchored, offset)


def test_a_table_is_joined_by_its_clock_in_any_zone_and_separator():
    wanted = [START_S + 60, START_S + 120]
    found, remarks = table("time,block (degF),note\n2026-05-28T20:27:40Z,183,ok\n2026-05-28T20:28:40Z,190,\n")
    assert [one.seconds for one in found] == wanted
    assert [round(one.value, 2) for one in found] == [83.89, 87.78]
    assert remarks == ['camera.csv: the column "note" is left out: head it with a place and a unit, like "block (degF)".']
    found, remarks = table("Time;block_degC\n2026-05-28 22:27:40;70.5\n2026-05-28 22:28:40;71\n", offset=120)
    assert [one.seconds for one in found] == wanted
    assert "2 h from UTC" in remarks[0]
    found, _ = table("time_s\tfuel pressure [psi]\n60\t5\n120\t\n", anchored=False)
    assert [(one.seconds, one.column) for one in found] == [(START_S + 60, "fuel_pressure_by_hand_kpa")]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a table"),
        ("block (degF)\n183\n", "no column of times"),
        ("time,block\n2026-05-28T20:27:40Z,183\n", "holds no reading"),
        ("time,block (degF)\nyesterday,183\n", "holds no reading"),
        ("time,block (degF)\n2026-05-28T20:27:40Z,9999\n", "holds no reading"),
        ("time,block (degF)\n2026-05-28T20:27:40Z,hot\n", "holds no reading"),
    ],
)
def test_anything_but_a_table_is_refused_in_a_sentence(text, says):
    with pytest.raises(InputError, match=says):
        table(text)


@given(st.text(max_size=200))
def test_no_text_raises_anything_else(text):
    for whole in (text, f"time,block (degF)\n{text}", f"time_s,block (degF)\n1,{text}\n"):
        try:
            found, _ = table(whole)
        except InputError as error:
            assert "\n" not in str(error)
        else:
            assert all(np.isfinite((one.seconds, one.value)).all() for one in found)


def test_times_of_day_need_a_session_that_knows_them():
    with pytest.raises(InputError, match="time_s"):
        table("time,block (degF)\n2026-05-28T20:27:40Z,183\n", anchored=False)


def test_a_single_reading_is_one_dot_and_a_series_is_held_between_readings():
    at = np.arange(0.0, 100.0, 0.5)
    alone = by_hand.columns([HandReading(30.2, "block", "temperature", 83.0)], at)["block_by_hand_degc"]
    assert np.flatnonzero(np.isfinite(alone)).tolist() == [60]
    series = by_hand.columns([HandReading(float(t), "fuel_flow", "volume flow", 10.0 + t, True) for t in range(0, 50, 5)], at)[
        "fuel_flow_by_hand_l_h"
    ]
    assert np.isfinite(series[at < 60]).all()
    assert np.isnan(series[at > 60.5]).all()
    assert series[at == 12.0] == 20.0


@pytest.fixture
def read(tmp_path, drive_log):
    """read(table name=text, ...) -> the synthetic drive with these tables beside its log."""

    def make(**tables):
        where = folder.create(tmp_path / "drive", car.EXAMPLE, {"utc_offset_min": 0})
        where.log_path.write_bytes(drive_log)
        for name, text in tables.items():
            (where.path / f"readings-{name}.csv").write_text(text)
        return session.open(where.path)

    return make


def test_a_meters_flow_is_used_for_the_pressure_and_the_line(read):
    lines = "".join(f"{second},8\n" for second in range(0, 800, 2))
    measured = read(meter=f"time_s,fuel flow (L/h)\n{lines}")
    flow = measured.inputs()["flow_l_h"].to_numpy()
    assert np.nanmax(flow) == np.nanmin(flow) == 8.0
    running = measured.inputs()["running"].to_numpy() == 1
    without = session.open(measured.folder.log_path.parent)
    for path in measured.folder.path.glob("readings-*"):
        path.unlink()
    low, full = (one.margins()["pump_pressure_kpa"].to_numpy()[running] for one in (measured, without))
    assert np.nanmedian(low - full) > 0.5  # 8 L/h need less than full throttle, which is assumed for an unknown flow
    assert by_hand.DOUBT in all_notes(measured)
    assert by_hand.DOUBT not in all_notes(without)


def test_fuel_burnt_and_fuel_returned_give_the_lines_flow():
    at = np.arange(10.0)
    used = [HandReading(float(t), "fuel_used", "volume flow", 6.0, True) for t in range(10)]
    back = [HandReading(float(t), "return_flow", "volume flow", 20.0, True) for t in range(10)]
    assert by_hand.flow_l_h([*used, *back], at, 5.0) == pytest.approx(np.full(10, 26.0))
    assert by_hand.flow_l_h(used, at, 5.0) == pytest.approx(np.full(10, 11.0))
    assert by_hand.flow_l_h(back, at, 5.0) is None
    assert by_hand.flow_l_h([HandReading(1.0, "fuel_flow", "volume flow", 6.0)], at, 5.0) is None  # one mark is not a meter


def test_columns_reach_the_export_and_a_broken_table_is_a_note(read):
    opened = read(camera="time_s,block (degF)\n100,183\n", odd="nothing\n")
    columns = export.table(opened)
    assert columns["block_by_hand_degc"].notna().sum() == 1
    assert columns["block_by_hand_degc"].max() == pytest.approx(83.889, abs=0.01)
    assert export.table(opened, "us")["block_by_hand_degf"].max() == pytest.approx(183.0)
    assert any("eadings-odd.csv has no column of times" in note for note in all_notes(opened))
    assert opened.by_hand()["place"].tolist() == ["block"]

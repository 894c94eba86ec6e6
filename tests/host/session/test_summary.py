"""The numbers a person wants first, against a plain loop over the same tables."""

import json

import numpy as np
import pandas as pd
import pytest
from hotfuel import session
from hotfuel.session.means import Rows, SecondMeans
from hotfuel.study import story
from hotfuel_wire.messages import NO_ANSWER
from hypothesis import given
from hypothesis import strategies as st


def ten_second_means(column):
    """By pandas: the mean of each whole second since the first reading, then the mean of the eleven seconds about each."""
    seconds = ((column.index - column.index[0]) / pd.Timedelta(seconds=1)).astype(int)
    return column.groupby(seconds).mean().reindex(range(seconds[-1] + 1)).rolling(11, center=True, min_periods=1).mean()


def test_hottest_and_smallest_are_ten_second_means(drive):
    summary = drive.summary()
    temperatures, margins = drive.temperatures(), drive.margins()
    start = temperatures.index[0]
    assert summary.hottest.place == "pump"
    pump = ten_second_means(temperatures["pump_degc"])
    assert summary.hottest.hottest_degc == pytest.approx(pump.max(), abs=1e-9)
    assert summary.places["pump"].coldest_degc == pytest.approx(pump.min(), abs=1e-9)
    assert summary.hottest.hottest_at - start == pytest.approx(pd.Timedelta(seconds=pump.idxmax()), abs=pd.Timedelta(seconds=1))
    smallest = {c.removesuffix("_margin_degc"): ten_second_means(margins[c]) for c in margins if c.endswith("_margin_degc")}
    near = summary.smallest
    assert near.place == min(smallest, key=lambda place: smallest[place].min())
    assert near.smallest_margin_degc == pytest.approx(smallest[near.place].min(), abs=1e-9)
    second = smallest[near.place].idxmin()
    assert near.smallest_margin_at - start == pytest.approx(pd.Timedelta(seconds=second), abs=pd.Timedelta(seconds=1))
    for name, value in (
        ("limit_degc", near.limit_there_degc),
        ("pressure_kpa", near.pressure_there_kpa),
        ("uncertainty_degc", near.uncertainty_degc),
    ):
        assert value == pytest.approx(ten_second_means(margins[f"{near.place}_{name}"])[second], abs=1e-9)
    assert near.limit_there_degc - near.temperature_there_degc == pytest.approx(near.smallest_margin_degc)


def test_one_wild_reading_is_not_an_extreme(tmp_path, synthetic):
    made = synthetic.Recording()
    made.anchor(0.0)
    for step in range(300):
        made.reading(step * 0.2, (30.0, 90.0 if step == 150 else 40.0, 45.0))
    (tmp_path / "wire.log").write_bytes(made.data)
    pump = session.open(tmp_path).summary().places["pump"]
    assert pump.hottest_degc == pytest.approx(40 + 50 / 5 / 11, abs=0.05)  # one of five readings of one of eleven seconds


def test_the_story_has_the_same_values(drive):
    near, told = drive.summary().smallest, story.tell(drive).nearest
    assert (told.place, told.margin_degc) == (near.place, pytest.approx(near.smallest_margin_degc, abs=1e-9))
    assert told.temperature_degc == pytest.approx(near.temperature_there_degc, abs=1e-9)
    assert told.limit_degc == pytest.approx(near.limit_there_degc, abs=1e-9)
    assert told.pressure_kpa == pytest.approx(near.pressure_there_kpa, abs=1e-9)
    assert told.uncertainty_degc == pytest.approx(near.uncertainty_degc, abs=1e-9)


def test_durations_exclude_the_gap(drive):
    summary = drive.summary()
    assert summary.duration_s == pytest.approx(799.8, abs=0.01)
    assert summary.recorded_s == pytest.approx(summary.duration_s - drive.gaps()["duration_s"].sum(), abs=0.01)
    beyond = (drive.margins()["pump_margin_degc"] <= 0).sum() * 0.2
    assert summary.places["pump"].beyond_limit_s == pytest.approx(beyond, abs=0.25)
    near = drive.margins()
    inside = (near["pump_margin_degc"] < near["pump_uncertainty_degc"]).sum() * 0.2
    assert summary.places["pump"].inside_uncertainty_s == pytest.approx(inside, abs=0.25)


def test_the_time_without_a_reading_counts_a_dead_probe_a_hole_and_what_came_after_the_last_reading(tmp_path, synthetic):
    made = synthetic.Recording()
    made.anchor(0.0)
    for step in range(900):
        if not 300 <= step < 425:  # 25 s
            dead = NO_ANSWER if 500 <= step < 700 or step % 100 == 0 else 40.0  # 40 s, and now and then one
            made.reading(step * 0.2, (30.0, dead, 45.0))
    made.link_gap(179.8, 60.0)
    (tmp_path / "wire.log").write_bytes(made.data)
    summary = session.open(tmp_path).summary()
    assert summary.unheard_s == pytest.approx(60.0)
    assert summary.places["tank"].unread_s == pytest.approx(85.2, abs=0.3)
    assert summary.places["pump"].unread_s == pytest.approx(125.4, abs=0.5)
    assert summary.places["pump"].lost_s == pytest.approx(41.2, abs=0.5)


def test_a_column_whose_means_are_kept_cannot_be_changed_unseen():
    means, values = SecondMeans(np.arange(4.0)), np.arange(4.0)
    assert means.mean(values) is means.mean(values)
    with pytest.raises(ValueError, match="read-only"):
        values[0] = 9.0


def test_as_dict_is_json(drive):
    found = json.loads(json.dumps(drive.summary().as_dict(), allow_nan=False))
    assert found["smallest"]["place"] == "pump"
    assert found["started"].startswith("2026-")


def test_air_does_not_count_as_the_hottest_fuel(drive_folder, drive):
    from hotfuel import car, session

    text = car.EXAMPLE.replace('name = "pump"\nchannel = 1\nrole = "pump"', 'name = "pump"\nchannel = 1\nrole = "air"')
    found = session.open(drive_folder, car=text).summary()
    assert found.hottest.place == "carb_inlet"
    assert np.isnan(found.places["pump"].smallest_margin_degc)


@given(st.lists(st.tuples(st.integers(0, 9), st.floats(-1e3, 1e3) | st.just(np.nan)), min_size=1, max_size=40), st.booleans())
def test_samples_of_a_row_are_gathered_the_same_whether_in_order_or_not(samples, in_order):
    samples = sorted(samples, key=lambda one: one[0]) if in_order else samples
    of, values = np.array([row for row, _ in samples]), np.array([value for _, value in samples])
    rows = Rows(of, 10)
    for row, (mean, largest) in enumerate(zip(rows.mean(values), rows.largest(values), strict=True)):
        here = values[(of == row) & np.isfinite(values)]
        if here.size:
            assert mean == pytest.approx(here.mean(), abs=1e-9)
            assert largest == here.max()
        else:
            assert np.isnan(mean)
            assert np.isnan(largest)


def test_rows_without_a_count_are_those_that_have_samples():
    rows = Rows(np.array([2.0, 2.0, 5.0, 9.0]))
    assert rows.there.tolist() == [2.0, 5.0, 9.0]
    assert rows.mean(np.array([1.0, 3.0, 7.0, np.nan])).tolist()[:2] == [2.0, 7.0]
    one_number = np.broadcast_to(4.0, 4)
    assert rows.mean(one_number).tolist() == rows.largest(one_number).tolist() == [4.0, 4.0, 4.0]

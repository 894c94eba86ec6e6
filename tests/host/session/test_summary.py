"""The numbers a person wants first, against a plain loop over the same tables."""

import json

import numpy as np
import pytest


def test_hottest_and_smallest(drive):
    summary = drive.summary()
    temperatures, margins = drive.temperatures(), drive.margins()
    assert summary.hottest.place == "pump"
    assert summary.hottest.hottest_degc == temperatures["pump_degc"].max()
    assert summary.hottest.hottest_at == temperatures["pump_degc"].idxmax()
    smallest = margins[[c for c in margins.columns if c.endswith("_margin_degc")]]
    place = summary.smallest.place
    assert summary.smallest.smallest_margin_degc == smallest.min(axis=None)
    assert f"{place}_margin_degc" == smallest.min().idxmin()
    row = margins.loc[summary.smallest.smallest_margin_at]
    assert row[f"{place}_limit_degc"] == summary.smallest.limit_there_degc
    assert row[f"{place}_pressure_kpa"] == summary.smallest.pressure_there_kpa
    assert summary.smallest.limit_there_degc - summary.smallest.temperature_there_degc == pytest.approx(summary.smallest.smallest_margin_degc)


def test_durations_leave_out_the_gap(drive):
    summary = drive.summary()
    assert summary.duration_s == pytest.approx(799.8, abs=0.01)
    assert summary.recorded_s == pytest.approx(summary.duration_s - drive.gaps()["duration_s"].sum(), abs=0.01)
    beyond = (drive.margins()["pump_margin_degc"] <= 0).sum() * 0.2
    assert summary.places["pump"].beyond_limit_s == pytest.approx(beyond, abs=0.25)
    near = drive.margins()
    inside = (near["pump_margin_degc"] < near["pump_uncertainty_degc"]).sum() * 0.2
    assert summary.places["pump"].inside_uncertainty_s == pytest.approx(inside, abs=0.25)


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

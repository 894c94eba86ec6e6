"""Margins of a recording against the margin function every other room uses, and what a session says of itself."""

import numpy as np
import pytest
from hotfuel import car, session
from hotfuel.errors import InputError
from hotfuel.risk.level import Level
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.risk.probes import traced
from hotfuel_wire.alarm import LEVELS


def test_margins_are_the_margin_functions_own(drive):
    table, inputs, temperatures = drive.margins(), drive.inputs(), drive.temperatures()
    index_s = temperatures.index.as_unit("us").asi8 / 1e6
    conditions = Conditions(
        running=inputs["running"].to_numpy(), engine_rpm=inputs["engine_rpm"].to_numpy(), ignition=inputs["ignition"].to_numpy(),
        fuel_pressure_kpa=inputs["fuel_pressure_kpa"].to_numpy(), time_s=index_s,
    )  # fmt: skip
    measured = {name: temperatures[f"{name}_degc"].to_numpy() for name in ("tank", "pump", "carb_inlet")}
    reasons = drive.reasons()
    traces = {
        name: traced(drive.car.place(name).probe.lag_s, index_s, values, reasons[f"{name}_reason"].to_numpy())
        for name, values in measured.items()
    }
    expected = margins(drive.car, drive.fuel, measured, conditions, traces=traces)
    assert table.index.equals(temperatures.index)
    for place, arrays in expected.places.items():
        for column in ("margin_degc", "limit_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio", "state"):
            found = table[f"{place}_{column}"]
            found = found.map(lambda name: Level(LEVELS.index(name))).to_numpy() if column == "state" else found.to_numpy()
            np.testing.assert_array_equal(found, getattr(arrays, column))
    fuel_degc = measured["pump"] + traces["pump"].lead_degc  # the probe's lag times its slope
    np.testing.assert_allclose(table["pump_margin_degc"] + fuel_degc, table["pump_limit_degc"])
    assert np.abs(traces["pump"].lead_degc).max() > 0


def test_another_car_file_replaces_the_sessions(drive_folder, drive):
    higher = session.open(drive_folder, car=car.EXAMPLE.replace('altitude = "600 m"', 'altitude = "2500 m"'))
    assert (higher.margins()["pump_margin_degc"] < drive.margins()["pump_margin_degc"] - 5).all()
    with pytest.raises(InputError):
        session.open(drive_folder, car="name = 5\n")


def test_a_sessions_repr_describes_it_and_a_state_is_a_named_category(drive):
    said = repr(drive)
    assert said.startswith(f"<Session {drive.name}: {drive.car.name}, ")
    assert all(place in said for place in drive.ticks.places)
    states = drive.margins().filter(like="_state")
    for name in states:
        place = drive.margin_table.places[name.removesuffix("_state")]
        assert [Level(LEVELS.index(text)) for text in states[name]] == place.state.tolist()

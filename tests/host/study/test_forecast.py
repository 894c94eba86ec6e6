"""Forecasts on a recorded drive of the simulated car, against what the same car does when the change is really made."""

from dataclasses import replace

import numpy as np
import pytest
from driven import Driven
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.simulator.scenarios import Cooler, Fixes, Scenario
from hotfuel.study import forecast as room
from hotfuel.study.forecast import Change
from hotfuel.units import Shown

AS_BUILT = Scenario(variation=0.0)


@pytest.fixture(scope="module")
def drive():
    return Driven(AS_BUILT, metadata={"ambient_degc": 30.0})


def one(session, change, **options):
    return room.forecast(session, [change], **options)[0]


def row(result, place):
    return next(r for r in result.rows if r.place == place)


def test_a_hotter_day_counts_degree_for_degree(drive):
    result = one(drive, Change("a hotter day", hotter_degc=15))
    pump = row(result, "pump")
    assert pump.hottest_degc - pump.hottest_before_degc == pytest.approx(15)
    assert pump.margin_degc - pump.margin_before_degc == pytest.approx(-15)
    assert pump.margin_u_degc == pytest.approx(0.15 * 15)
    # The same drive really made 15 degC hotter: within what the forecast claims (two standard uncertainties) while the fuel only warms.
    truly = Driven(replace(AS_BUILT, ambient_degc=AS_BUILT.ambient_degc + 15))
    running = truly.inputs()["engine_rpm"].to_numpy() > 400
    for place in ("tank", "pump", "carb_inlet"):
        there = row(result, place)
        really = float(np.nanmedian(truly.temperatures()[f"{place}_degc"].to_numpy()[running]))
        assert there.running_degc == pytest.approx(really, abs=2 * there.hottest_u_degc + 0.5)


def test_more_altitude_lowers_limits_by_the_published_rule(drive):
    pump = row(one(drive, Change("a pass", higher_m=1500)), "pump")
    fall = pump.margin_before_degc - pump.margin_degc
    # ASTM D4814, 5.2.1: 4.4 degC per 1000 m; mixtures 4.7
    assert 4.2 * 1.5 <= fall <= 4.9 * 1.5
    assert pump.running_degc == pump.running_before_degc
    assert pump.margin_u_degc == pytest.approx(0.06 * fall)


def test_a_cooler_works_while_fuel_flows_and_against_the_car_that_has_one(drive):
    session = drive
    result = one(session, Change("a cooler", cooler_effectiveness=0.6, cooler_before="carb_inlet"))
    inlet = row(result, "carb_inlet")
    assert inlet.running_degc == pytest.approx(inlet.running_before_degc - 0.6 * (inlet.running_before_degc - 33.0), abs=1.0)
    assert row(result, "pump").running_degc == row(result, "pump").running_before_degc
    assert result.power_square_root_percent > 0
    assert result.power_ceiling_percent > result.power_square_root_percent
    assert any("effectiveness of 0.6" in line for line in result.assumptions)
    # A simulated car with a cooler in its line is cooler at the inlet by the same order.
    cooled = Driven(replace(AS_BUILT, fixes=Fixes(cooler=Cooler(fan=True))))
    running = cooled.inputs()["engine_rpm"].to_numpy() > 400
    really = float(np.nanmedian(cooled.temperatures()["carb_inlet_degc"].to_numpy()[running]))
    drop, real_drop = inlet.running_before_degc - inlet.running_degc, inlet.running_before_degc - really
    assert 0.3 <= drop / real_drop <= 3


def test_an_engine_stands_order_of_magnitude():
    """Common practice, no source: fuel near 118 degF brought to about 74 degF made roughly 0.7 % more power in a large V8; single pulls prove nothing."""
    from hotfuel.study.expectation import expectation
    from hotfuel.units import parse

    cooler = parse("118 degF", "temperature") - parse("74 degF", "temperature")
    allowed = expectation(cooler)
    assert allowed.square_root_percent / 2 <= 0.7 <= allowed.ceiling_with_friction_percent
    assert 0.3 <= expectation(parse("118 degF", "temperature") - parse("65 degF", "temperature")).square_root_percent <= 1.5


def test_another_fuel_changes_limits_only(drive):
    winter = Fuel.from_measurements(vapour_pressure_kpa=90.0, t10_degc=45.0, t50_degc=95.0, t90_degc=165.0)
    pump = row(one(drive, Change("winter fuel", fuel=winter)), "pump")
    assert pump.hottest_degc == pump.hottest_before_degc
    own, other = drive.car.fuel(), winter
    expected = float(own.limit_degc(95.0) - other.limit_degc(95.0))
    assert pump.margin_before_degc - pump.margin_degc == pytest.approx(expected, abs=1.0)
    assert pump.margin_u_degc == pytest.approx(np.hypot(own.limit_uncertainty_degc, other.limit_uncertainty_degc))


def test_a_pump_in_the_tank_helps_the_line_while_the_engine_runs(drive):
    result = one(drive, Change("a pump in the tank", submerged_pump=True))
    assert any("stands under its pressure while it runs" in line for line in result.assumptions)
    # Standing after the stop nothing holds the pressure: the smallest margin of the soak is no larger than the air's pressure allows.
    assert row(result, "pump").margin_degc < 0
    assert row(result, "pump").phase == "hot soak"


def test_insulation_cuts_the_rise_over_the_place_before(drive):
    result = one(drive, Change("a sleeve", insulation_share=0.5, insulated_before="pump"))
    pump, tank = row(result, "pump"), row(result, "tank")
    rise = pump.running_before_degc - tank.running_before_degc
    assert pump.running_before_degc - pump.running_degc == pytest.approx(0.5 * rise, rel=0.15)
    assert tank.running_degc == tank.running_before_degc


def test_sentences_are_in_the_readers_units(drive):
    text = " ".join(one(drive, Change("a hotter day", hotter_degc=10), shown=Shown("us")).sentences)
    assert "18.0 °F less there" in text
    assert "°C" not in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("nothing"), "nothing changes nothing"),
        (Change("x", cooler_effectiveness=1.5, cooler_before="pump"), "above 0 to 1"),
        (Change("x", cooler_effectiveness=0.5, cooler_before="tank"), "choose among pump, carb_inlet"),
        (Change("x", insulation_share=0.5, insulated_before="roof"), "choose among pump, carb_inlet"),
        (Change("x", hotter_degc=80), "-20 to 40"),
        (Change("x", higher_m=9000), "-4000 to 5000"),
    ],
)
def test_bad_input_is_one_sentence(drive, change, words):
    with pytest.raises(InputError, match=words):
        one(drive, change)

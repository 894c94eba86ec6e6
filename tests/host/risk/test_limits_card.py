"""The card shows what the margins use, row by row, and the curves fall with altitude."""

import json
import re

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, fuel_named
from hotfuel.risk.limits_card import altitude_curves, limits_card
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions


@pytest.fixture(scope="module")
def car():
    return car_file.load(car_file.EXAMPLE)


def rows_of(card, state):
    return {(row.place, row.behind_needle): row for row in card.rows if row.state == state}


def test_rows_are_the_margins_own_limits(car):
    card = limits_card(car)
    for state, running in (("full throttle", 1), ("standing", 0)):
        table = margins(car, car.fuel(), {place.name: [20.0] for place in car.places}, Conditions(running=running))
        for (place, needle), row in rows_of(card, state).items():
            same = table[place + ("_needle" if needle else "")]
            assert row.limit_degc == pytest.approx(float(same.limit_degc[0]))
            assert row.uncertainty_degc == pytest.approx(float(same.uncertainty_degc[0]))
            assert row.onset_degc < row.limit_degc
    assert len(rows_of(card, "full throttle")) == 4


def test_launch_limit_is_shown_for_the_pump_only_and_is_lower(car):
    card = limits_card(car)
    assert list(rows_of(card, "launch")) == [("pump", False)]
    drop = rows_of(card, "full throttle")["pump", False].limit_degc - rows_of(card, "launch")["pump", False].limit_degc
    # 0.6 g over 3 m takes 740 * 5.884 * 3 = 13.1 kPa; own trial: 21.8 kPa are 9.3 degC
    assert drop == pytest.approx(13.1 * 9.3 / 21.8, abs=0.7)


def test_another_altitude_and_fuel(car):
    high = limits_card(car, altitude_m=2600.0)
    assert high.ambient_pressure_kpa == pytest.approx(73.8, abs=0.2)
    drop = rows_of(limits_card(car), "standing")["tank", False].limit_degc - rows_of(high, "standing")["tank", False].limit_degc
    assert drop == pytest.approx(2 * 4.6, abs=0.7)
    winter = limits_card(car, fuel_named("D4814 E-5"))
    assert rows_of(winter, "standing")["tank", False].limit_degc < 40
    assert winter.edition
    with pytest.raises(InputError, match="allowed"):
        limits_card(car, altitude_m=20000.0)


def test_each_cause_of_a_lower_limit_is_a_difference(car):
    card = limits_card(car)
    assert 0.35 < card.drop_per_kpa_degc < 0.55
    assert 4 < card.drop_per_1000_m_degc < 5.2  # ASTM D4814-18 5.2.1: 4.4


def test_where_two_routes_disagree_both_are_there_and_the_lower_is_used(car):
    plain = Fuel.from_measurements(vapour_pressure_kpa=60, t10_degc=55, t50_degc=100, t90_degc=165)
    lower = Fuel(**{**{name: getattr(plain, name) for name in plain.__dataclass_fields__}, "other_route_degc": 58.0})
    card = limits_card(car, lower)
    tank = rows_of(card, "standing")["tank", False]
    assert tank.limit_degc - tank.more_careful_degc == pytest.approx(60.67 - 58.0, abs=0.05)
    (two,) = [note for note in card.notes if "two routes" in note]  # the example car is read in degF: 2.67 degC are 4.8
    assert "by the other every limit is 4.8 °F lower" in two
    assert all(row.more_careful_degc == row.limit_degc for row in limits_card(car, plain).rows)


def test_a_card_is_json_with_units_in_its_names(car):
    again = json.loads(json.dumps(limits_card(car).as_dict()))
    assert again["rows"][0]["limit_degc"] == pytest.approx(limits_card(car).rows[0].limit_degc)
    assert {"pressure_kpa", "limit_degc", "onset_degc", "uncertainty_degc"} <= set(again["rows"][0])


def test_a_sea_level_barometer_is_asked_about_on_the_card():
    text = 'station_pressure = "101.3 kPa"\n' + car_file.EXAMPLE.replace('"600 m"', '"1600 m"')
    card = limits_card(car_file.load(text))
    assert any("sea-level value" in note for note in card.notes)
    assert card.ambient_pressure_kpa == pytest.approx(83.5, abs=0.1)


def test_curves_of_several_fuels():
    fuels = {"summer": fuel_named("D4814 A-1"), "winter": fuel_named("D4814 E-5")}
    curves = altitude_curves(fuels, np.arange(0, 3001, 500))
    assert np.all(curves["winter_limit_degc"] < curves["summer_limit_degc"])
    assert np.all(np.diff(curves["summer_limit_degc"]) < 0)
    assert curves["summer_limit_degc"][0] == pytest.approx(54, abs=0.1)  # ASTM D4814-18 table 3, class 1
    lifted = altitude_curves(fuels, [0.0], suction_kpa=7.0)
    assert lifted["summer_limit_degc"][0] < curves["summer_limit_degc"][0] - 2


def test_a_card_says_when_the_fuel_was_measured(car):
    dated = car_file.load(car_file.EXAMPLE.replace("# measured_on = 2026-06-01", "measured_on = 2026-06-01"))
    assert any("measured on 2026-06-01" in note for note in limits_card(dated).notes)
    assert not any("measured on" in note for note in limits_card(car).notes)


def test_the_card_begins_with_one_sentence(car):
    card = limits_card(car, altitude_m=3048.0)  # the example car is read in degF
    full, launch = (rows_of(card, state)["pump", False] for state in ("full throttle", "launch"))
    assert launch.limit_degc == min(row.limit_degc for row in card.rows)
    of = [[f"{1.8 * degc + 32:.0f} °F" for degc in (row.limit_degc, row.onset_degc)] for row in (full, launch)]
    doubt = [f"{1.8 * 1.96 * row.uncertainty_degc:.0f} °F" for row in (full, launch)]
    assert card.sentence == (
        f"At 10000 ft this fuel's lowest limit is at the pump: {of[0][0]} (±{doubt[0]}) at full throttle, {of[1][0]} (±{doubt[1]}) at launch; "
        f"boiling begins at {of[0][1]} and {of[1][1]}."
    )
    assert card.ambient_source == "standard atmosphere at 10000 ft"
    hard = car.model_copy(update={"suction": car.suction.model_copy(update={"launch_acceleration_m_s2": 14.0})})
    said = limits_card(hard, altitude_m=6000.0).sentence
    assert said.startswith(
        "At 19685 ft this fuel is beyond its limit at the pump at any temperature at launch (pressure too low for a limit (under "
    )
    assert "; otherwise its limit there is " in said
    assert "none" not in said


@pytest.mark.parametrize(
    ("fuel", "assumed"),
    [
        ('class = "D4814 A-1"', "the worst that its class allows"),
        ('vapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"', "its ethanol is not given and counts as none"),
        (
            'vapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nethanol = "0 %"\nt10_assumed = true',
            "its T10 was not measured",
        ),
        ('vapour_pressure = "60 kPa"\nethanol = "0 %"', "its distillation is not given"),
        (
            'blend = [{ share = "half", class = "D4814 A-1" }, { share = "half", class = "D4814 E-5" }]',
            "a blend that was worked out, not measured",
        ),
        ('vapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nethanol = "0 %"', ""),
        ('vapour_pressure = "60 kPa"\nt_vl20 = "58 degC"', ""),
    ],
)
@pytest.mark.parametrize("altitude_m", [0.0, 6000.0])
def test_the_first_sentence_says_that_it_rests_on_an_assumed_fuel(fuel, assumed, altitude_m):
    """At the upper altitude the pressure leaves no limit at launch."""
    card = limits_card(car_file.load(f'[fuel]\n{fuel}\n[suction]\nlaunch_acceleration = "1.5 g"\n'), altitude_m=altitude_m)
    assert card.sentence.endswith(f"; it rests on an assumed fuel: {assumed}." if assumed else ".")
    assert ("assumed" in card.sentence) == bool(assumed)
    assert card.as_dict()["assumed_fuel"] == (f"an assumed fuel: {assumed}" if assumed else "")
    assert ("at any temperature" in card.sentence) == (altitude_m > 0)


def test_what_holds_after_a_stop_is_said_with_the_place_of_the_lowest_limit_standing_and_at_idle(car):
    card = limits_card(car)  # read in degF
    standing = min(rows_of(card, "standing").values(), key=lambda row: row.limit_degc)
    running = rows_of(card, "full throttle") | rows_of(card, "idle")
    idle = min(running.values(), key=lambda row: row.limit_degc)
    assert (standing.place, idle.place) == ("pump", "pump")
    for row in (standing, idle):
        limit, doubt, onset = 1.8 * row.limit_degc + 32, 1.8 * 1.96 * row.uncertainty_degc, 1.8 * row.onset_degc + 32
        said = f"the lowest limit is {limit:.0f} °F (±{doubt:.0f} °F) at the pump; boiling begins there at {onset:.0f} °F."
        assert card.at_rest == f"Standing and at idle {said}"


def test_what_holds_after_a_stop_and_at_idle_are_two_sentences_where_they_differ(car):
    card = limits_card(car.model_copy(update={"suction": car.suction.model_copy(update={"suction_idle_kpa": 15.0})}))
    assert re.fullmatch(
        r"Standing, the lowest limit is 13\d °F \(±\d+ °F\) at the pump; boiling begins there at 12\d °F\. "
        r"At idle the lowest limit is 1[012]\d °F \(±\d+ °F\) at the pump; boiling begins there at \d+ °F\.",
        card.at_rest,
    )


def test_what_holds_after_a_stop_is_said_once_where_idle_is_no_different():
    card = limits_card(car_file.load('name = "a car like most"\n[fuel]\nclass = "D4814 D-4"\n'))
    assert card.at_rest.startswith("Standing and at idle the lowest limit is 42 °C (±")
    assert card.at_rest.count("limit is") == 1


def test_a_place_without_a_limit_is_what_is_said_of_standing(car):
    lifted = car.model_copy(update={"suction": car.suction.model_copy(update={"lift_m": 4.0})})
    said = limits_card(lifted, altitude_m=6000.0).at_rest
    assert said == (
        "Standing and at idle this fuel is beyond its limit at the pump at any temperature (pressure too low for a limit (under 3.6 psi))."
    )


def test_how_hard_a_launch_is_taken_to_be_is_said_where_a_row_counts_it(car):
    def said(suction):
        card = limits_card(car.model_copy(update={"suction": suction}))
        return bool(rows_of(card, "launch")), "\n".join(card.notes)

    assert 'rows "launch" are for 0.6 g forwards, as the car file says' in said(car.suction)[1]
    assert 'rows "launch" are for 1 g forwards, assumed' in said(type(car.suction)())[1]
    has_row, notes = said(car.suction.model_copy(update={"launch_acceleration_m_s2": 0.0}))
    assert not has_row and "launch" not in notes


def test_a_blend_says_what_holds_while_line_and_pump_hold_its_most_volatile_part_alone(car):
    """Just after a tank was topped up nothing of the blend has reached the pump, and that is where the restart fails."""
    blend = limits_card(car, fuel_named("50 % D4814 A-1 and 50 % D4814 E-5"), altitude_m=2000.0)
    winter = limits_card(car, fuel_named("D4814 E-5"), altitude_m=2000.0)
    assert blend.until_driven.endswith(f"With D4814 E-5 alone: {winter.at_rest}")
    assert min(row.limit_degc for row in winter.rows) < min(row.limit_degc for row in blend.rows) - 3
    assert winter.until_driven == ""

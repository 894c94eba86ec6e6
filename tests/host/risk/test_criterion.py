"""The criterion by place and pump; the values are assumptions and say so (no published tolerance of pumps was found)."""

import pytest
from hotfuel import car as car_file
from hotfuel.places import ROLES
from hotfuel.risk.criterion import criterion
from hotfuel.risk.limits_card import limits_card


@pytest.mark.parametrize(
    ("kind", "expected"), [("mechanical", (20, 10, 36)), ("electric_line", (4, 0, 10)), ("electric_submerged", (4, 0, 10))]
)
def test_the_pumps_kind_sets_it_and_it_is_marked_as_assumed(kind, expected):
    car = car_file.load(car_file.EXAMPLE.replace('kind = "mechanical"', f'kind = "{kind}"'))
    found = criterion(car, ROLES["pump"])
    assert (found.vapour_liquid_ratio, found.least, found.greatest) == expected
    assert "assumption" in found.text


def test_bowl_and_carburettor_do_not_follow_the_pump():
    car = car_file.load(car_file.EXAMPLE.replace("# vapour_liquid_ratio = 20", "vapour_liquid_ratio = 8"))
    found = criterion(car, ROLES["pump"])
    assert (found.vapour_liquid_ratio, found.least, found.greatest) == (8, 6, 10)  # taken as known to a quarter
    assert found.reason == "set in the car file"
    assert criterion(car, ROLES["bowl"]).vapour_liquid_ratio == 2
    assert criterion(car, ROLES["needle"]).vapour_liquid_ratio == criterion(car, ROLES["carburettor"]).vapour_liquid_ratio == 20


INJECTED = car_file.load(
    'name = "one injector"\n[fuel]\nclass = "D4814 A-3"\n[pump]\nkind = "electric_submerged"\npressure = "100 kPa"\n'
    '[[place]]\nname = "tank"\nchannel = 0\nrole = "tank"\n[[place]]\nname = "inlet"\nchannel = 1\nrole = "injector"\n'
)


def test_an_injectors_limit_is_where_boiling_begins_at_the_pressure_its_regulator_holds():
    """A carburettor passes its fuel at V/L 20; an injector, which meters by time, then passes a twentieth of it. As "line" its alarm came 3 degC late, at a
    pressure taken to fall by a quarter."""
    fuel, rows = INJECTED.fuel(), {(row.name, row.state): row for row in limits_card(INJECTED).rows}
    for state, pressure_kpa in (("full throttle", 201.325), ("standing", 101.325)):
        row = rows["inlet", state]
        assert row.pressure_kpa == pytest.approx(pressure_kpa, abs=0.01)
        assert row.limit_degc == pytest.approx(row.onset_degc, abs=0.05)
        assert row.limit_degc == pytest.approx(float(fuel.limit_degc(pressure_kpa, 0.0)), abs=0.05)
        as_line = float(fuel.limit_degc(pressure_kpa, 20.0))
        assert row.limit_degc < as_line - 1
    assert ("inlet, behind the needle", "standing") not in rows and len({name for name, _ in rows}) == 2
    said = " ".join(limits_card(INJECTED).notes)
    assert "taken as held at 100.0 kPa by the injection's regulator" in said and "down to 50.0 kPa" not in said


def test_what_boils_in_the_line_of_an_injected_engine_comes_through_its_injector():
    """A place "line" before the injector was judged as before a carburettor: at V/L 20, some degrees late."""
    text = '[fuel]\nclass = "D4814 A-3"\n[pump]\npressure = "40 kPa"\n[[place]]\nname = "hose"\nchannel = 0\nrole = "line"\n'
    for inlet, ratio in (("injector", 0), ("carburettor", 20)):
        car = car_file.load(f'{text}[[place]]\nname = "inlet"\nchannel = 1\nrole = "{inlet}"\n')
        (row,) = (row for row in limits_card(car).rows if (row.place, row.state) == ("hose", "standing"))
        assert row.vapour_liquid_ratio == criterion(car, car.role_of(car.place("hose"))).vapour_liquid_ratio == ratio
        assert (row.limit_degc == pytest.approx(row.onset_degc, abs=0.05)) == (inlet == "injector")
        assert [criterion(car, ROLES[role]).vapour_liquid_ratio for role in ("carburettor", "needle")] == [20, 20]


def test_a_measured_pressure_at_full_throttle_outranks_the_regulator():
    weak = INJECTED.model_copy(update={"pump": INJECTED.pump.model_copy(update={"pressure_full_kpa": 70.0})})
    rows = {(row.name, row.state): row for row in limits_card(weak).rows}
    assert rows["inlet", "full throttle"].pressure_kpa == pytest.approx(171.325, abs=0.01)


def test_the_first_sentence_is_of_the_running_engine_where_another_place_is_lowest_standing():
    """It named the inlet, 90 degC at full throttle, while the tank's fuel boiled 20 degC earlier."""
    card = limits_card(INJECTED)
    rows = {(row.name, row.state): row for row in card.rows}
    assert rows["inlet", "standing"].limit_degc < min(row.limit_degc for (name, _), row in rows.items() if name == "tank")
    assert rows["tank", "full throttle"].limit_degc < rows["inlet", "full throttle"].limit_degc - 10
    assert (
        f"lowest limit while the engine runs is at the tank: {rows['tank', 'full throttle'].limit_degc:.0f} °C" in card.sentence
    )
    assert card.at_rest.startswith("Standing, the lowest limit is") and "at the inlet" in card.at_rest

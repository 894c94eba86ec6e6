"""The criterion by place and pump; the values are assumptions and say so (no published tolerance of pumps was found)."""

import pytest
from hotfuel import car as car_file
from hotfuel.places import ROLES
from hotfuel.risk.criterion import criterion


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

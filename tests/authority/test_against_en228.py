"""EN 228 as in the French decree of 23 December 1999 (annex II) and its 2009 versions: vapour lock index and class limits."""

import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.fuel.volatility import class_row


@pytest.mark.parametrize(("name", "e5", "e10"), [("C1", 1050, 1064), ("D1", 1150, 1164), ("E1", 1200, 1214), ("F1", 1250, 1264)])
def test_index_limits_and_that_e10_is_two_percent_of_e70_higher(name, e5, e10):
    # D1 E5 from the decree, the others from memory; E10 - E5 = 7 x 2 %
    rows = [class_row("en228_volatility", "2012", **{"class": name, "grade": grade}) for grade in ("E5", "E10")]
    assert [float(row["vapour_lock_index_max"]) for row in rows] == [e5, e10]
    assert float(rows[1]["e70_max_vol"]) - float(rows[0]["e70_max_vol"]) == 2
    assert e10 - e5 == 14


def test_class_d1_keeps_its_index_and_names_its_basis():
    fuel = Fuel.from_class("EN 228", "D1", grade="E5")
    assert fuel.vapour_pressure_kpa == pytest.approx(90, abs=0.3)
    assert "35.7 % evaporated" in " ".join(fuel.describe())
    assert not fuel.from_memory
    assert Fuel.from_class("EN 228", "F1", grade="E5").from_memory


def test_more_volatile_classes_boil_earlier():
    limits = [float(Fuel.from_class("EN 228", name, grade="E10").limit_degc(101.325)) for name in ("A", "C1", "D1", "F1")]
    assert limits == sorted(limits, reverse=True)
    with pytest.raises(InputError, match="choose A, B, C, C1"):
        Fuel.from_class("EN 228", "G")

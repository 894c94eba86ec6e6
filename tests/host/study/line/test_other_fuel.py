"""Another fuel among what to try first: where the fuel in the tank is more volatile than the summer class of its standard."""

from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.fuel import fuel_named
from hotfuel.report import first_words
from hotfuel.report import forecast as page
from hotfuel.study.fixes.present import present
from hotfuel.study.line import first
from hotfuel.study.line.change import Change
from hotfuel.study.line.first import Which
from hotfuel.study.line.forecast import forecast
from hotfuel.units import Shown
from steady_drive import steady

US = Shown("us")
# ASTM D4814-18 table 3: the least temperature at V/L 20 of vapour-lock classes 1 to 5, degC at 101.3 kPa
T_VL20_DEGC = {"D4814 A-1": 54, "D4814 B-2": 50, "D4814 C-3": 47, "D4814 D-4": 42, "D4814 E-5": 39}


def filled(fuel):
    """The example's car with this [fuel]."""
    head, _, rest = EXAMPLE.partition("[fuel]")
    return load(f"{head}[fuel]\n{fuel}\n{rest[rest.index('[tank]') :]}")


def of_class(name):
    return filled(f'class = "{name}"')


def fuel_in(tried):
    return next((one for one in tried if one.fix.which is Which.FUEL), None)


@pytest.mark.parametrize("name", ["D4814 C-3", "D4814 D-4", "D4814 E-5"])
def test_where_nothing_boils_its_gain_is_what_the_standards_table_has(name):
    """Cool fuel, so that no boiling holds any place back: the whole difference of the classes, less a little for the lower pressures at the pump."""
    one = fuel_in(first.try_first(steady(of_class(name), tank=14.0, pump=17.0, carb_inlet=19.0)))
    by_table = T_VL20_DEGC["D4814 A-1"] - T_VL20_DEGC[name]
    gain = one.told.smallest.degc
    assert gain.middle == pytest.approx(by_table, abs=1.5)
    assert gain.least < by_table < gain.greatest
    # two fuels each known to 2 degC standard: at least 5.5 degC either way at 95 %
    assert gain.half > 5.0


def test_with_winter_fuel_in_a_warm_car_it_comes_first_with_its_conditions():
    tried = first.try_first(steady(of_class("D4814 E-5"), tank=32.0, pump=40.0, carb_inlet=44.0))
    one = fuel_in(tried)
    others = [float(np.median(other.told.gains)) for other in tried if other is not one]
    assert tried[0] is one and float(np.median(one.told.gains)) > max(others)
    lines = first_words.sentences(tried, US)
    assert "a less volatile fuel, of class D4814 A-1" in lines[0] and lines[0].startswith("Try first")
    (said,) = [line for line in lines if line.startswith("  a less volatile fuel, of class D4814 A-1: ")]
    for condition in (
        "sold by season and place",
        "the octane that the engine needs",
        "local law",
        "no promise of what a pump sells",
        "what is left in the tank",
    ):
        assert condition in said
    assert first_words.as_dict(one)["fix"] == "a less volatile fuel, of class D4814 A-1"


@pytest.mark.parametrize(
    ("fuel", "offered"),
    [
        ('class = "D4814 A-1"', None),
        ('class = "D4814 A-1 E0"', None),
        ('class = "D4814 C-3"', "D4814 A-1"),
        ('class = "EN 228 A"', None),
        ('class = "EN 228 F1"', "EN 228 A E10"),
        ('class = "D5798 4"', "D5798 1"),
        ('vapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nethanol = "0 %"', None),  # milder than the class's worst
        ('vapour_pressure = "90 kPa"\nt10 = "42 degC"\nt50 = "92 degC"\nethanol = "0 %"', "D4814 A-1"),
        ('blend = [{ share = "half", class = "EN 228 F1" }, { share = "half", class = "EN 228 A" }]', "EN 228 A E10"),
    ],
)
def test_it_is_the_summer_class_of_its_standard_and_only_where_it_is_milder(fuel, offered):
    found = first.less_volatile(filled(fuel))
    assert (None if found is None else found.name) == offered


def test_a_note_of_another_fuel_does_not_take_it_off_the_list():
    """What the tank holds is in the car file."""
    course = steady(of_class("D4814 E-5"))
    session = SimpleNamespace(name="x", metadata={"fix": "summer fuel"}, car=course.car)
    fixes = first.candidates(course, course.car)
    assert not [fix for fix in present(session, fixes).fixes if fix.which is Which.FUEL]


def test_a_forecast_says_first_that_it_rests_on_an_assumed_fuel():
    """On the page before everything else, too; of a fuel that was asked for as well."""
    measured = filled('vapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nethanol = "0 %"')
    winter = of_class("D4814 E-5")
    asked = fuel_named("half D4814 A-1 and half D4814 C-3")
    of_a_class = "hese numbers rest on an assumed fuel: the worst that its class allows"
    of_a_blend = f"{asked.name} is an assumed fuel: a blend that was worked out, not measured"
    for car, fuels, said in (
        (measured, (), ""),
        (winter, (), f"T{of_a_class}."),
        (measured, (asked,), f"{of_a_blend}."),
        (winter, (asked,), f"T{of_a_class}; {of_a_blend}."),
    ):
        session = SimpleNamespace(name="x", metadata={}, car=car)
        assert first_words.assumed_fuel(session, fuels) == said
        course = steady(car)
        made = page.changes(session, forecast(course, [Change("a test", higher_m=500.0)]), US, fuels)
        assert list(made.sheet.lead) == ([said] if said else [])
    tried = first.try_first(steady(winter, tank=32.0, pump=40.0, carb_inlet=44.0))
    sheet = page.try_first(session, tried, US).sheet
    assert sheet.lead[0] == f"T{of_a_class}." == sheet.reasons[0]

"""A part that is fitted is not proposed again: what a session or a car file says is fitted, as a person writes it."""

from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.report import first_words
from hotfuel.report import forecast as page
from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.present import present
from hotfuel.study.line import first
from hotfuel.study.line.first import Which
from hotfuel.units import Shown

SI = Shown("si")


@pytest.fixture(scope="module")
def course():
    t = np.arange(600) * 1.0
    blank = np.full(600, np.nan)
    inputs = {"engine_rpm": np.full(600, 2000.0), "fuel_pressure_kpa": np.full(600, 38.0), "running": np.ones(600)}
    inputs |= {"ignition": blank, "ambient_pressure_kpa": blank}
    degc = {"tank": np.full(600, 33.0), "pump": 46 + 8 * t / 600, "carb_inlet": 52 + 16 * t / 600}
    return Course("sunday", t, degc, {}, inputs, (), 0.0, load(EXAMPLE), 28.0)


def session(fix="", before="", car_fix=None, car_before=None):
    car = load(EXAMPLE).model_copy(update={"fix": car_fix, "before": car_before})
    noted = {key: value for key, value in (("fix", fix), ("before", before)) if value}
    return SimpleNamespace(name="sunday", metadata=noted, car=car)


CASES = {
    "heat shield": ({"fix": "heat shield"}, {Which.SHIELD}, ()),
    "sleeve before pump": ({"fix": "sleeve", "before": "pump"}, {"a sleeve on the line before the pump"}, ()),
    "sleeve, nobody said where": (
        {"fix": "sleeve"},
        {"a sleeve on the line before the pump", "a sleeve on the line before the carb inlet"},
        (),
    ),
    "a cooler": ({"fix": "fan-blown cooler before carb inlet"}, {Which.FAN_COOLER, Which.WIND_COOLER}, ()),
    "a cooler elsewhere": ({"fix": "cooler before pump"}, set(), ()),
    "a cooler in the return": ({"fix": "cooler in the return"}, {Which.RETURN}, ()),
    "the car file": ({"car_fix": "ice can", "car_before": "carb_inlet", "fix": "none"}, {Which.ICE_CAN}, ()),
    "two parts": ({"fix": "spacer under the pump and heat shield"}, {Which.SPACER, Which.SHIELD}, ()),
    "under the carburettor": ({"fix": "spacer under the carburettor"}, set(), ()),
    "a pump": ({"fix": "electric pump in the tank"}, {Which.TANK_PUMP, Which.NEAR_PUMP}, ()),
    "a pump near the tank": ({"fix": "electric pump near the tank"}, {Which.NEAR_PUMP}, ()),
    "a mended pump": ({"fix": "new mechanical pump"}, set(), ()),
    "without a number": (
        {"fix": "fan run-on; bonnet vents"},
        set(),
        ("radiator fan that runs on after the stop", "vents in the bonnet"),
    ),
    "nothing": ({"fix": "as built"}, set(), ()),
    "taken off": ({"fix": "heat shield removed, sleeve taken off; cooler off"}, set(), ()),
    "without": ({"fix": "no cooler; without ice can", "car_fix": "return line removed"}, set(), ()),
    "one taken off, one put on": ({"fix": "heat shield removed and spacer fitted"}, {Which.SPACER}, ()),
    "a list of what is not there": ({"fix": "without cooler and shield"}, set(), ()),
    "a list, then what is": ({"fix": "without cooler, with shield"}, {Which.SHIELD}, ()),
    "neither": ({"fix": "no cooler or shield"}, set(), ()),
    "both removed": ({"fix": "ice can and heat shield removed"}, set(), ()),
    "removed since the car file was written": ({"fix": "heat shield removed", "car_fix": "heat shield"}, set(), ()),
    "a word that only looks like it": ({"fix": "one-off heat shield"}, {Which.SHIELD}, ()),
}


@pytest.mark.parametrize("case", CASES)
def test_what_is_fitted_is_recognised_in_a_persons_words(course, case):
    about, wanted, unknown = CASES[case]
    one = session(**about)
    there = present(one, first.candidates(course, one.car))
    named = first_words.fitted(there)
    assert {fix.which for fix in there.fixes} == {w for w in wanted if isinstance(w, Which)} or set(named) == wanted
    assert set(named) >= set(unknown)
    assert len(named) == len(wanted) + len(unknown)


def test_a_part_that_is_fitted_is_left_out_and_said(course):
    one = session(fix="heat shield; fan run-on", before="carb_inlet")
    there = present(one, first.candidates(course, one.car))
    tried = first.try_first(course, without=there.fixes)
    assert {one.fix.which for one in tried} == {one.fix.which for one in first.try_first(course)} - {Which.SHIELD}
    told = (
        'Fitted already ("heat shield; fan run-on"), so not considered again: a heat shield beside the line before the carb inlet and '
        "radiator fan that runs on after the stop."
    )
    lines = first_words.sentences(tried, SI, there)
    assert lines[-1] == told
    assert "heat shield" not in "\n".join(lines[:-1])
    made = page.try_first(one, tried, SI, there=there)
    assert made.sheet.text[-1] == told
    assert "runs on after the stop" not in made.page.split("Nothing is known here about these")[1]
    assert not any("heat shield" in str(row) for row in made.sheet.table.rows)


def test_where_nothing_is_fitted_nothing_is_left_out(course):
    one = session()
    there = present(one, first.candidates(course, one.car))
    assert first_words.left_out(there) == ""
    assert first_words.sentences(first.try_first(course), SI, there) == first_words.sentences(first.try_first(course), SI)

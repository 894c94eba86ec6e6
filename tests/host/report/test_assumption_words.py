"""What a forecast assumes, in words: the numbers are those that are drawn."""

from dataclasses import replace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.report import assumption_words, forecast_words
from hotfuel.study.drive.course import Course
from hotfuel.study.line import assumed
from hotfuel.study.line.change import Change
from hotfuel.study.line.forecast import forecast
from hotfuel.units import Shown

SI = Shown("si")


def test_assumptions_in_words_give_the_ranges_that_are_drawn():
    """ "A third to all" stood beside a range of 0.5 to 1.1, "a tenth to all" beside 0.03 to 0.97, and a shield was told as if it cut all of the rise."""

    def said(one, shown=SI):
        return assumption_words.sentence(one, shown)

    assert "the old pump's heat is 50 to 110 % of the rise from tank to pump" in said(
        assumed.PumpMoved(True, "tank", "pump", True)
    )
    assert "to within 59 % of the rise" in said(assumed.PumpMoved(True, "tank", "pump", False))  # 1.96 x 0.3
    sleeve = assumed.Section("insulation", (0.3, 0.6), "tank", "pump", True)
    assert "3 to 97 % of the rise from tank to pump is heat from outside" in said(sleeve)
    assert "it is cut by 30 to 60 %" in said(sleeve)
    assert "10 to 92 % of the rise" in said(replace(sleeve, fix="shield"))
    assert "14 to 82 % comes through its flange; the spacer cuts that by 50 %." in said(assumed.Spacer("pump", 0.5))
    assert "up to 82 % of the share" in said(assumed.HotterAir(90.0))
    assert "by up to 41 % of its degrees" in said(assumed.HotterAir(None))
    boiling = said(assumed.Boiling(("pump",)))
    assert (
        "by up to 67 % of the degrees past its onset, of standing fuel by up to 47 % in a hose and by up to 44 % in a pump"
        in boiling
    )
    assert "the cooler keeps 10 to 70 % of its UA while the car idles" in said(assumed.CoolerAir(3.0, 1.9, False))
    assert "water is 7 to 27\xa0°F above outside air" in said(assumed.CoolerWater((4.0, 15.0)), Shown("us")).replace(
        " °F", "\xa0°F"
    )
    assert "loses up to 40 % of its heat" in said(assumed.MoreFlow(30.0, True))
    assert said(assumed.MoreFlow((15.0, 40.0), True), Shown("us")).startswith("4.0 to 10.6 gph more flow")
    assert (
        said(assumed.IceWater(None, 3.0), Shown("us"))
        == "Ice water at 32 °F until 6.6 lb of ice are melted by the fuel and through the can's wall."
    )
    assert said(assumed.IceWater(20.0, 3.0)) == "Ice water at 0 °C for 20 min."


@pytest.mark.parametrize(
    ("coolant", "words"), [("water", "water is 4 to 15"), ("spray", "cooler 1 to 10"), ("air", "3 °C (±4 °C) hotter")]
)
def test_a_cooler_says_what_its_coolant_is_assumed_to_be(coolant, words):
    """Water and spray were drawn from a range that no sentence named."""
    t = np.arange(60) * 1.0
    degc = {"tank": np.full(60, 33.0), "pump": 46 + t / 60, "carb_inlet": 52 + t / 60}
    blank = np.full(60, np.nan)
    inputs = {"engine_rpm": np.full(60, 2000.0), "fuel_pressure_kpa": np.full(60, 38.0), "running": np.ones(60)}
    inputs |= {"ignition": blank, "ambient_pressure_kpa": blank}
    course = Course("sunday", t, degc, {}, inputs, (), 0.0, load(EXAMPLE), 28.0)
    change = Change("a cooler", cooler_effectiveness=0.6, cooler_before="carb_inlet", coolant=coolant)
    said = forecast_words.assumptions(forecast(course, [change])[0], SI)
    assert any(words in line.replace("\xa0", " ") for line in said), said

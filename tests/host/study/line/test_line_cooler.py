"""A cooler with a hose after it, against a separate calculation along the line: the heat that the hose adds is corrected for, or
is in the uncertainty."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.report import cooler_words
from hotfuel.study.drive.course import Course
from hotfuel.study.line.hose import flow_from_meter
from hotfuel.study.line.line_cooler import CoolantError, in_session
from hotfuel.units import Shown

# this hose differs from the 8 W/K a litre that the product assumes
AIR_DEGC, COOLANT_DEGC, INLET_DEGC, FLOW_L_H, HOSE_W_K_L = (
    75.0,
    25.0,
    55.0,
    12.0,
    9.0,
)
OWN = 0.6  # the cooler's effectiveness
BONNET = '[[place]]\nname = "bonnet"\nchannel = 3\nrole = "air"\n'


def after_the_hose(degc, litres, cells=400):
    """Fuel at the end of a hose in hot air, solved cell by cell; 740 kg/m3, 2100 J/(kg K)."""
    watts_k = FLOW_L_H / 3.6e6 * 740 * 2100
    for _ in range(cells):
        degc += HOSE_W_K_L * litres / cells / watts_k * (AIR_DEGC - degc)
    return degc


def seen(litres, section_l=0.3, bonnet=True, said_l=None, noise=0.1, outside_degc=COOLANT_DEGC):
    """The cooler as in_session finds it, with `litres` of hose after it in a section of section_l."""
    text = car_file.EXAMPLE.replace('volume_from_previous = "0.08 L"', f'volume_from_previous = "{section_l} L"')
    car = car_file.load(text + (BONNET if bonnet else ""))
    random = np.random.default_rng(3)
    count = 900
    outlet = after_the_hose(INLET_DEGC - OWN * (INLET_DEGC - COOLANT_DEGC), litres)
    levels = {"tank": 30.0, "pump": INLET_DEGC, "carb_inlet": outlet} | ({"bonnet": AIR_DEGC} if bonnet else {})
    blank = np.full(count, np.nan)
    inputs = {"engine_rpm": np.full(count, 2000.0)} | dict.fromkeys(
        ("fuel_pressure_kpa", "ignition", "ambient_pressure_kpa", "running"), blank
    )
    degc = {place: level + random.normal(0, noise, count) for place, level in levels.items()}
    course = Course("x", np.arange(count) * 1.0, degc, {}, inputs, (), 0.0, car, outside_degc)
    return in_session(course, "carb_inlet", None, flow_from_meter(np.full(count, FLOW_L_H), 0.03), hose_behind_l=said_l)


def off(found):
    """The error of the effectiveness, in its own standard uncertainties."""
    return abs(found.cooler.effectiveness - OWN) / found.cooler.effectiveness_u


def test_a_long_hose_makes_a_cooler_look_smaller_and_is_corrected_for():
    blind = seen(0.3, bonnet=False)
    assert blind.behind is None
    assert off(blind) > 3  # the result without a correction
    assert "makes it look smaller" in cooler_words.hose(blind, Shown("si"))
    told = seen(0.3, said_l=0.3)
    assert off(told) < 2
    assert abs(told.cooler.effectiveness - OWN) < 0.3 * abs(blind.cooler.effectiveness - OWN)
    assert "0.30 L of hose lie in air of 75.0 °C, as given" in cooler_words.hose(told, Shown("si"))
    assert told.as_dict()["behind"]["warmed_degc"] > 5


@pytest.mark.parametrize("litres", [0.0, 0.15, 0.3])
def test_with_an_unknown_hose_volume_the_interval_covers_all_of_it(litres):
    found = seen(litres)
    assert off(found) < 2
    assert found.outlet_degc == pytest.approx(seen(litres, bonnet=False).outlet_degc)
    assert found.cooler.effectiveness_u > seen(litres, bonnet=False).cooler.effectiveness_u
    assert "is in the uncertainty" in cooler_words.hose(found, Shown("si"))


def test_a_probe_right_after_the_cooler_needs_no_correction():
    assert seen(0.0, said_l=0.0).outlet_degc == pytest.approx(seen(0.0, bonnet=False).outlet_degc)
    assert "right behind the cooler" in cooler_words.hose(seen(0.0, said_l=0.0), Shown("us"))


def test_a_missing_outside_temperature_is_asked_for_with_what_to_type():
    with pytest.raises(CoolantError) as refused:
        seen(0.1, outside_degc=np.nan)
    assert str(cooler_words.refused(refused.value, Shown("us"))).endswith(
        '(--coolant "88 degF"; or hotfuel review x --about ambient_degc="88 degF")'
    )


def test_an_impossible_hose_is_refused():
    with pytest.raises(InputError, match="allowed are 0 to 10 L"):
        seen(0.1, said_l=-0.1)

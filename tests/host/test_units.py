"""Units: exact factors, round trips, differences without the offset of 32, and the message to a person who forgets a unit."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.text import Size, is_nothing
from hotfuel.units import UNITS, Shown, convert, parse
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [  # NIST SP 811, appendix B
        ("1 psi", "pressure", 6.894757), ("29.92 inHg", "pressure", 101.32), ("1 bar", "pressure", 100), ("760 mmHg", "pressure", 101.325),
        ("32 degF", "temperature", 0), ("212 °F", "temperature", 100), ("-40 degF", "temperature", -40), ("0 K", "temperature", -273.15),
        ("18 degF", "temperature difference", 10), ("1 ft", "length", 0.3048), ("1 in", "length", 0.0254), ("1 US gal", "volume", 3.785411784),
        ("1 gph", "volume flow", 3.785411784), ("1 hp", "power", 0.7457), ("1 lb-ft", "torque", 1.355818), ("1 g", "acceleration", 9.80665),
        ("1 lb/h", "mass flow", 0.45359237), ("350 ci", "volume", 5.735), ("1e2 mm", "length", 0.1), (".5 m", "length", 0.5),
        ("+6psi", "pressure", 41.36854),
    ],
)  # fmt: skip
def test_parse(text, dimension, si):
    assert parse(text, dimension) == pytest.approx(si, rel=1e-4, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "psi", "6", "6 6 psi", "six psi", "6 degC", "nan psi", "inf psi", "0x6 psi", "6 psi extra", "6,5 psi"]
)
def test_a_value_that_is_not_a_pressure_is_refused_with_the_allowed_units(text):
    with pytest.raises(InputError, match="kPa, psi, bar"):
        parse(text, "pressure")


@given(st.sampled_from([(d, u) for d, units in UNITS.items() for u in units]), st.floats(-1e6, 1e6))
def test_every_unit_round_trips(row, value):
    dimension, unit = row
    factor, offset = UNITS[dimension][unit]
    assert convert(value * factor + offset, dimension, unit) == pytest.approx(value, rel=1e-9, abs=1e-6)
    assert parse(f"{value:.12g} {unit}", dimension) == pytest.approx(value * factor + offset, rel=1e-9, abs=1e-6)


@given(st.floats(-500, 500), st.floats(-500, 500))
def test_a_difference_converts_by_1_8_without_the_32(warm, cold):
    us = Shown("us")
    difference = us.value(warm - cold, "temperature difference")
    assert difference == pytest.approx(us.value(warm, "temperature") - us.value(cold, "temperature"), abs=1e-9)


@given(st.sampled_from(["si", "us"]), st.floats(-0.02, 0.02))
def test_a_zero_difference_prints_as_0_without_a_sign(system, tiny):
    assert Shown(system).text(tiny, "temperature difference") == f"0.0 {Shown(system).unit('temperature difference')}"


def test_shown_text_and_missing_numbers():
    assert Shown("us").text(60, "temperature") == "140.0 °F"
    assert Shown("si").text(60.04, "temperature") == "60.0 °C"
    assert Shown("us").text(41.37, "pressure") == "6.0 psi"
    assert Shown("si").text(1609.3, "length") == "1609 m"
    assert Shown("us").text(float("nan"), "temperature") == "–"
    assert Shown("us").value(np.array([0.0, 100.0]), "temperature") == pytest.approx([32, 212])


@pytest.mark.parametrize(
    ("value", "decimals", "text", "digits", "printed"),
    [
        (2.04, 1, "2.0 °F", "2.0", 2.0),
        (-0.04, 1, "0.0 °F", "0.0", 0.0),
        (-12.6, 0, "-13 °F", "-13", -13.0),
        (0.4, 0, "0 °F", "0", 0.0),
    ],
)
def test_a_size_knows_the_number_it_is_printed_from(value, decimals, text, digits, printed):
    size = Size(value, decimals, "°F")
    assert (size, size.digits, size.value) == (text, digits, printed)
    assert is_nothing(size) == (printed == 0)


def test_an_unknown_size_is_not_nothing():
    size = Shown("us").text(float("nan"), "temperature")
    assert (size, size.digits, is_nothing(size)) == ("–", "–", False)


def test_an_unknown_system_is_refused():
    with pytest.raises(InputError, match='"si" or "us"'):
        Shown("imperial")


@pytest.mark.parametrize(
    ("text", "mm"), [("1/16 in", 1.5875), ("3/8 in", 9.525), ("1 1/2 in", 38.1), ("5/16in", 7.9375), ("1-1/4 in", 31.75)]
)
def test_inches_are_taken_as_shops_write_them(text, mm):
    assert 1000 * parse(text, "length") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize("text", ["3/0 in", "3/8 mm", "1/ in", "/8 in", "3/8"])
def test_other_fractions_are_refused_with_the_allowed_units(text):
    with pytest.raises(InputError, match="length"):
        parse(text, "length")


def test_gallons_an_hour_and_cubic_inches_have_the_names_that_shops_use():
    assert parse("25 gal/h", "volume flow") == parse("25 gph", "volume flow")
    assert parse("390 cu in", "volume") == parse("390 ci", "volume")

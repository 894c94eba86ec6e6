"""A tank that holds several fuels: what is exact of it, its words, and what is refused. Published rules: tests/authority/test_against_blending_rules.py."""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, blend, fuel_named
from hotfuel.units import Shown
from hypothesis import given, settings
from hypothesis import strategies as st

WINTER, SUMMER = Fuel.from_class("D4814 E-5"), Fuel.from_class("D4814 A-1")
PLAIN = Fuel.from_measurements(60, 55, 100, 165, 0)
PRESSURES = np.array([70.0, 101.325, 250.0])


def test_a_fuel_blended_with_itself_is_that_fuel():
    for fuel in (WINTER, PLAIN, Fuel.from_class("EN 228 D1"), Fuel.from_measurements(60, 45, 70, 160, 10)):
        twice = blend.blended([0.3, 0.7], [fuel, fuel])
        for ratio in (0.0, 4.0, 20.0):
            np.testing.assert_allclose(twice.limit_degc(PRESSURES, ratio), fuel.limit_degc(PRESSURES, ratio), atol=0.2)
        assert twice.ethanol_vol == fuel.ethanol_vol and twice.density_15c_kg_m3 == pytest.approx(fuel.density_15c_kg_m3, abs=0.1)
        assert twice.limit_uncertainty_degc >= fuel.limit_uncertainty_degc


def test_e0_and_its_own_e10_make_its_e5():
    """`Fuel.blended` adds ethanol to a fuel: half of each holds half of the ethanol."""
    made = blend.blended([0.5, 0.5], [PLAIN, PLAIN.blended(10)])
    np.testing.assert_allclose(made.limit_degc(PRESSURES), PLAIN.blended(5).limit_degc(PRESSURES), atol=0.1)
    assert made.ethanol_vol == 5


@settings(max_examples=20, deadline=None)
@given(share=st.floats(0.02, 0.98))
def test_a_blend_lies_between_its_parts_below_their_mean_and_is_no_surer_than_they_are(share):
    made = blend.blended([share, 1 - share], [WINTER, SUMMER])
    limit, winter, summer = (float(fuel.limit_degc(101.325)) for fuel in (made, WINTER, SUMMER))
    assert winter - 0.05 <= limit <= share * winter + (1 - share) * summer + 0.01
    assert made.limit_uncertainty_degc >= min(WINTER.limit_uncertainty_degc, SUMMER.limit_uncertainty_degc)
    assert float(made.bubble_point_degc(101.325)) < limit


def test_the_share_of_a_tank_is_known_to_a_twentieth_and_the_interval_holds_it():
    half = blend.blended([0.5, 0.5], [WINTER, SUMMER])
    for share in (0.45, 0.55):
        moved = float(blend.blended([share, 1 - share], [WINTER, SUMMER]).limit_degc(101.325)) - float(half.limit_degc(101.325))
        rest = np.sqrt(half.limit_uncertainty_degc**2 - moved**2)
        assert abs(moved) > 0.5 and rest == pytest.approx(np.hypot(2.0, 1.0), abs=0.05)


@pytest.mark.parametrize(
    "text",
    [
        "60 % D4814 E-5 and 40 % D4814 A-1", "60% D4814 E-5 + 40% D4814 A-1", "60 % of D4814 E-5, 40 % of D4814 A-1", "30 L D4814 E-5 and 20 L D4814 A-1",
        "12 gal D4814 E-5; 8 gal D4814 A-1",
    ],
)  # fmt: skip
def test_every_way_to_write_a_blend_is_the_same_fuel(text):
    made = fuel_named(text)
    assert made.name == "60 % D4814 E-5 and 40 % D4814 A-1"
    assert float(made.limit_degc(101.325)) == pytest.approx(
        float(blend.blended([0.6, 0.4], [WINTER, SUMMER]).limit_degc(101.325))
    )


def test_half_and_half_and_three_thirds():
    assert blend.shares_of(["half", "half"]) == [0.5, 0.5]
    assert blend.shares_of(["33 %", "33 %", "33 %"]) == pytest.approx([1 / 3] * 3)
    assert fuel_named("half D4814 A-1 E10 and half D4814 A-1 E0").ethanol_vol == 5


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("60 % D4814 E-5", "a blend is of two fuels or more"),
        ("60 % D4814 E-5 and D4814 A-1", '"D4814 A-1" is not a share and a fuel'),
        ("60 % D4814 E-5 and 30 % D4814 A-1", "add up to 90 %, not to 100 %"),
        ("60 % D4814 E-5 and 20 L D4814 A-1", "all of them in per cent, or all as volumes"),
        ("0 % D4814 E-5 and 100 % D4814 A-1", 'a share of "0 %" was given'),
        ("-20 % D4814 E-5 and 120 % D4814 A-1", 'a share of "-20 %" was given'),
        ("60 % A-1 and 40 % E-5", "is not a known standard"),
        ("60 % D4814 A-1 and 40 % methanol", "methanol"),
        ("1,5 L D4814 A-1 and 2 L D4814 E-5", "has a comma in its number"),
        (" and ".join(["20 % D4814 A-1"] * 5), "a blend of 5 fuels was given, allowed are 4"),
    ],
)
def test_what_is_no_blend_is_refused_in_one_sentence(text, said):
    with pytest.raises(InputError, match=None) as error:
        fuel_named(text)
    assert said in str(error.value) and "\n" not in str(error.value)


TANK = """[fuel]
[[fuel.blend]]
share = "25 L"
class = "D4814 E-5"
[[fuel.blend]]
share = "15 L"
vapour_pressure = "60 kPa"
t10 = "55 degC"
t50 = "100 degC"
t90 = "165 degC"
ethanol = "0 %"
"""


def test_a_car_file_describes_the_tank_by_its_parts():
    car = car_file.load(TANK)
    made = car.fuel()
    assert made.name == "62 % D4814 E-5 and 38 % measured fuel"
    assert made.ethanol_vol == pytest.approx(6.25)
    assert float(made.limit_degc(101.325)) == pytest.approx(
        float(blend.blended([0.625, 0.375], [WINTER, PLAIN]).limit_degc(101.325))
    )
    said = " ".join(car.fuel(Shown("us")).describe(Shown("us")))
    assert "alone, its parts have their limits at 102.2 °F and 141.2 °F" in said
    assert "differ in ethanol" in said and "was not measured" in said
    assert hash(car) == hash(car_file.load(TANK))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (TANK.replace("[fuel]\n", '[fuel]\nclass = "D4814 A-1"\n', 1), "a blend is described by its parts alone"),
        (TANK.replace('share = "25 L"', 'share = "60 %"'), "all of them in per cent, or all as volumes"),
        (TANK.replace('share = "25 L"\n', ""), "share is missing"),
        (TANK.replace('share = "25 L"', "share = 25"), "a text is written in quotes"),
        (TANK.replace('class = "D4814 E-5"\n', ""), 'needs either "class" or "vapour_pressure"'),
        (TANK.replace("share", "part", 1), "is not a known key"),
        (TANK[: TANK.rindex("[[")], "a blend is of two fuels or more"),
        ("[fuel]\nblend = []\n", "a blend is of two fuels or more"),
        ('[fuel]\nblend = "60 % D4814 E-5 and 40 % D4814 A-1"\n', "blend"),
    ],
)
def test_a_mistake_in_a_blend_is_one_sentence_with_its_key(text, said):
    with pytest.raises(InputError) as error:
        car_file.load(text).fuel()
    assert any(said in line and "fuel" in line for line in str(error.value).splitlines()), str(error.value)


def test_a_question_about_a_part_names_the_part():
    asked = TANK.replace('ethanol = "0 %"\n', "").replace('t50 = "100 degC"', 't50 = "70 degC"')
    (question,) = car_file.load(asked).fuel().questions
    assert question.startswith("Of the blend's measured fuel: ") and "ethanol" in question


def test_e85_topped_up_with_a_fifth_of_gasoline_has_a_limit():
    """Here the flash's pressure converges slowest: half of the fuel is ethanol."""
    made = [fuel_named(f"{share} % D4814 A-1 and {100 - share} % D5798 4") for share in (19, 20, 21, 22, 25)]
    limits = np.array([float(fuel.limit_degc(101.325)) for fuel in made])
    assert np.all(np.diff(limits) > 0) and np.ptp(limits) < 1
    made_by_volume = fuel_named("10 L EN 228 D1 and 30 L D5798 2")
    assert float(made_by_volume.limit_degc(101.325)) < float(Fuel.from_class("D5798 2").limit_degc(101.325))


@pytest.mark.slow
@pytest.mark.parametrize("gasoline", ["D4814 A-1", "D4814 E-5", "EN 228 C"])
@pytest.mark.parametrize("ethanol", ["D5798 1", "D5798 4"])
def test_e85_topped_up_with_gasoline_has_a_limit_at_every_share(gasoline, ethanol):
    parts = [Fuel.from_class(gasoline), Fuel.from_class(ethanol)]
    shares = np.arange(1, 100) / 100
    limits = np.array([float(blend.blended([share, 1 - share], parts).limit_degc(101.325)) for share in shares])
    assert np.all(limits <= max(float(part.limit_degc(101.325)) for part in parts) + 0.01)
    steps = np.diff(limits)
    assert np.abs(steps).max() < 1 and np.abs(np.diff(steps)).max() < 0.1

"""The questions about a data sheet, and the effect of leaving them unanswered."""

import re

import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, fuel_from
from hotfuel.units import Shown

CONTRADICTORY = [(100, 75, 120), (80, 70, 110), (70, 70, 110), (62, 70, 120), (90, 60, 105)]


@pytest.mark.parametrize("figures", CONTRADICTORY)
def test_contradictory_figures_are_named_asked_about_and_make_the_limit_less_certain(figures):
    fuel = Fuel.from_measurements(*figures)
    alone = float(Fuel.from_measurements(figures[0]).limit_degc(101.325))
    assert abs(float(fuel.limit_degc(101.325)) - alone) <= fuel.limit_uncertainty_degc
    assert len(fuel.questions) == 1
    assert f"T10 {figures[1]} degC does not fit a vapour pressure of {figures[0]} kPa" in fuel.questions[0]
    assert 'as_printed = ["t10"]' in fuel.questions[0]
    assert fuel.questions[0] in fuel.describe()


@pytest.mark.parametrize(("pressure", "t10"), [(13, 60), (13, 70), (16, 60), (20, 60), (25, 60)])
def test_a_front_end_too_light_for_its_vapour_pressure_may_mean_a_far_lower_limit(pressure, t10):
    """A fuel of which a tenth distils by 60 degC does not begin to boil at 96: if the vapour pressure is wrong, the limit is that of a lighter fuel."""
    fuel = Fuel.from_measurements(pressure, t10, 100, t90_degc=165)
    lighter = Fuel.from_measurements(45, t10, 100, t90_degc=165)
    assert any("Or the vapour pressure is wrong" in line for line in fuel.questions)
    assert 2 * fuel.limit_uncertainty_degc > float(fuel.limit_degc(101.325) - lighter.limit_degc(101.325))
    assert 2 * fuel.onset_uncertainty_degc > float(fuel.bubble_point_degc(101.325) - lighter.bubble_point_degc(101.325))
    assert not any("No T10" in line for line in fuel.notes)


def test_a_confirmation_removes_the_question_and_keeps_the_uncertainty():
    asked = fuel_from({"vapour_pressure_kpa": 80, "t10_degc": 70, "t50_degc": 110})
    kept = fuel_from({"vapour_pressure_kpa": 80, "t10_degc": 70, "t50_degc": 110, "as_printed": ["t10"]})
    assert not kept.questions
    assert any("Kept as printed" in note for note in kept.notes)
    assert kept.limit_uncertainty_degc == asked.limit_uncertainty_degc
    with pytest.raises(InputError, match='as_printed names "rvp", which is not a figure'):
        fuel_from({"vapour_pressure_kpa": 80, "as_printed": ["rvp"]})


@pytest.mark.parametrize(
    "figures", [(60, 55, 100, 165), (93, 43, 90, 160), (63.5, 53, 72, 160, 10), (54, 58, 104), (45, 70, 100, 125), (103, 40, 85)]
)
def test_ordinary_figures_raise_no_question(figures):
    assert not Fuel.from_measurements(*figures).questions


def test_a_measured_limit_that_contradicts_the_rest_is_asked_about():
    # a retail gasoline of a public record: DVPE 91.4 kPa with T(V/L=20) 51.1; similar fuels have 42 to 44
    fuel = Fuel.from_measurements(91.4, 43.0, 67.7, t_vl20_degc=51.1)
    assert float(fuel.limit_degc(101.325)) == pytest.approx(51.1, abs=0.05)
    assert fuel.limit_uncertainty_degc > 7
    assert "T(V/L=20) 51.1 degC does not fit" in fuel.questions[0]
    assert not Fuel.from_measurements(91.4, 43.0, 67.7, t_vl20_degc=43.5).questions


@pytest.mark.parametrize(
    ("pressure", "figures"),
    [
        (10.5, {"t10_degc": 50}),
        (11.5, {"t10_degc": 50, "t50_degc": 100}),
        (13.2, {"t10_degc": 45}),
        (15.0, {"t10_degc": 40, "t50_degc": 90}),
        (11.5, {}),
        (15.0, {"t50_degc": 95}),
        (11.5, {"e70_vol": 30}),
    ],
)
def test_psi_entered_as_kpa_raises_the_question(pressure, figures):
    with pytest.raises(InputError, match=rf"is it in psi\? Then write {pressure * 6.894757:.1f} kPa"):
        Fuel.from_measurements(pressure, **figures)


def test_psi_below_the_range_raises_the_question_too_and_heavy_cuts_do_not():
    with pytest.raises(InputError, match=r"outside 13 to 115 kPa: is it in psi\? Then write 62.1 kPa"):
        Fuel.from_measurements(9, 50, 100)
    assert Fuel.from_measurements(16, t10_degc=90, t50_degc=105).limit_degc(101.325) > 80
    assert Fuel.from_measurements(14, as_printed=["vapour_pressure"]).limit_degc(101.325) > 80


def test_a_fraction_of_ethanol_is_asked_about():
    fuel = Fuel.from_measurements(60, 55, 100, ethanol_vol=0.10)
    blend = float(Fuel.from_measurements(60, 55, 100, ethanol_vol=10).limit_degc(101.325))
    assert "Or is it 10 vol-%, written as a fraction?" in fuel.questions[0]
    assert float(fuel.limit_degc(101.325)) - blend <= 1.01 * fuel.limit_uncertainty_degc
    kept = Fuel.from_measurements(60, 55, 100, ethanol_vol=0.10, as_printed=["ethanol"])
    assert not kept.questions
    assert kept.limit_uncertainty_degc < 1
    assert not Fuel.from_measurements(60, 55, 100, ethanol_vol=0.5).questions[1:]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"vapour_pressure_kpa": "60"}, "vapour pressure is '60', which is not a number"),
        ({"vapour_pressure_kpa": None}, "vapour pressure is missing: give it as a number of 13 to 115 kPa"),
        ({"vapour_pressure_kpa": 60, "t10_degc": "55"}, "T10 is '55', which is not a number"),
        ({"vapour_pressure_kpa": [60]}, "which is not a number"),
        ({"vapour_pressure_kpa": 60, "ethanol_vol": "10"}, "ethanol is '10', which is not a number"),
        ({"vapour_pressure_kpa": True}, "which is not a number"),
    ],
)
def test_a_value_that_is_not_a_number_is_one_sentence(given, message):
    with pytest.raises(InputError, match=message):
        Fuel.from_measurements(**given)


def test_an_assumed_t10_has_four_degrees_of_uncertainty():
    measured, assumed = Fuel.from_measurements(60, 55, 100), Fuel.from_measurements(60, 55, 100, t10_assumed=True)
    assert assumed.limit_uncertainty_degc**2 - measured.limit_uncertainty_degc**2 == pytest.approx((0.2 * 4) ** 2, abs=0.1)
    assert float(assumed.limit_degc(101.325)) == pytest.approx(float(measured.limit_degc(101.325)), abs=0.1)


@pytest.mark.parametrize("t50", [71.1, 93.3, 104.4])
def test_missing_ethanol_content_is_reported_and_the_limit_with_it_is_inside_the_95_percent(t50):
    unsaid, none, ten = (Fuel.from_measurements(62.05, 55, t50, 165.6, vol) for vol in (None, 0, 10))
    limits = [float(fuel.limit_degc(101.325)) for fuel in (unsaid, none, ten)]
    assert limits[0] == limits[1]
    assert 0 < limits[0] - limits[2] <= 1.96 * unsaid.limit_uncertainty_degc
    assert unsaid.limit_uncertainty_degc >= max(none.limit_uncertainty_degc, ten.limit_uncertainty_degc - 1e-9)
    (said,) = [line for line in unsaid.describe() if "Ethanol is not given: counted as 0 %" in line]
    then, lower = map(float, re.search(r"then the limit is (\d+) °C, ([\d.]+) °C lower", said).groups())
    assert then == pytest.approx(limits[2], abs=0.8)
    # the mixture of a sheet may differ from its figures by this much
    assert lower == pytest.approx(limits[0] - limits[2], abs=0.4)
    assert 'Write ethanol = "10 %"' in said
    assert not any("not given" in line for fuel in (none, ten) for line in fuel.describe())
    assert bool(unsaid.questions) == (t50 < 77)  # D4814's least T50 without ethanol, classes AA to C
    assert not none.questions


def test_with_a_measured_limit_no_ethanol_content_is_needed():
    assert not any("Ethanol" in line for line in Fuel.from_measurements(63.5, 53, 90, t_vl20_degc=56).describe())


def test_a_low_t50_names_the_missing_ethanol_content():
    asked = Fuel.from_measurements(62.05, 55, 56, 165.6).questions
    assert "Or it holds ethanol, which is not given" in asked[0]
    assert not any("ethanol" in line for line in Fuel.from_measurements(62.05, 55, 56, 165.6, 0).questions)


US = Shown("us")


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        ({"t10_degc": 121.1111, "t50_degc": 126.6667}, "T10 250 °F is outside 77 to 212 °F"),
        ({"t10_degc": 55, "t50_degc": 48.8889}, r"T50 120 °F is not above T10 131 °F: a distillation rises"),
        ({"vapour_pressure_kpa": 137.8951}, "vapour pressure 20 psi is outside 1.89 to 16.7 psi"),
    ],
)
def test_figures_are_quoted_in_the_readers_units(figures, message):
    with pytest.raises(InputError, match=message):
        Fuel.from_measurements(**{"vapour_pressure_kpa": 62.0528, **figures}, shown=US)
    (question,) = Fuel.from_measurements(100, 75, 120, ethanol_vol=0, shown=US).questions
    assert "T10 167 °F does not fit a vapour pressure of 14.5 psi" in question
    assert "degC" not in question
    assert "kPa" not in question


@pytest.mark.parametrize(
    ("figures", "why"),
    [
        ((60, None, 100), "T10 is not given"),
        ((60,), "T10 and T50 are not given"),
        ((60, 55, 75, 160, 40), "With 40 % ethanol"),
        ((60, None, None, None, 40), "With 40 % ethanol"),
    ],
)
def test_the_note_gives_the_one_reason_why_the_equation_is_not_used(figures, why):
    assert [note for note in Fuel.from_measurements(*figures).notes if why in note and " or " not in note]

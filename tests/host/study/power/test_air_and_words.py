"""Weather, units and words of a power comparison: each bound just inside and just outside, sentences word by word."""

from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import gain_words, power_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.power import correction, driven, peaks, product, weathers
from hotfuel.study.power.columns import Column
from hotfuel.study.power.delimited import Table
from hotfuel.study.power.facts import Facts
from hotfuel.study.power.pulls import Pull
from hotfuel.study.power.shape import NOTHING, unknown
from hotfuel.text import signed
from hotfuel.units import Shown

RPM = np.arange(3000.0, 6001.0, 25.0)


def flat(name="p", **more):
    power = np.full(len(RPM), 100.0)
    return Pull(name, RPM, power, power * 1000 / (RPM * 2 * np.pi / 60), **more)


def refused(words, call, *arguments, **options):
    with pytest.raises(InputError, match=words):
        call(*arguments, **options)


def air(kpa, degc=25.0, **more):
    return correction.weather(kpa, degc, **(more or {"relative_humidity_percent": 0.0}))


@pytest.mark.parametrize(
    ("kpa", "degc", "more", "words"),
    [
        (60, 25, {"relative_humidity_percent": 0}, ""), (110, 25, {"relative_humidity_percent": 100}, ""),
        (59.9, 25, {"relative_humidity_percent": 0}, "60 to 110"),
        (110.1, 25, {"relative_humidity_percent": 0}, "60 to 110"), (99, -20, {"dew_point_degc": -40}, ""), (99, 55, {"dew_point_degc": 55}, ""),
        (99, -20.1, {"dew_point_degc": -40}, "-20 to 55"), (99, 55.1, {"dew_point_degc": 0}, "-20 to 55"), (99, 25, {"dew_point_degc": -40.1}, "dew point"),
        (99, 25, {"dew_point_degc": 25.1}, "dew point"), (99, 25, {"relative_humidity_percent": -0.1}, "0 to 100"),
        (99, 25, {"relative_humidity_percent": 100.1}, "0 to 100"), (99, 25, {}, "the humidity once"),
    ],
)  # fmt: skip
def test_weather_within_its_bounds(kpa, degc, more, words):
    if words:
        refused(words, correction.weather, kpa, degc, **more)
    else:
        assert correction.weather(kpa, degc, **more).pressure_kpa == kpa


def test_the_correction_holds_within_seven_per_cent():
    """At 25 degC dry the factor is 1.18 x 99/p - 0.18: 1.07 at 93.456 kPa, 0.93 at 105.243."""
    assert [correction.is_valid(air(kpa)) for kpa in (93.4, 93.5, 105.2, 105.3)] == [False, True, True, False]


def test_sides_in_other_air():
    """1.18 x 99 (1/p - 1/99) is the difference of the factors: 3 % at 96.57 kPa, 0.1 % at 98.916."""
    groups = {"a": [flat("a", measured=True)], "b": [flat("b", measured=True)]}
    for kpa, fits in ((96.6, True), (96.5, False)):
        given = {"a": air(99.0), "b": air(kpa)}
        if fits:
            assert weathers.factors(groups, given, "SAE J1349", None).corrected
        else:
            refused("factors differ by 3", weathers.factors, groups, given, "SAE J1349", None)
    for kpa, same in ((98.92, True), (98.90, False)):
        told = {name: [flat(name, facts=Facts(weather=one))] for name, one in (("a", air(99.0)), ("b", air(kpa)))}
        if same:
            found = weathers.factors(told, None, "SAE J1349", None)
            assert (found.cautions, found.corrected, found.mean("a")) == ((weathers.WeatherNote(weathers.SAME),), False, None)
            assert found.cautions[0].is_condition
        else:
            refused(r"moves a gain by up to 0\.1 %", weathers.factors, told, None, "SAE J1349", None)
            assert weathers.factors(told, None, "SAE J1349", False).mean("b") == pytest.approx(1.18 * 99 / kpa - 0.18)
    partly = {"a": [flat("a", facts=Facts(weather=air(99.0)))], "b": [flat("b")]}
    assert "known of some pulls only" in power_words.weather(weathers.factors(partly, None, "SAE J1349", None).cautions[0])
    assert "No weather was given" in power_words.weather(weathers.factors(groups, None, "SAE J1349", None).cautions[0])


def columns_of(torque_unit, power_unit, share):
    speed = np.linspace(1000.0, 6000, 12)
    nm = np.linspace(200.0, 100, 12)
    values = np.column_stack([speed, nm / {"Nm": 1, "lb-ft": 1.3558179483, "": 1}[torque_unit],
                              share * nm * speed * np.pi / 30000 / {"kW": 1, "hp": 0.745699872, "PS": 0.73549875, "": 1}[power_unit]])  # fmt: skip
    found = {
        "rpm": Column(0, "rpm", "rpm", False),
        "torque": Column(1, "t", torque_unit, False),
        "power": Column(2, "p", power_unit, False),
    }
    return Table(("rpm", "t", "p"), None, values), found, speed


@pytest.mark.parametrize(
    "units", [("Nm", "kW"), ("lb-ft", "hp"), ("Nm", "PS"), ("lb-ft", "kW"), ("lb-ft", "PS"), ("", ""), ("Nm", ""), ("", "kW")]
)
def test_power_is_torque_times_speed(units):
    for share, fits in ((1.0, True), (1.029, True), (0.971, True), (1.031, False), (0.969, False)):
        if fits:
            power, torque, remarks, check = product.power_and_torque(*columns_of(*units, share))
            assert power / (torque * np.linspace(1000.0, 6000, 12) * np.pi / 30000) == pytest.approx(share, rel=1e-4)
            assert check == pytest.approx(share, rel=1e-4)
            assert torque[0] == pytest.approx(200.0, rel=1e-6)
            assert bool(remarks) == ("" in units)
        elif all(units):
            refused(f"{100 * share - 100:+.0f} % off".replace("+", "[+]"), product.power_and_torque, *columns_of(*units, share))


def test_one_column_alone_gives_the_other_or_asks_for_its_unit():
    table, found, speed = columns_of("Nm", "kW", 1.0)
    for role, example in (("torque", "--unit torque=lb-ft"), ("power", "--unit power=hp")):
        alone = {"rpm": found["rpm"], role: found[role]}
        power, torque, remarks, check = product.power_and_torque(table, alone, speed)
        assert power == pytest.approx(table.numbers[:, 2])
        assert torque == pytest.approx(table.numbers[:, 1])
        assert (remarks, np.isnan(check)) == ([], True)
        refused(example, product.power_and_torque, table, {**alone, role: Column(1, "x", "", False)}, speed)


def test_rows_with_little_torque_are_no_evidence_about_the_units():
    table, found, speed = columns_of("Nm", "kW", 1.0)
    table.numbers[:7, 1] *= 1e-3  # wrong where the engine hardly pulls
    assert product.power_and_torque(table, found, speed)[3] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(0.04, 1, "0.0"), (-0.04, 1, "0.0"), (0.06, 1, "+0.1"), (-1.25, 2, "-1.25"), (3.0, 0, "+3")]
)
def test_signed(value, decimals, text):
    assert signed(value, decimals) == text


def headline(word, counts=(3, 4), delta=0.5, more=None, needed=5, estimate=None, sign=1):
    made = SimpleNamespace(
        variant="cool", baseline="warm", verdict=word, gain_percent=3.04 * sign, low_percent=2.5, high_percent=3.6,
        mean_gain_kw=(4.5 * sign, 3.7, 5.3), more=more,
        where=unknown(NOTHING), unlike=(), order=driven.Order(driven.AFTER, 0.256, 0.113), inseparable=("mixture", "spark"),
        allowed=SimpleNamespace(beyond_percent=0.44), pulls_needed=needed, estimate=estimate,
    )  # fmt: skip
    return gain_words.headline(made, counts, (2994.0, 6006.0), delta, Shown("si"))


def test_headlines_word_by_word():
    assert headline(verdicts.HIGHER) == (
        "cool makes more power than warm: +4.5 kW (+3.0 %) on average from 2990 to 6010 rpm, between +2.5 and +3.6 % (3 pulls against 4). How much of it is "
        "mixture or spark cannot be told from these files. At least 0.4 % of it is beyond what fuel of that temperature can do: something else changed, so it "
        "is implausible as an effect of the fuel."
    )
    assert headline(verdicts.LOWER).startswith("cool makes less power than warm: +4.5 kW")
    assert headline(verdicts.DESCRIBED, counts=(1, 4)) == (
        "cool made +4.5 kW (+3.0 %) over warm on average from 2990 to 6010 rpm in single pulls (1 pull against 4), and two pulls of the same engine can "
        "differ by as much. To tell a difference as large as that from chance takes about 5 pulls a side, driven in turn, if pulls of one side differ by 0.5 % "
        "(common practice, no source)."
    )
    less = "cool made 4.5 kW less than warm (-3.0 %) on average from 2990 to 6010 rpm"
    assert headline(verdicts.DESCRIBED, sign=-1).startswith(f"{less} in single pulls")
    assert headline(verdicts.NO_VERDICT, sign=-1).startswith(f"{less}, but that may not be its doing: ")
    assert "To tell a gain of 4 %, the smallest worth having, from chance takes more than 50 pulls a side" in headline(
        verdicts.DESCRIBED, counts=(1, 1), delta=4.0, needed=None
    )
    assert headline(verdicts.NO_VERDICT, estimate=object()).endswith(
        "about 5 pulls a side, driven in turn, judged by how far these pulls of one side differ."
    )
    assert (
        "between +2.5 and +3.6 % against warm on average from 2990 to 6010 rpm, less than 0.5 % either way (3 pulls against 4)."
        in headline(verdicts.NO_DIFFERENCE)
    )
    assert "changed by +0.26 % from one to the next, give or take 0.11)" in headline(verdicts.NO_VERDICT)
    assert headline(verdicts.UNDECIDED).endswith("(3 pulls against 4).")
    more = verdicts.MoreRuns(2, 4)
    assert headline(verdicts.UNDECIDED, more=more).endswith("(3 pulls against 4); 2 to 4 more pulls a side should decide.")


def test_sentences_beside_a_gain_word_by_word():
    peak = peaks.Peak(100.0, 5504.0, 5400.0, 5650.0, (100.0,))
    sharp = peaks.Peak(200.0, 4006.0, 3950.0, 4050.0, (200.0,))
    warm, cool = (
        peaks.Said(
            name, peak, sharp, (90.0,), (180.0,), fuel_degc=degc, margin_degc=margin, intake_degc=degc + 5, lambda_ratio=ratio
        )
        for name, degc, margin, ratio in (("warm", 48.0, 0.04, 0.870), ("cool", 24.0, 12.0, 0.850))
    )
    assert gain_words.peaks(warm, cool, (4.5, 3.7, 5.3), (2.0, np.nan, np.nan), Shown("si")) == (
        "At the peak, cool: 100.0 kW at 5400 to 5650 rpm, 200.0 Nm at 4010 rpm; warm: 100.0 kW at 5400 to 5650 rpm, 200.0 Nm at 4010 rpm. "
        "That is +4.5 kW (+3.7 to +5.3) and +2.0 Nm."
    )
    assert gain_words.beside(warm, cool, "mixture shifted", Shown("si")) == [
        "With cool: fuel 24.0 °C against 48.0 °C, intake air 29.0 °C against 53.0 °C.",
        "The smallest margin to boiling there was +12.0 °C with cool and 0.0 °C with warm.",
        "Lambda was 0.870 with warm and 0.850 with cool: the mixture shifted by -2.3 %, and part of any gain comes from that.",
    ]
    assert gain_words.per_degree((0.18, 0.09, 0.27), -24.0, Shown("us")) == (
        "With fuel 43.2 °F hotter that is +0.100 % per °F cooler, between +0.050 and +0.150, provided that nothing but the fuel changed."
    )
    assert "+0.26 % (give or take 0.11)" in gain_words.drift(driven.Order(driven.FITTED, 0.256, 0.113))

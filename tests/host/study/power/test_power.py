"""Gains in power whose true size is known."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import gain_words, power_words, shape_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.band import curve_difference
from hotfuel.study.power import correction, power
from hotfuel.study.power.curves import bins
from hotfuel.text import first_upper
from hotfuel.units import Shown
from made_pulls import BASE_KW, RPM, drifting, pull, sides


def column(value):
    return np.full(len(RPM), value)


def gain_sentences(result, units="si"):
    """The sentences of the first gain."""
    return power_words.sentences(result, result.gains[0], Shown(units))


def where(result, units="si"):
    """Where on the curve the first gain is, in words."""
    return shape_words.where(result.gains[0].where, Shown(units))


ABBAABBA = ["w0", "c1", "c2", "w3", "w4", "c5", "c6", "w7"]
UNNUMBERED = str.maketrans("01234567", "abcdefgh")


def test_a_gain_is_found_with_an_interval_that_contains_it():
    result = power.compare_pulls(sides(3.0, 4), "warm")
    gain = result.gains[0]
    assert gain.verdict == verdicts.HIGHER
    assert gain.low_percent < 3.0 < gain.high_percent
    assert gain.high_percent - gain.low_percent < 2
    assert "cool makes more power than warm: +" in gain_sentences(result)[0]
    assert power_words.finding(result, Shown("si")) == first_upper(gain_sentences(result)[0])
    assert result.band_rpm == (RPM[0], RPM[-1])  # whole bins, over what all pulls share
    for curve in result.curves:  # of the mean of four pulls, in logs; t of 3 degrees of freedom, Student's table
        logs = np.log(curve.each_kw)
        np.testing.assert_allclose(curve.torque_nm(curve.mean_kw), 9549.297 * curve.mean_kw / curve.rpm, rtol=1e-6)
        half = 3.18245 * logs.std(axis=0, ddof=1) / 2
        np.testing.assert_allclose(
            np.log([curve.low_kw, curve.high_kw]), [logs.mean(axis=0) - half, logs.mean(axis=0) + half], rtol=1e-6
        )
    assert (
        "How much of it is mixture, spark or heat soak cannot be told" in gain_sentences(result)[0]
    )  # in the headline, not below it
    assert " kW (+" in gain_sentences(result)[0]


@pytest.mark.parametrize(
    ("systems", "units"),
    [
        (("us", "us", "si"), "us"),
        (("si", "si", "us"), "si"),
        (("us", "si"), "si"),
        (("", ""), ""),
        ((), ""),
        (("us",), "us"),
        (("si", ""), "si"),
    ],
)
def test_units_are_recognised_in_most_files(systems, units):
    assert power.units_of([pull(f"p{i}", system=system) for i, system in enumerate(systems)]) == units


def test_single_pulls_prove_nothing_and_the_report_says_so():
    result = power.compare_pulls(sides(3.0, 1), "warm")
    assert result.gains[0].verdict == verdicts.DESCRIBED
    assert "two pulls of the same engine can differ by as much" in gain_sentences(result)[0]
    assert (
        "takes about 3 pulls a side, driven in turn" in gain_sentences(result)[0]
    )  # 3 % at 0.5 %: two a side, and three to tell a drift
    assert np.isnan(result.gains[0].low_percent)
    assert sorted(result.proposed_order) == ["cool"] * 4 + ["warm"] * 4


@pytest.mark.slow
def test_coverage_of_the_gain_and_of_the_whole_curve():
    gain_held = curve_held = 0
    for seed in range(120):
        gain = power.compare_pulls(sides(0.7, 3, seed=seed), "warm").gains[0]
        gain_held += gain.low_percent <= 0.7 <= gain.high_percent
        curve_held += bool(np.all((gain.band_low_percent <= 0.7) & (gain.band_high_percent >= 0.7)))
    # 95 % of 120, less three standard errors of 2 %
    assert gain_held / 120 >= 0.95 - 0.06
    assert curve_held / 120 >= 0.95 - 0.06


@pytest.mark.slow
def test_the_band_holds_for_curves_of_several_kinds():
    rng = np.random.default_rng(8)
    x = np.linspace(0, 1, 16)
    root = np.linalg.cholesky(np.exp(-0.5 * ((x[:, None] - x) / 0.25) ** 2) + 1e-9 * np.eye(16))
    for level, wiggle, white in ((0.5, 0.2, 0.1), (0.5, 0.0, 0.02), (0.1, 0.1, 0.3)):
        held = 0
        for seed in range(150):
            y = rng.normal(0, level, (8, 1)) + wiggle * rng.normal(size=(8, 16)) @ root.T + rng.normal(0, white, (8, 16))
            band = curve_difference(y, np.column_stack([np.repeat([0, 1], 4), np.ones(8)]), seed=seed)
            held += bool(np.all((band.low <= 0) & (band.high >= 0)))
            assert band.simultaneous >= band.single
        assert held / 150 >= 0.95 - 0.054  # three standard errors of 1.8 %


@pytest.mark.parametrize("order", ["wccwwc", "wcwcwc", "wccwwccw"])
def test_a_straight_drift_is_removed_from_six_pulls_up(order):
    result = power.compare_pulls(drifting(0.7, order, -0.4, seed=3), "warm")
    (gain,) = result.gains
    assert gain.drift_removed
    assert gain.verdict == verdicts.HIGHER
    assert gain.low_percent < 0.7 < gain.high_percent
    assert f"From pull to pull power changed by {gain.order.trend_percent:+.2f} %" in gain_sentences(result)[2]
    assert gain.order.trend_percent == pytest.approx(-0.4, abs=0.1)


def test_one_side_after_the_other_gives_the_trend_and_no_verdict():
    for drift in (-0.4, 0.4):
        result = power.compare_pulls(drifting(0.0, "wwwwcccc", drift), "warm")
        gain = result.gains[0]
        assert gain.verdict == verdicts.NO_VERDICT
        assert gain.order.trend_percent == pytest.approx(drift, abs=0.1)
        assert f"changed by {gain.order.trend_percent:+.2f} % from one to the next" in gain_sentences(result)[0]
        assert "that may not be its doing: all pulls of one side came before all of the other" in gain_sentences(result)[0]
        assert f"takes about {gain.pulls_needed} pulls a side, driven in turn" in gain_sentences(result)[0]
        assert sorted(result.proposed_order) == ["cool"] * 4 + ["warm"] * 4
        # an interval would show the drift as if it were the change: 23 of 32 such held a known gain
        assert np.isnan([gain.low_percent, gain.high_percent, *gain.band_low_percent, *gain.band_high_percent]).all()


def test_an_unknown_order_gives_no_verdict():
    hidden = drifting(3.0, "wccwwccw", 0.0, names=lambda name: name.translate(UNNUMBERED))
    result = power.compare_pulls(hidden, "warm")
    assert result.gains[0].verdict == verdicts.NO_VERDICT
    assert result.gains[0].low_percent < 3.0 < result.gains[0].high_percent  # nothing says that a drift is in it
    assert "name the order." in gain_sentences(result)[0]
    assert (
        power.compare_pulls(hidden, "warm", order=[n.translate(UNNUMBERED) for n in ABBAABBA]).gains[0].verdict == verdicts.HIGHER
    )


def test_four_pulls_need_a_balanced_order():
    assert power.compare_pulls(drifting(3.0, "wccw", 0.1), "warm").gains[0].verdict == verdicts.HIGHER
    lopsided = power.compare_pulls(drifting(3.0, "wcwc", 0.1), "warm")
    assert lopsided.gains[0].verdict == verdicts.NO_VERDICT
    assert "one side stood earlier in the order" in gain_sentences(lopsided)[0]


def test_peaks_and_useful_speeds_are_reported():
    """Peaks of a curve by hand: 150 kW at 5500 rpm by its formula; torque is power over speed, with its peak where the derivative is zero."""
    result = power.compare_pulls(sides(3.0, 3, spread=0.0), "warm")
    warm, cool = result.said
    fine = np.arange(2600, 6400, 1.0)
    kw = 150 * np.exp(-(((fine - 5500) / 3500) ** 2))
    nm = kw * 1000 / (fine * 2 * np.pi / 60)
    assert warm.power_kw.value == pytest.approx(150, rel=2e-3)
    assert warm.power_kw.rpm == pytest.approx(5500, abs=40)
    assert warm.torque_nm.value == pytest.approx(nm.max(), rel=2e-3)
    assert warm.torque_nm.rpm == pytest.approx(fine[nm.argmax()], abs=60)
    assert warm.power_kw.is_flat  # within half a per cent over 2 x 3500 x sqrt(0.005) = 495 rpm
    assert warm.power_kw.rpm_high - warm.power_kw.rpm_low == pytest.approx(495, abs=40)
    gain = result.gains[0]
    assert gain.peak_gain_kw[0] == pytest.approx(4.5, rel=0.03)
    assert gain.peak_gain_kw[1] < 4.5 < gain.peak_gain_kw[2]
    assert cool.power_kw.value / warm.power_kw.value == pytest.approx(1.03, abs=1e-3)
    assert f"warm: {150 / 0.7457:.1f}"[:9] in gain_sentences(result, "us")[1]
    assert "hp" in gain_sentences(result, "us")[1]
    assert "lb-ft" in gain_sentences(result, "us")[1]
    assert "kW" not in gain_sentences(result, "us")[1]


def test_without_lambda_a_gain_cannot_be_separated_from_mixture():
    assert power.compare_pulls(sides(3.0, 4), "warm").gains[0].mixture == power.NOT_SEPARABLE
    same = sides(3.0, 4, baseline={"lambda_ratio": column(0.870)}, variant={"lambda_ratio": column(0.872)})
    assert power.compare_pulls(same, "warm").gains[0].mixture == power.SEPARABLE
    moved = sides(3.0, 4, baseline={"lambda_ratio": column(0.87)}, variant={"lambda_ratio": column(0.85)})
    result = power.compare_pulls(moved, "warm")
    assert result.gains[0].mixture == power.MIXTURE_SHIFTED
    assert any("shifted by -2.3 %" in line for line in gain_sentences(result))


def test_a_gain_above_the_ceiling_is_implausible():
    """24 degC: charge cooling at most 1.6 %, a fixed jet passes 1.5 to 1.7 % more fuel, which does not count when the measured
    mixture stayed the same."""
    same = {"lambda_ratio": column(0.87)}
    fuels = {"baseline": {"fuel_degc": column(48.0), **same}, "variant": {"fuel_degc": column(24.0), **same}}
    result = power.compare_pulls(sides(3.0, 4, **fuels), "warm")
    (big,) = result.gains
    assert big.implausible
    assert "implausible" in gain_sentences(result)[0]
    assert big.gain_per_degc is None
    assert big.as_dict()["gain_per_degc"] is None
    assert gain_words.NO_RATE in gain_sentences(result)
    assert not any("% per °" in sentence for sentence in gain_sentences(result))
    loss = power.compare_pulls(sides(-3.0, 4, **fuels), "warm").gains[0]
    assert loss.rate_withheld  # cooler fuel and the same mixture cannot take power
    assert big.allowed.beyond_percent == pytest.approx(big.low_percent - big.allowed.allowed_percent[1])
    assert big.allowed.allowed_percent == pytest.approx((0.46, 1.65), abs=0.06)
    open_mixture = {side: {"fuel_degc": values["fuel_degc"]} for side, values in fuels.items()}
    assert not power.compare_pulls(sides(3.0, 4, **open_mixture), "warm").gains[0].implausible  # up to 3.3 % with the jet
    assert power.compare_pulls(sides(5.0, 4, **open_mixture), "warm").gains[0].implausible
    fair = power.compare_pulls(sides(0.9, 4, **fuels), "warm").gains[0]
    assert not fair.implausible
    assert fair.expected.fuel_cooler_degc == pytest.approx(24)
    assert not fair.rate_withheld
    assert fair.gain_per_degc[1] < 0.9 / 24 < fair.gain_per_degc[2]
    stated = power.compare_pulls(sides(5.0, 4), "warm", fuel_degc={"warm": 48.0, "cool": 24.0}).gains[0]
    assert stated.implausible
    # in the reader's units: 24 degC are 43.2 degF, a gain for each of them is less by 1.8
    words = " ".join(gain_sentences(power.compare_pulls(sides(0.9, 4, **fuels), "warm"), "us"))
    assert "With fuel 43.2 °F cooler" in words
    assert f"{fair.gain_per_degc[0] / 1.8:+.3f} % per °F" in words
    assert "°C" not in words


def test_air_flow_is_used_where_present():
    groups = sides(1.0, 3, baseline={"air_flow": column(400.0)}, variant={"air_flow": column(404.0)})
    result = power.compare_pulls(groups, "warm")
    assert result.gains[0].air_flow_percent == pytest.approx(1.0)
    assert any("+1.0 % air" in line for line in gain_sentences(result))


AIR = correction.weather(98, 30, relative_humidity_percent=50)


def test_weather_corrects_both_sides_and_marks_what_is_outside():
    groups = sides(0.7, 3)
    plain = power.compare_pulls(groups, "warm")
    corrected = power.compare_pulls(groups, "warm", weather={"warm": AIR, "cool": AIR})
    assert corrected.gains[0].gain_percent == pytest.approx(plain.gains[0].gain_percent)
    assert corrected.curves[0].mean_kw == pytest.approx(plain.curves[0].mean_kw * 1.0486, rel=1e-4)
    assert corrected.standard == "SAE J1349"
    assert corrected.absolute_figures_count
    high = correction.weather(85, 30, relative_humidity_percent=50)
    outside = power.compare_pulls(groups, "warm", weather={"warm": high, "cool": high})
    assert not outside.absolute_figures_count
    assert any("absolute figures do not count" in line for line in power_words.weakens(outside))
    other = correction.weather(94.0, 30, relative_humidity_percent=50)
    with pytest.raises(InputError, match="factors differ by"):
        power.compare_pulls(groups, "warm", weather={"warm": AIR, "cool": other})


def test_a_corrected_file_is_asked_about_and_never_corrected_twice():
    groups = sides(0.7, 3, baseline={"corrected": True}, variant={"corrected": True})
    both = {"warm": AIR, "cool": AIR}
    with pytest.raises(InputError, match="corrected already: say whether they are"):
        power.compare_pulls(groups, "warm", weather=both)
    once = power.compare_pulls(groups, "warm", weather=both, already_corrected=True)
    assert once.curves[0].mean_kw == pytest.approx(power.compare_pulls(groups, "warm").curves[0].mean_kw)
    assert power.compare_pulls(groups, "warm", weather=both, already_corrected=False).standard == "SAE J1349"


def test_the_shape_of_the_curve_in_words():
    slope = 6 * (RPM - 4500) / 2000
    crossing = power.compare_pulls(sides(slope, 4, spread=0.1), "warm")
    near = int(where(crossing).split("cross near ")[1].split(" rpm")[0])
    assert abs(near - 4500) <= 250  # the width of a bin
    assert "a loss low down and a gain up top" in where(crossing)
    # on average; that the curves cross is still in the first sentence
    assert crossing.gains[0].verdict == verdicts.NO_DIFFERENCE
    assert gain_sentences(crossing)[0].endswith(where(crossing))
    assert where(crossing) not in gain_sentences(crossing)[1:]
    for words, at in (("low down", RPM < 3800), ("in the middle", (RPM > 3850) & (RPM < 5150)), ("up top", RPM > 5200)):
        shape = where(power.compare_pulls(sides(np.where(at, 3.0, 0.3), 4, spread=0.1), "warm"))
        assert f"a gain {words} (" in shape
        assert "% more than over the rest of the curve" in shape
    assert "over the whole range" in where(power.compare_pulls(sides(4.0, 4, spread=0.1), "warm"))
    assert "over the whole range" in where(power.compare_pulls(sides(-4.0, 4, spread=0.1), "warm"))
    for kw in (3.0, -3.0):  # the same power at every speed is twice the per cent at low speed
        same = power.compare_pulls(sides(100 * kw / BASE_KW, 4, spread=0.1), "warm")
        assert (
            f"The {'gain' if kw > 0 else 'loss'} is about the same number of hp throughout, which is more per cent low down"
            in where(same, "us")
        )
        assert "low down (" not in gain_sentences(same, "us")[0]
        assert where(same, "us") in gain_sentences(same, "us")
    assert "It is a gain low down (" in where(
        power.compare_pulls(sides(100 * np.where(RPM < 3800, 6.0, 1.0) / BASE_KW, 4, spread=0.1), "warm")
    )
    # 2 % and 2.4 % with a spread of 0.1 % from point to point: not a difference that the pulls can show
    nearly = power.compare_pulls(sides(np.where(RPM > 5200, 2.03, 2.0), 3, spread=0.3), "warm")
    assert "over the whole range" in where(nearly)
    assert "stands out" in where(power.compare_pulls(sides(0.0, 3), "warm"))


def test_statements_about_a_part_of_the_curve_are_seldom_false():
    """A gain that is the same everywhere, 40 reports: a third is reported as different in 5 % of them, more than 7 of 40 once in a thousand."""
    shapes = [where(power.compare_pulls(sides(3.0, 3, seed=seed, spread=0.2), "warm")) for seed in range(40)]
    assert sum("over the whole range" not in shape for shape in shapes) <= 7


def test_pulls_over_different_speeds_are_compared_where_they_overlap():
    rng = np.random.default_rng(0)
    groups = {
        "a": [pull("a", rng=rng, rpm=np.arange(2000, 6001, 40.0))],
        "b": [pull("b", 1.0, rng=rng, rpm=np.arange(3000, 6600, 55.0))],
    }
    grid = bins([*groups["a"], *groups["b"]])
    assert grid.rpm[0] - grid.width / 2 >= 3000
    assert grid.rpm[-1] + grid.width / 2 <= 6000


@pytest.mark.parametrize(
    ("groups", "options", "words"),
    [
        ({}, {}, "no variant"),
        ({"warm": [pull("w")]}, {}, "only the variant"),
        ({"warm": [pull("w")], "cool": []}, {}, "cool has no pull"),
        ({"warm": [pull("w")], "cool": [pull("c", 60.0)]}, {}, "two engines"),
        (
            {"warm": [pull("w", rpm=np.arange(1000, 2000, 50.0))], "cool": [pull("c", rpm=np.arange(5000, 6500, 50.0))]},
            {},
            "share no engine speed",
        ),
        ({"warm": [pull("w")], "cool": [pull("c")]}, {"weather": {"warm": AIR}}, "weather is missing for cool"),
        ({"warm": [pull("w")], "cool": [pull("c")]}, {"order": ["w"]}, "order must name every pull once"),
        ({"warm": [pull("w")], "cool": [pull("c")]}, {"bin_rpm": 5.0}, "50 to 1000 rpm"),
        ({"warm": [pull("w")], "cool": [pull("c")]}, {"standard": "own", "weather": {"warm": AIR, "cool": AIR}}, "is unknown"),
        ({"warm": [pull("w")], "cool": [pull("c")]}, {"standard": "own"}, "is unknown"),
        ({"warm": [pull("w"), pull("w")], "cool": [pull("c", 1.01)]}, {}, "same figures as w"),
        ({"warm": [pull("w", corrected=True)], "cool": [pull("c", 1.01)]}, {}, "compare like with like"),
    ],
)
def test_bad_input_is_one_sentence(groups, options, words):
    with pytest.raises(InputError, match=words) as caught:
        power.compare_pulls(groups, "warm", **options)
    assert "\n" not in str(caught.value)


def test_every_result_converts_to_json():
    import json

    from hotfuel.cli.shared import plain

    result = power.compare_pulls(sides(0.7, 3), "warm")
    text = json.dumps(plain(power_words.as_dict(result, Shown("us"))), allow_nan=False)
    (gain,) = json.loads(text)["gains"]
    assert (gain["variant"], gain["sentences"]) == ("cool", gain_sentences(result, "us"))

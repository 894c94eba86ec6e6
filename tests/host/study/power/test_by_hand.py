"""Curves, peaks and orders against figures calculated by hand, and each bound just inside and just outside."""

import datetime

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import shape_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.band import CurveDifference
from hotfuel.study.power import alike, curves, decided, driven, gain, peaks, power, shape
from hotfuel.study.power.facts import Facts
from hotfuel.study.power.pulls import Pull
from hotfuel.units import Shown

RPM = np.arange(3000.0, 6001.0, 25.0)


def flat(name="p", kw=100.0, rpm=RPM, **more):
    power = np.broadcast_to(np.asarray(kw, dtype=float), rpm.shape)
    return Pull(name, rpm, power, power * 1000 / (rpm * 2 * np.pi / 60), **more)


def refused(words, call, *arguments, **options):
    with pytest.raises(InputError, match=words):
        call(*arguments, **options)


def test_bins_over_the_range_that_pulls_share():
    one, other = flat(rpm=np.arange(2000.0, 5001.0, 50)), flat(rpm=np.arange(3000.0, 6001.0, 50))
    grid = curves.bins([one, other])
    assert (grid.width, len(grid.rpm), grid.band) == (250.0, 8, (3000.0, 5000.0))
    assert grid.rpm.tolist() == [3125.0 + 250 * i for i in range(8)]
    narrow = curves.bins([flat(rpm=np.linspace(3000, 3500, 9))])
    assert (narrow.width, len(narrow.rpm), narrow.band) == (62.5, 8, (3000.0, 3500.0))
    refused("share 499 rpm", curves.bins, [flat(rpm=np.linspace(3000, 3499, 9))])
    refused("share 0 rpm", curves.bins, [flat(rpm=np.linspace(3000, 3500, 9)), flat(rpm=np.linspace(4000, 4500, 9))])
    off_middle = curves.bins([one, other], 600.0)  # three bins of 600 in 2000: 100 rpm left at each end
    assert (off_middle.band, len(off_middle.rpm)) == ((3100.0, 4900.0), 3)


@pytest.mark.parametrize(("width", "count"), [(50.0, 60), (1000.0, 3), (49.9, None), (1000.1, None)])
def test_widths_of_a_bin(width, count):
    if count is None:
        refused("allowed is 50 to 1000 rpm", curves.bins, [flat()], width)
    else:
        assert len(curves.bins([flat()], width).rpm) == count


@pytest.mark.parametrize(
    ("band", "fits"),
    [
        ((3000, 6000), True),
        ((3000, 3500), True),
        ((5500, 6000), True),
        ((3000, 3499), False),
        ((2999, 4000), False),
        ((5000, 6001), False),
    ],
)
def test_a_band_is_within_the_shared_range(band, fits):
    if fits:
        assert curves.bins([flat()], band_rpm=band).band == band
    else:
        refused("the pulls share 3000 to 6000 rpm", curves.bins, [flat()], band_rpm=band)
    refused("leave 2 over the common 500 rpm", curves.bins, [flat()], 200.0, (3000, 3500))


def test_the_mean_of_a_straight_line_over_a_bin_is_its_middle():
    rising = flat(kw=RPM / 50)
    grid = curves.bins([rising], 500.0)
    np.testing.assert_allclose(np.exp(grid.mean_log_power(rising)), grid.rpm / 50)
    # its mean over ten middles of tenths: middle^2 + width^2 (1 - 1/100) / 12, and 25 rpm between points
    square = flat(kw=(RPM / 500) ** 2)
    np.testing.assert_allclose(np.exp(grid.mean_log_power(square)), (grid.rpm / 500) ** 2 + 0.99 / 12, rtol=2e-5)
    beside = flat(fuel_degc=np.where(RPM > 3100, RPM / 100, np.nan))
    assert grid.side_mean([beside, flat(fuel_degc=RPM / 100 + 2)], "fuel_degc") == pytest.approx(46, abs=0.05)
    assert np.isnan(grid.side_mean([beside, flat()], "fuel_degc"))
    refused(r"p has no power at 3250 rpm", grid.mean_log_power, flat(kw=np.where(RPM < 3600, 0.0, 9.0)))


@pytest.mark.parametrize(("share", "alike_enough"), [(1.29, True), (1.31, False), (1 / 1.29, True), (1 / 1.31, False)])
def test_two_engines(share, alike_enough):
    groups = {"a": [flat("a")], "b": [flat("b", 100 * share)]}
    if alike_enough:
        curves.two_engines(groups)
    else:
        refused(f"b makes {100 * share:.0f} % of the power of a", curves.two_engines, groups)


def test_a_running_mean_leaves_a_straight_line_and_100_rpm_at_each_end():
    speeds, means = peaks.smoothed(RPM, 3 * RPM)
    assert (speeds[0], speeds[-1], speeds[1] - speeds[0]) == (3100.0, 5900.0, 10.0)
    np.testing.assert_allclose(means, 3 * speeds)
    step = peaks.smoothed(RPM, np.where(RPM < 4500, 0.0, 21.0))[1]  # 21 points 10 rpm apart
    assert np.count_nonzero((step > 0.5) & (step < 20.5)) == pytest.approx(21, abs=3)


def test_a_peak_and_the_speeds_that_are_as_good():
    roof = flat(kw=100 - np.abs(RPM - 4500) / 100)  # 0.5 % below its top within 50 rpm; the mean over 200 rpm rounds the top off
    top = peaks.peak([roof, flat(kw=2 * roof.power_kw)], "power_kw", [1.0, 0.5])
    assert top.rpm == 4500
    assert top.value == pytest.approx(100 - 100 * 110 / 210 / 100, abs=0.01)  # mean distance of 21 points 10 rpm apart: 52.4
    assert top.pulls == pytest.approx((top.value, top.value))
    assert (top.rpm_high + top.rpm_low) / 2 == 4500
    assert (top.is_flat, 120 <= top.rpm_high - top.rpm_low <= 200) == (False, True)
    ends = peaks.peak([flat()], "power_kw", [1.0])
    assert (ends.rpm_low, ends.rpm_high, ends.is_flat) == (3100.0, 5900.0, True)
    even = peaks.peak([flat(rpm=np.arange(3000.0, 6011.0, 10))], "power_kw", [1.0])  # 282 speeds, one more than above
    assert (even.rpm_low, even.rpm_high) == (3100.0, 5910.0)
    falling = peaks.peak([flat(kw=130 - RPM / 100)], "power_kw", [1.0])
    assert (falling.rpm, falling.rpm_low) == (3100.0, 3100.0)
    assert falling.rpm_high == pytest.approx(3100 + 0.005 * 99 * 100, abs=10)
    assert not peaks.Peak(1, 1, 100.0, 300.0, ()).is_flat
    assert peaks.Peak(1, 1, 100.0, 300.1, ()).is_flat
    told = peaks.said("a", [flat(kw=RPM / 50), flat(kw=RPM / 25)], 3000, 5000, [1.0, 0.25])
    assert told.mean_power_kw == pytest.approx((80.0, 40.0))


def test_the_gain_of_a_peak_is_the_plain_difference_without_a_fit_or_a_spread():
    fit = decided.fit(np.zeros(2), np.zeros(2), np.array([0.0, 3]), np.array([1.0, 2]))
    assert peaks.gain(None, [1.0, 3], [5.0]) == pytest.approx((3.0, np.nan, np.nan), nan_ok=True)
    assert peaks.gain(fit, [1.0, 1], [1.0, 1]) == pytest.approx((0.0, np.nan, np.nan), nan_ok=True)
    value, low, high = peaks.gain(fit, [1.0, 3], [5.0, 7])
    assert (value, value - low) == pytest.approx((4.0, high - value))
    # Student's t of 2 degrees of freedom times sqrt(2) of the spread, n = 2 and 2
    assert high - value == pytest.approx(4.30265 * 2**0.5)


@pytest.mark.parametrize(
    ("low", "high", "words", "placed"),
    [
        ([1] * 4 + [-9] * 8, [9] * 4 + [-1] * 8, "The curves cross near 360 rpm: a gain low down and a loss up top.", True),
        ([-9] * 4 + [1] * 8, [-1] * 4 + [9] * 8, "The curves cross near 360 rpm: a loss low down and a gain up top.", True),
        ([-1] * 12, [1] * 12, "No part of the curve stands out from the spread of the pulls.", False),
        ([0] * 12, [0] * 12, "No part of the curve stands out from the spread of the pulls.", False),
    ],
)
def test_where_curves_cross(low, high, words, placed):
    rpm = 5.0 + 100 * np.arange(12)
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    band = CurveDifference((low + high) / 2, (high - low) / 2, 3, 1.0, 1.0)
    found = shape.judged(rpm, np.arange(12) // 4, band, band, (band.difference, band))
    assert (shape_words.where(found, Shown("si")), found.is_placed) == (words, placed)


@pytest.mark.parametrize(
    ("more", "half", "words"),
    [
        (
            (1.0, -0.5, -0.5),
            0.4,
            "It is a gain low down (100 to 400 rpm): there 1.0 % more than over the rest of the curve, between 0.6 and 1.4 %.",
        ),
        (
            (0.6, -1.2, 0.7),
            0.3,
            "It is a gain low down and up top (100 to 1200 rpm): there 0.7 % more than over the rest of the curve, between 0.4 and 1.0 %.",
        ),
        ((1.0, -0.5, -0.5), 1.1, "The gain is over the whole range"),
        ((0.49, -0.5, -0.5), 0.1, "The gain is over the whole range"),  # below a quarter of the 2 % over the rest
        ((0.51, -0.5, -0.5), 0.1, "It is a gain low down"),
    ],
)
def test_which_third_gains_more(more, half, words):
    rpm, tested = 100.0 * np.arange(1, 13), np.array(more)
    for sign, word in ((1, "gain"), (-1, "loss")):
        level = np.full(12, 2.0 * sign)
        band = CurveDifference(level, np.ones(12), 3, 1.0, 1.0)
        thirds = CurveDifference(sign * tested, np.full(3, half), 3, 1.0, 1.0)
        found = shape.judged(rpm, np.arange(12) // 4, band, thirds, (level, thirds))
        assert shape_words.where(found, Shown("si")).startswith(words.replace("gain", word))
        assert found.is_placed == words.startswith("It is")


@pytest.mark.parametrize(
    ("kw", "words"),
    [
        ((0.1, 0.0, -0.1), "The gain is about the same number of hp throughout, which is more per cent low down and up top"),
        ((1.0, -0.5, -0.5), "It is a gain low down (100 to 400 rpm)"),
        ((0.1, 1.0, -0.5), "The gain is over the whole range: larger low down and up top in per cent, in the middle in hp."),
        ((0.49, -0.5, -0.5), "The gain is about the same number of hp throughout"),  # below a quarter of the 2 kW over the rest
    ],
)
def test_a_third_is_named_only_where_it_gains_more_in_power_too(kw, words):
    rpm = 100.0 * np.arange(1, 13)
    for sign, word in ((1, "gain"), (-1, "loss")):
        level = np.full(12, 2.0 * sign)
        band = CurveDifference(level, np.ones(12), 3, 1.0, 1.0)
        percent, power = (CurveDifference(sign * np.array(x), np.full(3, 0.3), 3, 1.0, 1.0) for x in ((0.7, -1.4, 0.7), kw))
        found = shape.judged(rpm, np.arange(12) // 4, band, percent, (level, power))
        assert shape_words.where(found, Shown("us")).startswith(words.replace("gain", word))
        assert found.is_placed == words.startswith("It is")


def test_thirds_are_compared_with_the_rest():
    logs = np.zeros((6, 7))
    logs[3:, :3] += 3.0  # of seven bins the first three, 0 to 2, are the first third
    logs += np.array([0.0, 0.1, -0.1, 0.1, 0.0, -0.1])[:, None] * np.array([1.0, -1, 0.5, 0.3, 1, -1, 0.2])
    design = np.column_stack([np.repeat([0.0, 1], 3), np.ones(6)])
    found = shape.shape(np.arange(1.0, 8), logs, design, CurveDifference(np.ones(7), np.ones(7), 3, 1.0, 1.0))
    assert found.more_percent == pytest.approx([3.0, -1.8, -1.8], abs=0.2)  # 3 against 0; 0 against 9/5
    nothing = shape.shape(np.arange(1.0, 8), logs, design, None)
    assert (np.isnan(nothing.more_percent).all(), nothing.is_placed) == (True, False)


START = datetime.datetime(2026, 5, 3, 10, 0)


def test_the_source_of_the_order():
    def order(names, facts=None, **more):
        each = [
            flat(name, facts=facts[i] if facts else Facts(), **{key: value[i] for key, value in more.items()})
            for i, name in enumerate(names)
        ]
        found = driven.in_order({"a": each[:1], "b": each[1:]}, None)
        return found.by, [float(turn) for name in ("a", "b") for turn in found.turns.get(name, ())]

    assert order(["x", "y", "z"], [Facts(driven_at=START + datetime.timedelta(hours=h)) for h in (2, 0, 1)]) == (
        driven.BY_TIMES,
        [2, 0, 1],
    )
    same = [Facts(driven_at=START + datetime.timedelta(hours=h)) for h in (1, 0, 0)]
    assert order(["x", "y", "z"], same, file=["f", "g", "g"], position=[1, 2, 1]) == (
        driven.BY_TIMES_AND_POSITIONS,
        [2, 1, 0],
    )
    assert order(["x", "y", "z"], same, file=["f", "g", "h"], position=[1, 2, 1])[0] == ""
    assert order(["x", "y", "z"], [Facts(number=n) for n in (7, 9, 8)]) == (driven.BY_RUNNING_NUMBERS, [0, 2, 1])
    assert order(["x", "y", "z"], file=["f"] * 3, position=[3, 1, 2]) == (driven.BY_POSITIONS, [2, 0, 1])
    assert order(["run 2 of 3", "run 10 of 3", "run 9 of 3"]) == (driven.BY_NAMES, [0, 2, 1])
    assert order(["warm2", "cool10", "warm9"]) == (driven.BY_NAMES, [0, 2, 1])
    assert order(["w1", "c1", "w2"]) == ("", [])
    assert order(["w", "c1", "w2"]) == ("", [])


@pytest.mark.parametrize(
    ("changed", "what"),
    [
        ({"gear_ratio": 103.1}, ["gear"]), ({"gear_ratio": 102.9}, []), ({"gear_ratio": 96.9}, ["gear"]), ({"sweep_rpm_s": 550.1}, ["sweep rate"]),
        ({"sweep_rpm_s": 549.9}, []), ({"sweep_rpm_s": 449.9}, ["sweep rate"]), ({"starts": {"oil": 85.1}}, ["start temperature"]),
        ({"starts": {"oil": 84.9}}, []), ({"starts": {"oil": 74.9}}, ["start temperature"]), ({"starts": {"intake": 36.0}}, ["start temperature"]),
        ({"gear": 3, "gear_ratio": 130.0}, ["gear"]), ({"gear": None, "gear_ratio": 130.0}, ["gear"]), ({"smoothing": ""}, []),
        ({"smoothing": "5"}, ["smoothing"]),
    ],
)  # fmt: skip
def test_differences_beyond_their_limits(changed, what):
    before = {"gear": 4, "gear_ratio": 100.0, "sweep_rpm_s": 500.0, "starts": {"oil": 80.0, "intake": 30.0}, "smoothing": "3"}
    base, other = ([flat("p", facts=Facts(**{**before, **more}))] for more in ({}, changed))
    assert [one.what for one in alike.unlike("a", base, "b", other, air_corrected=False)] == what
    if changed.get("gear_ratio") == 130.0 and changed["gear"] is None:
        (found,) = alike.unlike("a", base, "b", other, air_corrected=False)
        assert shape_words.unlike(found, Shown("si")) == "engine speed over road speed was +30 % with b: another gear or slip"
    if "intake" in changed.get("starts", {}):
        assert alike.unlike("a", base, "b", other, air_corrected=True) == []


def test_roughness_is_the_scatter_about_the_curve():
    rng = np.random.default_rng(5)
    fine = np.arange(3000.0, 7001.0, 4)
    assert alike.roughness(flat(rpm=fine, kw=100 * (1 + rng.normal(0, 0.01, len(fine))))) == pytest.approx(0.01, rel=0.1)
    assert np.isnan(alike.roughness(flat(rpm=np.linspace(3000, 4000, 19))))
    assert np.isfinite(alike.roughness(flat(rpm=np.linspace(3000, 4000, 20))))
    assert np.isnan(alike.roughness(flat(rpm=np.linspace(3000, 3799, 40))))
    assert np.isfinite(alike.roughness(flat(rpm=np.linspace(3000, 3800, 40))))
    assert np.isfinite(alike.roughness(flat(rpm=np.arange(3000.0, 5001, 100))))
    assert np.isnan(alike.roughness(flat(rpm=np.arange(3000.0, 5101, 101))))


def test_for_curves_smoothed_differently_both_sides_are_named():
    rng = np.random.default_rng(6)
    fine = np.arange(3000.0, 7001.0, 5)
    noise = rng.normal(0, 1, (2, len(fine)))
    for ratio, found in ((2.0, 0), (3.0, 1)):
        rough, smooth = ([flat(rpm=fine, kw=100 * (1 + size * noise[i]))] for i, size in enumerate((0.001 * ratio, 0.001)))
        for sides, more in (((rough, smooth), "a"), ((smooth, rough), "b")):
            said = alike.unlike("a", sides[0], "b", sides[1], air_corrected=False)
            assert len(said) == found
            assert all(f"the curves of {more} are 3 times rougher" in shape_words.unlike(one, Shown("si")) for one in said)
    rough, smooth = ([flat(rpm=fine, kw=100 * (1 + size * noise[0]))] for size in (0.00028, 0.00005))
    assert alike.unlike("a", rough, "b", smooth, air_corrected=False) == []  # only rounding is left


def compared(values, **options):
    """Alternating pulls "b" and "v" with these mean levels in per cent; the gain of "v"."""
    sides = {"b": [], "v": []}
    for at, value in enumerate(values):
        letter = "bvvbbvvb"[at]
        sides[letter].append(flat(f"{letter}{at}", 100 * np.exp((value + 0.01 * np.sin(RPM / 100 + at)) / 100)))
    return power.compare_pulls(sides, "b", **options).gains[0]


def test_what_is_known_about_the_fuel_with_a_gain():
    values = np.array([0.0, 2.0, 2.1, 0.1, -0.1, 1.9, 2.05, 0.05])
    for warm, known, sign in ((148.0, True, 1), (148.1, False, 1), (-52.0, True, -1)):
        found = compared(sign * values, fuel_degc={"b": warm, "v": 48.0})
        assert (found.expected is not None, found.gain_per_degc is not None) == (known, known)
    for warm, told in ((51.0, True), (50.9, False)):  # a gain per degree means nothing for less than three degrees
        assert (compared(values / 5, fuel_degc={"b": warm, "v": 48.0}).gain_per_degc is not None) == told
    assert compared(values, fuel_degc={"b": -52.0, "v": 48.0}).gain_per_degc is None  # hotter fuel gives no power
    found = compared(values, fuel_degc={"b": 60.0, "v": 40.0}, fuel_half_degc={"b": 3.0, "v": 4.0})
    assert found.allowed.fuel_half_degc == pytest.approx(5.0)
    assert compared(values, fuel_degc={"b": 60.0, "v": 40.0}, fuel_half_degc={"b": 3.0}).allowed.fuel_half_degc == pytest.approx(
        8**0.5
    )
    assert found.gain_per_degc == pytest.approx((found.gain_percent / 20, found.low_percent / 20, found.high_percent / 20))
    assert found.gain_percent == pytest.approx(100 * np.expm1(0.02), abs=0.02)
    assert found.more is None
    assert found.mean_gain_kw[0] == pytest.approx(2.02, abs=0.02)  # 2 % of 100 kW, and of the mean of 100 kW over the speed
    assert found.mean_gain_nm[0] == pytest.approx(2.02 * 1000 * np.log(2) / 3000 / (2 * np.pi / 60), rel=0.02)
    assert found.peak_gain_kw[0] == pytest.approx(2.02, abs=0.02)
    assert found.peak_gain_nm[0] == pytest.approx(2.02 * 1000 / (3100 * 2 * np.pi / 60), rel=0.02)
    open_still = compared(np.array([0.0, 0.9, -0.3, 0.6, 0.2, 1.2, 0.4, -0.5]))
    assert (open_still.verdict, open_still.more is not None) == (verdicts.UNDECIDED, True)


def test_a_gain_is_beyond_what_physics_allows_by_its_lower_end():
    values = np.array([0.0, 5.0, 5.1, 0.1, -0.1, 4.9, 5.05, 0.05])
    found = compared(values, fuel_degc={"b": 60.0, "v": 40.0})
    assert found.allowed.beyond_percent == pytest.approx(found.low_percent - found.allowed.allowed_percent[1])
    single = compared(values[:2], fuel_degc={"b": 60.0, "v": 40.0})
    assert (single.verdict, single.implausible, single.more) == (verdicts.DESCRIBED, False, None)


def test_a_bin_without_any_spread_leaves_no_band():
    design = np.column_stack([np.repeat([0.0, 1], 2), np.ones(4)])
    spread = np.array([1.0, -1, 1, -1])[:, None] * np.ones(3)
    level = design @ np.array([[2.0] * 3, [5.0] * 3])
    for size, told in ((1.0, True), (2e-7, True), (5e-8, False), (0.0, False)):
        assert gain._has_spread(level + size * spread, design) == told
    assert not gain._has_spread(level + spread * np.array([1.0, 1, 0]), design)


def test_the_curve_of_single_pulls_is_the_plain_difference():
    single = compared(np.array([0.0, 5.0]))
    np.testing.assert_allclose(single.curve_percent, 100 * np.expm1(0.05), atol=0.05)
    assert np.isnan(single.band_low_percent).all()

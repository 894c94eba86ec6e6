"""Verdicts on runs whose true difference is known, and what is refused or reported."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import compare_words
from hotfuel.session.means import smoothed
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.positions import OrderFault
from hotfuel.study.fixes.summaries import MARGIN, MEAN, PEAK, Cell, mean_and_error, summarise
from hotfuel.text import Size, between, directed
from hotfuel.units import Shown
from made_runs import SOAK, run, sides

SI = Shown("si")
IDLE = Cell(MARGIN, "pump", "idle")


def test_a_difference_of_margins_has_their_sign_and_is_given_in_the_readers_units():
    result = compare_runs(sides([-2, -1, 0], [8, 9, 10]), "before")
    answer = result.answers[0]
    assert answer.verdict == verdicts.HIGHER
    assert answer.difference_degc == pytest.approx(10)
    # pooled t by hand: s = 1, half = t(0.975, 4) sqrt(2/3) = 2.776 x 0.8165
    assert answer.high_degc - answer.low_degc == pytest.approx(2 * 2.77645 * math.sqrt(2 / 3), rel=1e-4)
    assert "18 °F further from boiling" in compare_words.answer(answer, Shown("us"))
    assert "3 runs with after against 3 with before" in compare_words.answer(answer, SI)


def test_inside_delta_is_no_worthwhile_difference_even_if_it_is_real():
    result = compare_runs(sides([60.0, 60.1, 60.2, 60.1], [59.0, 59.1, 59.2, 59.1]), "before")
    assert result.answers[0].verdict == verdicts.NO_DIFFERENCE
    assert (
        compare_runs(sides([60.0, 60.1, 60.2, 60.1], [59.0, 59.1, 59.2, 59.1]), "before", delta_degc=0.5).answers[0].verdict
        == verdicts.LOWER
    )


def test_what_cannot_be_decided_is_undecided_with_more_runs_as_a_range():
    answer = compare_runs(sides([60, 66, 57], [56, 63, 59]), "before").answers[0]
    assert answer.verdict == verdicts.UNDECIDED
    assert 1 <= answer.more.at_least < answer.more.at_most
    assert f"{answer.more.at_least} to" in compare_words.answer(answer, SI)


def test_the_upper_end_of_more_runs_decides_whatever_the_difference():
    # An interval of half the worthwhile difference must always give a verdict.
    for difference in np.linspace(-6, 6, 49):
        narrow = Estimate(difference, 1.4 / 1.96 * 0.99, 1e6, 1, 9, 9, "")
        assert narrow.half_width() < 1.5
        assert verdicts.judge(narrow, 3.0) != verdicts.UNDECIDED


def test_more_runs_are_not_suggested_where_they_cannot_decide():
    """Half the worthwhile difference must be left besides the part that runs do not reduce."""
    told = compare_runs(sides([60, 66, 57], [56, 63, 59], ambient_u_degc=0.3), "before").answers[0]
    plain = compare_runs(sides([60, 66, 57], [56, 63, 59]), "before").answers[0]
    assert told.more.at_least >= plain.more.at_least
    assert not told.more.in_vain
    vain = compare_runs(sides([60, 66, 57], [56, 63, 59], ambient_u_degc=3.0), "before").answers[0]
    assert vain.more.in_vain
    assert "more runs alone will not decide it" in compare_words.answer(vain, SI)


def test_one_run_a_side_is_described_and_not_tested():
    result = compare_runs([run("before", 60, 0), run("after", 50, 1)], "before")
    answer = result.answers[0]
    assert answer.verdict == verdicts.DESCRIBED
    assert math.isnan(answer.low_degc)
    assert "one run on a side" in compare_words.answer(answer, SI)
    assert sorted(result.proposed_order) == ["after"] * 4 + ["before"] * 4


def test_runs_of_one_session_are_not_independent():
    same_day = [run("before", 60 + 0.1 * i, i, session="monday") for i in range(5)] + [
        run("after", 50 + 0.1 * i, 9 + i, session="tuesday") for i in range(5)
    ]
    assert compare_runs(same_day, "before").answers[0].verdict == verdicts.DESCRIBED


def test_switching_inside_sessions_removes_differences_between_sessions():
    rng = np.random.default_rng(4)
    runs = []
    for day, level in enumerate((40.0, 55.0, 70.0)):
        for i, variant in enumerate(("before", "after", "after", "before")):
            value = level - 5 * (variant == "after") + rng.normal(0, 0.5)
            runs.append(run(variant, value, 10 * day + i, session=f"day {day}"))
    answer = compare_runs(runs, "before").answers[0]
    assert answer.verdict == verdicts.LOWER
    assert answer.estimate.method == "mixed model, sessions random"
    assert answer.low_degc < -5 < answer.high_degc < -4
    few = compare_runs(runs[:4], "before").answers[0]
    assert few.estimate.method == "pooled t within sessions"


def test_other_questions_wait_for_the_primary_one():
    rng = np.random.default_rng(1)

    def both(shift_primary, shift_other):
        return [
            run(v, {SOAK: 60 + shift_primary * (v == "after") + e1, IDLE: 50 + shift_other * (v == "after") + e2}, i)
            for i, (v, e1, e2) in enumerate(zip(["before", "after"] * 4, rng.normal(0, 3, 8), rng.normal(0, 0.2, 8), strict=True))
        ]

    undecided = compare_runs(both(0, -10), "before", SOAK)
    # ten degrees with a spread of a fifth of one: too large not to be mentioned, and not what was asked
    assert [a.verdict for a in undecided.answers] == [verdicts.UNDECIDED, verdicts.SEEN]
    small = compare_runs(both(0, -3.2), "before", SOAK)
    assert [a.verdict for a in small.answers] == [verdicts.UNDECIDED, verdicts.NO_VERDICT]
    decided = compare_runs(both(-30, -10), "before", SOAK)
    assert [a.verdict for a in decided.answers] == [verdicts.LOWER, verdicts.LOWER]


def test_the_hardest_phase_is_chosen_from_both_sides_together():
    runs = [
        run(v, {IDLE: 10.0 - i, SOAK: 12.0 - i - (9 if v == "after" else 0)}, i) for i, v in enumerate(("before", "after") * 2)
    ]
    assert compare_runs(runs, "before").primary == SOAK


def test_a_change_confounded_with_order_is_reported_with_a_better_order():
    ordered = [run("before", 60 + 0.1 * i, i) for i in range(3)] + [run("after", 50 + 0.1 * i, 3 + i) for i in range(3)]
    result = compare_runs(ordered, "before")
    assert any("came before" in line for line in compare_words.cautions(result, SI))
    assert result.proposed_order
    assert not any(
        "came before" in line for line in compare_words.cautions(compare_runs(sides([60, 61, 62], [50, 51, 52.5]), "before"), SI)
    )


def test_a_shared_sensors_error_cancels_and_another_ones_is_added():
    def with_sensors(second):
        runs = []
        for i, (variant, value) in enumerate([("before", 60), ("after", 55), ("after", 55.4), ("before", 60.5)]):
            name = "probe 1" if variant == "before" else second
            runs.append(run(variant, value, i, sensor={"pump": name}, sensor_u_degc={"pump": 1.5}))
        return compare_runs(runs, "before")

    shared, other = with_sensors("probe 1"), with_sensors("probe 2")
    widened = math.hypot(shared.answers[0].estimate.standard_error, 1.5 * math.sqrt(2))
    assert other.answers[0].estimate.standard_error == pytest.approx(widened)
    assert not any("same probe" in line for line in compare_words.cautions(shared, SI))
    assert any("same probe" in line for line in compare_words.cautions(other, SI))


def test_mismatches_are_listed():
    runs = sides([60, 61, 62], [50, 51, 52])
    hot = [
        run(
            r.variant,
            r.values,
            i,
            ambient_degc=35.0 if r.variant == "after" else 25.0,
            duration_s=900.0 if r.variant == "after" else 1800.0,
        )
        for i, r in enumerate(runs)
    ]
    lines = " ".join(compare_words.conditions(compare_runs(hot, "before"), SI))
    assert "25.0 °C outside with before and 35.0 °C with after" in lines
    assert "30 min with before and 15 min with after" in lines


def test_the_effect_of_outside_air_on_the_number_is_reported():
    """Two runs of the same car, at 34 and 28 against 30 and 29 degC outside: the air of the second side was 1.5 degC cooler, and 0.8 of that is 1.2."""
    air, peak = [34.0, 30.0, 28.0, 29.0], Cell(PEAK, "pump", "hot soak")
    degc = [45.0 + more + 0.8 * (one - 30.25) for more, one in zip((0, 0, 0.1, 0.1), air, strict=True)]
    runs = [
        run(name, {peak: read - 0.8 * (one - 30.25)}, i, ambient_degc=one, brought_to_degc=30.25)
        for i, (name, read, one) in enumerate(zip(["before", "after"] * 2, degc, air, strict=True))
    ]
    result, us = compare_runs(runs, "before"), Shown("us")
    assert compare_words.finding(result, us).endswith(" That is at the same outside air, 86 °F; as read it was 2.2 °F cooler.")
    assert compare_words.as_dict(result, us)["conditions"][0].endswith(
        "in the interval); as read it was 2.2 °F cooler with after."
    )
    assert compare_words.as_dict(result, us)["conditions"][0].startswith(
        "It was 87.8 °F outside with before and 85.1 °F with after: temperatures are corrected"
    )
    alike = [replace(one, ambient_degc=30.25) for one in runs]
    assert "outside air" not in compare_words.finding(compare_runs(alike, "before"), us)
    assert compare_runs(alike, "before").conditions == ()


def test_a_difference_of_zero_has_no_direction():
    peak, us = Cell(PEAK, "pump", "hot soak"), Shown("us")
    found = compare_runs([run("before", {peak: 50.0}, 0), run("after", {peak: 50.02}, 1)], "before").answers[0]
    assert "was the same as with before;" in compare_words.answer(found, us)
    first = replace(found, verdict=verdicts.NO_VERDICT, fault=OrderFault("before last", "before"))
    assert compare_words.answer(first, us).endswith(" It was the same.")
    assert (
        between(0.02, 3.0, lambda x: Size(abs(x), 1, "°F"), lambda x: "hotter" if x > 0 else "cooler")
        == "between 0.0 °F and 3.0 °F hotter"
    )
    assert (directed(Size(0.04, 1, "°F"), "hotter", "the same"), directed(Size(10.2, 0, "°F"), "hotter", "the same")) == (
        "the same",
        "10 °F hotter",
    )


@pytest.mark.parametrize(
    ("runs", "options", "words"),
    [
        ([], {}, "no variant"),
        ([run("before", 60, 0)], {}, "only the variant"),
        (sides([60, 61], [50, 51]), {"baseline": "bare"}, 'no variant "bare"'),
        (sides([60, 61], [50, 51]), {"delta_degc": 0.0}, "must be above 0"),
        (sides([60, 61], [50, 51]), {"primary": IDLE}, "not every run has"),
        ([run("before", 60, 0, car="Blue saloon"), run("after", 50, 1, car="Green saloon")], {}, "different cars"),
        ([run("before", {SOAK: 1.0}, 0), run("after", {IDLE: 1.0}, 1)], {}, "no place and phase in common"),
        (sides([60, 60], [50, 50]), {}, "equal to the last digit"),
    ],
)
def test_bad_input_is_one_sentence(runs, options, words):
    with pytest.raises(InputError, match=words) as caught:
        compare_runs(runs, **({"baseline": "before"} | options))
    assert "\n" not in str(caught.value)


def test_ten_second_means_and_the_error_inside_a_run():
    t = np.arange(0, 100, 0.5)
    spike = np.where(t == 50.0, 21.0, 0.0)
    assert smoothed(t, spike).max() == pytest.approx(1.0)  # 21 samples in ten seconds
    rng = np.random.default_rng(0)
    errors = [mean_and_error(np.arange(4000.0), rng.normal(0, 1, 4000))[1] for _ in range(40)]
    assert np.mean(errors) == pytest.approx(1 / math.sqrt(4000), rel=0.1)
    memory = 50.0
    slow = []
    for _ in range(40):
        kicks = rng.normal(0, 1, 4000)
        for i in range(1, 4000):
            kicks[i] = kicks[i - 1] * math.exp(-1 / memory) + kicks[i] * math.sqrt(1 - math.exp(-2 / memory))
        slow.append(mean_and_error(np.arange(4000.0), kicks))
    # an AR(1) with a memory of 50 s has an error of sqrt(2 x 50 / 4000)
    assert np.nanmean([e for _, e in slow]) == pytest.approx(math.sqrt(2 * memory / 4000), rel=0.2)
    assert math.isnan(mean_and_error([0.0], [1.0])[1])


def test_a_margin_keeps_its_sign_and_loses_what_a_temperature_gains():
    t = np.arange(60.0)
    values, _ = summarise(t, np.full(60, 50.0), np.full(60, 8.0), "pump", "idle", shift_degc=2.0)
    assert values == {Cell(MEAN, "pump", "idle"): 52.0, Cell(MARGIN, "pump", "idle"): 6.0, Cell(PEAK, "pump", "idle"): 52.0}


@pytest.mark.parametrize(
    ("starts", "airs", "soaked"),
    [
        ((30, 20), (33, 24), None),
        ((30, 20), (28, 28), "before"),
        ((20, 24), (30, 20), "after"),
        ((30, 20), (np.nan, np.nan), "before"),
    ],
)
def test_a_side_that_began_heat_soaked_is_named(starts, airs, soaked):
    """A warmer start on a warmer day is not heat soak."""
    runs = [
        run(variant, 60 + number / 10, number, session=f"{variant} {number}", start_degc=start, ambient_degc=air)
        for variant, start, air in zip(("before", "after"), starts, airs, strict=True)
        for number in range(3)
    ]
    said = [line for line in compare_words.conditions(compare_runs(runs, "before"), SI) if "heat-soaked" in line]
    assert [f"those with {soaked} began heat-soaked" in line for line in said] == ([True] if soaked else [])


def test_a_hotter_season_estimated_air_and_a_warmer_tank_widen_the_interval():
    plain = sides([60, 61, 62], [50, 51, 52])

    def width(after, before):
        changed = [run(r.variant, r.values, i, **(after if r.variant == "after" else before)) for i, r in enumerate(plain)]
        return compare_runs(changed, "before").answers[0].estimate.standard_error

    same = width({}, {})
    assert width({"ambient_degc": 33.0}, {}) == pytest.approx(math.hypot(same, 0.15 * 8))
    assert width({"stock_degc": 30.0}, {"stock_degc": 24.0}) == pytest.approx(math.hypot(same, 6 / math.sqrt(3)))
    assert width({"ambient_u_degc": 3.0}, {}) == pytest.approx(math.hypot(same, 3.0))
    assert width({"ambient_u_degc": 3.0}, {"ambient_u_degc": 3.0}) == pytest.approx(math.hypot(same, 3.0 * math.sqrt(2)))


def test_an_undecided_question_with_a_clear_interval_gives_the_reason():
    """One of several questions at 5 % together: its own interval excludes 0 and it is undecided all the same."""
    cells = [SOAK, *(Cell(MEAN, place, "idle") for place in ("tank", "pump", "carb_inlet", "return"))]
    shifts = dict(zip(cells, (-20.0, -2.5, 0.0, 0.0, 0.0), strict=True))
    runs = [
        run(
            variant,
            {cell: 60 + (shifts[cell] if variant == "after" else 0) + error for cell in cells},
            2 * i + (variant == "after"),
        )
        for i, error in enumerate((-1.0, 1.0, 0.0))
        for variant in ("before", "after")
    ]
    answer = next(a for a in compare_runs(runs, "before", SOAK).answers if a.cell == cells[1])
    assert answer.high_degc < 0
    assert answer.verdict == verdicts.UNDECIDED
    assert "enough for one question alone and is not for one of 4 asked together" in compare_words.answer(answer, SI)

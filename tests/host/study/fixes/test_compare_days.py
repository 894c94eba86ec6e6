"""Verdicts on runs driven over several days, whose true difference is known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.report import compare_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.units import Shown
from made_runs import on_days

SI = Shown("si")


def test_a_side_of_one_day_is_judged_with_the_variation_between_days():
    """However many runs there are, the days themselves may differ: a small change is not decided, a large one is, and the assumption is stated."""
    few, many = [60, 60.1, 59.9, 60.2], [60, 60.1, 59.9, 60.2] * 3
    for low in (few, many):
        runs = on_days(("a" * len(low), "b" * len(low)), low + [x - 4 for x in low])
        result = compare_runs(runs, "a")
        assert result.answers[0].verdict == verdicts.UNDECIDED
        assert result.answers[0].high_degc - result.answers[0].low_degc == pytest.approx(2 * 1.96 * 1.5 * math.sqrt(2), rel=0.05)
        assert any(
            "allows for 1.5 °C (standard) between days, an assumption" in line for line in compare_words.cautions(result, SI)
        )
        assert result.proposed_order
    far = compare_runs(on_days(("aaaa", "bbbb"), few + [x - 9 for x in few]), "a").answers[0]
    assert far.verdict == verdicts.LOWER
    both = compare_runs(on_days(("aabb", "abab"), [60, 60.1, 56, 56.1, 61, 57, 61.2, 57.1]), "a")
    assert not any("an assumption" in line for line in compare_words.cautions(both, SI))


def test_each_day_of_one_side_counts_once():
    values = [60, 60.4, 61, 61.2, 57, 57.2, 55, 55.2]
    answer = compare_runs(on_days(("aa", "aa", "bb", "bb"), values), "a").answers[0]
    means = np.array(values).reshape(4, 2).mean(axis=1)
    half = 4.30265 * math.sqrt((np.var(means[:2], ddof=1) + np.var(means[2:], ddof=1)) / 2)  # pooled t by hand: t(0.975, 2)
    assert answer.difference_degc == pytest.approx(means[2:].mean() - means[:2].mean())
    assert answer.high_degc - answer.low_degc == pytest.approx(2 * half, rel=1e-4)
    assert "4 runs on 2 days with b against 4 on 2 days with a" in compare_words.answer(answer, SI)
    assert answer.as_dict()["unit"] == "day"


def test_days_with_both_sides_are_compared_within_the_day():
    days = np.array([0.0, 6.0, -5.0, 2.0])
    noise = np.array([0.2, -0.3, 0.4, -0.1])
    pairs = [(60 + level, 55 + level + error) for level, error in zip(days, noise, strict=True)]
    values = [x for day, pair in enumerate(pairs) for x in (pair if day % 2 == 0 else pair[::-1])]
    # including the position in the order would leave two degrees of freedom
    answer = compare_runs(on_days(("ab", "ba", "ab", "ba"), values), "a").answers[0]
    half = 3.18245 * np.std(noise, ddof=1) / 2  # paired t by hand: t(0.975, 3)
    assert answer.difference_degc == pytest.approx(-5 + noise.mean())
    assert answer.high_degc - answer.low_degc == pytest.approx(2 * half, rel=1e-4)
    two = compare_runs(on_days(("ab", "ba"), [60, 55, 56, 61]), "a").answers[0]
    assert two.verdict != verdicts.NO_VERDICT  # each was first once
    assert two.estimate.degrees_of_freedom == 2  # too few pairs: runs count one by one, which is conservative


def test_a_third_variant_counts_in_the_positions_of_the_others():
    """Three variants in turn over three days: each is once first, once in the middle and once last, so a car that warms up favours none of them."""
    values = {"a": [60.1, 59.9, 60.0], "b": [40.0, 40.2, 39.9], "c": [55.0, 54.8, 55.1]}
    plan = ("abc", "bca", "cab")
    driven = on_days(
        plan, [values[letter][day] + 0.5 * hour for day, letters in enumerate(plan) for hour, letter in enumerate(letters)]
    )
    answers = {answer.variant: answer for answer in compare_runs(driven, "a").answers if answer.baseline == "a"}
    assert {name: answer.verdict for name, answer in answers.items()} == {"b": verdicts.LOWER, "c": verdicts.LOWER}
    assert answers["b"].difference_degc == pytest.approx(np.mean(values["b"]) - np.mean(values["a"]))
    # without the third, b came before a on two of three days, and nothing shows how much of the difference that is
    two = compare_runs([run for run in driven if run.variant != "c"], "a").answers[0]
    assert two.verdict == verdicts.NO_VERDICT


def test_one_side_first_on_every_day_is_reported():
    always = compare_runs(on_days(("ab", "ab", "ab"), [60, 55, 61, 56.2, 59, 54]), "a")
    assert any(line.startswith("On every day a was driven first") for line in compare_words.cautions(always, SI))
    assert always.answers[0].verdict == verdicts.NO_VERDICT
    assert "a was driven first on every day" in compare_words.answer(always.answers[0], SI)
    assert always.proposed_order
    by_turns = compare_runs(on_days(("ab", "ba", "ab"), [60, 55, 56.2, 61, 59, 54]), "a")
    assert not any("driven first" in line for line in compare_words.cautions(by_turns, SI))


def test_for_one_side_after_the_other_on_one_day_the_drift_is_removed():
    drift = 0.6 * np.arange(8) + np.array([0.1, -0.1, 0.05, 0, -0.05, 0.1, 0, -0.1])
    result = compare_runs(on_days(("aaaabbbb",), (60 + drift).tolist()), "a")
    assert result.answers[0].verdict == verdicts.NO_VERDICT
    assert "all runs with a came before all with b on one day" in compare_words.answer(result.answers[0], SI)
    assert np.isnan(
        [result.answers[0].low_degc, result.answers[0].high_degc]
    ).all()  # an interval would show the drift as if it were the change
    assert any("a steady drift over the day is taken out" in line for line in compare_words.cautions(result, SI))


def test_a_reason_says_day_only_where_the_printed_dates_are_one():
    """Runs of one evening that go on past midnight have two dates; runs cut from one recording are no day's; a day with one side only is no "every day"."""

    def reason(runs):
        return compare_words.answer(compare_runs(runs, "a").answers[0], SI)

    in_turn = on_days(("aaaabbbb",), [60.0, 60.5, 60.2, 60.7, 55.0, 55.4, 55.1, 55.6])
    late = [replace(run, night=run.variant == "b") for run in in_turn]
    assert "all runs with a came before all with b in one go past midnight, and" in reason(late)
    cut = [replace(run, session="one") for run in on_days(("aabb", "ab"), [60.0, 60.5, 55.0, 55.4, 60.2, 55.2])[:4]]
    assert "all runs with a came before all with b in one recording, and" in reason(cut)
    and_more = [*in_turn, *on_days(("", "bb"), [55.3, 55.9])]
    assert "all runs with a came before all with b on the only day that has both, and" in reason(and_more)

    first = on_days(("ab", "ab", "ab"), [60, 55, 61, 56.2, 59, 54])
    nights = [replace(run, night=run.variant == "b") for run in first]
    assert "a was driven first in every go, and" in reason(nights)
    with_more = [*first, *on_days(("", "", "", "bb"), [55.5, 54.8])]
    assert "a was driven first on every day that has both, and" in reason(with_more)
    said = compare_words.cautions(compare_runs(with_more, "a"), SI)
    assert any(line.startswith("On every day with both a was driven first") for line in said)

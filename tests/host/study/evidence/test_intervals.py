"""Differences with their intervals: by hand, against scipy, and what is refused."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.study.evidence.intervals import (
    Estimate,
    described,
    linear,
    runs_needed,
    spread_range,
    two_sample,
    zero_failures_bound,
)
from scipy import stats


def estimate(difference=-3.0, error=1.0, freedom=10.0, spread=2.0, n=6, m=6, **more):
    return Estimate(difference, error, freedom, spread, n, m, "by hand", **more)


def test_an_interval_against_the_table():
    one = estimate()
    assert one.half_width() == pytest.approx(2.228, abs=5e-4)  # Student's table, 10 degrees of freedom
    assert one.half_width(0.9) == pytest.approx(1.812, abs=5e-4)
    assert one.interval() == pytest.approx((-5.228, -0.772), abs=5e-4)
    assert one.interval(0.8) == pytest.approx((-3 - 1.372, -3 + 1.372), abs=5e-4)


@pytest.mark.parametrize("difference", [-3.0, 3.0])
def test_p_values_are_the_error_at_which_the_interval_just_touches(difference):
    one = estimate(difference)
    p = one.p_difference()
    assert p == pytest.approx(2 * stats.t.sf(3, 10))
    assert min(abs(end) for end in one.interval(1 - p)) == pytest.approx(0, abs=1e-9)
    q = one.p_equivalence(4.0)
    assert q == pytest.approx(2 * stats.t.sf(1, 10))
    assert max(abs(end) for end in one.interval(1 - q)) == pytest.approx(4.0)
    assert one.p_equivalence(3.0) == 1.0, "without any room left there is no equivalence"
    assert one.p_equivalence(2.0) == 1.0
    assert one.p_equivalence(3.1) < 1.0


def test_widened_by_what_more_runs_do_not_reduce():
    one = estimate(error=3.0, freedom=5.0)
    wider = one.widened(4.0)
    assert wider.standard_error == pytest.approx(5.0)
    assert wider.degrees_of_freedom == pytest.approx(5 * (25 / 9) ** 2)  # Welch and Satterthwaite
    assert wider.floor == pytest.approx(4.0)
    assert wider.widened(3.0).floor == pytest.approx(5.0)
    assert one.widened(0) is one
    assert estimate(error=1e-3).widened(10.0).degrees_of_freedom == 1e6
    assert (wider.difference, wider.spread) == (one.difference, one.spread)


def test_pooled_below_five_runs_a_side_and_welch_from_there():
    a, b = [1.0, 2.0, 4.0, 3.0], [4.0, 5.0, 9.0, 7.0, 8.0]
    few = two_sample(a, b)
    theirs = stats.ttest_ind(b, a)
    assert (few.method, few.degrees_of_freedom, few.runs_baseline, few.runs_variant) == ("pooled t", 7, 4, 5)
    assert few.interval() == pytest.approx(tuple(theirs.confidence_interval()))
    pooled = np.sqrt((3 * np.var(a, ddof=1) + 4 * np.var(b, ddof=1)) / 7)
    assert few.spread == pytest.approx(pooled)
    a = [*a, 2.5]
    more = two_sample(a, b)
    theirs = stats.ttest_ind(b, a, equal_var=False)
    assert more.method == "Welch"
    assert more.degrees_of_freedom == pytest.approx(theirs.df)
    assert more.interval() == pytest.approx(tuple(theirs.confidence_interval()))
    assert more.difference == pytest.approx(np.mean(b) - np.mean(a))
    assert two_sample(b, [1.0, 2.0, 4.0, 3.0]).method == "pooled t", "either side"


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        ([1.0], [1.0, 2.0], "two runs a side"),
        ([1.0, 2.0], [1.0], "two runs a side"),
        ([1.0, np.nan], [1.0, 2.0], "without a value"),
        ([1.0, 2.0], [1.0, np.inf], "without a value"),
        ([2.0, 2.0], [3.0, 3.0], "equal to the last digit"),
        ([2.0] * 5, [3.0] * 5, "equal to the last digit"),
    ],
)
def test_what_cannot_be_compared_is_refused(a, b, words):
    with pytest.raises(InputError, match=words):
        two_sample(a, b)


def test_linear_with_blocks_by_hand():
    # three days of two runs, one a side: the paired differences are 2, 3 and 4
    y, side = [10.0, 12.0, 20.0, 23.0, 30.0, 34.0], [0, 1, 0, 1, 0, 1]
    days = np.repeat(np.eye(3), 2, axis=0)
    found = linear(y, side, days, "days as blocks")
    assert found.difference == pytest.approx(3)
    assert found.standard_error == pytest.approx(1 / np.sqrt(3))  # the differences' standard deviation 1 over sqrt(3)
    assert found.degrees_of_freedom == 2
    assert found.spread == pytest.approx(1 / np.sqrt(2))
    assert (found.runs_baseline, found.runs_variant, found.method) == (3, 3, "days as blocks")
    again = linear(y, side, np.column_stack([days, days[:, :1], np.full(6, 7.0)]), "repeated columns add none")
    assert again.difference == pytest.approx(3)
    assert again.degrees_of_freedom == 2


def test_linear_names_what_it_needs():
    with pytest.raises(InputError, match="interleave them"):
        linear([1.0, 2.0, 3.0, 5.0], [0, 0, 1, 1], np.array([[0], [0], [1], [1]]), "")
    with pytest.raises(InputError, match="too few runs"):
        linear([1.0, 2.0, 4.0], [0, 1, 1], np.array([[0.0], [1.0], [0.5]]), "")
    one = linear([1.0, 2.0, 4.0, 4.5], [0, 1, 1, 0], np.array([[0.0], [1.0], [0.5], [2.0]]), "")
    assert one.degrees_of_freedom == 1
    with pytest.raises(InputError, match="equal to the last digit"):
        linear([1.0, 2.0, 2.0, 1.0], [0, 1, 1, 0], np.array([[0.0], [1.0], [0.5], [2.0]]), "")


def test_runs_needed_is_the_first_that_is_enough():
    for spread, half_width in ((1.0, 1.0), (2.0, 1.5), (0.2, 3.0)):
        n = runs_needed(spread, half_width)

        def half(runs, spread=spread):
            return stats.t.ppf(0.975, 2 * runs - 2) * spread * np.sqrt(2 / runs)

        assert half(n) <= half_width
        assert n == 2 or half(n - 1) > half_width
    assert runs_needed(1.0, 1.0) == 9
    assert runs_needed(1.0, 1.0, level=0.9) < 9
    assert runs_needed(5.0, 0.1) == 100
    assert runs_needed(5.0, 0.1, most=40) == 40
    at = runs_needed(1.0, 0.28)
    assert runs_needed(1.0, 0.28, most=at) == at
    assert runs_needed(1.0, 0.28, most=at - 1) == at - 1


def test_spread_range_is_chi_squares():
    low, high = spread_range(2.0, 9.0)
    assert low == pytest.approx(2 * np.sqrt(9 / stats.chi2.ppf(0.9, 9)))
    assert high == pytest.approx(2 * np.sqrt(9 / stats.chi2.ppf(0.1, 9)))
    assert spread_range(2.0, 9.0, 0.95)[1] == pytest.approx(2 * np.sqrt(9 / stats.chi2.ppf(0.025, 9)))


def test_no_failure_in_a_few_trials_proves_little():
    assert zero_failures_bound(3) == pytest.approx(1 - 0.05 ** (1 / 3))
    assert zero_failures_bound(1) == pytest.approx(0.95)
    assert zero_failures_bound(1, 0.8) == pytest.approx(0.8)
    assert zero_failures_bound(1, 0.4) == pytest.approx(0.4)
    assert zero_failures_bound(0) == 1.0
    assert zero_failures_bound(59) == pytest.approx(0.0495, abs=1e-4)


@pytest.mark.parametrize("half_width", np.geomspace(0.4, 6.0, 12))
def test_runs_needed_one_by_one(half_width):
    """The first number of runs a side whose interval by Student's t is narrow enough, found by trying each in turn."""
    widths = {n: stats.t.ppf(0.975, 2 * n - 2) * 1.5 * (2 / n) ** 0.5 for n in range(2, 101)}
    assert runs_needed(1.5, half_width) == next((n for n, width in widths.items() if width <= half_width), 100)


@pytest.mark.parametrize("error", [0.5, 1.0, 2.0])
def test_p_values_by_student(error):
    one = Estimate(-1.0, error, 8.0, 1.0, 5, 5, "by hand")
    assert one.p_difference() == pytest.approx(2 * stats.t.sf(1 / error, 8))
    assert one.p_equivalence(4.0) == pytest.approx(2 * stats.t.sf(3 / error, 8))
    assert one.p_equivalence(1.0) == one.p_equivalence(0.5) == 1.0


def test_a_difference_that_nothing_tests_has_its_size_and_no_interval():
    one = described([1.0, 3.0], [5.0])
    assert one.difference == 3.0 and (one.runs_baseline, one.runs_variant) == (2, 1)
    taken_back = two_sample([1, 2, 3], [4, 5, 6]).untested()
    assert taken_back.difference == 3.0
    for each in (one, taken_back):
        assert not each.tested
        assert np.isnan(each.interval(0.99)).all()
    assert two_sample([1, 2, 3], [4, 5, 6]).tested

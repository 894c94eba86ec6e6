"""Verdicts by hand: the position of an interval against the smallest worthwhile difference, several questions at once, how many more runs."""

import pytest
from hotfuel.report.more_runs import words as more_runs_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.verdicts import (
    HIGHER,
    LOWER,
    NO_DIFFERENCE,
    UNDECIDED,
    MoreRuns,
    error_of_verdict,
    holm,
    judge,
    more_runs,
    seen,
)
from scipy import stats


def at(difference, error=1.0, freedom=10.0, spread=2.0, n=6, m=6, **more):
    return Estimate(difference, error, freedom, spread, n, m, "by hand", **more)


# half width 2.228 at 95 %
@pytest.mark.parametrize(
    ("difference", "delta", "verdict"),
    [
        (-2.3, 3.0, LOWER), (2.3, 3.0, HIGHER), (-2.2, 3.0, UNDECIDED), (2.2, 3.0, UNDECIDED), (0.7, 3.0, NO_DIFFERENCE), (-0.7, 3.0, NO_DIFFERENCE),
        (0.8, 3.0, UNDECIDED), (-0.8, 3.0, UNDECIDED), (2.3, 5.0, NO_DIFFERENCE), (-2.3, 5.0, NO_DIFFERENCE), (-2.3, 4.5, LOWER),
    ],
)  # fmt: skip
def test_one_question(difference, delta, verdict):
    assert judge(at(difference), delta) == verdict


def test_a_smaller_error_demands_more():
    assert judge(at(-2.3), 3.0, 0.05) == LOWER
    assert judge(at(-2.3), 3.0, 0.04) == UNDECIDED
    assert judge(at(-2.0), 3.0, 0.10) == LOWER


def test_an_end_exactly_on_the_bound_is_no_verdict():
    exact = at(0.0, error=1.0)
    half = exact.half_width()
    assert judge(exact, half) == UNDECIDED
    assert judge(exact, half * 1.0001) == NO_DIFFERENCE


@pytest.mark.parametrize(("difference", "is_seen"), [(-5.3, True), (5.3, True), (-5.2, False), (5.2, False)])
def test_seen_requires_the_interval_wholly_beyond(difference, is_seen):
    assert seen(at(difference), 3.0, 1) == is_seen


def test_seen_allows_for_the_rows_of_the_report():
    # ten rows: 99.5 %, 3.58 at 10 degrees of freedom
    assert seen(at(-6.6), 3.0, 10)
    assert not seen(at(-6.5), 3.0, 10)


@pytest.mark.parametrize(("difference", "delta"), [(-4.0, 3.0), (0.2, 3.0), (2.0, 5.0), (1.5, 3.0)])
def test_the_error_of_a_verdict_is_where_judge_begins_to_decide(difference, delta):
    one = at(difference)
    error = error_of_verdict(one, delta)
    assert judge(one, delta, error * 1.001) != UNDECIDED
    assert judge(one, delta, error * 0.999) == UNDECIDED


def test_holm_begins_with_the_clearest_and_stops_at_the_first_undecided_one():
    # errors of 0.0025, 0.021 and 0.06 against 0.05/3, 0.05/2, 0.05
    clear, next_, open_ = at(-4.0), at(-2.73), at(-2.1)
    assert holm([open_, next_, clear], [3.0] * 3) == [UNDECIDED, LOWER, LOWER]
    assert holm([open_, next_], [3.0] * 2) == [UNDECIDED, LOWER]
    assert holm([at(-2.3), at(-2.31)], [3.0] * 2) == [UNDECIDED, UNDECIDED], "both would be decided alone"
    assert holm([at(-2.3), clear], [3.0] * 2) == [LOWER, LOWER], "the last one has the whole error"
    assert holm([clear, next_], [3.0] * 2, error=0.02) == [LOWER, UNDECIDED]
    assert holm([], []) == []
    with pytest.raises(ValueError, match="zip"):
        holm([clear], [3.0, 3.0])


def test_how_many_more_runs():
    # spread 2, 10 degrees of freedom: 80 % interval 1.58 to 2.87; delta 3: half widths 1.5 and (|2| / 1.5 < 1.5) 1.5
    found = more_runs(at(-2.0), 3.0)
    assert (found.at_least, found.at_most, found.unit, found.in_vain) == (4, 24, "run", False)
    assert more_runs(at(-6.0, unit="day"), 3.0) == MoreRuns(1, 24, "day"), "a large difference is decided sooner"
    assert more_runs(at(-2.0, n=20, m=6), 3.0) == found, "the smaller side counts"
    assert more_runs(at(-2.0, spread=0.01), 3.0) == MoreRuns(1, 1)


@pytest.mark.parametrize("difference", [-2.6, 3.2, -4.0, 5.0, -7.4])
def test_the_fewest_more_runs_by_student_and_chi_square(difference):
    """Runs a side until the interval, at the low end of the spread's 80 % interval, is narrower than 1 / 1.5 of the difference,
    minus the six there are."""
    low = 2.0 * (10 / stats.chi2.ppf(0.9, 10)) ** 0.5
    enough = max(1.5, abs(difference) / 1.5)
    fewest = next(n for n in range(2, 200) if stats.t.ppf(0.975, 2 * n - 2) * low * (2 / n) ** 0.5 <= enough)
    assert more_runs(at(difference), 3.0).at_least == max(1, fewest - 6)
    assert more_runs(at(difference, n=2, m=2), 3.0).at_least == max(1, fewest - 2)


def test_a_hundred_more_runs_means_a_hundred_or_more():
    # spread 30: half widths of 1.5 and of |2| / 1.5 take thousands of runs
    for n in (2, 6, 30):
        assert more_runs(at(-2.0, spread=30.0, n=n, m=n), 3.0) == MoreRuns(100, 100)
    # spread 5, 6 a side: at 3.96, its lower end, 55 runs a side reach 1.5, which is 49 more; at 7.2 it takes 178
    assert more_runs(at(-2.0, spread=5.0), 3.0) == MoreRuns(49, 100)


def test_the_part_that_runs_do_not_reduce_takes_its_share_of_the_width():
    # half width 1.5 with a floor of 0.5: sqrt(1.5^2 - 0.98^2) = 1.136 is left
    assert more_runs(at(-2.0, floor=0.5), 3.0) == MoreRuns(11, 45)
    assert more_runs(at(-2.0, floor=0.8), 3.0).in_vain
    assert not more_runs(at(-2.0, floor=0.76), 3.0).in_vain
    assert more_runs(at(-2.0, floor=0.8), 3.0).at_least == verdicts.MOST_RUNS


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (MoreRuns(3, 11), "3 to 11 more runs a side"), (MoreRuns(1, 1), "1 more run a side"), (MoreRuns(2, 2, "day"), "2 more days a side"),
        (MoreRuns(5, 100), "5 to more than 100 more runs a side"), (MoreRuns(100, 100, "day"), "more than 100 more days a side"),
        (MoreRuns(99, 100), "99 to more than 100 more runs a side"), (MoreRuns(1, 2), "1 to 2 more runs a side"),
    ],
)  # fmt: skip
def test_more_runs_in_words(found, words):
    assert more_runs_words(found) == words


def test_default_worthwhile_differences():
    """As the help of `compare` and `power` says: 3 degC, 0.5 % of power, one report in twenty false."""
    assert (verdicts.DELTA_DEGC, verdicts.DELTA_POWER_PERCENT, verdicts.LEVEL) == (3.0, 0.5, 0.95)

"""What a verdict may say, whatever the numbers: never against its interval, symmetric in the sides, one error shared by several questions."""

import pytest
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate, runs_needed, zero_failures_bound
from hypothesis import given
from hypothesis import strategies as st


@given(st.floats(-50, 50), st.floats(0.05, 10), st.integers(2, 30), st.floats(0.3, 10))
def test_a_verdict_never_contradicts_its_interval(difference, error, freedom, delta):
    estimate = Estimate(difference, error, freedom, 1.0, 3, 3, "")
    low, high = estimate.interval()
    word = verdicts.judge(estimate, delta)
    if word == verdicts.LOWER:
        assert high < 0
    elif word == verdicts.HIGHER:
        assert low > 0
    elif word == verdicts.NO_DIFFERENCE:
        assert max(abs(low), abs(high)) < delta
    else:
        assert low <= 0 <= high
        assert max(abs(low), abs(high)) >= delta
    # The p values and the interval are two views of the same thing.
    assert (verdicts.error_of_verdict(estimate, delta) <= 0.05) == (word != verdicts.UNDECIDED)


@given(st.floats(-20, 20), st.floats(0.1, 5))
def test_a_verdict_is_mirrored_when_the_sides_are_swapped(difference, error):
    turned = {verdicts.LOWER: verdicts.HIGHER, verdicts.HIGHER: verdicts.LOWER}
    one, other = (verdicts.judge(Estimate(d, error, 4, 1, 3, 3, ""), 3.0) for d in (difference, -difference))
    assert other == turned.get(one, one)


def test_holm_shares_one_error():
    clear, fair = Estimate(-10, 1, 10, 1, 6, 6, ""), Estimate(-2.4, 1, 10, 1, 6, 6, "")
    assert verdicts.judge(fair, 0.5) == verdicts.LOWER  # p = 0.037: enough for a single question
    # the clearest is tested first, then this one at 5 %
    assert verdicts.holm([fair, clear], [0.5, 0.5]) == [verdicts.LOWER, verdicts.LOWER]
    assert verdicts.holm([fair, fair], [0.5, 0.5]) == [verdicts.UNDECIDED, verdicts.UNDECIDED]  # 0.037 > 0.025


def test_three_stops_without_failure_still_allow_a_high_rate():
    assert zero_failures_bound(3) == pytest.approx(0.63, abs=0.005)  # 1 - 0.05^(1/3)
    assert zero_failures_bound(0) == 1.0


def test_runs_needed_give_the_half_width():
    n = runs_needed(2.0, 1.5)
    assert n == 15  # t(0.975, 28) x 2 x sqrt(2/15) = 1.496; with 14 it is 1.554

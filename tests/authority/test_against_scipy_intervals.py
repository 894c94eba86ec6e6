"""Against scipy.stats: the t intervals of two samples, and the bootstrap where it applies."""

import numpy as np
import pytest
from hotfuel.study.evidence import intervals
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

values = st.lists(st.floats(-100, 200, allow_nan=False), min_size=2, max_size=12).filter(lambda x: np.std(x) > 1e-3)


@given(values, values)
def test_pooled_t_below_five_a_side_and_welch_above(a, b):
    ours = intervals.two_sample(a, b)
    welch = min(len(a), len(b)) >= 5
    theirs = stats.ttest_ind(b, a, equal_var=not welch)
    interval = theirs.confidence_interval(0.95)
    assert ours.method == ("Welch" if welch else "pooled t")
    assert ours.interval() == pytest.approx((interval.low, interval.high), rel=1e-9, abs=1e-9)
    assert ours.degrees_of_freedom == pytest.approx(theirs.df, rel=1e-9)
    assert ours.p_difference() == pytest.approx(theirs.pvalue, rel=1e-6, abs=1e-12)


def test_a_worked_t_interval():
    # Student's sleep data (W. S. Gosset, Biometrika 6, 1908), hours gained by two drugs; from memory: t = -1.86, p = 0.079 pooled.
    first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
    second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
    ours = intervals.two_sample(first, second)
    assert ours.difference == pytest.approx(1.58)
    assert ours.p_difference() == pytest.approx(0.0794, abs=2e-4)  # Welch, as printed by R's t.test(extra ~ group, sleep)


def test_agrees_with_the_bootstrap_when_there_are_many_runs():
    rng = np.random.default_rng(5)
    a, b = rng.normal(60, 2, 60), rng.normal(55, 3, 60)
    theirs = stats.bootstrap(
        (b, a), lambda x, y, axis: x.mean(axis) - y.mean(axis), method="basic", rng=1, n_resamples=4000, vectorized=True
    )
    low, high = theirs.confidence_interval
    assert intervals.two_sample(a, b).interval() == pytest.approx((low, high), abs=0.12)


def test_blocks_as_a_linear_model_are_the_paired_t_test():
    rng = np.random.default_rng(2)
    day = rng.normal(50, 10, 6)
    a, b = day + rng.normal(0, 1, 6), day - 4 + rng.normal(0, 1, 6)
    blocks = np.tile(np.eye(6)[:, 1:], (2, 1))
    ours = intervals.linear(np.concatenate([a, b]), np.repeat([0, 1], 6), blocks, "blocks")
    interval = stats.ttest_rel(b, a).confidence_interval(0.95)
    assert ours.interval() == pytest.approx((interval.low, interval.high))


def test_the_range_of_a_spread_is_the_chi_square_interval():
    low, high = intervals.spread_range(2.0, 4, 0.8)
    assert (low, high) == pytest.approx((2 * np.sqrt(4 / stats.chi2.ppf(0.9, 4)), 2 * np.sqrt(4 / stats.chi2.ppf(0.1, 4))))

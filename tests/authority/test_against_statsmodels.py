"""Against statsmodels: the mixed model with sessions random, by restricted maximum likelihood; degrees of freedom where they are known exactly."""

import numpy as np
import pandas as pd
import pytest
from hotfuel.study.evidence import mixed
from scipy import stats


def data(seed, keep=1.0):
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(6), 4)
    side = np.tile([0, 1, 1, 0], 6)
    y = rng.normal(60, 2, 6)[session] + rng.normal(0, 1, 24) - 3 * side
    rows = rng.random(24) < keep
    return y[rows], side[rows], session[rows]


@pytest.mark.parametrize(("seed", "keep"), [(1, 1.0), (2, 1.0), (3, 0.7), (4, 0.7), (5, 0.6)])
def test_difference_and_standard_error(seed, keep, formula):
    y, side, session = data(seed, keep)
    ours = mixed.random_sessions(y, side, session)
    theirs = formula.mixedlm("y ~ side", pd.DataFrame({"y": y, "side": side, "s": session}), groups=session).fit(reml=True)
    assert ours.difference == pytest.approx(theirs.params["side"], rel=1e-4)
    variance = float(theirs.cov_re.iloc[0, 0]) + float(theirs.scale)
    assert ours.spread == pytest.approx(np.sqrt(variance), rel=1e-3)
    # statsmodels uses the observed information including the variances, we use X'V^-1 X as in Satterthwaite's method: the same
    # when balanced.
    assert ours.standard_error == pytest.approx(theirs.bse["side"], rel=1e-3 if keep == 1 else 0.03)


def test_balanced_sessions_have_the_degrees_of_freedom_of_the_analysis_of_variance():
    y, side, session = data(1)
    # 24 runs, 6 sessions, one difference: 24 - 6 - 1
    assert mixed.random_sessions(y, side, session).degrees_of_freedom == pytest.approx(17, abs=0.01)


def test_two_runs_a_session_are_the_paired_t_test():
    rng = np.random.default_rng(7)
    day = rng.normal(60, 5, 8)
    a, b = day + rng.normal(0, 1, 8), day - 2 + rng.normal(0, 1, 8)
    ours = mixed.random_sessions(np.concatenate([a, b]), np.repeat([0, 1], 8), np.tile(np.arange(8), 2))
    interval = stats.ttest_rel(b, a).confidence_interval(0.95)
    assert ours.interval() == pytest.approx((interval.low, interval.high), rel=1e-3)
    assert ours.degrees_of_freedom == pytest.approx(7, abs=0.01)


def test_without_a_session_effect_it_is_the_pooled_t_test():
    rng = np.random.default_rng(11)
    y = rng.normal(0, 1, 24)
    session, side = np.repeat(np.arange(6), 4), np.tile([0, 1, 1, 0], 6)
    # sessions made equal, so the variance between them is zero, its lower bound
    y -= np.array([y[session == s].mean() for s in range(6)])[session]
    ours = mixed.random_sessions(y, side, session)
    theirs = stats.ttest_ind(y[side == 1], y[side == 0])
    assert ours.difference == pytest.approx(y[side == 1].mean() - y[side == 0].mean())
    assert ours.standard_error == pytest.approx(abs(ours.difference / theirs.statistic), rel=1e-4)


def test_pigs_as_lme4_has_them():
    # dietox: weights of 72 pigs over 12 weeks, 861 rows, as statsmodels ships them. Figures of R's lme4, lmer(Weight ~ Time + (1 | Pig)) by restricted
    # maximum likelihood, as quoted in statsmodels 0.15.0, regression/tests/test_lme.py (test_dietox).
    from importlib import resources

    pytest.importorskip("statsmodels")
    file = resources.files("statsmodels.regression").joinpath("tests/results/dietox.csv")
    if not file.is_file():
        pytest.skip("this statsmodels is installed without its tests")
    pigs = pd.read_csv(str(file))
    found = mixed.random_sessions(pigs.Weight.to_numpy(), pigs.Time.to_numpy(), pigs.Pig.to_numpy())
    assert found.difference == pytest.approx(6.942505, abs=1e-6)
    assert found.standard_error == pytest.approx(0.03338727, rel=1e-4)
    assert found.spread**2 == pytest.approx(11.36692 + 40.39395, rel=1e-5)
    # the slope is determined by the differences within each pig alone
    assert found.degrees_of_freedom == pytest.approx(861 - 72 - 1, abs=0.5)

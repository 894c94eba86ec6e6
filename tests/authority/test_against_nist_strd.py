"""NIST/ITL Statistical Reference Datasets: certified least squares, against `intervals.linear` (the side as the regressor in question)."""

import numpy as np
import pytest
from hotfuel.study.evidence import intervals


def test_longley():
    # higher difficulty: six nearly collinear columns; certified B1 of GNPDEFL (values from memory, the data as statsmodels carries it)
    longley = pytest.importorskip("statsmodels.datasets").longley.load_pandas()
    others = longley.exog.drop(columns="GNPDEFL").to_numpy()
    found = intervals.linear(longley.endog.to_numpy(), longley.exog["GNPDEFL"].to_numpy(), others, "least squares")
    assert found.difference == pytest.approx(15.0618722713733, rel=1e-6)
    assert found.standard_error == pytest.approx(84.9149257747669, rel=1e-6)


def test_norris():
    # lower difficulty: 36 pairs of an ozone monitor's calibration, as scipy carries the file
    from importlib import resources

    file = resources.files("scipy.stats.tests").joinpath("data/nist_linregress/Norris.dat")
    if not file.is_file():
        pytest.skip("this scipy carries no tests")
    y, x = np.array([line.split() for line in file.read_text().splitlines()[60:96]], dtype=float).T
    found = intervals.linear(y, x, np.empty((36, 0)), "least squares")
    assert found.difference == pytest.approx(1.00211681802045, rel=1e-9)
    assert found.standard_error == pytest.approx(0.000429796848199937, rel=1e-9)
    assert found.spread == pytest.approx(0.884796396144373, rel=1e-9)


def test_nearly_constant_covariates():
    # 16 runs adjusted for air pressure (95 +- 0.02 kPa) and duration (7200 +- 60 s): as statsmodels finds it on centred columns
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    side = np.repeat([0.0, 1.0], 8)
    covariates = np.column_stack([95 + 0.02 * rng.normal(size=16), 7200 + 60 * rng.normal(size=16)])
    y = 40 - 3 * side + 20 * (covariates[:, 0] - 95) + 0.5 * rng.normal(size=16)
    theirs = sm.OLS(y, sm.add_constant(np.column_stack([side, covariates - covariates.mean(axis=0)]))).fit()
    found = intervals.linear(y, side, covariates, "least squares")
    assert found.difference == pytest.approx(theirs.params[1], rel=1e-8)
    assert found.standard_error == pytest.approx(theirs.bse[1], rel=1e-8)

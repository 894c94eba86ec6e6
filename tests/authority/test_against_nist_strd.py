"""NIST/ITL Statistical Reference Datasets: certified least squares, against `intervals.linear` (the variant as the regressor of
interest) and against `curve.fitted`, which fits hose delays. Both nonlinear sets are y = b1 (1 - exp(-b2 x)), from the two starts
NIST gives.
"""

import numpy as np
import pytest
from hotfuel.study.evidence import curve, intervals


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
        pytest.skip("this scipy is installed without its tests")
    y, x = np.array([line.split() for line in file.read_text().splitlines()[60:96]], dtype=float).T
    found = intervals.linear(y, x, np.empty((36, 0)), "least squares")
    assert found.difference == pytest.approx(1.00211681802045, rel=1e-9)
    assert found.standard_error == pytest.approx(0.000429796848199937, rel=1e-9)
    assert found.spread == pytest.approx(0.884796396144373, rel=1e-9)


def test_nearly_constant_covariates():
    # 16 runs adjusted for air pressure (95 +- 0.02 kPa) and duration (7200 +- 60 s), against statsmodels on centred columns
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    side = np.repeat([0.0, 1.0], 8)
    covariates = np.column_stack([95 + 0.02 * rng.normal(size=16), 7200 + 60 * rng.normal(size=16)])
    y = 40 - 3 * side + 20 * (covariates[:, 0] - 95) + 0.5 * rng.normal(size=16)
    theirs = sm.OLS(y, sm.add_constant(np.column_stack([side, covariates - covariates.mean(axis=0)]))).fit()
    found = intervals.linear(y, side, covariates, "least squares")
    assert found.difference == pytest.approx(theirs.params[1], rel=1e-8)
    assert found.standard_error == pytest.approx(theirs.bse[1], rel=1e-8)


# Misra1a: lower difficulty, 14 points of dental research's monomolecular adsorption (data from memory, checked against its
# certified residual). BoxBOD: higher difficulty, 6 points of biochemical oxygen demand.
MISRA1A = (
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
)
BOXBOD = ([1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224])


@pytest.mark.parametrize(
    ("data", "starts", "parameters", "deviations", "spread"),
    [
        (
            MISRA1A,
            [[500, 0.0001], [250, 0.0005]],
            [2.3894212918e2, 5.5015643181e-4],
            [2.7070075241, 7.2668688436e-6],
            1.0187876330e-1,
        ),
        (BOXBOD, [[1, 1], [100, 0.75]], [213.80940889, 0.54723748542], [12.354515176, 0.10455993237], 17.088072423),
    ],
    ids=["Misra1a", "BoxBOD"],
)
def test_saturating_curves(data, starts, parameters, deviations, spread):
    x, y = (np.array(column, dtype=float) for column in data)

    def misfit(logs):
        b1, b2 = np.exp(logs)
        return b1 * (1 - np.exp(-b2 * x)) - y

    found = curve.fitted(misfit, np.log(starts))  # in logarithms, as hoses are fitted
    assert np.exp(found.parameters) == pytest.approx(parameters, rel=1e-5)
    assert np.sqrt(np.diag(found.covariance)) * parameters == pytest.approx(deviations, rel=1e-4)
    assert found.spread == pytest.approx(spread, rel=1e-8)

"""A linear mixed model with one random intercept per session, by restricted maximum likelihood, with Satterthwaite's degrees of freedom.

For runs of both sides spread over sessions, from five runs a side up. y = X b + session + error; the variance ratio is found by one
bounded search, all else in closed form. Sources: H. D. Patterson and R. Thompson, Biometrika 58 (1971), restricted likelihood;
F. E. Satterthwaite, Biometrics Bulletin 2 (1946).
"""

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar

from hotfuel.study.evidence.intervals import Estimate

_LARGEST_RATIO = 1e4


class _Model:
    """Moments of the data under a given pair of variances (of the session, of the error)."""

    def __init__(self, y: np.ndarray, design: np.ndarray, session: np.ndarray) -> None:
        self.y, self.design = y, design
        names, self.group = np.unique(session, return_inverse=True)
        self.member = (self.group[:, None] == np.arange(len(names))).astype(float)  # (n, sessions)
        self.count = self.member.sum(axis=0)

    def _solve(self, session_variance: float, error_variance: float, right: np.ndarray) -> np.ndarray:
        # Inverse of (v_e I + v_s J) within a session: (I - v_s / (v_e + n v_s) J) / v_e
        share = session_variance / (error_variance + self.count * session_variance)
        taken = (share * (self.member.T @ right).T).T[self.group]
        return np.asarray((right - taken) / error_variance)

    def fixed(self, session_variance: float, error_variance: float) -> tuple[np.ndarray, np.ndarray, float]:
        """(coefficients, their covariance, minus twice the restricted log likelihood)."""
        weighted = self._solve(session_variance, error_variance, self.design.copy())
        information = self.design.T @ weighted
        covariance = np.linalg.inv(information)
        coefficients = covariance @ (weighted.T @ self.y)
        residual = self.y - self.design @ coefficients
        quadratic = float(residual @ self._solve(session_variance, error_variance, residual.copy()))
        log_det = float(
            ((self.count - 1) * np.log(error_variance) + np.log(error_variance + self.count * session_variance)).sum()
        )
        return coefficients, covariance, float(log_det + np.linalg.slogdet(information)[1] + quadratic)

    def profiled(self, ratio: float) -> tuple[float, float]:
        """(minus twice the restricted log likelihood with the error variance at its best, that variance) at a variance ratio."""
        freedom = len(self.y) - self.design.shape[1]
        coefficients, _, _ = self.fixed(ratio, 1.0)
        residual = self.y - self.design @ coefficients
        error_variance = float(residual @ self._solve(ratio, 1.0, residual.copy())) / freedom
        return self.fixed(ratio * error_variance, error_variance)[2], error_variance


def random_sessions(
    values: npt.ArrayLike, is_variant: npt.ArrayLike, session: npt.ArrayLike, nuisance: npt.ArrayLike | None = None
) -> Estimate:
    """Difference variant minus baseline with sessions as random effects; all arrays (n,), nuisance (n, k) columns optional.

    Example: with every session holding each side equally often, difference and interval are those of the paired t test on session means
    (as long as sessions differ by more than their runs).
    """
    y, side = np.asarray(values, dtype=float), np.asarray(is_variant, dtype=float)
    columns = [side, np.ones_like(side)]
    if nuisance is not None:
        columns.append(np.asarray(nuisance, dtype=float).reshape(len(y), -1))
    model = _Model(y, np.column_stack(columns), np.asarray(session))
    # The search runs over log(1 + ratio), which puts "no session effect" (0) inside the range.
    found = minimize_scalar(
        lambda z: model.profiled(np.expm1(z))[0],
        bounds=(0.0, np.log1p(_LARGEST_RATIO)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    ratio = float(np.expm1(found.x))
    if model.profiled(0.0)[0] <= found.fun:
        ratio = 0.0
    error_variance = model.profiled(ratio)[1]
    session_variance = ratio * error_variance
    coefficients, covariance, _ = model.fixed(session_variance, error_variance)
    freedom = _satterthwaite(model, session_variance, error_variance, len(y) - model.design.shape[1])
    m = int(side.sum())
    return Estimate(
        difference=float(coefficients[0]),
        standard_error=float(np.sqrt(covariance[0, 0])),
        degrees_of_freedom=freedom,
        spread=float(np.sqrt(session_variance + error_variance)),
        runs_baseline=len(y) - m,
        runs_variant=m,
        method="mixed model, sessions random",
    )


def _satterthwaite(model: _Model, session_variance: float, error_variance: float, most: int) -> float:
    """2 V² / (g' A g): V the variance of the difference, g its gradient, A the asymptotic covariance of the two variances."""
    at = np.array([session_variance, error_variance])
    step = np.maximum(at, at.max() * 1e-2) * 1e-3

    def variance(x: np.ndarray) -> float:
        return float(model.fixed(*x)[1][0, 0])

    def deviance(x: np.ndarray) -> float:
        return model.fixed(*x)[2]

    # a session variance of zero is a bound, not an estimate with its own error
    free = [0, 1] if session_variance > step[0] * 2 else [1]
    gradient = np.array([(variance(at + e) - variance(at - e)) / (2 * step[i]) for i in free for e in [_unit(i, step)]])
    hessian = np.empty((len(free), len(free)))
    for row, i in enumerate(free):
        for column, j in enumerate(free):
            a, b = _unit(i, step), _unit(j, step)
            if i == j:
                hessian[row, column] = (deviance(at + a) - 2 * deviance(at) + deviance(at - a)) / step[i] ** 2
            else:
                crossed = deviance(at + a + b) - deviance(at + a - b) - deviance(at - a + b) + deviance(at - a - b)
                hessian[row, column] = crossed / (4 * step[i] * step[j])
    covariance = 2 * np.linalg.pinv(hessian)
    spread = float(gradient @ covariance @ gradient)
    freedom = 2 * variance(at) ** 2 / spread if spread > 0 else float(most)
    return float(np.clip(freedom, 1.0, most))


def _unit(i: int, step: np.ndarray) -> np.ndarray:
    e = np.zeros_like(step)
    e[i] = step[i]
    return e

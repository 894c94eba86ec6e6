"""Nonlinear least squares: the best fit of several starting points, with its covariance."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

_EVALUATIONS = 60  # of the misfit, for each start


@dataclass(frozen=True)
class Curve:
    """parameters (p,); covariance (p, p), for independent residuals; residual (n,) of the rows that count; spread: their standard deviation."""

    parameters: np.ndarray
    covariance: np.ndarray
    residual: np.ndarray
    spread: float


def fitted(
    misfit: Callable[[np.ndarray], np.ndarray],
    starts: Sequence[npt.ArrayLike],
    bounds: tuple[npt.ArrayLike, npt.ArrayLike] = (-np.inf, np.inf),
    counts: np.ndarray | None = None,
) -> Curve:
    """misfit: parameters (p,) -> residuals (n,). starts: each (p,); bounds: (least, greatest), numbers or (p,). counts: bool (n,), the rows that count;
    `misfit` gives 0 for the others.

    Trust region reflective with finite differences (scipy.optimize.least_squares). The covariance is s^2 (J'J)^-1, s^2 with the rows that count less the
    parameters as degrees of freedom. Certified against NIST's reference data (tests/authority/test_against_nist_strd.py).
    """
    found = (least_squares(misfit, start, bounds=bounds, max_nfev=_EVALUATIONS) for start in starts)
    best = min(found, key=lambda one: one.cost)
    residual = best.fun if counts is None else best.fun[counts]
    spread = float(np.sqrt(residual @ residual / max(len(residual) - len(best.x), 1)))
    jacobian = np.asarray(best.jac)
    return Curve(best.x, spread**2 * np.linalg.pinv(jacobian.T @ jacobian), residual, spread)

"""A curve fitted by least squares where the parameters do not enter as a straight line: the best of several starts, with its covariance."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

_EVALUATIONS = 60  # of the misfit, for each start


@dataclass(frozen=True)
class Curve:
    """parameters (p,); covariance (p, p) of independent residuals; residual (n,), those that count; spread: their standard deviation."""

    parameters: np.ndarray
    covariance: np.ndarray
    residual: np.ndarray
    spread: float


def fitted(
    misfit: Callable[[np.ndarray], np.ndarray],
    starts: Sequence[Any],
    bounds: Any = (-np.inf, np.inf),
    counts: np.ndarray | None = None,
) -> Curve:
    """misfit: parameters (p,) -> what is left (n,). starts: each (p,); bounds: (least, greatest), each (p,). counts: bool (n,), the rows that count;
    `misfit` gives 0 for the others.

    Trust region reflective on the misfit's own slopes (scipy.optimize.least_squares). The covariance is s^2 (J'J)^-1 with s^2 over the rows that count less
    the parameters. Certified against NIST's reference data (tests/authority/test_against_nist_strd.py).
    """
    found = (least_squares(misfit, start, bounds=bounds, max_nfev=_EVALUATIONS) for start in starts)
    best = min(found, key=lambda one: one.cost)
    residual = best.fun if counts is None else best.fun[counts]
    spread = float(np.sqrt(residual @ residual / max(len(residual) - len(best.x), 1)))
    jacobian = np.asarray(best.jac)
    return Curve(best.x, spread**2 * np.linalg.pinv(jacobian.T @ jacobian), residual, spread)

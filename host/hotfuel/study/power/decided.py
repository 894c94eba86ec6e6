"""From one number a pull to an estimate and, where the order of the pulls allows one, a verdict: what trials repeat thousands of times."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.study.evidence import intervals, verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.power import driven

RECOVERS_IN_PULLS = 2.0


@dataclass(frozen=True)
class Fit:
    """Two sides of pulls: what their order allows, and the columns that are fitted to any number a pull, first the side (pulls, columns).

    can_test: whether both sides have two pulls or more, so that there is a spread.
    """

    order: driven.Order
    design: np.ndarray
    can_test: bool

    @property
    def allows_verdict(self) -> bool:
        """Whether a gain may be told from a drift."""
        return self.can_test and self.order.kind in driven.ALLOWS_VERDICT

    def estimate(self, base_values: Sequence[float] | np.ndarray, values: Sequence[float] | np.ndarray) -> Estimate | None:
        """The difference in any number of which each pull has one; None for a single pull on a side."""
        if not self.can_test:
            return None
        if self.order.kind == driven.FITTED:
            both = np.concatenate([base_values, values])
            return intervals.linear(both, self.design[:, 0], self.design[:, 2:], "pooled t")
        return intervals.two_sample(base_values, values)


def fit(
    base_values: np.ndarray, values: np.ndarray, base_at: np.ndarray | None, at: np.ndarray | None, pauses: Sequence[float] = ()
) -> Fit:
    """What is fitted to pulls with these values (n,), (m,), per cent, driven at these turns of the order; a straight drift from six balanced pulls up.

    pauses: turns before which the engine stood longer than between the others: it starts heat-soaked again and recovers, which a straight drift does not
    describe. Where there are too few pulls to fit that as well, the order gives no verdict.
    """
    n, m = len(base_values), len(values)
    order = driven.judged(base_at, at, base_values, values)
    columns = [np.repeat([0.0, 1.0], [n, m]), np.ones(n + m)]
    if order.kind in driven.ALLOWS_VERDICT and base_at is not None and at is not None:
        turn = np.concatenate([base_at, at])
        if order.kind == driven.FITTED:
            columns.append(turn - turn.mean())
        soaked = [recovery(turn, pause) for pause in pauses if turn.min() < pause <= turn.max()]
        if soaked:
            columns += soaked
            order = replace(order, kind=driven.FITTED if _can_carry(columns) else driven.PAUSED)
    return Fit(order, np.column_stack(columns), min(n, m) >= 2)


def recovery(turn: np.ndarray, pause: float) -> np.ndarray:
    """How heat-soaked the engine still is at each turn after a pause before turn `pause`: it recovers over two pulls (common practice, no source)."""
    return np.where(turn >= pause, np.exp(-np.maximum(turn - pause, 0) / RECOVERS_IN_PULLS), 0.0)


def _can_carry(columns: Sequence[np.ndarray]) -> bool:
    """Whether two degrees of freedom remain, and the variance of the side's coefficient at most doubles."""
    design = np.column_stack(columns)
    if len(design) - design.shape[1] < 2 or np.linalg.matrix_rank(design) < design.shape[1]:
        return False
    side = design[:, 0] - design[:, 0].mean()
    return float(np.linalg.inv(design.T @ design)[0, 0] * (side @ side)) <= 2.0


def decide(fits: Sequence[tuple[Fit, Estimate | None]], delta_percent: float, unlike: Sequence[bool] | None = None) -> list[str]:
    """A verdict for each variant of one report, with 5 % error shared by all. unlike: which sides are not comparable at all."""
    barred = list(unlike) if unlike is not None else [False] * len(fits)
    tested = [i for i, (one, estimate) in enumerate(fits) if estimate is not None and one.allows_verdict and not barred[i]]
    words = [
        verdicts.NO_VERDICT if estimate is not None or barred[i] else verdicts.DESCRIBED for i, (_, estimate) in enumerate(fits)
    ]
    estimates = [estimate for i in tested if (estimate := fits[i][1]) is not None]
    for i, word in zip(tested, verdicts.holm(estimates, [delta_percent] * len(tested)), strict=True):
        words[i] = word
    return words

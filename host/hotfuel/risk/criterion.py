"""How much vapour each place copes with: the V/L whose temperature is the limit.

No published table of pumps' tolerance was found; V/L 20 is what loss of power, hot starting and rough idling are tied to, "varying from car to car"
(ASTM D4814-18, X1.10.2). The other rows are assumptions, common practice, no source; each limit is printed with its criterion.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError


@dataclass(frozen=True)
class Criterion:
    """V/L of the limit, the range it may really have, and why."""

    vapour_liquid_ratio: float
    least: float
    greatest: float
    reason: str

    @property
    def text(self) -> str:
        """For a person: "V/L 20 (10 to 36): mechanical pump, ..."."""
        return f"V/L {self.vapour_liquid_ratio:g} ({self.least:g} to {self.greatest:g}): {self.reason}"


_ASSUMED = "assumption, no published tolerance found"
_PUMPS = {
    "mechanical": Criterion(20, 10, 36, f"mechanical pump, {_ASSUMED}"),
    "electric_line": Criterion(4, 0, 10, f"electric pump drawing through a line, {_ASSUMED}"),
    "electric_submerged": Criterion(4, 0, 10, f"electric pump in the tank, {_ASSUMED}"),
}
_METERING = Criterion(20, 10, 36, "carburettor metering, ASTM D4814-18 X1.10.2")
_BOWL = Criterion(2, 0, 5, f"percolation from the bowl, {_ASSUMED}")
_SET_SHARE = 0.25  # a criterion somebody set is taken as known to a quarter


def criterion(car: Car, role: str) -> Criterion:
    """The criterion of a place by its role; at tank, suction and pump it is the pump's, or the car file's `pump.vapour_liquid_ratio`."""
    if role == "bowl":
        return _BOWL
    if role in ("line", "carburettor", "needle"):
        return _METERING
    chosen = car.pump.vapour_liquid_ratio
    if chosen is None:
        return _PUMPS[car.pump.kind]
    return Criterion(chosen, chosen * (1 - _SET_SHARE), min(chosen * (1 + _SET_SHARE), 40.0), "set in the car file")


HAD_TROUBLE, RAN_THROUGH = "had trouble", "ran through"
_SOFT = 0.35  # how sharply trouble sets in, as a spread of ln(V/L + 1)


def moved_by_events(start: Criterion, events: Sequence[tuple[float, str]]) -> Criterion:
    """The criterion after what this car did: each event is (V/L at its worst place then, HAD_TROUBLE or RAN_THROUGH).

    An event is a censored observation: trouble says that the car copes with less than that V/L, running through that it copes with more. The start's
    range is read as a normal 90 % range of ln(V/L + 1), trouble as a logistic step in it; the answer is the mean and the 90 % range on a grid of
    V/L 0 to 40. Raises InputError for an unknown kind or a V/L below 0. Put the answer into the car file as `pump.vapour_liquid_ratio`.
    """
    grid = np.linspace(0.0, np.log(41.0), 400)
    low, middle, high = (np.log1p(value) for value in (start.least, start.vapour_liquid_ratio, start.greatest))
    log_weight = -0.5 * ((grid - middle) / np.where(grid < middle, max(middle - low, 0.05), max(high - middle, 0.05)) * 1.645) ** 2
    for ratio, kind in events:
        if kind not in (HAD_TROUBLE, RAN_THROUGH) or not ratio >= 0:
            raise InputError(f'an event is (V/L of 0 or more, "{HAD_TROUBLE}" or "{RAN_THROUGH}"), this one is ({ratio}, "{kind}")')
        over = (np.log1p(min(ratio, 40.0)) - grid) / _SOFT
        log_weight -= np.logaddexp(0.0, -over if kind == HAD_TROUBLE else over)
    weight = np.exp(log_weight - log_weight.max())
    share = np.cumsum(weight) / weight.sum()
    least, greatest = (float(np.expm1(np.interp(at, share, grid))) for at in (0.05, 0.95))
    count = f"moved by {len(events)} event{'s' if len(events) != 1 else ''} of this car"
    return Criterion(float(np.expm1(grid @ weight / weight.sum())), least, greatest, count) if events else start

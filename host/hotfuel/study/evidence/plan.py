"""Before the runs: how many are needed to find a given difference, and in which order to drive them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from hotfuel.errors import InputError
from hotfuel.study.evidence.order import MOST_RUNS, balanced_order


@dataclass(frozen=True)
class Plan:
    """Runs a side that find `difference` with probability `chance` at a run-to-run spread of `spread`, and a random balanced order for them."""

    difference: float
    spread: float
    chance: float
    runs_each: int
    order: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            "difference": self.difference,
            "spread": self.spread,
            "chance": self.chance,
            "runs_each": self.runs_each,
            "order": list(self.order),
        }


def runs_for(difference: float, spread: float, chance: float = 0.9, level: float = 0.95) -> int:
    """Runs a side so that a two-sided pooled t test finds `difference` with `chance`, by the noncentral t distribution.

    Raises InputError for numbers that are not above 0, or when more than 100 a side would be needed. Example: runs_for(0.7, 0.5) -> 12.
    """
    if not (difference > 0 and spread > 0 and 0.5 <= chance < 1):
        raise InputError("a plan needs a difference and a spread above 0 and a chance from 0.5 to below 1")
    n = np.arange(2, MOST_RUNS // 2 + 1)
    freedom = 2 * n - 2
    power = stats.nct.sf(stats.t.ppf(0.5 + level / 2, freedom), freedom, difference / (spread * np.sqrt(2 / n)))
    enough = np.flatnonzero(power >= chance)
    if not enough.size:
        raise InputError(
            f"a difference of {difference:g} at a spread of {spread:g} needs more than {MOST_RUNS // 2} runs a side: make the runs more alike first"
        )
    return int(n[enough[0]])


def plan(variants: Sequence[str], difference: float, spread: float, *, chance: float = 0.9, seed: int | None = None) -> Plan:
    """How many runs of each variant, and a random balanced order for them. Raises InputError as `runs_for` and `balanced_order` do."""
    each = runs_for(difference, spread, chance)
    if each * len(variants) > MOST_RUNS:
        raise InputError(f"{each} runs of each of {len(variants)} variants are too many: allowed are {MOST_RUNS} in all")
    order = balanced_order(variants, each, seed)
    return Plan(difference, spread, chance, each, tuple(order))

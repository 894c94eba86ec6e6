"""The order of runs: is it mixed up with the fix, and which order should be driven instead."""

from collections.abc import Sequence

import numpy as np

from hotfuel.errors import InputError

_LARGEST_VARIANCE_INFLATION = 1.25  # removing drift may cost at most this factor in variance, else it is not removed
MOST_RUNS = 200


def variance_inflation(sides: Sequence[bool]) -> float:
    """How much removing a straight drift over the order widens the variance of the difference: 1 / (1 - r²); infinite where nothing is left."""
    side = np.asarray(sides, dtype=float)
    position = np.arange(len(side), dtype=float)
    if len(side) < 3 or side.std() == 0:
        return np.inf
    r = np.corrcoef(side, position)[0, 1]
    return float(1 / (1 - r**2)) if r**2 < 1 - 1e-12 else np.inf


def is_balanced(sides: Sequence[bool]) -> bool:
    """Whether the order is mixed well enough that a drift can be removed."""
    return variance_inflation(sides) <= _LARGEST_VARIANCE_INFLATION


def is_one_after_the_other(sides: Sequence[bool]) -> bool:
    """Whether all runs of one side came before all of the other: order and fix cannot be told apart."""
    changes = int(np.count_nonzero(np.diff(np.asarray(sides, dtype=int))))
    return len(sides) > 1 and changes == 1


def balanced_order(variants: Sequence[str], runs_each: int, seed: int | None = None) -> list[str]:
    """One order drawn at random among those that a straight drift biases least, with no variant more than twice in a row where that can be had.

    variants: two or more different names; runs_each: 1 to 200 divided by their number. A seed makes the draw repeatable.
    Raises InputError otherwise. Example: balanced_order(["sleeve", "bare"], 2, seed=1) is ABBA or BAAB.
    """
    count = len(variants)
    if count < 2 or len(set(variants)) != count:
        raise InputError(f"an order needs two or more different names, not {', '.join(variants) or 'none'}")
    if not 1 <= runs_each * count <= MOST_RUNS:
        raise InputError(f"an order of {runs_each * count} runs was asked for: allowed are 1 to {MOST_RUNS} in all")
    random = np.random.default_rng(seed)
    numbers = np.tile(np.arange(count), runs_each)
    found: list[np.ndarray] = []
    least = np.inf
    for _ in range(4000):
        order = _draw(numbers, count, random)
        cost = _imbalance(order, count)
        if cost < least - 1e-9:
            least, found = cost, []
        if cost <= least + 1e-9:
            found.append(order)
    chosen = found[random.integers(len(found))]
    return [variants[i] for i in chosen]


def _draw(numbers: np.ndarray, count: int, random: np.random.Generator) -> np.ndarray:
    # Half the draws shuffle block by block and mirror every second one: long orders would hardly ever be balanced by chance alone.
    if random.random() < 0.5:
        return random.permutation(numbers)
    blocks: list[np.ndarray] = []
    while len(blocks) < len(numbers) // count:
        block = random.permutation(count)
        blocks += [block, block[::-1]]
    return np.concatenate(blocks[: len(numbers) // count])


def _imbalance(order: np.ndarray, count: int) -> float:
    position = np.arange(len(order)) - (len(order) - 1) / 2
    sums = np.array([position[order == i].sum() for i in range(count)])
    same = order[1:] == order[:-1]
    three_in_a_row = int(np.count_nonzero(same[1:] & same[:-1]))
    return float(np.abs(sums).max() + 0.6 * three_in_a_row)

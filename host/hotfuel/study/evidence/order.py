"""The order of runs: whether it is confounded with the fix, and which order to drive instead."""

from collections.abc import Sequence

import numpy as np

from hotfuel.errors import InputError

_LARGEST_VARIANCE_INFLATION = 1.25  # above this factor in variance the drift is not removed
MOST_RUNS = 200


def variance_inflation(sides: Sequence[bool]) -> float:
    """Factor by which removing a straight drift over the order increases the variance of the difference: 1 / (1 - r²); infinite if order and side coincide."""
    side = np.asarray(sides, dtype=float)
    position = np.arange(len(side), dtype=float)
    if len(side) < 3 or side.std() == 0:
        return np.inf
    r = np.corrcoef(side, position)[0, 1]
    return float(1 / (1 - r**2)) if r**2 < 1 - 1e-12 else np.inf


def is_balanced(sides: Sequence[bool]) -> bool:
    """Whether the order is balanced well enough for a drift to be removed."""
    return variance_inflation(sides) <= _LARGEST_VARIANCE_INFLATION


def is_one_after_the_other(sides: Sequence[bool]) -> bool:
    """Whether all runs of one side came before all of the other, so that order and fix cannot be separated."""
    changes = int(np.count_nonzero(np.diff(np.asarray(sides, dtype=int))))
    return len(sides) > 1 and changes == 1


def balanced_order(variants: Sequence[str], runs_each: int, seed: int | None = None) -> list[str]:
    """One order drawn at random from those that a straight drift biases least, with no variant more than twice in a row where possible.

    variants: two or more different names; runs_each: 1 to 200 divided by their number. A seed makes the draw repeatable.
    Raises InputError otherwise. Example: balanced_order(["sleeve", "bare"], 2, seed=1) is ABBA or BAAB.
    """
    count = len(variants)
    if count < 2 or len(set(variants)) != count:
        raise InputError(f"an order needs two or more different names, not {', '.join(variants) or 'none'}")
    if not 1 <= runs_each * count <= MOST_RUNS:
        raise InputError(f"an order of {runs_each * count} runs was asked for: allowed are 1 to {MOST_RUNS} in all")
    random = np.random.default_rng(seed)
    drawn = _draws(count, runs_each, random)
    position = np.arange(drawn.shape[1]) - (drawn.shape[1] - 1) / 2
    imbalance = np.max([np.abs((drawn == i) @ position) for i in range(count)], axis=0)
    same = drawn[:, 1:] == drawn[:, :-1]
    cost = imbalance + 0.6 * np.count_nonzero(same[:, 1:] & same[:, :-1], axis=1)
    best = np.flatnonzero(cost <= cost.min() + 1e-9)
    return [variants[i] for i in drawn[random.choice(best)]]


def mirrored_blocks(variants: Sequence[str], blocks: int, seed: int | None = None) -> list[str]:
    """Blocks with each variant once, in a random order; every second block mirrors the one before, so that drift cancels.

    Example: mirrored_blocks(["bare", "sleeve"], 2, seed=1) is ABBA or BAAB.
    """
    random = np.random.default_rng(seed)
    order: list[str] = []
    for number in range(blocks):
        block = [variants[i] for i in random.permutation(len(variants))] if number % 2 == 0 else order[: -len(variants) - 1 : -1]
        order += block
    return order


def _draws(count: int, runs_each: int, random: np.random.Generator, draws: int = 400) -> np.ndarray:
    """Random orders (2 * draws, runs). Half consist of blocks and their mirror images: a long random order is hardly ever balanced."""
    free = random.permuted(np.tile(np.repeat(np.arange(count), runs_each), (draws, 1)), axis=1)
    pairs = (runs_each + 1) // 2
    blocks = random.permuted(np.tile(np.arange(count), (draws, pairs, 1)), axis=2)
    mirrored = np.concatenate([blocks, blocks[:, :, ::-1]], axis=2).reshape(draws, -1)[:, : count * runs_each]
    return np.concatenate([free, mirrored])

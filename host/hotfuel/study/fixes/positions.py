"""The position of each run in its day's order: a car still warm from the run before looks like the change, unless each side came first by turns."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from hotfuel.study.evidence.order import is_one_after_the_other
from hotfuel.study.fixes.summaries import Run

AFTER, ALWAYS_FIRST, UNBALANCED = "one after the other", "always first", "unbalanced"
BALANCED = 0.25  # of a position: where the sides' mean positions are this close, a straight drift cannot enter the difference
LEAST_FREEDOM = 3
_RECORDING, _DAY = attrgetter("session"), attrgetter("day")
DAY, NIGHT, RECORDING = "day", "night", "recording"  # what holds the runs of a block together; a night goes on past midnight


@dataclass(frozen=True)
class OrderFault:
    """Why the order of the runs allows no verdict: one of the kinds above, the variant that came first, and by how many positions on average.

    within: what held the runs (DAY, NIGHT where one of them went on past midnight, RECORDING). alone: others of these held one side only.
    """

    kind: str
    first: str
    positions: float = 0.0
    within: str = DAY
    alone: bool = False


def in_turn_on_one_day(a: Sequence[Run], b: Sequence[Run]) -> bool:
    """Whether all runs are of one day and one side came first: then the car's warming through the day looks like the change."""
    runs = sorted([*a, *b], key=lambda run: run.start_s)
    days = {run.day for run in runs}
    return len(days) == 1 and "" not in days and is_one_after_the_other([run.variant == b[0].variant for run in runs])


def order_fault(a: Sequence[Run], b: Sequence[Run], driven: Sequence[Run] = ()) -> OrderFault | None:
    """Why this order allows no verdict; None where it allows one or is not known.

    Within days (or recordings) that hold both sides, the sides' mean positions must be equal, or the position must be fitted, for which each side must
    have come first somewhere and three degrees of freedom must remain. Where no day holds both: if every run of one side was the first of its day, that
    side shows nothing of a car already warm, so it cannot be compared with a side that was driven several times a day.

    driven: all runs that are compared. A run of a third variant between two of these has warmed the car like any other, so it counts in their positions.
    """
    both = [*a, *b]
    blocks = _blocks(a, b)
    mixed = [block for block in blocks if len({both[i].variant for i in block}) > 1]
    names = a[0].variant, b[0].variant
    if not mixed:
        return _first_alone(both, blocks, names)
    firsts = [both[block[0]].variant for block in mixed]
    position = _positions(both, blocks, driven)
    inside = np.concatenate(mixed)
    side = np.array([both[i].variant == names[1] for i in inside])
    offset = float(position[inside][side].mean() - position[inside][~side].mean())
    within, alone = _within(both, mixed), len(mixed) < len(blocks)
    if len(mixed) == 1 and is_one_after_the_other([both[i].variant == names[1] for i in mixed[0]]):
        return OrderFault(AFTER, firsts[0], abs(offset), within, alone)
    if abs(offset) <= BALANCED or _can_be_fitted(a, b, blocks, firsts, position):
        return None
    return OrderFault(
        ALWAYS_FIRST if len(set(firsts)) == 1 and len(mixed) > 1 else UNBALANCED,
        names[0] if offset > 0 else names[1],
        abs(offset),
        within,
        alone,
    )


def _first_alone(both: Sequence[Run], blocks: Sequence[np.ndarray], names: tuple[str, str]) -> OrderFault | None:
    position = np.zeros(len(both))
    for block in blocks:
        position[block] = np.arange(len(block))
    means = [float(np.mean([at for at, run in zip(position, both, strict=True) if run.variant == name])) for name in names]
    if min(means) > 0 or max(means) <= BALANCED:
        return None
    return OrderFault(UNBALANCED, names[int(np.argmin(means))], max(means), _within(both, blocks))


def fitted(a: Sequence[Run], b: Sequence[Run], group: np.ndarray, driven: Sequence[Run] = ()) -> np.ndarray | None:
    """Each run's position in its day's order (n, 1), centred in each day; None where it is not known or cannot be fitted.

    driven: as in `order_fault`.
    """
    both = [*a, *b]
    blocks = _blocks(a, b)
    mixed = [block for block in blocks if len({both[i].variant for i in block}) > 1]
    side = np.array([False] * len(a) + [True] * len(b))
    averaged = not set(group[~side]) & set(group[side]) and len(set(group)) < len(both)  # then a group's mean is the unit
    position = _positions(both, blocks, driven)
    if averaged or not mixed or not _can_be_fitted(a, b, blocks, [both[block[0]].variant for block in mixed], position):
        return None
    return position[:, None]


def _block_of(both: Sequence[Run]) -> Callable[[Run], str]:
    """What the runs of one block have in common: the recording where one holds both sides, else the day."""
    first = {run.session for run in both if run.variant == both[0].variant}
    shared = any(run.session in first for run in both if run.variant != both[0].variant)
    return _RECORDING if shared else _DAY


def _within(both: Sequence[Run], blocks: Sequence[np.ndarray]) -> str:
    if _block_of(both) is _RECORDING:
        return RECORDING
    return NIGHT if any(len({both[i].night for i in block}) > 1 for block in blocks) else DAY


def _blocks(a: Sequence[Run], b: Sequence[Run]) -> list[np.ndarray]:
    """Rows of the runs of each block, in the order in which they were driven; none where that is not known."""
    both = [*a, *b]
    names = [*map(_block_of(both), both)]
    if not np.isfinite([run.start_s for run in both]).all() or "" in names:
        return []
    rows = sorted(range(len(both)), key=lambda i: both[i].start_s)
    return [np.array([i for i in rows if names[i] == name]) for name in dict.fromkeys(names)]


def _positions(both: Sequence[Run], blocks: Sequence[np.ndarray], driven: Sequence[Run]) -> np.ndarray:
    """(n,) each run's position among all that were driven in its block, counted from the block's middle."""
    name_of = _block_of(both)
    position = np.zeros(len(both))
    for block in blocks:
        there = {run.start_s for run in (*both, *driven) if name_of(run) == name_of(both[block[0]])}
        starts = np.sort([start_s for start_s in there if np.isfinite(start_s)])
        position[block] = np.searchsorted(starts, [both[i].start_s for i in block]) - (len(starts) - 1) / 2
    return position


def _can_be_fitted(
    a: Sequence[Run], b: Sequence[Run], blocks: Sequence[np.ndarray], firsts: Sequence[str], position: np.ndarray
) -> bool:
    """Several days need each side first on one of them; one day, in which the sides alternate, needs only the degrees of freedom."""
    if len(firsts) > 1 and len(set(firsts)) == 1:
        return False
    count = len(a) + len(b)
    side = np.array([0.0] * len(a) + [1.0] * len(b))
    if len(firsts) == 1 and is_one_after_the_other(side[blocks[0]].astype(bool).tolist() if len(blocks) == 1 else []):
        return False
    dummies = [np.isin(np.arange(count), block).astype(float) for block in blocks]
    design = np.column_stack([*dummies, position, side])
    full = np.linalg.matrix_rank(design)
    return bool(full > np.linalg.matrix_rank(design[:, :-1]) and count - full >= LEAST_FREEDOM)

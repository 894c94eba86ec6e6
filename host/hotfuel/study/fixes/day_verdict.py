"""Where a test day stands after its complete blocks: the verdicts so far, by the looks that the plan allows. `hotfuel.report.day_words` says it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.study.evidence import looks
from hotfuel.study.evidence.verdicts import HIGHER, LOWER
from hotfuel.study.fixes.answers import Comparison, Look, Planned
from hotfuel.study.fixes.day_plan import POWER, DayPlan
from hotfuel.study.fixes.notes import Apart, RunsApart

# Runs of one variant that spread by this many times what was assumed: where the assumption holds, once in 8000 days after two blocks of two variants, less
# often after more.
FAR = 3.0


@dataclass(frozen=True)
class Standing:
    """After `blocks` complete blocks: what is seen of every pair, and whether every variant is decided against the first.

    best: the variants, by number, to which no other was found better. apart: the variants whose runs spread far more than was assumed.
    of_power: whether its numbers are 100 times the logarithm of power, else degC.
    """

    blocks: int
    sights: tuple[looks.Sight, ...]
    decided: bool
    best: tuple[int, ...] = ()
    apart: tuple[Apart, ...] = ()
    of_power: bool = False

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON, power in per cent."""

        def size(value: float) -> float:
            return percent(value) if self.of_power else value

        sizes = ("difference", "low", "high", "spread")
        return {
            "blocks": self.blocks,
            "decided": self.decided,
            "unit": "%" if self.of_power else "degC",
            "pairs": [{key: size(value) if key in sizes else value for key, value in vars(one).items()} for one in self.sights],
            "apart": [{"variant": one.variant, "runs": list(one.runs), "by": size(one.by)} for one in self.apart],
        }


def percent(value: float) -> float:
    """100 times a logarithm of power as per cent of power."""
    return float(100 * np.expm1(value / 100))


def standing(plan: DayPlan, values: Mapping[int, float]) -> Standing:
    """The verdict after the complete blocks of the plan. values: {number of the run, from 1: degC, or 100 times the log of power}.

    A block in which a run has no value is not complete, and no later block counts.
    """
    width = len(plan.variants)
    rows: list[list[float]] = []
    while len(rows) < plan.last_block:
        numbers = range(len(rows) * width + 1, (len(rows) + 1) * width + 1)
        block = {plan.order[n - 1]: values.get(n, np.nan) for n in numbers}
        if not np.isfinite(list(block.values())).all():
            break
        rows.append([block[name] for name in plan.variants])
    sights = looks.looked(np.array(rows).reshape(len(rows), width), plan.last_block, plan.difference)
    asked = [one for one in sights if one.first == 0]
    decided = bool(asked) and all(one.block for one in asked)
    best = _best(plan, sights) if sights else ()
    apart = _apart(plan, values, len(rows), sights[0].spread) if sights else ()
    return Standing(len(rows), tuple(sights), decided, best, apart, plan.quantity == POWER)


def _apart(plan: DayPlan, values: Mapping[int, float], blocks: int, spread: float) -> tuple[Apart, ...]:
    """The variants whose runs spread far more than was assumed, where all together do. spread: of all."""
    if not spread > FAR * plan.spread:
        return ()
    found = []
    for name in plan.variants:
        numbers = [n for n in range(1, blocks * len(plan.variants) + 1) if plan.order[n - 1] == name]
        low, *_, high = sorted(numbers, key=lambda n: values[n])
        if np.std([values[n] for n in numbers], ddof=1) > FAR * plan.spread:
            found.append(Apart(name, (min(low, high), max(low, high)), values[high] - values[low]))
    return tuple(found)


def _best(plan: DayPlan, sights: Sequence[looks.Sight]) -> tuple[int, ...]:
    """The variants, by number, to which no other was found better."""
    better, worse = (HIGHER, LOWER) if plan.quantity == POWER else (LOWER, HIGHER)
    beaten = {one.first for one in sights if one.verdict == better} | {one.second for one in sights if one.verdict == worse}
    return tuple(i for i in range(len(plan.variants)) if i not in beaten)


def answered(plan: DayPlan, result: Comparison, found: Standing) -> Comparison:
    """A comparison of the plan's runs with the verdicts and intervals of the plan's looks, and without answers that were not asked for.

    A test of the runs as if their number had been fixed beforehand would claim more than the looks allow.
    """
    by_pair = {(plan.variants[one.second], plan.variants[one.first]): one for one in found.sights}
    answers = []
    for answer in result.answers:
        one = by_pair.get((answer.variant, answer.baseline))
        if answer.asked and one is not None and answer.cell == plan.cell:
            answers.append(
                replace(
                    answer,
                    verdict=one.verdict,
                    estimate=one,
                    more=None,
                    fault=None,
                    as_read=None,
                    look=Look(one.block, found.blocks, plan.last_block),
                )
            )
    asked = Planned(plan.cell, plan.last_block, found.blocks)
    cautions = (*([RunsApart(plan.spread, found.apart)] if found.apart else []), *result.cautions)
    return replace(
        result, answers=tuple(answers), cautions=cautions, questions=(asked,), best=(), proposed_order=(), judgements=(), pulls=()
    )

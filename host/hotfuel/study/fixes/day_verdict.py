"""Where a test day stands: what is next, and after every complete block the verdict so far, by looks that were paid for beforehand."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.study.evidence import looks
from hotfuel.study.evidence.verdicts import HIGHER, LOWER, NO_DIFFERENCE, UNDECIDED
from hotfuel.study.fixes.answers import Comparison
from hotfuel.study.fixes.day_plan import POWER, DayPlan
from hotfuel.study.fixes.wording import span_words
from hotfuel.text import directed, listed
from hotfuel.units import Shown


@dataclass(frozen=True)
class Standing:
    """After `blocks` complete blocks: what is seen of every pair, whether every variant's question against the first is decided, the sentences."""

    blocks: int
    sights: tuple[looks.Sight, ...]
    decided: bool
    sentences: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            "blocks": self.blocks,
            "decided": self.decided,
            "pairs": [vars(one) for one in self.sights],
            "sentences": list(self.sentences),
        }


def standing(plan: DayPlan, values: Mapping[int, float], shown: Shown) -> Standing:
    """The verdict after the complete blocks of the plan. values: {number of the run, from 1: degC, or 100 times the log of power}.

    A block that lacks a run's number is not complete, and neither is what follows it.
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
    return Standing(len(rows), tuple(sights), decided, tuple(_sentences(plan, len(rows), sights, decided, shown)))


def _sentences(plan: DayPlan, done: int, sights: Sequence[looks.Sight], decided: bool, shown: Shown) -> list[str]:
    if not sights:
        return [f"{done} of {plan.last_block} blocks are complete: a verdict is looked for from the second on."] if done else []
    asked = [one for one in sights if one.first == 0]
    lines = [pair_sentence(plan, one, done, shown) for one in asked]
    beaten = {one.first for one in sights if one.verdict == _better(plan)} | {
        one.second for one in sights if one.verdict not in (_better(plan), UNDECIDED, NO_DIFFERENCE)
    }
    best = [name for i, name in enumerate(plan.variants) if i not in beaten]
    if len(plan.variants) > 2:
        lines.append(f"{best[0]} is the best." if len(best) == 1 else f"Which of {listed(best)} is best cannot be told yet.")
    left = plan.last_block - done
    if decided:
        lines.append("Decided: stop.")
    elif left == 0:
        lines.append(
            "All blocks of the plan are driven: what is undecided now stays so by this plan. More runs need a plan of their own."
        )
    else:
        runs = len(plan.variants)
        lines.append(f"{_open_words(plan, asked)} At most {left} more block{'s' * (left != 1)} ({left * runs} runs).")
    return lines


def _open_words(plan: DayPlan, asked: Sequence[looks.Sight]) -> str:
    """What is not decided yet, of each fix, and how many more blocks it should take; of one fix alone without its name."""
    done = [plan.variants[one.second] for one in asked if one.block]
    still = [one for one in asked if not one.block]
    alone = len(asked) == 1

    def likely(one: looks.Sight) -> str:
        if not one.more:
            return "as it looks now the plan may end without a verdict" + ("" if alone else f" on {plan.variants[one.second]}")
        blocks = f"about {one.more} more block{'s' * (one.more != 1)} ({one.more * len(plan.variants)} runs)"
        return f"{blocks} should decide {'it' if alone else plan.variants[one.second]} if it is as large as it looks"

    named = "" if alone else f": {listed([plan.variants[one.second] for one in still])}"
    begin = f"Decided: {listed(done)}. " if done else ""
    return f"{begin}Not decided{named}. Go on; {'; '.join(map(likely, still))}."


def _better(plan: DayPlan) -> str:
    return HIGHER if plan.quantity == POWER else LOWER


def pair_sentence(plan: DayPlan, one: looks.Sight, done: int, shown: Shown) -> str:
    """The verdict so far of one pair, after `done` blocks."""
    base, name = plan.variants[one.first], plan.variants[one.second]
    words = ("less power", "more power") if plan.quantity == POWER else ("cooler", "hotter")

    def size(value: float) -> str:
        if plan.quantity == POWER:
            return f"{abs(float(100 * np.expm1(value / 100))):.1f} %"
        return shown.text(abs(value), "temperature difference")

    def sense(value: float) -> str:
        return words[0] if value < 0 else words[1]

    about = f"{name} against {base}, {plan.question_words()}"
    span = span_words(one.low, one.high, size, sense)
    seen = f"{directed(size(one.difference), sense(one.difference), 'the same')} after {done} of {plan.last_block} blocks"
    if one.verdict == NO_DIFFERENCE:
        return f"{about}: no difference worth having, {span}; decided after block {one.block}."
    if one.verdict == UNDECIDED:
        return f"{about}: undecided, {seen}, {span}."
    wide = f", {span}" if one.low * one.high > 0 else ""
    return f"{about}: {seen}{wide}; decided after block {one.block}."


def answered(plan: DayPlan, result: Comparison, found: Standing, shown: Shown) -> Comparison:
    """A comparison of the plan's runs that says of every pair what the plan's looks say, and nothing that was not asked.

    A test of the runs as if their number had been fixed would claim more than the looks allow.
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
                    difference_degc=one.difference,
                    low_degc=one.low,
                    high_degc=one.high,
                    estimate=None,
                    more=None,
                    reason="",
                    sentence=pair_sentence(plan, one, found.blocks, shown),
                )
            )
    looks_said = f"Planned beforehand: {plan.question_words()}; a look after every block, at most {plan.last_block} blocks, {found.blocks} driven."
    return replace(
        result, answers=tuple(answers), questions=(looks_said,), best=(), best_said="", proposed_order=(), judgements=(), pulls=()
    )

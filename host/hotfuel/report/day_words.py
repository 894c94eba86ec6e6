"""A test day in words: what is asked, what is next, and the verdict so far, in the reader's units."""

from collections.abc import Sequence

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.study.evidence.looks import Sight
from hotfuel.study.evidence.verdicts import NO_DIFFERENCE, UNDECIDED
from hotfuel.study.fixes.answers import Answer, Look, Planned
from hotfuel.study.fixes.day_plan import POWER, DayPlan
from hotfuel.study.fixes.day_verdict import Standing, percent
from hotfuel.study.fixes.notes import Apart
from hotfuel.study.fixes.summaries import Cell
from hotfuel.text import Size, counted, directed, is_nothing, listed
from hotfuel.units import Shown


def run(plan: DayPlan, number: int) -> str:
    """For example "run 5 of 12: ice can"."""
    return f"run {number} of {len(plan.order)}: {plan.order[number - 1]}"


def start_when(plan: DayPlan, shown: Shown) -> str:
    """For example "the tank is below 95 °F and the block is below 160 °F"; "" where nothing was set."""
    return " and ".join(
        f"the {place_words(place)} is below {shown.text(degc, 'temperature')}" for place, degc in plan.start_degc.items()
    )


def start(plan: DayPlan, shown: Shown) -> str:
    """The same after "start when"."""
    when = start_when(plan, shown)
    return f"start when {when}" if when else ""


def difference(plan: DayPlan, shown: Shown) -> str:
    """The difference worth having, with its unit."""
    return f"{plan.difference:g} %" if plan.quantity == POWER else shown.text(plan.difference, "temperature difference")


def question(plan: DayPlan) -> str:
    """What is asked."""
    return "power" if plan.quantity == POWER else _temperature(plan.cell)


def _temperature(cell: Cell, plain: bool = False) -> str:
    return f"the temperature at the {place_words(cell.place)} ({words.phase(cell.phase, plain)})"


def planned(one: Planned, plain: bool = False) -> str:
    """How a question of a plan came about. plain: as in `words.quantity`."""
    return f"Planned beforehand: {_temperature(one.cell, plain)}; a look after every block, at most {counted(one.last_block, 'block')}, {one.driven} driven."


def standing(plan: DayPlan, found: Standing, shown: Shown) -> list[str]:
    """The verdict so far of each variant against the first, and how much is left to drive; nothing before the first block is complete."""
    done, last, sights = found.blocks, plan.last_block, found.sights
    if not sights:
        return (
            [
                f"{done} of {counted(last, 'block')} {'is' if done == 1 else 'are'} complete: a verdict is looked for from the second on."
            ]
            if done
            else []
        )
    asked = [one for one in sights if one.first == 0]
    lines = [pair(plan, one, done, shown) for one in asked]
    lines += [apart(found.apart, plan.spread, None if plan.quantity == POWER else shown)] if found.apart else []
    if len(plan.variants) > 2:
        best = [plan.variants[i] for i in found.best]
        lines.append(f"{best[0]} is the best." if len(best) == 1 else f"Which of {listed(best)} is best is not yet known.")
    left = last - done
    if found.decided:
        lines.append("Decided: stop.")
    elif left == 0:
        lines.append(
            "All blocks of the plan are driven: what is undecided now stays so by this plan. More runs need a plan of their own."
        )
    else:
        runs = len(plan.variants)
        lines.append(f"{_open(plan, asked)} At most {counted(left, 'more block')} ({counted(left * runs, 'run')}).")
    return lines


def apart(found: Sequence[Apart], spread: float, shown: Shown | None) -> str:
    """That runs of one variant differ by far more than the `spread` that was assumed, which runs, and what to look for. shown: None of power."""

    def size(value: float) -> Size:
        return _power(value) if shown is None else shown.text(value, "temperature difference")

    assumed = Size(spread, 1, "%") if shown is None else size(spread)
    pairs = [f"{size(one.by)} between runs {one.runs[0]} and {one.runs[1]} ({one.variant})" for one in found]
    return (
        f"Runs of one variant differ by far more than the {assumed} assumed from run to run: {listed(pairs)}. A run may have been driven with the wrong part: "
        "look at what was fitted, and at what else changed between them. All of them count, because what a run shows must not decide whether it counts."
    )


def _power(value: float, decimals: int = 1) -> Size:
    """A difference of power, 100 times its logarithm, as a size."""
    return Size(abs(percent(value)), decimals, "%")


def _open(plan: DayPlan, asked: Sequence[Sight]) -> str:
    """What is not decided yet, of each fix, and how many more blocks it should take; where there is only one fix, without its name."""
    done = [plan.variants[one.second] for one in asked if one.block]
    still = [one for one in asked if not one.block]
    alone = len(asked) == 1

    def likely(one: Sight) -> str:
        if not one.more:
            return "as it looks now the plan may end without a verdict" + ("" if alone else f" on {plan.variants[one.second]}")
        blocks = f"about {counted(one.more, 'more block')} ({one.more * len(plan.variants)} runs)"
        return f"{blocks} should decide {'it' if alone else plan.variants[one.second]} if it is as large as it looks"

    named = "" if alone else f": {listed([plan.variants[one.second] for one in still])}"
    begin = f"Decided: {listed(done)}. " if done else ""
    return f"{begin}Not decided{named}. Go on; {'; '.join(map(likely, still))}."


def pair(plan: DayPlan, one: Sight, done: int, shown: Shown) -> str:
    """The verdict so far of one pair of variants, after `done` blocks."""
    about = f"{plan.variants[one.second]} against {plan.variants[one.first]}, {question(plan)}"
    interval = one.difference, one.low, one.high
    return _so_far(
        about, one.verdict, interval, plan.difference, Look(one.block, done, plan.last_block), plan.quantity == POWER, shown
    )


def answer(one: Answer, look: Look, shown: Shown, plain: bool = False) -> str:
    """The same of an answer about temperature by a plan."""
    about = f"{one.variant} against {one.baseline}, {_temperature(one.cell, plain)}"
    interval = one.difference_degc, one.low_degc, one.high_degc
    return _so_far(about, one.verdict, interval, one.delta_degc, look, False, shown)


def _so_far(
    about: str, verdict: str, interval: tuple[float, float, float], delta: float, look: Look, power: bool, shown: Shown
) -> str:
    """interval: (difference, its lower end, its upper end), degC, or 100 times the logarithm of power; delta, the difference worth having, likewise."""
    difference, low, high = interval

    def size(value: float, decimals: int = 1) -> Size:
        if power:
            return _power(value, decimals)
        return shown.text(abs(value), "temperature difference", decimals)

    def sense(value: float) -> str:
        if power:
            return "less power" if value < 0 else "more power"
        return "cooler" if value < 0 else "hotter"

    span = words.inside(low, high, delta, size, sense)
    blocks = f"after {look.driven} of {look.last} blocks"
    seen = f"{directed(size(difference), sense(difference), 'the same')} {blocks}"
    if verdict == NO_DIFFERENCE:
        return f"{about}: no difference worth having, {span}; decided after block {look.block}."
    if verdict == UNDECIDED:
        so_far = f" {blocks}" if is_nothing(size(difference)) else f", {seen}"  # "the same" would read as an answer
        return f"{about}: undecided{so_far}, {span}."
    wide = f", {span}" if low * high > 0 else ""
    return f"{about}: {seen}{wide}; decided after block {look.block}."

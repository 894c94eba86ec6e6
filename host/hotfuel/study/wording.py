"""A verdict as a sentence a customer understands, in the reader's units."""

from dataclasses import dataclass

from hotfuel.car import place_words
from hotfuel.study import verdicts
from hotfuel.study.summaries import MARGIN, Cell
from hotfuel.units import Shown


@dataclass(frozen=True)
class Found:
    """What a sentence is made of: names, run counts, verdict, difference with its interval (nan where untested), in degC."""

    variant: str
    baseline: str
    runs_variant: int
    runs_baseline: int
    word: str
    difference: float
    low: float
    high: float
    delta: float
    more: verdicts.MoreRuns | None

    def counted(self) -> str:
        """For example "3 runs with sleeve against 3 with bare"."""
        plural = "s" if self.runs_variant > 1 else ""
        return f"{self.runs_variant} run{plural} with {self.variant} against {self.runs_baseline} with {self.baseline}"


def temperature_sentence(cell: Cell, found: Found, shown: Shown) -> str:
    """The sentence for one place and phase. Differences convert by 1.8 without 32."""
    where = f"the fuel at the {place_words(cell.place)} ({cell.phase}, {cell.quantity})"
    words = ("further from boiling", "nearer to boiling") if cell.quantity == MARGIN else ("cooler", "hotter")

    def size(value: float) -> str:
        return shown.text(abs(value), "temperature difference")

    def sense(value: float) -> str:
        return words[0] if value < 0 else words[1]

    span = f"between {size(found.low)} {sense(found.low)} and {size(found.high)} {sense(found.high)}"
    moved = f"With {found.variant}, {where} was {size(found.difference)} {sense(found.difference)} than with {found.baseline}"
    if found.word in (verdicts.LOWER, verdicts.HIGHER):
        near, far = sorted((abs(found.low), abs(found.high)))
        return f"{moved}, between {size(near)} and {size(far)} ({found.counted()})."
    if found.word == verdicts.NO_DIFFERENCE:
        return (
            f"{found.variant} makes no difference worth having to {where}: {span}, "
            f"less than {size(found.delta)} either way ({found.counted()})."
        )
    if found.word == verdicts.UNDECIDED:
        tail = f"; {found.more.words()} should decide" if found.more else ""
        return f"Whether {found.variant} changes {where} is undecided: {span} ({found.counted()}){tail}."
    if found.word == verdicts.DESCRIBED:
        return f"{moved}; one run on a side shows what happened that day, not what the part does ({found.counted()})."
    return f"No verdict on {where}, because the primary question comes first: {span} ({found.counted()})."

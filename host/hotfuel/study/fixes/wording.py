"""A verdict as a sentence a customer understands, in the reader's units."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hotfuel.places import place_words
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.fixes.positions import AFTER, ALWAYS_FIRST, OrderFault
from hotfuel.study.fixes.summaries import MARGIN, WHOLE_RUN, Cell
from hotfuel.text import directed, is_nothing, listed
from hotfuel.units import Shown


@dataclass(frozen=True)
class Found:
    """What a sentence is made of: names, run counts, verdict, difference with its interval (nan where untested), in degC.

    days_variant, days_baseline: on how many days the runs were driven, where the day is what counts, else 0. asked: questions that share one error.
    """

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
    days_variant: int = 0
    days_baseline: int = 0
    asked: int = 1
    fault: OrderFault | None = None

    def counted(self) -> str:
        """For example "3 runs with sleeve against 3 with bare"."""
        plural = "s" if self.runs_variant > 1 else ""
        first, second = (_on_days(days) for days in (self.days_variant, self.days_baseline))
        return f"{self.runs_variant} run{plural}{first} with {self.variant} against {self.runs_baseline}{second} with {self.baseline}"

    def clear_alone(self) -> bool:
        """Whether the interval would have decided, had this been the only question."""
        return self.low > 0 or self.high < 0 or max(-self.low, self.high) < self.delta


def _on_days(days: int) -> str:
    return f" on {days} day{'s' if days > 1 else ''}" if days else ""


def span_words(low: float, high: float, size: Callable[[float], str], sense: Callable[[float], str]) -> str:
    """ "between 6.9 and 9.8 °C cooler", the smaller first, or, where it holds none at all, "between 1.0 °C cooler and 2.0 °C hotter"."""
    near, far = sorted((low, high), key=abs)
    if low * high > 0 or is_nothing(size(near)):  # a nothing has no direction
        return f"between {size(near)} and {size(far)} {sense(far)}"
    return f"between {size(low)} {sense(low)} and {size(high)} {sense(high)}"


def temperature_sentence(cell: Cell, found: Found, shown: Shown) -> str:
    """The sentence for one place and phase. Differences convert by 1.8 without 32."""
    where = f"the fuel at the {place_words(cell.place)} ({cell.phase}, {cell.quantity})"
    words = ("further from boiling", "nearer to boiling") if cell.quantity == MARGIN else ("cooler", "hotter")

    half = (found.high - found.low) / 2  # nan where untested

    def size(value: float) -> str:
        return shown.no_finer(abs(value), "temperature difference", half)

    def sense(value: float) -> str:
        return words[0] if value * cell.better > 0 else words[1]

    span = span_words(found.low, found.high, size, sense)
    moved_by = directed(size(found.difference), sense(found.difference), "the same")
    moved = f"With {found.variant}, {where} was {moved_by} {'as' if moved_by == 'the same' else 'than'} with {found.baseline}"
    if found.word in (verdicts.LOWER, verdicts.HIGHER):
        near, far = sorted((abs(found.low), abs(found.high)))
        return f"{moved}, between {size(near)} and {size(far)} ({found.counted()})."
    if found.word == verdicts.NO_DIFFERENCE:
        return (
            f"{found.variant} makes no difference worth having to {where}: {span}, "
            f"less than {shown.text(found.delta, 'temperature difference')} either way ({found.counted()})."
        )
    if found.word == verdicts.UNDECIDED:
        tail = f"; {found.more.words()} should decide" if found.more else ""
        if found.more and found.more.in_vain:
            tail = "; more runs alone will not decide it, because of what differed besides the change"
        if found.asked > 1 and found.clear_alone():
            tail = f", which would be enough for one question alone and is not for one of {found.asked} asked together{tail}"
        return f"Whether {found.variant} changes {where} is undecided: {span} ({found.counted()}){tail}."
    if found.word == verdicts.DESCRIBED and min(found.runs_variant, found.runs_baseline) > 1:
        return f"{moved}; all runs of a side are of one recording, which shows what that day was like, not what the part does ({found.counted()})."
    if found.word == verdicts.DESCRIBED:
        return f"{moved}; one run on a side shows what happened that day, not what the part does ({found.counted()})."
    if found.word == verdicts.SEEN:
        near, far = sorted((abs(found.low), abs(found.high)))
        return f"Seen, large, not what was asked: {_lower_first(moved)}, between {size(near)} and {size(far)} ({found.counted()}); ask it of the next drives."
    if found.fault is not None:
        return f"No verdict on whether {found.variant} changes {where}: {_fault_words(found)} It was {moved_by}."
    return f"No verdict on {where}, because the primary question comes first: {span} ({found.counted()})."


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def no_verdict_reason(found: Found) -> str:
    """Why the order of the runs leaves no verdict, "" where it does not."""
    return f"No verdict on {found.variant}: {_fault_words(found)}" if found.fault is not None else ""


def _fault_words(found: Found) -> str:
    fault = found.fault
    assert fault is not None
    other = found.variant if fault.first == found.baseline else found.baseline
    if fault.kind == AFTER:
        return f"all runs with {fault.first} came before all with {other} on one day, and warming or weather look the same as the change."
    if fault.kind == ALWAYS_FIRST:
        return f"{fault.first} was driven first on every day, and a car still warm from the run before looks like the change."
    return f"{fault.first} stood earlier in the day's order than {other}, and there are too few runs to take that out."


def missing_sentence(cell: Cell, variants: Sequence[str], without: Sequence[str], held: Sequence[str]) -> str:
    """No answer to a question that the runs do not hold, and what to drive. Never a silent change of the question. held: the phases that runs hold."""
    runs = ", ".join(without[:3]) + (f" and {len(without) - 3} more" if len(without) > 3 else "")
    remedy = f"Drive a {cell.phase} in every run, or name another phase."
    if set(held) == {WHOLE_RUN}:
        remedy = f"These recordings tell no phases, which takes engine speed or ignition: connect one of them, or ask it of the {WHOLE_RUN}."
    elif cell.phase == WHOLE_RUN:
        remedy = "Whole runs are compared only where recordings tell no phases: name a phase."
    return (
        f"No verdict on what {listed(variants)} did at the {place_words(cell.place)}: it was asked of the {cell.phase}, and {runs} "
        f"{'has' if len(without) == 1 else 'have'} none that was read there. {remedy}"
    )


def without_sentence(
    cell: Cell, runs: Sequence[str], variant: str, baseline: str, estimate: Estimate, answered: bool, shown: Shown
) -> str:
    """What the first question would be without some runs: beside the answer, and no verdict."""
    words = ("further from boiling", "nearer to boiling") if cell.quantity == MARGIN else ("cooler", "hotter")

    def degrees(value: float) -> str:
        return shown.text(abs(value), "temperature difference")

    def sense(value: float) -> str:
        return words[0] if value * cell.better > 0 else words[1]

    low, high = estimate.interval()
    which = " and ".join(runs[:3]) + (f" and {len(runs) - 3} more" if len(runs) > 3 else "")
    one = len(runs) == 1
    why = f"{'has' if one else 'have'} no number for it"
    if answered:
        why = f"{'lies' if one else 'lie'} apart from the other runs of the side and {'stays' if one else 'stay'} in"
    moved_by = directed(degrees(estimate.difference), sense(estimate.difference), "the same")
    return (
        f"{which} {why}: without {'it' if one else 'them'} {variant} would be {moved_by} {'as' if moved_by == 'the same' else 'than'} {baseline} "
        f"at the {place_words(cell.place)} ({cell.phase}), {span_words(low, high, degrees, sense)}; that is no verdict, because what a run "
        "shows must not decide whether it counts."
    )


def best_sentence(cell: Cell, best: Sequence[str]) -> str:
    """Which may be best. More than one name means that these runs cannot tell them apart."""
    where = f"at the {place_words(cell.place)} ({cell.phase})"
    if len(best) == 1:
        return f"Of all, {best[0]} is the best {where}."
    return f"Which of {listed(best)} is best {where} cannot be told by these runs." if best else ""

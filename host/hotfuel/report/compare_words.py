"""A comparison of temperatures in sentences that a customer understands, in the reader's units."""

from collections.abc import Iterable

from hotfuel.places import place_words
from hotfuel.report import compare_notes, day_words, more_runs, words
from hotfuel.study.drive.phases import LAP
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.answers import Answer, Comparison, Planned
from hotfuel.study.fixes.fitted import HARDEST, NAMED, Question
from hotfuel.study.fixes.notes import Note
from hotfuel.study.fixes.pairs import LEAST_PAIRS
from hotfuel.study.fixes.positions import AFTER, ALWAYS_FIRST
from hotfuel.study.fixes.summaries import Cell
from hotfuel.study.line import settling
from hotfuel.text import between, directed, listed
from hotfuel.units import Shown

_SEEN_TOLD = 2  # sentences of the finding about what was not asked


def finding(result: Comparison, shown: Shown, plain: bool = False) -> str:
    """What was asked, answered for a customer; then what was seen without being asked; the largest first. plain: as in `words.quantity`."""
    first = sorted((a for a in result.answers if a.primary), key=lambda a: -abs(a.difference_degc))
    second = [
        a for a in result.answers if a.asked and not a.primary and a.baseline == result.baseline and a.verdict in verdicts.DECIDED
    ]
    seen = [a for a in result.answers if a.verdict == verdicts.SEEN]
    said = [
        *(compare_notes.unanswered(one, plain) for one in result.unanswered),
        *(answer(a, shown, plain) for a in first),
        best(result.primary, result.best, plain),
        *(answer(a, shown, plain) for a in (*second, *seen[:_SEEN_TOLD])),
    ]
    return " ".join(filter(None, said))


def as_dict(result: Comparison, shown: Shown) -> dict[str, object]:
    """Plain fields for JSON, with the sentences."""
    return {
        **result.as_dict(),
        "finding": finding(result, shown),
        "questions": questions(result),
        "unanswered": [compare_notes.unanswered(one) for one in result.unanswered],
        "bad_runs": bad_runs(result, shown),
        "answers": [{**one.as_dict(), "sentence": answer(one, shown)} for one in result.answers],
        "conditions": conditions(result, shown),
        "cautions": cautions(result, shown),
    }


def questions(result: Comparison, plain: bool = False) -> list[str]:
    """How each question came about, a sentence each."""
    return [day_words.planned(one, plain) if isinstance(one, Planned) else question(one, plain) for one in result.questions]


def question(one: Question, plain: bool = False) -> str:
    """What is asked of which variants, and what was guessed or not said."""
    asked = one.cells[0]
    named = words.cell(asked) if plain else asked.words()
    if one.how == NAMED:
        return f"Asked beforehand: {named}."
    if one.how == HARDEST:
        return f"What was fitted is not stated, so the question is where the margin is smallest: {named}."
    how = "Asked by a guess at what was fitted" if one.guessed else "Asked beforehand, by what was fitted"
    what = "the hottest on the lap, mean of a run's laps," if asked.phase == LAP else "the temperature"
    said = f"{how}: {what} at the {place_words(asked.place)} ({words.phase(asked.phase, plain)}), then its margin, for {listed(one.variants)}."
    if one.guessed:
        said += f" Guessed from the name: {', '.join(f'{name} as {kind}' for name, kind in one.guessed)}."
    if one.unplaced:
        said += (
            f" Where {listed(one.unplaced)} stands was not said: the {place_words(asked.place)} is the last place of the line."
        )
    return said


def conditions(result: Comparison, shown: Shown, plain: bool = False) -> list[str]:
    """What was adjusted, left out, or differed besides the change."""
    return _said(result.conditions, shown, plain)


def cautions(result: Comparison, shown: Shown) -> list[str]:
    """What weakens the answers; what was left out after each switch first."""
    return [*settling.sentences(result.settlings), *_said(result.cautions, shown)]


def _said(notes: Iterable[Note], shown: Shown, plain: bool = False) -> list[str]:
    return list(dict.fromkeys(filter(None, (compare_notes.note(one, shown, plain) for one in notes))))


def bad_runs(result: Comparison, shown: Shown) -> list[str]:
    """Runs that were left out, and those that lie apart."""
    return [compare_notes.bad_run(one, shown) for one in result.bad_runs]


def answer(one: Answer, shown: Shown, plain: bool = False) -> str:
    """The sentence of one answer, and what it was as read where that differs."""
    said = day_words.answer(one, one.look, shown, plain) if one.look is not None else _answer(one, shown, plain)
    if (read := compare_notes.as_read(one.as_read, shown)) and one.as_read is not None:
        air = shown.text(one.as_read.brought_to_degc, "temperature", 0)
        said += f" That is at the same outside air, {air}; as read it was {read}."
    return said


def _answer(one: Answer, shown: Shown, plain: bool) -> str:
    named = f"{words.phase(one.cell.phase, plain)}, {words.quantity(one.cell.quantity, plain)}"
    where = f"the fuel at the {place_words(one.cell.place)} ({named})"
    half_degc = (one.high_degc - one.low_degc) / 2  # nan where untested

    def size(degc: float) -> str:
        return shown.no_finer(abs(degc), "temperature difference", half_degc)

    def sense(degc: float) -> str:
        return compare_notes.sense_of(one.cell, degc)

    counted = _counted(one)
    span = between(one.low_degc, one.high_degc, size, sense)
    near, far = sorted((abs(one.low_degc), abs(one.high_degc)))
    moved_by = directed(size(one.difference_degc), sense(one.difference_degc), "the same")
    moved = f"ith {one.variant}, {where} was {moved_by} {'as' if moved_by == 'the same' else 'than'} with {one.baseline}"
    if one.verdict in (verdicts.LOWER, verdicts.HIGHER):
        return f"W{moved}, between {size(near)} and {size(far)} ({counted})."
    if one.verdict == verdicts.NO_DIFFERENCE:
        return (
            f"{one.variant} makes no difference worth having to {where}: {span}, "
            f"less than {shown.text(one.delta_degc, 'temperature difference')} either way ({counted})."
        )
    if one.verdict == verdicts.UNDECIDED:
        return f"Whether {one.variant} changes {where} is undecided: {span} ({counted}){_what_would_decide(one)}."
    if one.verdict == verdicts.DESCRIBED and min(one.runs_variant, one.runs_baseline) > 1:
        return f"W{moved}; all runs of a side are of one recording, which shows what that day was like, not what the part does ({counted})."
    if one.verdict == verdicts.DESCRIBED:
        return f"W{moved}; one run on a side shows what happened that day, not what the part does ({counted})."
    if one.verdict == verdicts.SEEN:
        return f"Seen, large, not what was asked: w{moved}, between {size(near)} and {size(far)} ({counted}); ask it of the next drives."
    if one.fault is not None:
        return f"No verdict on whether {one.variant} changes {where}: {_fault(one)} It was {moved_by}."
    return f"No verdict on {where}, because the primary question comes first: {span} ({counted})."


def _counted(one: Answer) -> str:
    """For example "3 runs with sleeve against 3 with bare"."""
    plural = "s" if one.runs_variant > 1 else ""
    first, second = (f" on {days} day{'s' if days > 1 else ''}" if days else "" for days in (one.days_variant, one.days_baseline))
    return f"{one.runs_variant} run{plural}{first} with {one.variant} against {one.runs_baseline}{second} with {one.baseline}"


def _what_would_decide(one: Answer) -> str:
    tail = f"; {more_runs.words(one.more)} should decide" if one.more else ""
    if one.more and one.more.in_vain:
        tail = "; more runs alone will not decide it, because of what differed besides the change"
    if one.together > 1 and one.clear_alone:
        tail = f", which would be enough for one question alone and is not for one of {one.together} asked together{tail}"
    return tail


def reason(one: Answer) -> str:
    """Why the order of the runs leaves no verdict, "" where it does not."""
    return f"No verdict on {one.variant}: {_fault(one)}" if one.fault is not None else ""


def _fault(one: Answer) -> str:
    fault = one.fault
    assert fault is not None
    other = one.variant if fault.first == one.baseline else one.baseline
    if fault.kind == AFTER:
        return f"all runs with {fault.first} came before all with {other} on one day, and warming or weather look the same as the change."
    if fault.kind == ALWAYS_FIRST:
        return f"{fault.first} was driven first on every day, and a car still warm from the run before looks like the change."
    return f"{fault.first} stood earlier in the day's order than {other}, and there are too few runs to take that out."


def best(cell: Cell, names: tuple[str, ...], plain: bool = False) -> str:
    """Which may be best. More than one name means that these runs cannot tell them apart."""
    where = f"at the {place_words(cell.place)} ({words.phase(cell.phase, plain)})"
    if len(names) == 1:
        return f"Of all, {names[0]} is the best {where}."
    return f"Which of {listed(names)} is best {where} cannot be told by these runs." if names else ""


def archived(pairs: int, car: str) -> str:
    """How many pairs of runs with the same parts fitted an archive holds."""
    enough = "" if pairs >= LEAST_PAIRS else f"; at least {LEAST_PAIRS} are needed before they count"
    return f"The archive holds {pairs} pairs of runs of one day with the same parts fitted on {car}{enough}."

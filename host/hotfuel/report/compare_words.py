"""A comparison in sentences that a customer understands, in the reader's units; of power too on the first page, where each answer is one headline, all in
the same size whatever they say, and what to do next follows."""

from collections.abc import Collection, Iterable, Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import compare_notes, compare_probes, day_words, fitted_words, more_runs, power_words, settling_words, words
from hotfuel.study.drive.phases import LAP
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import AIR_SLOPE, DAY_DRIFT, POSITION, Estimate
from hotfuel.study.fixes.answers import Answer, Comparison, Planned
from hotfuel.study.fixes.fitted import HARDEST, NAMED, Question
from hotfuel.study.fixes.notes import Note, RunsApart
from hotfuel.study.fixes.pairs import LEAST_PAIRS
from hotfuel.study.fixes.positions import AFTER, ALWAYS_FIRST, DAY, NIGHT, RECORDING
from hotfuel.study.fixes.summaries import MARGIN, Cell
from hotfuel.study.power.power import PowerComparison
from hotfuel.text import Size, between, directed, first_upper, listed, than
from hotfuel.units import Shown

# where runs were driven, as a reason says it: the dates beside it show that a night has two
_IN_ONE = {DAY: "on one day", NIGHT: "in one go past midnight", RECORDING: "in one recording"}
_THE_ONLY = {DAY: "on the only day", NIGHT: "in the only go", RECORDING: "in the only recording"}
_EVERY = {DAY: "on every day", NIGHT: "in every go", RECORDING: "in every recording"}
_ORDER = {DAY: "day's order", NIGHT: "order of the runs", RECORDING: "recording's order"}
_ADJUSTED = {
    DAY_DRIFT: "drift over the day removed",
    POSITION: "position in the day fitted",
    AIR_SLOPE: "slope over outside air estimated within sides",
}
_SEEN_TOLD = 2  # sentences of the finding about what was not asked


def finding(result: Comparison, shown: Shown, plain: bool = False) -> str:
    """What was asked, answered for a customer; then what was seen without being asked; the largest first. plain: as in `words.quantity`."""
    first = sorted((a for a in result.answers if a.primary), key=lambda a: -abs(a.difference_degc))
    second = [
        a for a in result.answers if a.asked and not a.primary and a.baseline == result.baseline and a.verdict in verdicts.DECIDED
    ]
    lost, gained = result.worse_elsewhere, result.better_elsewhere
    second = [a for a in second if a not in (*lost, *gained)]
    seen = [a for a in result.answers if a.verdict == verdicts.SEEN and a not in (*lost, *gained)]
    said = [
        *(compare_notes.unanswered(one, plain) for one in result.unanswered),
        *(answer(a, shown, plain) for a in first),
        *compare_probes.rests_on(result, first, shown),
        *fitted_words.still(result, shown, plain),
        *(answer(a, shown, plain) if a.verdict == verdicts.SEEN else f"But w{_moved(a, shown, plain)}." for a in lost),
        *(
            answer(a, shown, plain) if a.verdict == verdicts.SEEN else f"Not asked, but found: w{_moved(a, shown, plain)}."
            for a in gained
        ),
        *compare_probes.rests_on(result, (*lost, *gained), shown),
        best(result.primary, result.best, plain),
        *(answer(a, shown, plain) for a in (*second, *seen[:_SEEN_TOLD])),
    ]
    return " ".join(filter(None, said))


def headlines(result: Comparison | None, power: PowerComparison | None, shown: Shown, boiling: Collection[str] = ()) -> list[str]:
    """What was asked first, of each variant, what became worse elsewhere, or better where the first is no gain, where it is still beyond its limit, then of
    power; never empty. boiling: places of which the sheet says so already."""
    said = [_headline(result, answer, shown) for answer in result.answers if answer.primary] if result else []
    if result and not said:
        said = ["These runs do not answer what was asked."]
    elif result:  # for some variants: shown as large as the answers, the reason below
        said = [*(f"{compare_notes.no_verdict(one)}." for one in result.unanswered), *said]
    moved = (*result.worse_elsewhere, *result.better_elsewhere) if result else ()
    said += [_headline(result, one, shown) for one in moved] if result else []
    said += fitted_words.still(result, shown, True, boiling=boiling) if result else []
    said += [power_words.headline(gain) for gain in power.gains] if power else []
    return said or ["There is nothing to compare."]


def _headline(result: Comparison, answer: Answer, shown: Shown) -> str:
    """One answer, with what it rests on where that is in doubt."""
    said = headline(answer, result.delta_degc, shown)
    sure = answer.verdict in (*verdicts.DECIDED, verdicts.SEEN)
    return (
        f"{said.removesuffix('.')}, if the probe there reads right."
        if sure and compare_probes.is_in_doubt(result, answer)
        else said
    )


def headline(answer: Answer, delta_degc: float, shown: Shown) -> str:
    """One answer about temperature or room to boiling. No number is finer than half its interval."""
    margin = answer.cell.quantity == MARGIN
    at = f"at the {place_words(answer.cell.place)}" + (" on the lap" if answer.cell.phase == LAP else "")
    name = first_upper(answer.variant)
    helped = answer.cell.better * answer.difference_degc > 0
    if not answer.primary:  # what was not asked is said because it became worse, or better where the first answer is no gain
        lead = "Not asked, but seen:" if answer.verdict == verdicts.SEEN else "Not asked, but found:" if helped else "But"
        name, at = f"{lead} {answer.variant}", f"{at} ({words.phase(answer.cell.phase, plain=True)})"
    known = np.isfinite(answer.low_degc)
    doubt = (answer.high_degc - answer.low_degc) / 2 if known else np.nan

    def size(degc: float) -> Size:
        return words.rough(shown, abs(degc), doubt if known else 1.0)

    better, worse = ("more room", "less room") if margin else ("cooler", "hotter")
    if answer.verdict in (verdicts.LOWER, verdicts.HIGHER, verdicts.SEEN):
        near, far = sorted((abs(answer.low_degc), abs(answer.high_degc)))
        span = f"between {size(near)} and {size(far)}"
        if margin:
            return f"{name} left {size(answer.difference_degc)} {better if helped else worse} to boiling {at} than {answer.baseline}, {span}."
        return f"{name} {'lowered' if helped else 'raised'} the fuel {at} by {size(answer.difference_degc)}, {span}."
    if answer.verdict == verdicts.NO_DIFFERENCE:
        most = float(shown.value(delta_degc, "temperature difference"))
        whole = abs(most - round(most)) < 0.05
        return f"{name} made no difference worth having {at}: less than {shown.text(delta_degc, 'temperature difference', 0 if whole else 1)} either way."
    if answer.verdict == verdicts.UNDECIDED and known:
        ends = sorted(answer.cell.better * degc for degc in (answer.low_degc, answer.high_degc))
        told = [directed(size(end), better if end > 0 else worse, "no change") for end in ends]
        return f"Whether {answer.variant} helped {at} is undecided: anything from {told[0]} to {told[1]} fits these runs."
    if answer.verdict == verdicts.DESCRIBED:
        return f"Whether {answer.variant} helped {at} is not known: too few runs to test it."
    return f"Whether {answer.variant} helped {at} cannot be told from these runs."


def next_steps(result: Comparison | None, power: PowerComparison | None, order: Sequence[str]) -> list[str]:
    """What to do after reading the answers."""
    primary = [answer for answer in result.answers if answer.primary] if result else []
    verdict_words = {answer.verdict for answer in primary} | ({gain.verdict for gain in power.gains} if power else set())
    steps = []
    helped = any(answer.verdict == verdicts.sides(answer.cell.better)[0] for answer in primary)
    if helped and result and result.worse_elsewhere:
        steps.append("What helped where it was asked made it worse elsewhere: mend that before keeping it.")
    elif helped:
        steps.append("Under these conditions the measurement supports keeping what helped.")
    if result:
        steps += compare_probes.steps(result, primary)
    if result and result.still_beyond:
        steps.insert(0, fitted_words.next_step(result.still_beyond))
    if any(answer.verdict == verdicts.sides(answer.cell.better)[1] for answer in primary):
        steps.append("Under these conditions the measurement speaks against what made it worse.")
    if verdicts.NO_DIFFERENCE in verdict_words:
        steps.append("Where nothing changed, look for where the fuel takes up its heat, and try there.")
    if result and any(isinstance(one, RunsApart) for one in result.cautions):
        steps.append(
            "Look at what was fitted in the runs that differ far more than assumed, and at what else changed between them."
        )
    if verdict_words - set(verdicts.DECIDED) and result and any(isinstance(one, Planned) for one in result.questions):
        steps.append("What is undecided after the last block stays so by this plan: more runs need a plan of their own.")
    elif verdict_words - set(verdicts.DECIDED) or not verdict_words:
        by_turns = f" in this order: {', '.join(order)}" if order else ", alternating the sides"
        steps.append(f"{'Drive more runs' if result else 'Make more pulls'}{by_turns}; then compare all of them.")
    return steps or ["Another car, another fuel or a hotter day needs runs of its own."]


def as_dict(result: Comparison, shown: Shown) -> dict[str, object]:
    """Plain fields for JSON, with the sentences."""
    return {
        **result.as_dict(),
        "finding": finding(result, shown),
        "questions": questions(result),
        "unanswered": [compare_notes.unanswered(one) for one in result.unanswered],
        "bad_runs": bad_runs(result, shown),
        "answers": [
            {**one.as_dict(), "verdict": verdict(one), "method": method(one.tested), "sentence": answer(one, shown)}
            for one in result.answers
        ],
        "conditions": conditions(result, shown),
        "cautions": cautions(result, shown),
    }


def verdict(one: Answer) -> str:
    """The verdict in a few words."""
    return "seen, large, not what was asked" if one.verdict == verdicts.SEEN else one.verdict


def method(estimate: Estimate | None) -> str | None:
    """How an interval was worked out; None where there is none."""
    if estimate is None:
        return None
    said = [estimate.method, *(_ADJUSTED[one] for one in estimate.adjusted)]
    said += [f"one mean a {estimate.unit}"] if estimate.unit != "run" else []
    said += [f"widened by {estimate.pairs} archived pairs"] if estimate.pairs else []
    return ", ".join(said)


def questions(result: Comparison, plain: bool = False) -> list[str]:
    """How each question came about, a sentence each."""
    asked = [day_words.planned(one, plain) if isinstance(one, Planned) else question(one, plain) for one in result.questions]
    return [*asked, *fitted_words.together(result.fitted)]


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
    return [*settling_words.sentences(result.settlings), *_said(result.cautions, shown)]


def _said(notes: Iterable[Note], shown: Shown, plain: bool = False) -> list[str]:
    return list(dict.fromkeys(filter(None, (compare_notes.note(one, shown, plain) for one in notes))))


def bad_runs(result: Comparison, shown: Shown) -> list[str]:
    """Runs that were left out, and those that lie apart."""
    return [compare_notes.bad_run(one, shown) for one in result.bad_runs]


def answer(one: Answer, shown: Shown, plain: bool = False) -> str:
    """The sentence of one answer, and what it was as read where that differs."""
    said = first_upper(day_words.answer(one, one.look, shown, plain)) if one.look is not None else _answer(one, shown, plain)
    if (read := compare_notes.as_read(one.as_read, shown)) and one.as_read is not None:
        air = shown.text(one.as_read.brought_to_degc, "temperature", 0)
        said += f" That is at the same outside air, {air}; as read it was {read}."
    return said


def _moved(one: Answer, shown: Shown, plain: bool) -> str:
    """What moved, by how much, without the W or w of With, without a full stop."""
    near, far = (_size(one, degc, shown) for degc in sorted((abs(one.low_degc), abs(one.high_degc))))
    return f"{_moved_by(one, shown, plain)}, between {near} and {far} ({_counted(one)})"


def _moved_by(one: Answer, shown: Shown, plain: bool) -> str:
    by = than(_size(one, one.difference_degc, shown), compare_notes.sense_of(one.cell, one.difference_degc))
    return f"ith {one.variant}, {_where(one, plain)} was {by} with {one.baseline}"


def _where(one: Answer, plain: bool) -> str:
    named = f"{words.phase(one.cell.phase, plain)}, {words.quantity(one.cell.quantity, plain)}"
    return f"the fuel at the {place_words(one.cell.place)} ({named})"


def _size(one: Answer, degc: float, shown: Shown) -> Size:
    return shown.text(abs(degc), "temperature difference", _decimals(one, shown))


def _decimals(one: Answer, shown: Shown) -> int:
    """Of a number no finer than half the interval; one where nothing was tested."""
    return 0 if float(shown.value((one.high_degc - one.low_degc) / 2, "temperature difference")) >= 1 else 1


def _answer(one: Answer, shown: Shown, plain: bool) -> str:
    where, counted = _where(one, plain), _counted(one)

    def size(degc: float) -> Size:
        return _size(one, degc, shown)

    def sense(degc: float) -> str:
        return compare_notes.sense_of(one.cell, degc)

    if one.verdict in (verdicts.LOWER, verdicts.HIGHER):
        return f"W{_moved(one, shown, plain)}."
    span = between(one.low_degc, one.high_degc, size, sense)
    if one.verdict == verdicts.NO_DIFFERENCE:
        most = shown.text(one.delta_degc, "temperature difference")

        def finer(degc: float, decimals: int) -> Size:
            return shown.text(abs(degc), "temperature difference", decimals)

        span = words.inside(one.low_degc, one.high_degc, one.delta_degc, finer, sense, _decimals(one, shown))
        return f"{one.variant} makes no difference worth having to {where}: {span}, less than {most} either way ({counted})."
    if one.verdict == verdicts.UNDECIDED:
        return f"Whether {one.variant} changes {where} is undecided: {span} ({counted}){_what_would_decide(one)}."
    moved = _moved_by(one, shown, plain)
    if one.verdict == verdicts.DESCRIBED and min(one.runs_variant, one.runs_baseline) > 1:
        return f"W{moved}; all runs of a side are of one recording, which shows what that day was like, not what the part does ({counted})."
    if one.verdict == verdicts.DESCRIBED:
        return f"W{moved}; one run on a side shows what happened that day, not what the part does ({counted})."
    if one.verdict == verdicts.SEEN:
        return f"Seen, large, not what was asked: w{_moved(one, shown, plain)}; ask it of the next drives."
    if one.fault is not None:
        by = directed(size(one.difference_degc), sense(one.difference_degc), "the same")
        return f"No verdict on whether {one.variant} changes {where}: {_fault(one)} It was {by}."
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
        where = f"{_THE_ONLY[fault.within]} that has both" if fault.alone else _IN_ONE[fault.within]
        return f"all runs with {fault.first} came before all with {other} {where}, and warming or weather look the same as the change."
    if fault.kind == ALWAYS_FIRST:
        every = f"{_EVERY[fault.within]}{' that has both' if fault.alone else ''}"
        return f"{fault.first} was driven first {every}, and a car still warm from the run before looks like the change."
    return f"{fault.first} stood earlier in the {_ORDER[fault.within]} than {other}, and there are too few runs to take that out."


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

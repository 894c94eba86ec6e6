"""Which fix lowered the temperature: variants against a baseline and one another, from runs already summarised.

`compare_runs` is the whole of the statistics; `hotfuel.study.fixes.sessions` makes the runs from recordings. A difference is variant minus
baseline: a fix that helps lowers a temperature and raises a margin (`Cell.better`).
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.order import balanced_order
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.fixes.asking import unknown
from hotfuel.study.fixes.cautions import day_cautions, order_cautions, sensor_cautions
from hotfuel.study.fixes.conditions import as_read, mismatches
from hotfuel.study.fixes.difference import estimated
from hotfuel.study.fixes.faults import excused, outlying
from hotfuel.study.fixes.fitted import HARDEST, NAMED, Question
from hotfuel.study.fixes.lacking import BadRun, LeftOut, Unanswered, WithoutRuns
from hotfuel.study.fixes.notes import AsRead, Note, WidenedByPairs
from hotfuel.study.fixes.pairs import Pair, widened
from hotfuel.study.fixes.positions import OrderFault, order_fault
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell, Run, has, shared_cells

_Key = tuple[str, str, Cell]  # variant, against which, question


def compare_runs(
    runs: Sequence[Run],
    baseline: str | None = None,
    primary: Cell | None = None,
    *,
    questions: Sequence[Question] = (),
    delta_degc: float = verdicts.DELTA_DEGC,
    archived: Sequence[Pair] = (),
) -> Comparison:
    """Compare the variants among `runs` with the baseline (default: the first run's variant) and with one another.

    primary: the one question asked beforehand of all variants. questions: those that follow from what was fitted (`hotfuel.study.fixes.fitted`). Without
    either: the smallest margin at the place and in the phase where it is smallest, all variants together. delta_degc: the smallest difference worth having.
    archived: pairs of runs of one day with the same parts fitted, which widen an interval that the order of the runs would otherwise forbid.
    Raises InputError for fewer than two variants, unknown names, two cars, or runs with nothing in common.
    """
    if not delta_degc > 0:
        raise InputError(f"a difference worth having of {delta_degc:g} °C was given: it must be above 0")
    names = list(dict.fromkeys(run.variant for run in runs))
    base = baseline if baseline is not None else (names[0] if names else "")
    if base not in names:
        raise InputError(f'there is no variant "{base}" to compare with: there are {", ".join(names) or "none"}')
    if len(names) < 2:
        raise InputError(f'only the variant "{base}" was given: name at least two to compare')
    cars = sorted({run.car for run in runs if run.car})
    if len(cars) > 1:
        raise InputError(f"the runs are of different cars ({', '.join(cars)}): compare runs of one car")
    first_asked = {primary, *(one.cells[0] for one in questions)}
    cells = [c for c in shared_cells(runs) if c in first_asked or not _said_by_the_margin(c, runs[0])]
    others = tuple(name for name in names if name != base)
    if primary is not None and primary not in cells:
        without = [run.name for run in runs if not np.isfinite(run.values.get(primary, np.nan))]
        raise unknown(primary, shared_cells(runs), without)
    if primary is not None or not questions:
        first = primary if primary is not None else hardest(runs, cells)
        questions = [Question((first,), others, HARDEST if primary is None else NAMED)]
    put = [one for one in questions if one.cells[0] in cells]
    unanswered = [_unanswered(one, runs) for one in questions if one.cells[0] not in cells]

    sides = {name: [run for run in runs if run.variant == name] for name in names}
    pairs = [(v, w, one) for one in put for w, v in combinations([base, *(n for n in others if n in one.variants)], 2)]
    asked: dict[_Key, bool] = {(v, w, c): i == 0 for v, w, one in pairs for i, c in enumerate(c for c in one.cells if c in cells)}
    keys = [*asked, *((v, base, c) for v in others for c in cells if (v, base, c) not in asked)]
    estimates: dict[_Key, Estimate] = {}
    faults: dict[_Key, OrderFault | None] = {}
    wider: set[tuple[str, str]] = set()
    for v, w, c in keys:
        a, b = _sides(sides, w, v, c)
        estimates[v, w, c], faults[v, w, c] = estimated(a, b, c, runs), order_fault(a, b, runs)
        fault, estimate = faults[v, w, c], estimates[v, w, c]
        if fault is not None and estimate.tested and (allowed := widened(estimate, fault, archived, c)) is not None:
            estimates[v, w, c], faults[v, w, c] = allowed, None
            wider.add((v, w))
    words, levels = _verdicts(estimates, pairs, asked, faults, delta_degc)
    further = Counter(
        word not in (verdicts.DESCRIBED, verdicts.NO_VERDICT, verdicts.SEEN) for key, word in words.items() if key not in asked
    )
    answers = [
        _answer(key, estimates[key], words[key], levels[key], sides, base, asked, faults[key], delta_degc, further[True])
        for key in estimates
    ]
    read: dict[str, AsRead] = {}
    for number, asked_first in enumerate(answers):
        if not asked_first.primary:
            continue
        a, b = _sides(sides, base, asked_first.variant, asked_first.cell)
        half = (asked_first.high_degc - asked_first.low_degc) / 2
        if (was := as_read(a, b, asked_first.cell, half)) is not None:
            read.setdefault(asked_first.variant, was)
            answers[number] = replace(asked_first, as_read=was)
    beyond = {name: one.untouched for one in questions for name in one.variants}
    answers = [replace(a, touched=a.asked or a.cell.place not in beyond.get(a.variant, ())) for a in answers]
    answers.sort(
        key=lambda a: (
            not a.primary,
            not a.asked,
            not a.touched,
            a.verdict != verdicts.SEEN,
            -abs(a.difference_degc) if not a.asked else 0.0,
        )
    )
    primary_cell = questions[0].cells[0]
    conditions = [note for v in others for note in mismatches(sides[base], sides[v], primary_cell.phase, read=read.get(v))]
    cautions: list[Note] = [note for v in others for note in day_cautions(sides[base], sides[v])]
    cautions += [note for v in others for note in order_cautions(sides[base], sides[v])]
    cautions += [note for v in others for note in sensor_cautions(sides[base], sides[v], primary_cell.place)]
    cautions += [WidenedByPairs(*pair) for pair in sorted(wider)]
    open_yet = any(a.primary and a.verdict not in verdicts.DECIDED for a in answers) or bool(unanswered)
    proposed = balanced_order([base, *others], 4 if len(others) == 1 else 3, seed=len(runs)) if open_yet or cautions else []
    return Comparison(
        baseline=base,
        variants=others,
        primary=primary_cell,
        drawn=primary_cell if primary_cell in cells else answers[0].cell,
        delta_degc=delta_degc,
        answers=tuple(answers),
        runs=tuple(runs),
        conditions=tuple(dict.fromkeys(conditions)),
        cautions=tuple(dict.fromkeys(cautions)),
        proposed_order=tuple(proposed),
        questions=tuple(questions),
        unanswered=tuple(unanswered),
        best=_best(base, others, answers, primary_cell),
        bad_runs=tuple(_bad_runs(runs, base, others, primary_cell, primary_cell in cells)),
    )


def _said_by_the_margin(cell: Cell, run: Run) -> bool:
    """Whether it is the hottest of a place with a limit. That says what the smallest margin says, so it is tested only where it is asked: each further
    question takes a share of the report's error."""
    return cell.quantity == PEAK and replace(cell, quantity=MARGIN) in run.values


def hardest(runs: Sequence[Run], cells: Sequence[Cell]) -> Cell:
    """The cell of the smallest margin (of the hottest place where no margin is known), by the mean of the variants' means.

    Both sides choose together: choosing where the baseline alone looked worst would favour every fix, because what looked worst by chance is less so the
    next time.
    """
    wanted = [c for c in cells if c.quantity == MARGIN] or [c for c in cells if c.quantity == PEAK] or list(cells)
    variants = list(dict.fromkeys(run.variant for run in runs))
    return max(
        wanted,
        key=lambda c: (
            -c.better * float(np.mean([np.mean([r.values[c] for r in runs if r.variant == v and has(r, c)]) for v in variants]))
        ),
    )


def _sides(sides: dict[str, list[Run]], first: str, second: str, cell: Cell) -> tuple[list[Run], list[Run]]:
    """The runs of both sides that are evidence on that question."""
    return [run for run in sides[first] if has(run, cell)], [run for run in sides[second] if has(run, cell)]


def _bad_runs(runs: Sequence[Run], base: str, others: Sequence[str], cell: Cell, answered: bool) -> list[BadRun]:
    """Runs that were left out; runs that are outlying or lack the first question, with what its answer would be without them, which is no verdict."""
    found: list[BadRun] = [LeftOut(run.name, fault) for run in runs for fault in run.faults]
    holding = [run for run in runs if has(run, cell)]
    apart = outlying(holding, cell) if answered else [run for run in runs if not has(run, cell) and not excused(run, cell)]
    left = [run for run in holding if run not in apart]
    kept = {name: [run for run in left if run.variant == name] for name in (base, *others)}
    for name in others if apart else ():
        if min(len(kept[base]), len(kept[name])) > 1 and (estimate := estimated(kept[base], kept[name], cell, runs)).tested:
            concerned = tuple(run.name for run in apart if (answered and run.variant in (base, name)) or not answered)
            if concerned:
                found.append(WithoutRuns(cell, concerned, name, base, estimate.difference, *estimate.interval(), answered))
    return found


def _unanswered(one: Question, runs: Sequence[Run]) -> Unanswered:
    without = tuple(run.name for run in runs if not has(run, one.cells[0]))
    return Unanswered(one.cells[0], one.variants, without, tuple(dict.fromkeys(c.phase for run in runs for c in run.values)))


def _verdicts(
    estimates: dict[_Key, Estimate],
    pairs: Sequence[tuple[str, str, Question]],
    asked: dict[_Key, bool],
    faults: dict[_Key, OrderFault | None],
    delta: float,
) -> tuple[dict[_Key, str], dict[_Key, float]]:
    """({question: verdict}, {question: level of the interval shown})."""
    error = (1 - verdicts.LEVEL) / max(len(pairs), 1)
    levels = {key: 1 - error if key in asked else verdicts.LEVEL for key in estimates}
    words = {key: verdicts.NO_VERDICT if e.tested else verdicts.DESCRIBED for key, e in estimates.items()}
    testable = {key: e for key, e in estimates.items() if e.tested and faults[key] is None}
    decided = 0
    for v, w, one in pairs:
        for i, cell in enumerate(one.cells):
            estimate = testable.get((v, w, cell))
            if estimate is None:
                break
            words[(v, w, cell)] = verdicts.judge(estimate, delta, error)
            if words[(v, w, cell)] not in verdicts.DECIDED:
                break
            decided += i == 0
    # The rest is tested only after a decided first question, with the share of the error that its pairs leave; all of it shares that.
    opened = {key[0] for key, is_first in asked.items() if is_first and words[key] in verdicts.DECIDED}
    rest = [(key, e) for key, e in testable.items() if key not in asked and key[0] in opened]
    for (key, _), word in zip(rest, verdicts.holm([e for _, e in rest], [delta] * len(rest), error * decided), strict=True):
        words[key] = word
    for key, e in testable.items():
        if (
            words[key] in (verdicts.NO_VERDICT, verdicts.UNDECIDED)
            and key not in asked
            and verdicts.seen(e, delta, len(estimates))
        ):
            words[key] = verdicts.SEEN
    return words, levels


def _answer(
    key: _Key,
    estimate: Estimate,
    word: str,
    level: float,
    sides: dict[str, list[Run]],
    base: str,
    asked: dict[_Key, bool],
    fault: OrderFault | None,
    delta: float,
    further: int,
) -> Answer:
    variant, against, cell = key
    first, second = _sides(sides, against, variant, cell)
    on_days = [len({run.day for run in side}) if estimate.unit == "day" else 0 for side in (second, first)]
    return Answer(
        variant=variant,
        baseline=against,
        cell=cell,
        primary=asked.get(key, False) and against == base,
        asked=key in asked,
        verdict=word,
        # where the order leaves no verdict there is no interval either: it would show the drift as if it were the change
        estimate=estimate if fault is None else estimate.untested(),
        level=level,
        more=verdicts.more_runs(estimate, delta) if word == verdicts.UNDECIDED else None,
        delta_degc=delta,
        runs_variant=len(second),
        runs_baseline=len(first),
        days_variant=on_days[0],
        days_baseline=on_days[1],
        together=1 if key in asked else further,
        fault=fault,
    )


def _best(base: str, others: Sequence[str], answers: Sequence[Answer], cell: Cell) -> tuple[str, ...]:
    """Variants that may be best at that question: those to which no other was found better; only of three or more, the baseline included."""
    tested = [a for a in answers if a.asked and a.cell == cell and a.verdict not in (verdicts.DESCRIBED, verdicts.NO_VERDICT)]
    if len(others) < 2 or not tested:
        return ()
    helped, harmed = verdicts.sides(cell.better)
    beaten = {a.baseline for a in tested if a.verdict == helped} | {a.variant for a in tested if a.verdict == harmed}
    among = [name for name in (base, *others) if any(name in (a.variant, a.baseline) for a in tested)]
    return tuple(name for name in among if name not in beaten)

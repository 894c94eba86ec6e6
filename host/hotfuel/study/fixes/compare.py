"""Which fix lowered the temperature: variants against a baseline and one another, from runs already summarised.

`compare_runs` is the whole of the statistics; `hotfuel.study.fixes.sessions` makes the runs from recordings. A difference is variant minus
baseline in the sense of temperature, for a margin too: "lower" is always cooler, or further from the limit.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.drive.complaint import Judgement
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.order import balanced_order
from hotfuel.study.fixes.cautions import day_cautions, order_cautions, sensor_cautions
from hotfuel.study.fixes.conditions import mismatches
from hotfuel.study.fixes.difference import estimated
from hotfuel.study.fixes.fitted import Question
from hotfuel.study.fixes.positions import OrderFault, order_fault
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell, Run, shared_cells
from hotfuel.study.fixes.wording import Found, best_sentence, missing_sentence, temperature_sentence
from hotfuel.study.line.settling import Settling
from hotfuel.units import Shown

_SEEN_TOLD = 2  # sentences of the headline about what was not asked


@dataclass(frozen=True)
class Answer:
    """One question's answer. low and high are its interval at `level` (nan where nothing is tested); degC, variant minus baseline.

    primary: the first question asked, against the baseline. asked: one of the questions put beforehand, with pairs of variants among them.
    """

    variant: str
    baseline: str
    cell: Cell
    primary: bool
    asked: bool
    verdict: str
    difference_degc: float
    low_degc: float
    high_degc: float
    level: float
    estimate: Estimate | None
    more: verdicts.MoreRuns | None
    sentence: str

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        e = self.estimate
        return {
            "variant": self.variant,
            "baseline": self.baseline,
            "quantity": self.cell.quantity,
            "place": self.cell.place,
            "phase": self.cell.phase,
            "primary": self.primary,
            "asked": self.asked,
            "verdict": self.verdict,
            "difference_degc": self.difference_degc,
            "low_degc": self.low_degc,
            "high_degc": self.high_degc,
            "level": self.level,
            "method": e.method if e else None,
            "degrees_of_freedom": e.degrees_of_freedom if e else None,
            "spread_degc": e.spread if e else None,
            "unit": e.unit if e else None,
            "more_runs": [self.more.at_least, self.more.at_most] if self.more else None,
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class Comparison:
    """All answers, the asked ones first, with what a reader must know beside them.

    primary: the first question's cell. drawn: the cell the runs are drawn by: the first question's, where every run has it. questions: how each
    question came about. unanswered: sentences about questions that the runs do not hold, and what to drive. best: variants that may be best at the
    first question, one that is surely the best alone.
    """

    baseline: str
    variants: tuple[str, ...]
    primary: Cell
    drawn: Cell
    delta_degc: float
    answers: tuple[Answer, ...]
    runs: tuple[Run, ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    proposed_order: tuple[str, ...]
    questions: tuple[str, ...] = ()
    unanswered: tuple[str, ...] = ()
    best: tuple[str, ...] = ()
    best_said: str = ""
    settlings: tuple[Settling, ...] = ()  # what was left out after each switch, where sessions were cut at their marks
    judgements: tuple[Judgement, ...] = field(
        default=()
    )  # hot stops held against the baseline's with trouble, where one is marked

    def finding(self) -> str:
        """What was asked, answered for a customer; then what was seen though nobody asked; the largest first."""
        first = sorted((a for a in self.answers if a.primary), key=lambda a: -abs(a.difference_degc))
        second = [
            a for a in self.answers if a.asked and not a.primary and a.baseline == self.baseline and a.verdict in verdicts.DECIDED
        ]
        seen = [a for a in self.answers if a.verdict == verdicts.SEEN]
        said = [*self.unanswered, *(a.sentence for a in first), self.best_said, *(a.sentence for a in second)]
        return " ".join(line for line in [*said, *(a.sentence for a in seen[:_SEEN_TOLD])] if line)

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            "baseline": self.baseline,
            "variants": list(self.variants),
            "primary": {"quantity": self.primary.quantity, "place": self.primary.place, "phase": self.primary.phase},
            "questions": list(self.questions),
            "unanswered": list(self.unanswered),
            "may_be_best": list(self.best),
            "delta_degc": self.delta_degc,
            "finding": self.finding(),
            "answers": [a.as_dict() for a in self.answers],
            "runs": {v: sum(r.variant == v for r in self.runs) for v in (self.baseline, *self.variants)},
            "conditions": list(self.conditions),
            "cautions": list(self.cautions),
            "proposed_order": list(self.proposed_order),
            "settlings": [one.as_dict() for one in self.settlings],
            "judgements": [one.as_dict() for one in self.judgements],
        }


_Key = tuple[str, str, Cell]  # variant, against which, question


def compare_runs(
    runs: Sequence[Run],
    baseline: str | None = None,
    primary: Cell | None = None,
    *,
    questions: Sequence[Question] = (),
    delta_degc: float = verdicts.DELTA_DEGC,
    shown: Shown = Shown("si"),
) -> Comparison:
    """Compare the variants among `runs` with the baseline (default: the first run's variant) and with one another.

    primary: the one question asked beforehand of all variants. questions: what was asked by what was fitted (`hotfuel.study.fixes.fitted`). Without
    either: the smallest margin at the place and in the phase where it is smallest, all variants together.
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
    cells = shared_cells(runs)
    others = tuple(name for name in names if name != base)
    if primary is not None and primary not in cells:
        without = [run.name for run in runs if not np.isfinite(run.values.get(primary, np.nan))]
        raise InputError(
            f'not every run has "{primary.words()}" ({", ".join(without)} without): leave these out or choose among '
            f"{'; '.join(c.words() for c in cells)}"
        )
    if primary is not None or not questions:
        first = primary if primary is not None else hardest(runs, cells)
        how = (
            "Asked beforehand"
            if primary is not None
            else "Nothing says what was fitted, so the question is where the margin is smallest"
        )
        questions = [Question((first,), others, f"{how}: {first.words()}.")]
    put = [one for one in questions if one.cells[0] in cells]
    unanswered = [_missing(one, runs) for one in questions if one.cells[0] not in cells]

    sides = {name: [run for run in runs if run.variant == name] for name in names}
    pairs = [(v, w, one) for one in put for w, v in combinations([base, *(n for n in others if n in one.variants)], 2)]
    asked: dict[_Key, bool] = {(v, w, c): i == 0 for v, w, one in pairs for i, c in enumerate(c for c in one.cells if c in cells)}
    keys = [*asked, *((v, base, c) for v in others for c in cells if (v, base, c) not in asked)]
    estimates = {(v, w, c): estimated(sides[w], sides[v], c) for v, w, c in keys}
    faults = {(v, w): order_fault(sides[w], sides[v]) for v, w, _ in keys}
    words, levels = _verdicts(estimates, pairs, asked, faults, delta_degc)
    further = Counter(
        word not in (verdicts.DESCRIBED, verdicts.NO_VERDICT, verdicts.SEEN) for key, word in words.items() if key not in asked
    )
    answers = [
        _answer(
            key, estimates[key], words[key], levels[key], sides, base, asked, faults[key[:2]], delta_degc, shown, further[True]
        )
        for key in estimates
    ]
    answers.sort(
        key=lambda a: (not a.primary, not a.asked, a.verdict != verdicts.SEEN, -abs(a.difference_degc) if not a.asked else 0.0)
    )
    primary_cell = questions[0].cells[0]
    best, best_said = _best(base, others, answers, primary_cell)
    conditions = [line for v in others for line in mismatches(sides[base], sides[v], shown, primary_cell.phase)]
    cautions = [line for v in others for line in day_cautions(sides[base], sides[v], shown)]
    cautions += [line for v in others for line in order_cautions(sides[base], sides[v])]
    cautions += [line for v in others for line in sensor_cautions(sides[base], sides[v], primary_cell.place)]
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
        questions=tuple(one.said for one in questions),
        unanswered=tuple(unanswered),
        best=best,
        best_said=best_said,
    )


def hardest(runs: Sequence[Run], cells: Sequence[Cell]) -> Cell:
    """The cell of the smallest margin (of the hottest place where no margin is known), by the mean of the variants' means.

    Both sides choose together: picking where the baseline alone looked worst would favour every fix, because what looked worst by chance comes back.
    """
    wanted = [c for c in cells if c.quantity == MARGIN] or [c for c in cells if c.quantity == PEAK] or list(cells)
    variants = list(dict.fromkeys(run.variant for run in runs))
    return max(wanted, key=lambda c: float(np.mean([np.mean([r.values[c] for r in runs if r.variant == v]) for v in variants])))


def _missing(one: Question, runs: Sequence[Run]) -> str:
    without = [run.name for run in runs if not np.isfinite(run.values.get(one.cells[0], np.nan))]
    return missing_sentence(one.cells[0], one.variants, without)


def _verdicts(
    estimates: dict[_Key, Estimate | None],
    pairs: Sequence[tuple[str, str, Question]],
    asked: dict[_Key, bool],
    faults: dict[tuple[str, str], OrderFault | None],
    delta: float,
) -> tuple[dict[_Key, str], dict[_Key, float]]:
    """({question: verdict}, {question: level of the interval shown})."""
    error = (1 - verdicts.LEVEL) / max(len(pairs), 1)
    levels = {key: 1 - error if key in asked else verdicts.LEVEL for key in estimates}
    words = {key: verdicts.DESCRIBED if e is None else verdicts.NO_VERDICT for key, e in estimates.items()}
    testable = {key: e for key, e in estimates.items() if e is not None and faults[key[:2]] is None}
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
    # Opened only behind a decided first question, with the share of the error that its pairs leave; all of them share it.
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
    estimate: Estimate | None,
    word: str,
    level: float,
    sides: dict[str, list[Run]],
    base: str,
    asked: dict[_Key, bool],
    fault: OrderFault | None,
    delta: float,
    shown: Shown,
    further: int,
) -> Answer:
    variant, against, cell = key
    a, b = ([run.values[cell] for run in sides[name]] for name in (against, variant))
    difference = estimate.difference if estimate else float(np.mean(b) - np.mean(a))
    low, high = estimate.interval(level) if estimate else (np.nan, np.nan)
    more = verdicts.more_runs(estimate, delta) if estimate and word == verdicts.UNDECIDED else None
    on_days = [len({run.day for run in sides[name]}) if estimate and estimate.unit == "day" else 0 for name in (variant, against)]
    together = 1 if key in asked else further
    found = Found(
        variant, against, len(b), len(a), word, difference, low, high, delta, more, on_days[0], on_days[1], together, fault
    )
    sentence = temperature_sentence(cell, found, shown)
    is_primary = asked.get(key, False) and against == base
    return Answer(variant, against, cell, is_primary, key in asked, word, difference, low, high, level, estimate, more, sentence)


def _best(base: str, others: Sequence[str], answers: Sequence[Answer], cell: Cell) -> tuple[tuple[str, ...], str]:
    """(variants that may be best at that question: those to which no other was found cooler, the sentence about them); only of three or more."""
    tested = [a for a in answers if a.asked and a.cell == cell and a.verdict not in (verdicts.DESCRIBED, verdicts.NO_VERDICT)]
    if len(others) < 2 or not tested:
        return (), ""
    beaten = {a.baseline for a in tested if a.verdict == verdicts.LOWER} | {
        a.variant for a in tested if a.verdict == verdicts.HIGHER
    }
    among = [name for name in (base, *others) if any(name in (a.variant, a.baseline) for a in tested)]
    best = tuple(name for name in among if name not in beaten)
    return best, best_sentence(cell, best)

"""Which fix lowered the temperature: variants against a baseline, from runs already summarised.

`compare_runs` is the whole of the statistics; `hotfuel.study.fixes.sessions` makes the runs from recordings. A difference is variant minus
baseline in the sense of temperature, for a margin too: "lower" is always cooler, or further from the limit.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.drive.complaint import Judgement
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import COVARIATES_FROM_RUNS, Estimate, Spread
from hotfuel.study.evidence.order import balanced_order, is_one_after_the_other
from hotfuel.study.fixes.conditions import mismatches
from hotfuel.study.fixes.difference import (
    DAY_U_DEGC,
    DRIFT_FROM_RUNS,
    day_share,
    estimated,
    in_turn_on_one_day,
    own_sensors,
    shared,
)
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell, Run, shared_cells
from hotfuel.study.fixes.wording import Found, temperature_sentence
from hotfuel.study.line.settling import Settling
from hotfuel.units import Shown

COVARIATES = ("ambient_pressure_kpa", "start_degc", "duration_s", "ambient_degc")


@dataclass(frozen=True)
class Answer:
    """One question's answer. low and high are the 95 % interval (nan where nothing is tested); degC, variant minus baseline."""

    variant: str
    baseline: str
    cell: Cell
    primary: bool
    verdict: str
    difference_degc: float
    low_degc: float
    high_degc: float
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
            "verdict": self.verdict,
            "difference_degc": self.difference_degc,
            "low_degc": self.low_degc,
            "high_degc": self.high_degc,
            "method": e.method if e else None,
            "degrees_of_freedom": e.degrees_of_freedom if e else None,
            "spread_degc": e.spread if e else None,
            "unit": e.unit if e else None,
            "more_runs": [self.more.at_least, self.more.at_most] if self.more else None,
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class Comparison:
    """All answers, the primary ones first, with what a reader must know beside them."""

    baseline: str
    variants: tuple[str, ...]
    primary: Cell
    delta_degc: float
    answers: tuple[Answer, ...]
    runs: tuple[Run, ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    proposed_order: tuple[str, ...]
    settlings: tuple[Settling, ...] = ()  # what was left out after each switch, where sessions were cut at their marks
    judgements: tuple[Judgement, ...] = ()  # a variant's hot stops held against the baseline's with trouble, where one is marked

    def finding(self) -> str:
        """The primary question's answer to each variant, for a customer."""
        return " ".join(a.sentence for a in self.answers if a.primary)

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            "baseline": self.baseline,
            "variants": list(self.variants),
            "primary": {"quantity": self.primary.quantity, "place": self.primary.place, "phase": self.primary.phase},
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


def compare_runs(
    runs: Sequence[Run],
    baseline: str | None = None,
    primary: Cell | None = None,
    *,
    delta_degc: float = verdicts.DELTA_DEGC,
    covariates: Sequence[str] = (),
    borrowed: Spread | None = None,
    shown: Shown = Shown("si"),
) -> Comparison:
    """Compare every variant among `runs` with the baseline (default: the first run's variant).

    primary: the one question asked beforehand (default: smallest margin at the place and in the phase where it is smallest, all variants together).
    covariates: names of `Run` fields, used from eight runs up only. borrowed: a spread from elsewhere, only when given, and named.
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
    unknown = [name for name in covariates if name not in COVARIATES]
    if unknown:
        raise InputError(f'"{unknown[0]}" cannot be a covariate: choose among {", ".join(COVARIATES)}')
    cells = shared_cells(runs)
    question = primary if primary is not None else hardest(runs, cells)
    if question not in cells:
        without = [run.name for run in runs if not np.isfinite(run.values.get(question, np.nan))]
        raise InputError(
            f'not every run has "{question.words()}" ({", ".join(without)} without): leave these out or choose among '
            f"{'; '.join(c.words() for c in cells)}"
        )
    others = tuple(name for name in names if name != base)
    usable, cautions = _covariates(runs, covariates)
    sides = {name: [run for run in runs if run.variant == name] for name in names}
    asked = [question, *(c for c in cells if c != question)]
    estimates = {(v, c): estimated(sides[base], sides[v], c, usable, borrowed) for v in others for c in asked}
    words = _verdicts(estimates, others, question, delta_degc)
    together = Counter(key[1] == question for key, word in words.items() if word not in (verdicts.DESCRIBED, verdicts.NO_VERDICT))
    answers = [
        _answer(key, estimates[key], words[key], sides, base, question, delta_degc, shown, together[key[1] == question])
        for key in estimates
    ]
    answers.sort(key=lambda a: not a.primary)
    conditions = [line for v in others for line in mismatches(sides[base], sides[v], shown, question.phase)]
    cautions += [line for v in others for line in _day_cautions(sides[base], sides[v], shown)]
    cautions += [line for v in others for line in _order_cautions(sides[base], sides[v])]
    cautions += [line for v in others for line in _sensor_cautions(sides[base], sides[v], question.place)]
    if borrowed is not None:
        cautions.append(f"The run-to-run spread is borrowed from {borrowed.name}; it is not this comparison's own.")
    undecided = any(words[(v, question)] in (verdicts.UNDECIDED, verdicts.DESCRIBED) for v in others)
    proposed = balanced_order([base, *others], 4 if len(others) == 1 else 3, seed=len(runs)) if undecided or cautions else []
    return Comparison(
        baseline=base,
        variants=others,
        primary=question,
        delta_degc=delta_degc,
        answers=tuple(answers),
        runs=tuple(runs),
        conditions=tuple(dict.fromkeys(conditions)),
        cautions=tuple(dict.fromkeys(cautions)),
        proposed_order=tuple(proposed),
    )


def hardest(runs: Sequence[Run], cells: Sequence[Cell]) -> Cell:
    """The cell of the smallest margin (of the hottest place where no margin is known), by the mean of the variants' means.

    Both sides choose together: picking where the baseline alone looked worst would favour every fix, because what looked worst by chance comes back.
    """
    wanted = [c for c in cells if c.quantity == MARGIN] or [c for c in cells if c.quantity == PEAK] or list(cells)
    variants = list(dict.fromkeys(run.variant for run in runs))
    return max(wanted, key=lambda c: float(np.mean([np.mean([r.values[c] for r in runs if r.variant == v]) for v in variants])))


def _covariates(runs: Sequence[Run], names: Sequence[str]) -> tuple[list[str], list[str]]:
    usable, cautions = [], []
    for name in names:
        if len(runs) < COVARIATES_FROM_RUNS:
            cautions.append(
                f"{name} was not adjusted for: that needs at least {COVARIATES_FROM_RUNS} runs, there are {len(runs)}."
            )
        elif not all(np.isfinite(getattr(run, name)) for run in runs):
            cautions.append(f"{name} was not adjusted for: it is not known for every run.")
        else:
            usable.append(name)
    return usable, cautions


def _verdicts(
    estimates: dict[tuple[str, Cell], Estimate | None], variants: Sequence[str], question: Cell, delta: float
) -> dict[tuple[str, Cell], str]:
    words = {key: verdicts.DESCRIBED if e is None else verdicts.NO_VERDICT for key, e in estimates.items()}
    first = [(v, question, e) for v in variants if (e := estimates[(v, question)]) is not None]
    for (v, _, _), word in zip(first, verdicts.holm([e for *_, e in first], [delta] * len(first)), strict=True):
        words[(v, question)] = word
    # Opened only behind a decided primary question; all of them share one error.
    rest = [
        (key, e)
        for key, e in estimates.items()
        if key[1] != question and e is not None and words[(key[0], question)] in verdicts.DECIDED
    ]
    for (key, _), word in zip(rest, verdicts.holm([e for _, e in rest], [delta] * len(rest)), strict=True):
        words[key] = word
    return words


def _answer(
    key: tuple[str, Cell],
    estimate: Estimate | None,
    word: str,
    sides: dict[str, list[Run]],
    base: str,
    question: Cell,
    delta: float,
    shown: Shown,
    asked: int,
) -> Answer:
    variant, cell = key
    a, b = ([run.values[cell] for run in sides[name]] for name in (base, variant))
    difference = estimate.difference if estimate else float(np.mean(b) - np.mean(a))
    low, high = estimate.interval() if estimate else (np.nan, np.nan)
    more = verdicts.more_runs(estimate, delta) if estimate and word == verdicts.UNDECIDED else None
    on_days = [len({run.day for run in sides[name]}) if estimate and estimate.unit == "day" else 0 for name in (variant, base)]
    found = Found(variant, base, len(b), len(a), word, difference, low, high, delta, more, on_days[0], on_days[1], asked)
    sentence = temperature_sentence(cell, found, shown)
    return Answer(variant, base, cell, cell == question, word, difference, low, high, estimate, more, sentence)


def _day_cautions(a: Sequence[Run], b: Sequence[Run], shown: Shown) -> list[str]:
    """Where the runs of one day count as one, or where a side has one day only."""
    names = a[0].variant, b[0].variant
    if day_share(a, b):
        lone, other = names if len({run.day for run in a}) == 1 else names[::-1]
        return [
            f"All runs with {lone} are of one day, and none with {other} is of that day: more runs like these cannot tell the day from the change. The "
            f"interval allows for {shown.text(DAY_U_DEGC, 'temperature difference')} (standard) between days, an assumption; record both sides on the same "
            "days, or each on two days or more."
        ]
    group, unit = shared(a, b)
    first, second = set(group[: len(a)]), set(group[len(a) :])
    if unit != "day" or first & second:
        return []
    return [
        f"Runs of one day share its weather and fuel, so each day counts once: {len(first)} with {names[0]}, {len(second)} with {names[1]}."
    ]


def _order_cautions(a: Sequence[Run], b: Sequence[Run]) -> list[str]:
    both = sorted((run for run in (*a, *b) if np.isfinite(run.start_s)), key=lambda run: run.start_s)
    names = a[0].variant, b[0].variant
    if len(both) < len(a) + len(b):
        return [
            f"The order of the runs of {names[0]} and {names[1]} is not known, so a drift between them cannot be told from the change."
        ]
    if is_one_after_the_other([run.variant == names[1] for run in both]):
        early, late = both[0].variant, both[-1].variant
        straight = ""
        if min(len(a), len(b)) >= DRIFT_FROM_RUNS and in_turn_on_one_day(a, b):
            straight = " (a steady drift over the day is taken out, which widens the interval)"
        return [
            f"All runs with {early} came before all with {late}: warming, weather and whatever else drifted are mixed up with the change{straight}; "
            "drive the runs in a mixed order to rule that out."
        ]
    days = [[run for run in both if run.day == day] for day in sorted({run.day for run in both} - {""})]
    shared = [day for day in days if len({run.variant for run in day}) > 1]
    if len(shared) > 1 and all(is_one_after_the_other([run.variant == shared[0][0].variant for run in day]) for day in shared):
        first = {day[0].variant for day in shared}
        if len(first) == 1:
            return [
                f"On every day {first.pop()} was driven first: a car still warm from the run before looks like the change; let either go first by turns."
            ]
    return []


def _sensor_cautions(a: Sequence[Run], b: Sequence[Run], place: str) -> list[str]:
    if not any(own_sensors(a, b, place)):
        return []
    return [
        f"{a[0].variant} and {b[0].variant} were not read with the same probe and calibration at {place}: its uncertainty is in the interval."
    ]

"""What a comparison found: the answers, the asked ones first, with what a reader must know beside them."""

from dataclasses import dataclass, field

from hotfuel.study.drive.complaint import Judgement
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.fixes.summaries import Cell, Run
from hotfuel.study.line.overlaid import VariantPulls
from hotfuel.study.line.settling import Settling

_SEEN_TOLD = 2  # sentences of the headline about what was not asked


@dataclass(frozen=True)
class Answer:
    """One question's answer. low and high are its interval at `level` (nan where nothing is tested); degC, variant minus baseline.

    primary: the first question asked, against the baseline. asked: one of the questions put beforehand, with pairs of variants among them. touched: False
    at places that lie before the fix.
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
    touched: bool = True
    reason: str = ""  # why there is no verdict, a sentence, where the order of the runs is why

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
            "touched": self.touched,
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
    first question, one that is surely the best alone. bad_runs: sentences about runs that were left out, and about those that lie apart, with what the
    first question would be without them; that is no verdict.
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
    bad_runs: tuple[str, ...] = ()
    settlings: tuple[Settling, ...] = ()  # what was left out after each switch, where sessions were cut at their marks
    pulls: tuple[VariantPulls, ...] = ()  # full-throttle pulls of each variant that has some
    judgements: tuple[Judgement, ...] = field(
        default=()
    )  # hot stops held against the baseline's with trouble, where one is marked

    def finding(self) -> str:
        """What was asked, answered for a customer; then what was seen without being asked; the largest first."""
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
            "bad_runs": list(self.bad_runs),
            "delta_degc": self.delta_degc,
            "finding": self.finding(),
            "answers": [a.as_dict() for a in self.answers],
            "runs": {v: sum(r.variant == v for r in self.runs) for v in (self.baseline, *self.variants)},
            "conditions": list(self.conditions),
            "cautions": list(self.cautions),
            "proposed_order": list(self.proposed_order),
            "settlings": [one.as_dict() for one in self.settlings],
            "judgements": [one.as_dict() for one in self.judgements],
            "full_throttle_pulls": [one.as_dict() for one in self.pulls],
            "by_hand": [{"run": run.name, "variant": run.variant, **vars(one)} for run in self.runs for one in run.by_hand],
        }

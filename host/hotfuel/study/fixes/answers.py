"""What a comparison found: the answers, the asked ones first, with what a reader must know beside them. `hotfuel.report.compare_words` says it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from hotfuel.places import behind_needle, is_behind_needle
from hotfuel.study.drive.complaint import Judgement
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.looks import Sight
from hotfuel.study.fixes.faults import excused
from hotfuel.study.fixes.fitted import Question
from hotfuel.study.fixes.lacking import BadRun, Unanswered
from hotfuel.study.fixes.notes import AsRead, Note
from hotfuel.study.fixes.positions import OrderFault
from hotfuel.study.fixes.summaries import MARGIN, Beyond, Cell, Run
from hotfuel.study.line.overlaid import VariantPulls
from hotfuel.study.line.settling import Settling


@dataclass(frozen=True)
class Look:
    """Which look of a planned day an answer is of: the block in which its verdict was reached (0: none yet), blocks driven, and blocks at most."""

    block: int
    driven: int
    last: int


@dataclass(frozen=True)
class Planned:
    """A question that a test day's plan asked: of which cell, blocks at most, and blocks driven."""

    cell: Cell
    last_block: int
    driven: int


@dataclass(frozen=True)
class Answer:
    """One question's answer: an estimate, degC, variant minus baseline, with the question, its verdict and the level of the interval shown.

    estimate: for a planned day what its looks gave. primary: the first question asked, against the baseline. asked: one of the questions put beforehand,
    pairs of variants included. touched: False at places that lie before the fix. runs_, days_: how many runs it rests on, and on how many days they were
    driven where the day is what counts, else 0. together: how many questions share one error. fault: why the order of the runs leaves no verdict. look: of
    an answer by a planned day.
    """

    variant: str
    baseline: str
    cell: Cell
    primary: bool
    asked: bool
    verdict: str
    estimate: Estimate | Sight
    level: float
    more: verdicts.MoreRuns | None
    delta_degc: float = verdicts.DELTA_DEGC
    runs_variant: int = 0
    runs_baseline: int = 0
    days_variant: int = 0
    days_baseline: int = 0
    together: int = 1
    fault: OrderFault | None = None
    touched: bool = True
    as_read: AsRead | None = None
    look: Look | None = None

    @property
    def difference_degc(self) -> float:
        """Variant minus baseline."""
        return self.estimate.difference

    @property
    def low_degc(self) -> float:
        """The interval's lower end, nan where nothing is tested."""
        return self._interval()[0]

    @property
    def high_degc(self) -> float:
        """The interval's upper end, nan where nothing is tested."""
        return self._interval()[1]

    def _interval(self) -> tuple[float, float]:
        one = self.estimate
        return (one.low, one.high) if isinstance(one, Sight) else one.interval(self.level)

    @property
    def tested(self) -> Estimate | None:
        """The estimate whose interval is shown; None where nothing was tested, and for a planned day."""
        return self.estimate if isinstance(self.estimate, Estimate) and self.estimate.tested else None

    @property
    def clear_alone(self) -> bool:
        """Whether the interval would have decided, had this been the only question."""
        return self.low_degc > 0 or self.high_degc < 0 or bool(max(-self.low_degc, self.high_degc) < self.delta_degc)

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        e = self.tested
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
        }


@dataclass(frozen=True)
class StillBeyond(Beyond):
    """A place at which a run of a variant was beyond its limit although the variant helped."""

    variant: str


@dataclass(frozen=True)
class Comparison:
    """All answers, the asked ones first, with what a reader must know beside them.

    primary: the first question's cell. drawn: the cell by which the runs are drawn: the first question's, where every run has it. questions: how each
    question came about. unanswered: questions that the runs do not hold. best: variants that may be best at the first question; a single one surely is.
    bad_runs: runs that were left out, and those that are outlying or lack a number, with what the first question would be without them; that is no verdict.
    """

    baseline: str
    variants: tuple[str, ...]
    primary: Cell
    drawn: Cell
    delta_degc: float
    answers: tuple[Answer, ...]
    runs: tuple[Run, ...]
    conditions: tuple[Note, ...]
    cautions: tuple[Note, ...]
    proposed_order: tuple[str, ...]
    questions: tuple[Question | Planned, ...] = ()
    unanswered: tuple[Unanswered, ...] = ()
    best: tuple[str, ...] = ()
    bad_runs: tuple[BadRun, ...] = ()
    settlings: tuple[Settling, ...] = ()  # what was left out after each switch, where sessions were cut at their marks
    pulls: tuple[VariantPulls, ...] = ()  # full-throttle pulls of each variant that has some
    # hot stops held against the baseline's with trouble, where one is marked
    judgements: tuple[Judgement, ...] = field(default=())
    fitted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # {variant: what was fitted, as a person said it}

    @property
    def worse_elsewhere(self) -> tuple[Answer, ...]:
        """Of each variant the largest loss that is decided, or seen, beside what was asked first, by at least what is worth having; room before heat.

        At any place and phase: a part that cools the carburettor and heats the pump must not be read as a help alone. None of a variant that was found
        worse where it was asked, which says as much.
        """
        return self._largest(
            -1, {one.variant for one in self.answers if one.primary and one.verdict == verdicts.sides(one.cell.better)[1]}
        )

    @property
    def better_elsewhere(self) -> tuple[Answer, ...]:
        """The same of gains, of each variant that was not found better or worse where it was asked, and not at places that lie before the fix.

        A part that cools the carburettor by much must not be read as of no use because the pump was asked of.
        """
        return self._largest(
            1, {one.variant for one in self.answers if one.primary and one.verdict in (verdicts.LOWER, verdicts.HIGHER)}
        )

    @property
    def still_beyond(self) -> tuple[StillBeyond, ...]:
        """Of each variant that helped where it was asked the places at which one of its runs was, as driven, beyond the limit all the same, the furthest first;
        behind the needle only where its probe was not. A part that takes 10 degC off fuel 40 degC beyond its limit must not be read as a cure."""
        helped = [one.variant for one in self.answers if one.primary and one.verdict == verdicts.sides(one.cell.better)[0]]
        found = []
        for variant in dict.fromkeys(helped):
            least: dict[str, Beyond] = {}
            for run in (run for run in self.runs if run.variant == variant):
                for one in run.beyond:
                    if not excused(run, Cell(MARGIN, one.place, one.phase)):
                        least[one.place] = min(least.get(one.place, one), one, key=_worst_first)
            at_probe = {behind_needle(place) for place in least if not is_behind_needle(place)}
            told = sorted((one for place, one in least.items() if place not in at_probe), key=_worst_first)
            found += [StillBeyond(one.place, one.phase, one.margin_degc, variant) for one in told]
        return tuple(found)

    def _largest(self, sign: int, without: set[str]) -> tuple[Answer, ...]:
        """Of each variant but some the largest gain (1) or loss (-1) that is decided, or seen, and was not asked first; room before heat."""
        found: dict[str, tuple[tuple[bool, float], Answer]] = {}
        for one in self.answers:
            by = sign * one.cell.better * one.difference_degc
            told = one.verdict in (verdicts.LOWER, verdicts.HIGHER, verdicts.SEEN) and (sign < 0 or one.touched)
            if one.baseline != self.baseline or one.primary or not told or by < self.delta_degc or one.variant in without:
                continue
            size = (one.cell.quantity == MARGIN, by)
            if one.variant not in found or size > found[one.variant][0]:
                found[one.variant] = (size, one)
        return tuple(one for _, one in found.values())

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON; `hotfuel.report.compare_words.as_dict` adds the sentences."""
        return {
            "baseline": self.baseline,
            "variants": list(self.variants),
            "primary": {"quantity": self.primary.quantity, "place": self.primary.place, "phase": self.primary.phase},
            "may_be_best": list(self.best),
            "delta_degc": self.delta_degc,
            "answers": [a.as_dict() for a in self.answers],
            "runs": {v: sum(r.variant == v for r in self.runs) for v in (self.baseline, *self.variants)},
            "proposed_order": list(self.proposed_order),
            "fitted": {name: list(said) for name, said in self.fitted.items()},
            "still_beyond": [
                {**vars(one), "margin_degc": None if np.isnan(one.margin_degc) else one.margin_degc} for one in self.still_beyond
            ],
            "settlings": [one.as_dict() for one in self.settlings],
            "judgements": [one.as_dict() for one in self.judgements],
            "full_throttle_pulls": [one.as_dict() for one in self.pulls],
            "unread": [
                {"run": run.name, "variant": run.variant, "place": place, "seconds": None if np.isnan(seconds) else seconds}
                for run in self.runs
                for place, seconds in (run.unread_s or {}).items()
            ],
            "by_hand": [{"run": run.name, "variant": run.variant, **vars(one)} for run in self.runs for one in run.by_hand],
        }


def _worst_first(one: Beyond) -> float:
    return -np.inf if np.isnan(one.margin_degc) else one.margin_degc

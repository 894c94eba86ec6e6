"""Runs that are no evidence and questions that the runs do not answer, as data. `hotfuel.report.compare_notes` says them."""

from dataclasses import dataclass

from hotfuel.study.fixes.faults import Fault
from hotfuel.study.fixes.summaries import Cell

# Why a run has no number: the place was not measured; its phases are only guessed; that phase needs the engine's speed; there was none; there was, but
# beside the others it does not count; the whole run was asked of one that divides into phases
NO_PLACE, GUESSED, NO_SPEED, NO_PHASE, NOT_COUNTED, DIVIDED = (
    "no place",
    "guessed",
    "no speed",
    "no phase",
    "not counted",
    "divided",
)


@dataclass(frozen=True)
class LeftOut:
    """A run that a fault takes out, wholly or in part."""

    run: str
    fault: Fault


@dataclass(frozen=True)
class NotComplete:
    """A run of a planned day that has no number for what is asked. fault, else why (one of the words above): the reason. held: (kind of phase, seconds of
    it), the longest first."""

    run: str
    cell: Cell
    fault: Fault | None = None
    why: str = NO_PHASE
    held: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class WithoutRuns:
    """What the first question would be without some runs: no verdict. outlying: they lie apart from their side and stay in; else they lack the number."""

    cell: Cell
    runs: tuple[str, ...]
    variant: str
    baseline: str
    difference_degc: float
    low_degc: float
    high_degc: float
    outlying: bool


@dataclass(frozen=True)
class Unanswered:
    """A question that the runs do not hold. without: runs that lack it; held: the phases that runs hold."""

    cell: Cell
    variants: tuple[str, ...]
    without: tuple[str, ...]
    held: tuple[str, ...]


BadRun = LeftOut | WithoutRuns

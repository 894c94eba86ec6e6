"""Runs that are no evidence and questions that the runs do not answer, as data. `hotfuel.report.compare_notes` says them."""

from dataclasses import dataclass

from hotfuel.study.fixes.faults import Fault
from hotfuel.study.fixes.summaries import Cell


@dataclass(frozen=True)
class LeftOut:
    """A run that a fault takes out, wholly or in part."""

    run: str
    fault: Fault


@dataclass(frozen=True)
class NotComplete:
    """A run of a planned day that has no number for what is asked. fault: why, None where nothing says it."""

    run: str
    cell: Cell
    fault: Fault | None = None


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

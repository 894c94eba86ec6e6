"""The car file's further inputs (mixture, throttle, a second pressure, flow) in a table or in a line each: of one session, or of variants side by side."""

from collections.abc import Mapping, Sequence

import numpy as np

from hotfuel.report.table import Table
from hotfuel.session import Session
from hotfuel.study.fixes import measured_inputs
from hotfuel.study.fixes.measured_inputs import Measured
from hotfuel.text import listed
from hotfuel.units import Shown
from hotfuel.wired import text_of, words_of

_HEAD = (
    "Engine running, mean",
    "Least",
    "Greatest",
    "Full-throttle pulls, mean",
    "Uncertainty of one reading (95 %)",
    "Without a value",
)


def of_session(session: Session, shown: Shown) -> Table | None:
    """A row for each input; None for a car without any."""
    table = Table(("Input", *_HEAD), numbers=range(1, 1 + len(_HEAD)))
    table.rows += [(words_of(one.column).capitalize(), *_row(one, shown)) for one in measured_inputs.of_session(session)]
    return table if table.rows else None


def of_variants(sessions: Mapping[str, Sequence[Session]], shown: Shown) -> Table | None:
    """A row for each input and variant; None where no session has such an input."""
    table = Table(("Input", "Variant", *_HEAD), numbers=range(2, 2 + len(_HEAD)))
    table.rows += [
        (words_of(one.column).capitalize(), one.variant, *_row(one, shown)) for one in measured_inputs.of_variants(sessions)
    ]
    return table if table.rows else None


def sentences(found: Sequence[Measured], shown: Shown) -> list[str]:
    """A line for each input that gave a value: "Mixture lambda, engine running: 0.99 (as built, in pulls 0.86) and 1.00 (cooler, in pulls 0.88)."."""
    lines = []
    for column in dict.fromkeys(one.column for one in found if np.isfinite(one.mean)):
        parts = []
        for one in (one for one in found if one.column == column and np.isfinite(one.mean)):
            pulls = f", in pulls {text_of(column, one.pulls, shown)}" if np.isfinite(one.pulls) else ""
            parts.append(f"{text_of(column, one.mean, shown)} ({one.variant}{pulls})")
        lines.append(f"{words_of(column).capitalize()}, engine running: {listed(parts)}.")
    return lines


def _row(one: Measured, shown: Shown) -> tuple[str, ...]:
    figures = (one.mean, one.least, one.greatest, one.pulls)
    return (
        *(_text(one.column, value, shown) for value in figures),
        _difference(one.column, one.doubt, shown),
        f"{100 * one.without:.0f} %",
    )


def _text(column: str, value: float, shown: Shown) -> str:
    return text_of(column, value, shown) if np.isfinite(value) else "–"


def _difference(column: str, doubt: float, shown: Shown) -> str:
    if not np.isfinite(doubt):
        return "–"
    if column.endswith("_degc"):
        return f"±{shown.text(doubt, 'temperature difference')}"
    return f"±{text_of(column, doubt, shown)}"

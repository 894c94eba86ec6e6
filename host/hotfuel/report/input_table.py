"""The car file's further inputs (mixture, throttle, a second pressure, flow) in a table: of one session, or of the sessions of variants side by side."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.report.table import Table
from hotfuel.session import Session, more_inputs
from hotfuel.session.pulls import sweeps
from hotfuel.units import Shown, expanded
from hotfuel.wired import text_of, words_of

_HEAD = (
    "Engine running, mean",
    "Least",
    "Greatest",
    "Full-throttle pulls, mean",
    "Doubt of one reading (95 %)",
    "Without a value",
)


@dataclass(frozen=True)
class _Seen:
    """Values (n,) in SI, nan where there is none; where the engine runs; where it pulls at full throttle."""

    values: np.ndarray
    running: np.ndarray
    pulling: np.ndarray


def of_session(session: Session, shown: Shown) -> Table | None:
    """A row for each input; None for a car without any."""
    table = Table(("Input", *_HEAD), numbers=range(1, 1 + len(_HEAD)))
    table.rows += [
        (words_of(column).capitalize(), *_row(session, column, [seen], shown)) for column, seen in _seen(session).items()
    ]
    return table if table.rows else None


def of_variants(sessions: Mapping[str, Sequence[Session]], shown: Shown) -> Table | None:
    """A row for each input and variant; None where no session has such an input."""
    table = Table(("Input", "Variant", *_HEAD), numbers=range(2, 2 + len(_HEAD)))
    found = {name: [(session, _seen(session)) for session in group] for name, group in sessions.items()}
    for column in dict.fromkeys(column for group in found.values() for _, seen in group for column in seen):
        for name, group in found.items():
            mine = [(session, seen[column]) for session, seen in group if column in seen]
            if mine:
                table.rows.append(
                    (words_of(column).capitalize(), name, *_row(mine[0][0], column, [seen for _, seen in mine], shown))
                )
    return table if table.rows else None


def _seen(session: Session) -> dict[str, _Seen]:
    if session.car is None or not session.car.inputs or not len(session.ticks.seconds):
        return {}
    inputs = session.inputs()
    running = inputs["running"].to_numpy() == 1
    pulling = _pulling(session.ticks.seconds, inputs["engine_rpm"].to_numpy(), session.car.engine.idle_speed_rpm)
    return {column: _Seen(inputs[column].to_numpy(dtype=float), running, pulling) for column in more_inputs.names(session.car)}


def _pulling(seconds: np.ndarray, rpm: np.ndarray, idle_rpm: float) -> np.ndarray:
    """(n,) True within a full-throttle pull."""
    known = np.isfinite(rpm)
    found = np.zeros(len(seconds), bool)
    if np.count_nonzero(known) < 2:
        return found
    at = np.arange(np.ceil(seconds[known][0]), seconds[known][-1])
    for first, last in sweeps(np.interp(at, seconds[known], rpm[known]), idle_rpm):
        found |= (seconds >= at[first]) & (seconds <= at[last])
    return found


def _row(session: Session, column: str, parts: Sequence[_Seen], shown: Shown) -> tuple[str, ...]:
    values, running, pulling = (
        np.concatenate([getattr(part, key) for part in parts]) for key in ("values", "running", "pulling")
    )
    there = np.isfinite(values)
    within = running & there if (running & there).any() else there
    mean = float(values[within].mean()) if within.any() else np.nan
    pulled = pulling & there
    wired = next((one for one in session.car.inputs if one.column == column), None) if session.car is not None else None
    doubt = float(expanded(wired.standard_uncertainty(np.array([mean]))[0])) if wired is not None else np.nan
    figures = (mean, *((values[within].min(), values[within].max()) if within.any() else (np.nan, np.nan)))
    return (
        *(_text(column, float(value), shown) for value in figures),
        _text(column, float(values[pulled].mean()), shown) if pulled.any() else "–",
        _difference(column, mean, doubt, shown),
        f"{1 - np.mean(there):.0%}",
    )


def _text(column: str, value: float, shown: Shown) -> str:
    return text_of(column, value, shown) if np.isfinite(value) else "–"


def _difference(column: str, value: float, doubt: float, shown: Shown) -> str:
    if not np.isfinite(doubt):
        return "–"
    if column.endswith("_degc"):
        return f"±{shown.text(doubt, 'temperature difference')}"
    return f"±{text_of(column, doubt, shown)}"

"""What the car file's further inputs (mixture, throttle, a second pressure, flow) read: in one session, or in the sessions of each variant."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from hotfuel.session import Session, more_inputs
from hotfuel.session.pulls import sweeps
from hotfuel.units import expanded


@dataclass(frozen=True)
class Measured:
    """One input of a variant ("" in a single session): SI, nan where there is none. The column's name holds the unit.

    mean, least, greatest: with the engine running, or of the whole recording if it never ran; pulls: mean in full-throttle pulls; doubt: of one reading,
    95 %; without: the share of readings without a value.
    """

    column: str
    variant: str
    mean: float
    least: float
    greatest: float
    pulls: float
    doubt: float
    without: float

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class _Seen:
    """Values (n,) in SI, nan where there is none; where the engine runs; where it pulls at full throttle."""

    values: np.ndarray
    running: np.ndarray
    pulling: np.ndarray


def of_session(session: Session) -> list[Measured]:
    """Each input; nothing for a car without any."""
    return [_measured(session, column, "", [seen]) for column, seen in _seen(session).items()]


def of_variants(sessions: Mapping[str, Sequence[Session]]) -> list[Measured]:
    """Each input, variant by variant; nothing where no session has one."""
    found = {name: [(session, _seen(session)) for session in group] for name, group in sessions.items()}
    made = []
    for column in dict.fromkeys(column for group in found.values() for _, seen in group for column in seen):
        for name, group in found.items():
            mine = [(session, seen[column]) for session, seen in group if column in seen]
            if mine:
                made.append(_measured(mine[0][0], column, name, [seen for _, seen in mine]))
    return made


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


def _measured(session: Session, column: str, variant: str, parts: Sequence[_Seen]) -> Measured:
    values, running, pulling = (
        np.concatenate([getattr(part, key) for part in parts]) for key in ("values", "running", "pulling")
    )
    there = np.isfinite(values)
    within = running & there if (running & there).any() else there
    mean = float(values[within].mean()) if within.any() else np.nan
    least, greatest = (float(values[within].min()), float(values[within].max())) if within.any() else (np.nan, np.nan)
    pulled = pulling & there
    wired = next((one for one in session.car.inputs if one.column == column), None) if session.car is not None else None
    doubt = float(expanded(wired.standard_uncertainty(np.array([mean]))[0])) if wired is not None else np.nan
    pulls = float(values[pulled].mean()) if pulled.any() else np.nan
    return Measured(column, variant, mean, least, greatest, pulls, doubt, float(1 - np.mean(there)))

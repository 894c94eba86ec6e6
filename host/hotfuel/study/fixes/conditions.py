"""What differed between two sides besides the change: named, so that weather is not mistaken for the effect of a fix."""

from collections.abc import Sequence

import numpy as np

from hotfuel.study.fixes.difference import SLOPE, cold_drift_degc, unmatched_cold_degc
from hotfuel.study.fixes.notes import (
    AirDiffered,
    AirNotKnown,
    AirPressureDiffered,
    AsRead,
    FuelsDiffered,
    LengthsDiffered,
    Note,
    StartsDiffered,
    TankDiffered,
)
from hotfuel.study.fixes.summaries import Cell, Run

AMBIENT_DEGC = 5.0
PRESSURE_KPA = 3.0
START_DEGC = 5.0
DURATION_SHARE = 0.25
STOCK_DEGC = 2.0
_PRINTED_DEGC = 0.02  # a difference below this prints as nothing in any unit


def as_read(a: Sequence[Run], b: Sequence[Run], cell: Cell, half_degc: float) -> AsRead | None:
    """b minus a before the correction for outside air; None if that correction is too small to print.

    half_degc: half the interval of the answer, nan where it has none.
    """
    shifts = [[cell.better * SLOPE * (run.brought_to_degc - run.ambient_degc) for run in side] for side in (a, b)]
    read = [
        float(np.mean([run.values[cell] for run in side]) + np.mean(shift)) for side, shift in zip((a, b), shifts, strict=True)
    ]
    moved = float(np.mean(shifts[1]) - np.mean(shifts[0]))
    if not abs(moved) > _PRINTED_DEGC:
        return None
    return AsRead(cell, read[1] - read[0], moved, half_degc, a[0].brought_to_degc)


def mismatches(a: Sequence[Run], b: Sequence[Run], phase: str = "", *, read: AsRead | None = None) -> list[Note]:
    """A note for each condition that did not match between the runs of two variants. phase: the one the primary question is about.

    read: the second side's answer as read (`as_read`).
    """
    names = a[0].variant, b[0].variant
    notes: list[Note] = []

    def means(field: str) -> tuple[float, float]:
        sides = [np.array([getattr(run, field) for run in side], dtype=float) for side in (a, b)]
        known = [side[np.isfinite(side)] for side in sides]
        return (float(known[0].mean()), float(known[1].mean())) if min(map(len, known)) else (np.nan, np.nan)

    x, y = means("ambient_degc")
    air_step = y - x  # by this much the second side's air was warmer
    if np.isnan(x):
        notes.append(AirNotKnown(*names))
    elif abs(x - y) > AMBIENT_DEGC or read is not None:
        notes.append(AirDiffered(*names, x, y, abs(x - y) > AMBIENT_DEGC, read))
    x, y = means("ambient_pressure_kpa")
    if abs(x - y) > PRESSURE_KPA:
        notes.append(AirPressureDiffered(*names, x, y))
    x, y = means("start_degc")
    soaked = x + np.nan_to_num(air_step) - y
    if abs(soaked) > START_DEGC:
        warmer, place = names[0] if soaked > 0 else names[1], a[0].start_place
        probe = float(np.nan_to_num(cold_drift_degc(a, b, place))) + unmatched_cold_degc(a, b, place)
        explained = (place, probe) if abs(soaked + probe) <= START_DEGC else ("", np.nan)
        notes.append(StartsDiffered(*names, x, y, warmer, *explained))
    x, y = means("stock_degc")
    if abs(x - y) > STOCK_DEGC:
        notes.append(TankDiffered(names[0] if x > y else names[1], abs(x - y), over_air=not np.isnan(air_step)))
    x, y = (float(np.mean([sum(run.phase_s.values()) if run.phase_s else run.duration_s for run in side])) for side in (a, b))
    if abs(x - y) > DURATION_SHARE * max(x, y):
        notes.append(LengthsDiffered(*names, x, y))
    x, y = (float(np.mean([(run.phase_s or {}).get(phase, np.nan) for run in side])) for side in (a, b))
    if abs(x - y) > DURATION_SHARE * max(x, y):
        notes.append(LengthsDiffered(*names, x, y, phase))
    fuels = [tuple(dict.fromkeys(run.fuel for run in side if run.fuel is not None)) for side in (a, b)]
    if fuels[0] and fuels[1] and set(fuels[0]) != set(fuels[1]):
        notes.append(FuelsDiffered(*names, *fuels))
    return notes

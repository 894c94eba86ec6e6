"""What differed between two sides besides the change: named, so that weather is not mistaken for the effect of a fix."""

from collections.abc import Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.study.fixes.difference import SLOPE, SLOPE_U, cold_drift_degc, unmatched_cold_degc
from hotfuel.study.fixes.summaries import MARGIN, Cell, Run
from hotfuel.text import directed, is_nothing
from hotfuel.units import Shown, expanded

AMBIENT_DEGC = 5.0
PRESSURE_KPA = 3.0
START_DEGC = 5.0
DURATION_SHARE = 0.25
STOCK_DEGC = 2.0


def as_read(a: Sequence[Run], b: Sequence[Run], cell: Cell, half_degc: float, shown: Shown) -> str:
    """What b was against a as read, "2.0 °F cooler", where bringing both to one outside air moved the number as it is printed; "" where it did not.

    half_degc: half the interval of the answer, nan where it has none: numbers are no finer.
    """
    shifts = [[cell.better * SLOPE * (run.brought_to_degc - run.ambient_degc) for run in side] for side in (a, b)]
    read = [
        float(np.mean([run.values[cell] for run in side]) + np.mean(shift)) for side, shift in zip((a, b), shifts, strict=True)
    ]

    def size(degc: float) -> str:
        return shown.no_finer(abs(degc), "temperature difference", half_degc)

    moved = float(np.mean(shifts[1]) - np.mean(shifts[0]))
    if not np.isfinite(moved) or is_nothing(size(moved)):
        return ""
    words = ("further from boiling", "nearer to boiling") if cell.quantity == MARGIN else ("cooler", "hotter")
    return directed(size(read[1] - read[0]), words[0 if (read[1] - read[0]) * cell.better > 0 else 1], "the same")


def mismatches(a: Sequence[Run], b: Sequence[Run], shown: Shown = Shown("si"), phase: str = "", *, read: str = "") -> list[str]:
    """One sentence for each condition that did not match between the runs of two variants. phase: the one the primary question is about.

    read: what the second was as read, where bringing both to one outside air moved what is printed (as_read).
    """
    first, second = a[0].variant, b[0].variant
    lines = []

    def means(field: str) -> tuple[float, float]:
        sides = [np.array([getattr(run, field) for run in side], dtype=float) for side in (a, b)]
        known = [side[np.isfinite(side)] for side in sides]
        return (float(known[0].mean()), float(known[1].mean())) if min(map(len, known)) else (np.nan, np.nan)

    x, y = means("ambient_degc")
    air_step = y - x  # by this much the second side's air was warmer
    if np.isnan(x):
        lines.append(
            f"The outside temperature is not known for {first} and {second}: temperatures are compared as read, "
            "and a hotter day would look like the change."
        )
    elif abs(x - y) > AMBIENT_DEGC or read:
        told = f"; as read it was {read} with {second}" if read else ""
        lines.append(
            f"It was {shown.text(x, 'temperature')} outside with {first} and {shown.text(y, 'temperature')} with {second}: "
            f"temperatures are brought to one outside air by {SLOPE:g} of its difference, an assumption (±{expanded(SLOPE_U):.1f}, in the interval){told}."
        )
    x, y = means("ambient_pressure_kpa")
    if abs(x - y) > PRESSURE_KPA:
        lines.append(
            f"Air pressure was {shown.text(x, 'pressure')} with {first} and {shown.text(y, 'pressure')} with {second}: "
            "limits are worked out for one common pressure, but the engine itself ran differently."
        )
    x, y = means("start_degc")
    soaked = x + np.nan_to_num(air_step) - y
    if abs(soaked) > START_DEGC:
        warmer = first if soaked > 0 else second
        place = a[0].start_place
        probe = float(np.nan_to_num(cold_drift_degc(a, b, place))) + unmatched_cold_degc(a, b, place)
        why = f"those with {warmer} began heat-soaked, which looks like the change."
        if abs(soaked + probe) <= START_DEGC:
            size = shown.text(abs(probe), "temperature difference")
            why = f"the probe at the {place_words(place)} disagreed with the others by {size} while all were cold, which can be the reason for it."
        lines.append(
            f"Runs started at {shown.text(x, 'temperature')} with {first} and {shown.text(y, 'temperature')} with {second}: {why}"
        )
    x, y = means("stock_degc")
    if abs(x - y) > STOCK_DEGC:
        warmer = first if x > y else second
        against = "The" if np.isnan(air_step) else "Against outside air the"
        lines.append(
            f"{against} fuel in the tank was {shown.text(abs(x - y), 'temperature difference')} warmer as the runs with {warmer} began: "
            "none to all of that may still be in what was measured, which the interval allows for."
        )
    x, y = (float(np.mean([sum(run.phase_s.values()) if run.phase_s else run.duration_s for run in side])) for side in (a, b))
    if abs(x - y) > DURATION_SHARE * max(x, y):
        lines.append(
            f"Runs lasted {x / 60:.0f} min with {first} and {y / 60:.0f} min with {second}: a longer run has more chance of an extreme."
        )
    x, y = (float(np.mean([(run.phase_s or {}).get(phase, np.nan) for run in side])) for side in (a, b))
    if abs(x - y) > DURATION_SHARE * max(x, y):
        lines.append(
            f"The {phase} lasted {x / 60:.1f} min with {first} and {y / 60:.1f} min with {second}: the longer one has more chance of an extreme."
        )
    fuels = [sorted({run.fuel for run in side if run.fuel}) for side in (a, b)]
    if fuels[0] and fuels[1] and fuels[0] != fuels[1]:
        lines.append(
            f"The fuel was {' and '.join(fuels[0])} with {first}, {' and '.join(fuels[1])} with {second}: "
            "limits are worked out for one common fuel."
        )
    return lines

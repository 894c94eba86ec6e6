"""The runs of a comparison as a table: what each was driven in, its number, what was read by hand, and where it was not read."""

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import by_hand, compare_notes, words
from hotfuel.report.table import Table
from hotfuel.study.drive.phases import LAP
from hotfuel.study.fixes import read_by_hand
from hotfuel.study.fixes.answers import Comparison
from hotfuel.study.fixes.summaries import MARGIN, Run, has
from hotfuel.text import listed
from hotfuel.units import Shown

_RUNS_MOST, _BY_HAND_MOST = 60, 3


def table(result: Comparison, shown: Shown) -> Table:
    """A row for each run."""
    is_margin, phase = result.drawn.quantity == MARGIN, result.drawn.phase
    read = read_by_hand.columns(result.runs, phase)[:_BY_HAND_MOST]
    unread = any(run.unread_s for run in result.runs)
    made = Table(
        (
            "Variant",
            "Run",
            "Outside air",
            "Air pressure",
            "Fuel",
            _heading(result),
            *(by_hand.heading(column) for column in read),
            *(["Not read"] if unread else []),
        ),
        numbers=(2, 3, *range(5, 6 + len(read))),
    )
    for run in result.runs[:_RUNS_MOST]:
        value = run.values.get(result.drawn, np.nan)
        number = words.signed(shown, value) if is_margin else shown.text(value, "temperature")
        if not has(run, result.drawn):
            number = f"left out: {run.faults[0].kind}" if run.faults else "not read"
        air = shown.text(run.ambient_degc, "temperature"), shown.text(run.ambient_pressure_kpa, "pressure")
        noted = (by_hand.text(read_by_hand.of_run(run, column, phase), column, shown) for column in read)
        number += f" ({run.laps} laps)" if phase == LAP and run.laps else ""
        silent = [_unread(run)] if unread else []
        made.rows.append((run.variant, run.name, *air, compare_notes.filled(run.fuel, shown), number, *noted, *silent))
    return made.cut(len(result.runs), _RUNS_MOST)


def _heading(result: Comparison) -> str:
    return result.drawn.quantity.capitalize() + (" on the lap" if result.drawn.phase == LAP else "")


def _unread(run: Run) -> str:
    """The places of the fuel that were not read for long, "" for none. Example: "pump for 12 min 00 s and tank"."""
    told = {
        place: "" if np.isnan(seconds) else f" for {words.duration(seconds)}" for place, seconds in (run.unread_s or {}).items()
    }
    return listed([f"{place_words(place)}{how_long}" for place, how_long in told.items()])

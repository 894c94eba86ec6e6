"""Tables of full-throttle pulls: a row for each pull and place, and for each variant and place."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.report.table import Table
from hotfuel.study.line.full_throttle import PlaceAtPull
from hotfuel.study.line.overlaid import VariantPulls
from hotfuel.study.story import Story
from hotfuel.units import Shown

_ROWS_MOST = 60


def pulls(told: Story, start: pd.Timestamp | pd.Timedelta, shown: Shown, clock: words.Clock) -> Table | None:
    """What each pull did at each place; None without a pull. start: of the session."""
    table = Table(
        (
            "Pull",
            "Place",
            "At its start",
            "At its end",
            "Lowest, after",
            "Tank's fuel there after",
            "Margin then",
            "Smallest margin",
        ),
        numbers=range(2, 8),
    )
    rows = [(pull, place, at) for pull in told.pulls for place, at in pull.places.items()]
    before = None
    for pull, place, at in rows[:_ROWS_MOST]:
        when = (
            f"{clock.moment(start + pd.Timedelta(seconds=pull.start_s))}, {words.duration(pull.duration_s)}"
            if pull is not before
            else ""
        )
        before = pull
        lowest = f"{shown.text(at.lowest_degc, 'temperature')}, {at.lowest_after_s:.0f} s" if np.isfinite(at.lowest_degc) else "–"
        table.rows.append(
            (
                when, place_words(place), shown.text(at.start_degc, "temperature"), shown.text(at.end_degc, "temperature"), lowest, _arrival(at),
                words.signed(shown, at.margin_degc), words.signed(shown, at.smallest_margin_degc),
            )
        )  # fmt: skip
    return table.cut(len(rows), _ROWS_MOST) if rows else None


def variants(told: Sequence[VariantPulls], shown: Shown) -> Table | None:
    """What the pulls of each variant did at each place, in the mean; None without a pull."""
    table = Table(("Variant", "Place", "At the start", "Lowest", "Falls by", "Smallest margin", "Pulls"), numbers=range(2, 7))
    for one in told:
        for number, (place, at) in enumerate(one.places.items()):
            half = f" ±{shown.text(at.fall_half_degc, 'temperature difference')}" if np.isfinite(at.fall_half_degc) else ""
            table.rows.append(
                (
                    one.variant, place_words(place), shown.text(at.start_degc, "temperature"), shown.text(at.lowest_degc, "temperature"),
                    shown.text(at.fall_degc, "temperature difference") + half, words.signed(shown, at.smallest_margin_degc),
                    f"{one.count} in {one.sessions}" if not number else "",
                )
            )  # fmt: skip
    return table if table.rows else None


def _arrival(at: PlaceAtPull) -> str:
    if not np.isfinite(at.arrival_s):
        return "not known"
    if at.arrival_s == 0:
        return "at once"
    greatest = f"{at.arrival_greatest_s:.0f}" if np.isfinite(at.arrival_greatest_s) else "later"
    return f"{at.arrival_s:.0f} s ({at.arrival_least_s:.0f} to {greatest})"

"""Tables of hot stops and restarts: how hard each stop was, how the engine started again, and how the stops since a repair compare with a complaint's."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from hotfuel.places import place_words
from hotfuel.report import complaint_words, words
from hotfuel.report.table import Table
from hotfuel.study.drive.complaint import Judgement, Stop
from hotfuel.study.drive.restarts import Hardness
from hotfuel.study.story import Story
from hotfuel.units import Shown

_ROWS_MOST = 40
_ASKED = ("Standing", "Run before", "At high rpm", "Outside air", "Fuel's limit in open air", "Hottest fuel")


def hot_stops(told: Story, shown: Shown) -> Table | None:
    """How hard each hot stop was, and what passed its limit first."""
    table = Table(("Stop", *_ASKED, "First past its limit"), numbers=range(1, 7))
    for soak in told.soaks[:_ROWS_MOST]:
        first = f"{place_words(soak.first_place)}, after {soak.crossed_min:.0f} min" if soak.first_place else "none measured"
        table.rows.append((soak.phase, *_asked(soak.hardness, shown), first if told.nearest else "no limit is known"))
    return table.cut(len(told.soaks), _ROWS_MOST) if table.rows else None


def restarts(told: Story, start: pd.Timestamp | pd.Timedelta, shown: Shown, clock: words.Clock) -> Table | None:
    """The record of every start after a stop. start: of the session."""
    table = Table(
        ("Start", "After standing", "Cranking", "Tries", "Fuel pressure there after", "Margins at the first turn", "Marked"),
        numbers=range(1, 5),
    )
    for one in told.restarts[:_ROWS_MOST]:
        known = {place: margin for place, margin in one.margins_degc.items() if np.isfinite(margin)}
        margins = "; ".join(f"{place_words(place)} {words.signed(shown, margin)}" for place, margin in known.items())
        table.rows.append(
            (
                clock.moment(start + pd.Timedelta(seconds=one.at_s)), words.duration(60 * one.stopped_min), words.duration(one.cranking_s),
                str(one.tries) if np.isfinite(one.cranking_s) else "–", words.duration(one.pressure_s), margins or "no limit", one.trouble or "–",
            )
        )  # fmt: skip
    return table.cut(len(told.restarts), _ROWS_MOST) if table.rows else None


def held(judgements: Sequence[Judgement], shown: Shown) -> Table | None:
    """The complaint's stop, then every stop that was held against it."""
    if not judgements:
        return None
    table = Table(("Run", *_ASKED, "Started again", "As a test"), numbers=range(1, 7))
    complaint = judgements[0].complaint
    table.rows.append((_run(complaint), *_asked(complaint.hardness, shown), _started(complaint), "the complaint's"))
    every = [(one.variant, stop) for one in judgements for stop in one.stops]
    for variant, stop in every[:_ROWS_MOST]:
        easier = f"easier: {complaint_words.easier(stop.easier)}" if stop.easier else "as hard"
        table.rows.append(
            (f"{variant}: {_run(stop)}" if variant else _run(stop), *_asked(stop.hardness, shown), _started(stop), easier)
        )
    return table.cut(len(every), _ROWS_MOST)


def _run(stop: Stop) -> str:
    return f"{stop.run}, {stop.phase}"


def _started(stop: Stop) -> str:
    if stop.trouble is None:
        return "not in the recording"
    return f'"{stop.mark}"' if stop.mark else "nothing marked"


def _asked(hard: Hardness, shown: Shown) -> tuple[str, ...]:
    minutes = (
        f"{value:.0f} min" if np.isfinite(value) else "–" for value in (hard.soak_min, hard.driven_min, hard.high_speed_min)
    )
    return (*minutes, *(shown.text(degc, "temperature") for degc in (hard.ambient_degc, hard.limit_degc, hard.peak_degc)))

"""The page of a session's laps: table, path to scale, which sector costs margin. For the driver; it is never part of the customer's sheet."""

from pathlib import Path

import numpy as np

from hotfuel import __version__
from hotfuel.places import at_place, place_words
from hotfuel.report import html, lap_words, words
from hotfuel.report.lap_words import lap_time, note, numbers
from hotfuel.report.table import Table
from hotfuel.report.track import track
from hotfuel.session.recording import Session
from hotfuel.study.drive.crossings import POSITION_U_M
from hotfuel.study.drive.laps import HAND_U_S, Laps
from hotfuel.text import minus
from hotfuel.units import Shown, expanded

_ROWS_MOST = 80


def write(found: Laps, session: Session, path: str | Path, shown: Shown) -> Path:
    """Write it; returns its path. Raises InputError if the place cannot be written."""
    return html.write(render(found, session, shown), path)


def render(found: Laps, session: Session, shown: Shown) -> str:
    """The page as text."""
    values = {
        "title": session.name,
        "simulated": bool(session.metadata.get("simulated")),
        "car": session.car.name if session.car is not None else "",
        "made": words.today(),
        "said": lap_words.sentences(found, shown),
        "drawing": track(found, shown),
        "caption": f"North up, to scale. Colour and shape: the margin {at_place(found.place)}."
        if found.place
        else "North up, to scale.",
        "table": _laps(found, shown),
        "sectors": _sectors(found, shown),
        "place": place_words(found.place),
        "method": _method(shown),
        "cautions": words.CAUTIONS,
        "version": f"hotfuel {__version__}, {words.today()}",
    }
    return html.page("laps.html.jinja", {}, values)


def _method(shown: Shown) -> list[str]:
    away_m = float(expanded(POSITION_U_M))
    doubt = f"{away_m:.0f} m" if shown.system == "si" else f"{away_m / 0.3048:.0f} ft"
    return [
        "A lap ends where the path, straight from fix to fix, crosses the line in its direction. A crossing counts as known to "
        f"±{doubt} (common practice, no source) and to what a car can do between two fixes; a button pressed at a line to ±{expanded(HAND_U_S):.1f} s. "
        "± holds in 95 of 100 cases.",
        "Sectors are equal parts of the lap by distance; the loss is a mean over whole laps with its 95 % interval, the lap being the unit.",
    ]


def _laps(found: Laps, shown: Shown) -> Table:
    table = Table(("Lap", "Time", "±, 95 %", "Hottest", "Where", "Smallest margin", "Where", ""), numbers=(1, 2))
    for lap in found.laps[:_ROWS_MOST]:
        hottest = f"{shown.text(lap.hottest_degc, 'temperature')}, {place_words(lap.hottest_place)}" if lap.hottest_place else "–"
        margin = f"{words.signed(shown, lap.margin_degc)}, {place_words(lap.margin_place)}" if lap.margin_place else "–"
        doubt = f"{expanded(lap.time_u_s):.1f} s" if lap.time_u_s >= 0.05 else f"{expanded(lap.time_u_s):.2f} s"
        table.rows.append(
            (
                numbers(lap), lap_time(lap, found.period_s), doubt, hottest, _at(lap.hottest_at_m, shown), margin, _at(lap.margin_at_m, shown), note(lap),
            )
        )  # fmt: skip
    return table.cut(len(found.laps), _ROWS_MOST)


def _at(metres: float, shown: Shown) -> str:
    return shown.text(metres, "length") if np.isfinite(metres) else "–"


def _sectors(found: Laps, shown: Shown) -> Table | None:
    if not found.sectors:
        return None
    table = Table(("From", "To", "Loss a lap", "95 % interval", "Smallest margin"), numbers=(1, 2, 3, 4))
    for one in found.sectors:
        loss, low, high = (
            minus(shown.text(value, "temperature difference")) for value in (one.loss_degc, one.low_degc, one.high_degc)
        )
        table.rows.append(
            (
                shown.text(one.from_m, "length"),
                shown.text(one.to_m, "length"),
                loss,
                f"{low} to {high}",
                words.signed(shown, one.smallest_degc),
            )
        )
    return table

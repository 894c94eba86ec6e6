"""A forecast beside what was measured afterwards, as a picture and a table: a bar for each place and phase, a mark for the outcome.

Renders hotfuel.study.fixes.came.
"""

from collections.abc import Mapping

import numpy as np

from hotfuel.places import place_words
from hotfuel.report.came_words import margin, margins, sentences
from hotfuel.report.chart import INK, LEFT_PX, NARROW_PX, WIDTH_PX, Chart, Range
from hotfuel.report.plots import Plot
from hotfuel.report.table import Table
from hotfuel.study.fixes.came import HELD, LEAST_HALF_DEGC, MISSED, UNTOLD, Came, Outcome
from hotfuel.text import directed
from hotfuel.units import Shown, expanded

_ROW_PX, _MOST_ROWS = 22, 16
_TOLD, _OUTSIDE = "#0b6fa4", "#a3182b"


def part(came: Came, shown: Shown, figures: dict[str, Chart]) -> Mapping[str, object]:
    """{"plot", "table", "said"} of a page; puts its chart into `figures`."""
    figures["came"] = chart(came, shown)
    return {"plot": Plot(["came"], [], _caption(came)), "table": table(came, shown), "said": sentences(came, shown)}


def chart(came: Came, shown: Shown, width: int = WIDTH_PX) -> Chart:
    """A row for each place and phase, in the fuel's direction."""
    rows = came.outcomes[:_MOST_ROWS]
    degrees = lambda degc: float(shown.value(degc, "temperature"))  # noqa: E731
    ends = [
        x
        for one in rows
        for x in (
            degrees(one.told.told.least),
            degrees(one.told.told.greatest),
            degrees(one.told.before_degc),
            *(degrees(one.came_degc + k * expanded(one.came_u_degc)) for k in (-1, 1)),
        )
    ]
    low, high = min(ends), max(ends)
    unit, held = shown.unit("temperature"), came.counted(HELD)
    room = 0.42 if width == NARROW_PX else 0.3
    chart = Chart(
        "came" if width == WIDTH_PX else "card-came", _ROW_PX * len(rows) + 6, Range(low - room * (high - low) - 1, high + 0.04 * (high - low) + 0.5),
        Range(-(len(rows) - 0.4), 0.6), title=f"Fuel, {unit}", x_title=f"{unit}, at the outside air of the drive it was forecast from", show_y=False,
        alt=f"What was forecast for {came.change} and what came: {held} of {held + came.counted(MISSED)} within the range.", width=width,
    )  # fmt: skip
    for number, one in enumerate(rows):
        y = -float(number)
        least, greatest = (degrees(x) for x in (one.told.told.least, one.told.told.greatest))
        chart.box(
            (least, greatest),
            (y - 0.22, y + 0.22),
            f"{_name(one)}: forecast {least:.0f} to {greatest:.0f} {unit}",
            fill=_TOLD,
            fill_opacity=0.3,
        )
        was = degrees(one.told.before_degc)
        chart.marker(was, y, "circle", INK, f"{_name(one)}: {was:.0f} {unit} before", hollow=True, size=3.5)
        came_at, colour = degrees(one.came_degc), _OUTSIDE if one.miss_degc else INK
        half = expanded(one.came_u_degc)
        chart.box((degrees(one.came_degc - half), degrees(one.came_degc + half)), (y - 0.03, y + 0.03), "", fill=colour)
        shape = "square" if one.miss_degc else "diamond"
        chart.marker(came_at, y, shape, colour, f"{_name(one)}: {came_at:.0f} {unit} came", hollow=False, size=4.5)
        chart.label(_name(one), LEFT_PX + 4, float(chart.py(y)) + 4)
    return chart


def table(came: Came, shown: Shown) -> Table:
    """A row for each place and phase."""
    made = Table(("Place", "While", "Before", "Forecast", "Came", "Held"), numbers=(2, 3, 4))
    if came.room is not None:
        made.rows.append(_room(came, came.room, shown))
    for one in came.outcomes:
        least, greatest = (shown.text(x, "temperature", 0) for x in (one.told.told.least, one.told.told.greatest))
        half = shown.text(expanded(one.came_u_degc), "temperature difference", 0)
        off = shown.text(abs(one.miss_degc), "temperature difference", 0)
        way = "hotter" if one.miss_degc > 0 else "cooler"
        told = one.held if one.held != MISSED else f"no: {directed(off, way, f'a little {way}')}"
        made.rows.append(
            (
                place_words(one.told.place),
                one.told.phase,
                shown.text(one.told.before_degc, "temperature", 0),
                "as before" if one.told.told.half < LEAST_HALF_DEGC else f"{least.digits} to {greatest}",
                f"{shown.text(one.came_degc, 'temperature', 0)} ±{half}",
                told,
            )
        )
    return made


def _room(came: Came, room: Outcome, shown: Shown) -> tuple[str, ...]:
    """The table's first row: the smallest margin anywhere."""
    told = room.told
    head = (
        f"least room to boiling, {place_words(told.place)}",
        told.phase,
        margin(told.before_degc, shown),
        margins(told.told, shown),
    )
    if not np.isfinite(room.came_degc):
        return (*head, "–", UNTOLD)
    half = shown.text(expanded(room.came_u_degc), "temperature difference", 0)
    where = "" if came.room_place == told.place else f", {place_words(came.room_place)}"
    off, way = shown.text(abs(room.miss_degc), "temperature difference", 0), "more" if room.miss_degc > 0 else "less"
    held = room.held if room.held != MISSED else f"no: {directed(off, way, f'a little {way}')}"
    return (*head, f"{margin(room.came_degc, shown)} ±{half}{where}", held)


def _name(one: Outcome) -> str:
    return f"{place_words(one.told.place)}, {one.told.phase}"


def _caption(came: Came) -> str:
    return (
        f"Blue: where the forecast of {came.made} had it in 95 of 100, with {came.change}. Ring: before. Diamond: what came, with the doubt of two days' "
        'difference, at the same outside air; a red square where both together do not reach the forecast. "Cannot be told": what came, with its doubt, also '
        'fits no change. "Not counted": no change was forecast.'
    )

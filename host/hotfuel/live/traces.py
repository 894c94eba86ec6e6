"""The traces of the last minutes: temperatures, limits as dashed lines, marks as uprights. Colours come from the page, for day and night."""

import math
import time
from typing import Any

from bokeh.models import ColumnDataSource, DataRange1d, DatetimeTickFormatter
from bokeh.plotting import figure

from hotfuel.live.history import MINUTES, POINTS
from hotfuel.live.situation import Situation
from hotfuel.live.state import LiveState
from hotfuel.live.wording import place_name
from hotfuel.risk.margin import NEEDLE
from hotfuel.units import Shown

_LIMIT = " limit"
_DASHES = ("solid", "solid", "solid", "solid", "dotdash", "dotdash", "dotdash", "dotdash")
_LINES_MAX = 24


class Traces:
    """One browser's figure. `update` sends it what is new; `lines` says to the page what each line is."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._source = ColumnDataSource({"x": []}, name="points")
        self._marks = ColumnDataSource({"x": []}, name="marks")
        self._sent = 0
        self._offset_s = math.nan
        self.lines: list[dict[str, Any]] = []
        self.figure = figure(
            name="traces", height=280, sizing_mode="stretch_width", x_axis_type="datetime", toolbar_location=None, tools="",
            x_range=DataRange1d(follow="end", follow_interval=MINUTES * 60_000, range_padding=0.01),
            y_range=DataRange1d(range_padding=0.08, min_interval=8, only_visible=True),
            y_axis_label=shown.unit("temperature"), output_backend="canvas",
        )  # fmt: skip
        self.figure.xaxis.formatter = DatetimeTickFormatter(
            days="%H:%M", hours="%H:%M", hourmin="%H:%M", minutes="%H:%M", minsec="%H:%M:%S", seconds="%H:%M:%S"
        )
        self.figure.vspan(x="x", source=self._marks, line_width=1.5, line_dash="dotted", name="marks")

    def update(self, state: LiveState, now: Situation) -> None:
        """Send points and marks that this browser has not got yet; all of them when a line or the time of day is new."""
        names = self._names(state)
        new_lines = [name for name in names if name not in {line["column"] for line in self.lines}]
        moved = not math.isnan(now.wall_offset_s) and not abs(now.wall_offset_s - self._offset_s) < 2.0
        points = state.history.since(self._sent)
        self._sent = state.history.added
        if moved:
            self._offset_s = now.wall_offset_s
        columns = [line["column"] for line in self.lines] + new_lines
        if moved or new_lines:
            self._source.data = self._columns(list(state.history.points), columns)
            for name in new_lines:
                self._add_line(name)
        elif points:
            self._source.stream(self._columns(points, columns), rollover=POINTS)
        first = state.history.points[0][0] if state.history.points else math.inf
        marks = [self._x(at) for at, _ in now.marks if at >= first]
        if marks != list(self._marks.data["x"]):
            self._marks.data = {"x": marks}

    def _names(self, state: LiveState) -> list[str]:
        """Columns worth a line, temperatures first: a limit only where a place has one."""
        if not state.history.points:
            return []
        found = [name for name in state.history.points[-1][1] if not name.endswith(" kpa")]
        return sorted(found, key=lambda name: name.endswith(_LIMIT))[:_LINES_MAX]

    def _add_line(self, column: str) -> None:
        limit = column.endswith(_LIMIT)
        place = column.removesuffix(_LIMIT)
        line_of = place.removesuffix(NEEDLE)
        colours = [line["place"] for line in self.lines if not line["limit"]]
        number = colours.index(line_of) if line_of in colours else len(colours)
        name = f"line{len(self.lines)}"
        dash: Any = ([3, 5] if place.endswith(NEEDLE) else "dashed") if limit else _DASHES[number % 8]
        label = place_name(place) + (": limit" if limit else "")
        swatch = ("limit needle" if place.endswith(NEEDLE) else "limit") if limit else "line"
        self.lines.append(
            {
                "glyph": name,
                "column": column,
                "place": line_of,
                "limit": limit,
                "colour": number % 6,
                "dash": swatch,
                "label": label,
            }
        )
        self.figure.line("x", column, source=self._source, name=name, line_width=1.6 if limit else 3, line_dash=dash)

    def _x(self, at: float) -> float:
        """Milliseconds as the axis shows them: local time of day, or since the board started."""
        if math.isnan(self._offset_s):
            return at * 1000
        wall = at + self._offset_s
        return (wall + time.localtime(wall).tm_gmtoff) * 1000

    def _columns(self, points: list[tuple[float, dict[str, float]]], names: list[str]) -> dict[str, list[float]]:
        columns: dict[str, list[float]] = {"x": [self._x(at) for at, _ in points]}
        for name in names:
            columns[name] = [float(self._shown.value(values.get(name, math.nan), "temperature")) for _, values in points]
        return columns

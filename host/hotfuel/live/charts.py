"""One small chart a place: the margin of the last minutes with its 95 % band, a line at zero, the forecast as a faint line. Drawn in the browser.

One chart is made here, when the page starts, and handed out under the name of each place; it is filled there (charts.js). Every browser gets the same
points, and none makes the others wait for a document.
"""

import json
import math
import re
import time
from functools import cache
from typing import Any

import numpy as np
from bokeh.embed import json_item
from bokeh.models import ColumnDataSource, DataRange1d, DatetimeTickFormatter, Range1d, Span
from bokeh.plotting import figure

from hotfuel.live.situation import Situation
from hotfuel.live.state import LiveState
from hotfuel.places import is_behind_needle
from hotfuel.units import Shown, expanded

HEIGHT_PX = 150
_AHEAD_MIN = 5.0  # how much of a forecast is drawn
_MARGIN = " margin"
# what Bokeh numbers is numbered once for all charts of a page: each needs its own
_ANY, _ID = (
    "(any place)",
    re.compile(r'"(p\d+)"'),
)


def places_of(state: LiveState) -> list[str]:
    """Places with a margin worth a chart."""
    if not state.history.points:
        return []
    return [name.removesuffix(_MARGIN) for name in state.history.points[-1][1] if name.endswith(_MARGIN)]


def chart(place: str) -> str:
    """The chart of a place as JSON for Bokeh.embed.embed_item. Its data comes with the panels, in the reader's units."""
    written = json.dumps(place)[1:-1]
    return _ID.sub(lambda found: f'"{found[1]} {written}"', template()).replace(_ANY, written)


@cache
def template() -> str:
    """The chart of any place. Takes 0.14 s, so it is made before a viewer could wait for it."""
    place = _ANY
    drawn = figure(
        name=f"chart {place}", height=HEIGHT_PX, sizing_mode="stretch_both", x_axis_type="datetime", toolbar_location=None, tools="",
        x_range=Range1d(0, 1), y_range=DataRange1d(range_padding=0.25, min_interval=8, only_visible=True), output_backend="canvas", min_border=2,
    )  # fmt: skip
    drawn.xaxis.formatter = DatetimeTickFormatter(
        days="%H:%M", hours="%H:%M", hourmin="%H:%M", minutes="%H:%M", minsec="%H:%M", seconds="%H:%M:%S"
    )
    drawn.xaxis.ticker.desired_num_ticks = 4
    drawn.yaxis.ticker.desired_num_ticks = 3
    points = ColumnDataSource({"x": [], "margin": [], "low": [], "high": []}, name=f"points {place}")
    ahead = ColumnDataSource({"x": [], "margin": []}, name=f"ahead {place}")
    marks = ColumnDataSource({"x": []}, name=f"marks {place}")
    end = ColumnDataSource({"x": [], "margin": [], "text": []}, name=f"end {place}")
    band = drawn.varea("x", "low", "high", source=points, name="band", fill_alpha=0.22)
    line = drawn.line("x", "margin", source=points, name="margin", line_width=3)
    drawn.line("x", "margin", source=ahead, name="ahead", line_width=2, line_dash=[4, 4], line_alpha=0.6)
    drawn.vspan(x="x", source=marks, line_width=1.5, line_dash="dotted", name="marks")
    drawn.text(
        "x", "margin", "text", source=end, name="end", text_baseline="bottom", text_align="right", y_offset=-5,
        text_font_size="16px", text_font_style="bold", background_fill_alpha=0.8,
    )  # fmt: skip
    drawn.y_range.renderers = [band, line]  # the forecast must not squeeze what was measured
    zero = Span(location=0, dimension="width", line_width=2.5, name="zero", level="underlay")  # never through the label
    drawn.add_layout(zero)
    return json.dumps(json_item(drawn))


class Points:
    """The points that one browser's charts have received."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._sent = 0
        self._offset_s = math.nan
        self._forecast: Any = ()
        self._marks: tuple[Any, ...] = ()

    def new(self, state: LiveState, now: Situation) -> dict[str, Any]:
        """{"anew", "x", "places": {place: {"margin", "doubt"}}}, and "ahead" and "marks" where they changed; {} if there is nothing new."""
        moved = not math.isnan(now.wall_offset_s) and not abs(now.wall_offset_s - self._offset_s) < 2.0
        anew = moved or not self._sent
        if moved:
            self._offset_s = now.wall_offset_s
        points = list(state.history.points) if anew else state.history.since(self._sent)
        self._sent = state.history.added
        told: dict[str, Any] = {}
        if points:
            told = {"anew": anew, "x": [self._x(at) for at, _ in points], "places": {}}
            for place in places_of(state):
                told["places"][place] = {
                    "margin": [self._difference(values.get(f"{place}{_MARGIN}", math.nan)) for _, values in points],
                    "doubt": [self._difference(expanded(values.get(f"{place} doubt", math.nan))) for _, values in points],
                }
        if anew or now.outlooks != self._forecast:
            self._forecast = now.outlooks
            told["ahead"] = self._paths(now)
        if anew or now.marks != self._marks:
            self._marks = now.marks
            told["marks"] = [self._x(at) for at, _ in now.marks]
        return told

    def _paths(self, now: Situation) -> dict[str, dict[str, list[float | None]]]:
        """Margin of the next minutes of each place with a forecast."""
        paths: dict[str, dict[str, list[float | None]]] = {}
        latest = {place.name: place.margin_degc for place in now.places if not is_behind_needle(place.name)}
        for outlook in now.outlooks:
            if outlook.soak is not None and math.isfinite(now.stopped_at):
                at = now.stopped_at + outlook.soak.time_s
                use = (at >= now.at) & (at <= now.at + 60 * _AHEAD_MIN)
                seconds, margin = at[use], outlook.limit_degc - outlook.soak.path_degc[1][use]
                step = max(len(seconds) // 20, 1)
                seconds, margin = seconds[::step], margin[::step]
            elif outlook.idle is not None:
                seconds = np.array([now.at, now.at + 60 * outlook.idle.ahead_min])
                margin = np.array([latest.get(outlook.place, math.nan), outlook.idle.margin_degc.middle])
            else:
                continue
            paths[outlook.place] = {
                "x": [self._x(float(at)) for at in seconds], "margin": [self._difference(float(value)) for value in margin],
            }  # fmt: skip
        return paths

    def _x(self, at: float) -> float:
        """Milliseconds as the axis shows them: local time of day, or since the board started."""
        if math.isnan(self._offset_s):
            return round(at * 1000)
        wall = at + self._offset_s
        return round((wall + time.localtime(wall).tm_gmtoff) * 1000)

    def _difference(self, degc: float) -> float | None:
        value = float(self._shown.value(degc, "temperature difference"))
        return round(value, 2) if math.isfinite(value) else None

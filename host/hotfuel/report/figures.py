"""Figures in bokeh, drawn from numbers already worked out. Colour never stands alone: lines differ in dash, states in hatching.

Long records are thinned to the smallest and largest value of each stretch, so that no peak is lost at any length.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from bokeh.models import (
    BoxAnnotation, ColumnDataSource, CustomJSTickFormatter, DatetimeTickFormatter, FixedTicker, HoverTool, Label, Range1d, Span,
)  # fmt: skip
from bokeh.plotting import figure

INK, PAPER, GRID, FAINT = "#1f2430", "#ffffff", "#e4e1da", "#8b8578"
WARN, ACT, LOST = "#d39a1c", "#a8331a", "#77736a"
# Okabe and Ito's palette (jfly.uni-koeln.de/color) without its two greenish and yellow members, darkened for paper; dashes tell the rest.
COLOURS = ("#0b62a4", "#c2500e", "#7b3f8c", "#4a4a4a", "#3a9bd1", "#b0785a", "#c76fa6", "#8a6d00")
DASHES: tuple[tuple[int, ...], ...] = ((), (9, 3), (3, 3), (9, 3, 2, 3), (14, 4), (2, 5), (6, 2, 2, 2, 2, 2), (18, 3))
BINS = 640
WIDTH_PX = 690  # what a printed page of A4 or Letter holds beside its margins
_LEFT_PX = 52
_MARKS_LABELLED, _BOXES_MOST = 24, 60


@dataclass(frozen=True)
class Style:
    """How one place is drawn, everywhere the same."""

    colour: str
    dash: tuple[int, ...]


def styles(places: Sequence[str]) -> dict[str, Style]:
    """A style a place; a needle takes its inlet's colour and a dash of its own."""
    plain = [name for name in places if not name.endswith("_needle")]
    result = {name: Style(COLOURS[number % 8], DASHES[number % 8]) for number, name in enumerate(plain)}
    for name in places:
        if name.endswith("_needle"):
            result[name] = Style(result.get(name.removesuffix("_needle"), Style(INK, ())).colour, (1, 3))
    return result


def thinned(seconds: np.ndarray, values: np.ndarray, longest_step_s: float, bins: int = BINS) -> tuple[np.ndarray, np.ndarray]:
    """At most about two points a stretch: its smallest and largest value where they were; nan breaks the line at gaps and where data is missing.

    seconds, values: (n,), seconds rising. Returns (seconds, values) as float64 and float32.
    """
    size = max(1, -(-len(seconds) // bins))
    if size > 2:
        whole = len(values) // size * size
        blocks = values[:whole].reshape(-1, size)
        missing = np.isnan(blocks)
        empty = missing.all(axis=1)
        if missing.any():
            low = np.where(missing, np.inf, blocks).argmin(axis=1)
            high = np.where(missing, -np.inf, blocks).argmax(axis=1)
        else:
            low, high = blocks.argmin(axis=1), blocks.argmax(axis=1)
        base = np.arange(len(blocks)) * size
        pairs = np.stack([base + np.minimum(low, high), base + np.maximum(low, high)], axis=1)
        pairs[empty, :] = base[empty, None]  # one missing value stands for the stretch
        keep = np.unique(np.concatenate([pairs.ravel(), np.arange(whole, len(values)), [0, len(values) - 1], _beside_gaps(seconds, longest_step_s)]))
        seconds, values = seconds[keep], values[keep]
        holes = _holes(seconds, keep, longest_step_s)
    else:
        holes = np.flatnonzero(np.diff(seconds) > longest_step_s)
    at = (seconds[holes] + seconds[holes + 1]) / 2
    return np.insert(seconds, holes + 1, at).astype(np.float64), np.insert(values.astype(np.float32), holes + 1, np.nan)


def _beside_gaps(seconds: np.ndarray, longest_step_s: float) -> np.ndarray:
    holes = np.flatnonzero(np.diff(seconds) > longest_step_s)
    return np.concatenate([holes, holes + 1])


def _holes(seconds: np.ndarray, rows: np.ndarray, longest_step_s: float) -> np.ndarray:
    """Where kept neighbours were neighbours in the record too, and far apart."""
    return np.flatnonzero((np.diff(rows) == 1) & (np.diff(seconds) > longest_step_s))


@dataclass(frozen=True)
class Axis:
    """The time axis all figures of a page share. seconds: of the record; offset_s: added for local time; dates: False for time since the start."""

    seconds: np.ndarray
    offset_s: float
    dates: bool
    longest_step_s: float
    label: str

    def ms(self, seconds: np.ndarray) -> np.ndarray:
        return (np.asarray(seconds, dtype=float) + self.offset_s) * 1000

    @property
    def range(self) -> Range1d:
        if not len(self.seconds):
            return Range1d(0, 60_000)
        first, last = self.ms(self.seconds[[0, -1]])
        return Range1d(float(first), float(max(last, first + 1000)))


def blank(axis: Axis, x_range: Range1d, height: int, y_label: str, *, show_time: bool) -> figure:
    """An empty figure in the house's look."""
    plot = figure(
        height=height + (26 if show_time else 0), width=WIDTH_PX, sizing_mode="stretch_width", x_axis_type="datetime", x_range=x_range,
        tools="xpan,xwheel_zoom,xbox_zoom,reset", active_drag="xbox_zoom", active_scroll=None, toolbar_location=None, background_fill_color=PAPER,
        border_fill_color=PAPER, outline_line_color=None, min_border_left=_LEFT_PX, min_border_right=14, min_border_top=6, min_border_bottom=4,
        output_backend="svg",
    )  # fmt: skip
    plot.xgrid.grid_line_color = plot.ygrid.grid_line_color = GRID
    for part in (plot.xaxis, plot.yaxis):
        part.axis_line_color = part.major_tick_line_color = FAINT
        part.minor_tick_line_color = None
        part.major_label_text_color = INK
        part.major_label_text_font_size = "11px"
        part.axis_label_text_font_style = "normal"
        part.axis_label_text_font_size = "11px"
        part.axis_label_text_color = INK
    plot.yaxis.axis_label = y_label
    plot.yaxis.ticker.desired_num_ticks = 5
    plot.yaxis.fixed_location = None
    clock = "%H:%M" if axis.dates else "%H:%M:%S"
    plot.xaxis.formatter = DatetimeTickFormatter(
        seconds="%H:%M:%S", minsec="%H:%M:%S", minutes=clock, hourmin=clock, hours="%H:%M", days="%d %b", months="%b %Y", milliseconds="%S.%3Ns"
    )
    plot.xaxis.ticker.desired_num_ticks = 6
    plot.xaxis.visible = show_time
    if show_time:
        plot.xaxis.axis_label = axis.label
    return plot


def line(plot: figure, axis: Axis, values: np.ndarray, style: Style, *, width: float = 1.8, alpha: float = 1.0, name: str = "", bins: int = BINS) -> None:
    """One thinned line."""
    at, thin = thinned(axis.seconds, np.asarray(values, dtype=float), axis.longest_step_s, bins)
    if not np.isfinite(thin).any():
        return
    source = ColumnDataSource({"x": axis.ms(at), "y": thin})
    glyph = plot.line("x", "y", source=source, line_color=style.colour, line_width=width, line_alpha=alpha, line_dash=list(style.dash))
    if name:
        plot.add_tools(HoverTool(renderers=[glyph], tooltips=[(name, "@y{0.0}"), ("", "@x{%H:%M:%S}")], formatters={"@x": "datetime"}, mode="mouse"))


def band(plot: figure, axis: Axis, low: np.ndarray, high: np.ndarray, colour: str, bins: int = BINS) -> None:
    """The area between two curves, thinned outwards."""
    size = max(1, -(-len(low) // bins))
    starts = np.arange(0, len(low), size)
    if not len(starts):
        return
    lows, highs = np.fmin.reduceat(low, starts), np.fmax.reduceat(high, starts)
    source = ColumnDataSource({"x": axis.ms(axis.seconds[starts]), "low": lows.astype(np.float32), "high": highs.astype(np.float32)})
    plot.varea("x", "low", "high", source=source, fill_color=colour, fill_alpha=0.16)


def level(plot: figure, value: float, colour: str = INK, dash: Sequence[int] = (), width: float = 1.2) -> None:
    """A horizontal line across the figure."""
    plot.add_layout(Span(location=value, dimension="width", line_color=colour, line_dash=list(dash), line_width=width))


def marks_and_gaps(plot: figure, axis: Axis, marks_s: np.ndarray, gaps_s: np.ndarray, *, numbered: bool = False) -> None:
    """Numbered vertical lines at marks; hatched boxes where readings are missing. gaps_s: (n, 2) start and end; of many the longest are drawn."""
    longest = np.argsort(gaps_s[:, 0] - gaps_s[:, 1])[:_BOXES_MOST] if len(gaps_s) else []
    for row in longest:
        left, right = axis.ms(gaps_s[row])
        plot.add_layout(
            BoxAnnotation(left=left, right=right, fill_color="#efece5", fill_alpha=0.7, line_color=None, hatch_pattern="right_diagonal_line",
                          hatch_color=FAINT, hatch_alpha=0.45, hatch_scale=7, hatch_weight=0.6, level="underlay")
        )  # fmt: skip
    for number, at in enumerate(marks_s, start=1):
        plot.add_layout(Span(location=float(axis.ms(at)), dimension="height", line_color=INK, line_dash=[2, 3], line_width=1))
        if numbered and number <= _MARKS_LABELLED:
            plot.add_layout(
                Label(x=float(axis.ms(at)), y=0, y_units="screen", y_offset=2, x_offset=3, text=str(number), text_font_size="11px",
                      text_font_style="bold", text_color=INK, background_fill_color=PAPER, background_fill_alpha=0.85)
            )  # fmt: skip


_LEVEL_LOOK = {  # height, fill, hatch
    "warn": (0.34, "#f6e3b4", "right_diagonal_line", WARN),
    "act": (0.34, ACT, "blank", ACT),
    "lost": (0.34, "#e2dfd8", "dot", LOST),
}


def alarm_strip(axis: Axis, x_range: Range1d, alarms: pd.DataFrame, rows: Sequence[tuple[str, str]], seconds_of: Iterable[tuple[float, float]]) -> figure:
    """One row a place, the alarms that were on as bars. rows: (place, shown name) from top to bottom; seconds_of: start and end of each alarm."""
    height = 22 * len(rows) + 8
    plot = blank(axis, x_range, height, "", show_time=False)
    plot.y_range = Range1d(-0.2, len(rows))
    position = {place: len(rows) - 1 - number for number, (place, _) in enumerate(rows)}
    times = list(seconds_of)
    for name in ("lost", "warn", "act"):
        tall, fill, hatch, colour = _LEVEL_LOOK[name]
        chosen = [number for number, level_name in enumerate(alarms["level"]) if level_name == name and alarms["place"].iloc[number] in position]
        if not chosen:
            continue
        middle = [position[alarms["place"].iloc[number]] + 0.2 for number in chosen]
        left, right = (axis.ms(np.array([times[number][side] for number in chosen])) for side in (0, 1))
        plot.hbar(y=middle, left=left, right=right, height=tall, fill_color=fill, line_color=colour, line_width=1, hatch_pattern=hatch,
                  hatch_color=colour, hatch_scale=6, hatch_weight=1)  # fmt: skip
    for place, shown in rows:
        plot.add_layout(Label(x=2, x_units="screen", y=position[place] + 0.36, text=shown, text_font_size="10px", text_color=INK, text_baseline="bottom"))
    plot.yaxis.ticker = FixedTicker(ticks=[])
    plot.yaxis.major_tick_line_color = None
    plot.yaxis.formatter = CustomJSTickFormatter(code="return ''")
    plot.ygrid.grid_line_color = None
    return plot


def fit(plot: figure, *series: np.ndarray, least_span: float, include: Sequence[float] = ()) -> None:
    """The vertical range: all finite values with some air, at least `least_span` tall; the same zoomed or not."""
    known = [(float(np.nanmin(values)), float(np.nanmax(values))) for values in series if np.isfinite(values).any()]
    lows, highs = [low for low, _ in known] + list(include), [high for _, high in known] + list(include)
    low, high = (min(lows), max(highs)) if lows else (0.0, 1.0)
    extra = max(least_span - (high - low), 0.0) / 2 + 0.06 * max(high - low, least_span)
    plot.y_range = Range1d(low - extra, high + extra)

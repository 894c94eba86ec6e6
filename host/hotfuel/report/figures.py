"""Figures in bokeh, drawn from numbers already worked out. Colour never stands alone: lines differ in dash, states in hatching.

Long records are thinned to the smallest and largest value of each stretch, so that no peak is lost at any length.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from bokeh.models import (
    BasicTicker,
    BoxZoomTool,
    ColumnDataSource,
    DatetimeAxis,
    DatetimeTicker,
    DatetimeTickFormatter,
    Grid,
    HoverTool,
    Label,
    LinearAxis,
    MultiLine,
    Quad,
    Range1d,
    ResetTool,
    Span,
    VArea,
    VSpan,
)  # fmt: skip
from bokeh.plotting import figure

from hotfuel.places import is_behind_needle, probe_of
from hotfuel.units import Shown

INK, PAPER, GRID, FAINT = "#1f2430", "#ffffff", "#e4e1da", "#8b8578"
WARN, ACT, LOST = "#d39a1c", "#a8331a", "#77736a"
# Okabe and Ito's palette (jfly.uni-koeln.de/color) without its two greenish and yellow members, darkened for paper; dashes tell the rest.
COLOURS = ("#0b62a4", "#c2500e", "#7b3f8c", "#4a4a4a", "#3a9bd1", "#b0785a", "#c76fa6", "#8a6d00")
DASHES: tuple[tuple[int, ...], ...] = ((), (9, 3), (3, 3), (9, 3, 2, 3), (14, 4), (2, 5), (6, 2, 2, 2, 2, 2), (18, 3))
BINS = 640
_LEFT_PX = 52
_MARKS_LABELLED, _BOXES_MOST = 24, 60


@dataclass(frozen=True)
class Style:
    """How one place is drawn, everywhere the same."""

    colour: str
    dash: tuple[int, ...]


def styles(places: Sequence[str]) -> dict[str, Style]:
    """A style a place; a needle takes its inlet's colour and a dash of its own."""
    plain = [name for name in places if not is_behind_needle(name)]
    result = {name: Style(COLOURS[number % 8], DASHES[number % 8]) for number, name in enumerate(plain)}
    for name in places:
        if is_behind_needle(name):
            result[name] = Style(result.get(probe_of(name), Style(INK, ())).colour, (1, 3))
    return result


@dataclass(frozen=True)
class Axis:
    """The time axis all figures of a page share.

    seconds: (n,) of the record, rising; offset_s: added for local time; dates: False for time since the start; a longer step than longest_step_s breaks
    a line. Its bokeh models belong to one page.
    """

    seconds: np.ndarray
    offset_s: float
    dates: bool
    longest_step_s: float
    label: str

    def ms(self, seconds: npt.ArrayLike) -> np.ndarray:
        """Where these seconds stand on the axis."""
        return (np.asarray(seconds, dtype=float) + self.offset_s) * 1000

    @cached_property
    def range(self) -> Range1d:
        """From the record's first second to its last, milliseconds."""
        if not len(self.seconds):
            return Range1d(0, 60_000)
        first, last = self.ms(self.seconds[[0, -1]])
        return Range1d(float(first), float(max(last, first + 1000)))

    @cached_property
    def ticker(self) -> DatetimeTicker:
        """Where the axis has its marks."""
        return DatetimeTicker(desired_num_ticks=6)

    @cached_property
    def formatter(self) -> DatetimeTickFormatter:
        """How a time is written at a mark."""
        clock = "%H:%M" if self.dates else "%H:%M:%S"
        return DatetimeTickFormatter(
            milliseconds="%S.%3Ns",
            seconds="%H:%M:%S",
            minsec="%H:%M:%S",
            minutes=clock,
            hourmin=clock,
            hours="%H:%M",
            days="%d %b",
            months="%b %Y",
        )

    @cached_property
    def holes(self) -> np.ndarray:
        """Rows after which something is missing."""
        return np.flatnonzero(np.diff(self.seconds) > self.longest_step_s)


def thinned(axis: Axis, values: np.ndarray, *others: np.ndarray, bins: int = BINS) -> list[np.ndarray]:
    """At most about two samples a stretch: those with its smallest and largest value; nan breaks the line at gaps and where data is missing.

    values: (n,) as axis.seconds; others: (n,) too, taken at the same samples. Returns [ms on the axis, values, *others], all of one length.
    """
    values = np.asarray(values, dtype=float)
    size = max(1, -(-len(values) // bins))
    rows = np.arange(len(values))
    if size > 2:
        whole = len(values) // size * size
        blocks = values[:whole].reshape(-1, size)
        base = np.arange(len(blocks)) * size
        # argmin and argmax stop at a nan; only blocks that hold one are looked at twice
        low, high = base + blocks.argmin(axis=1), base + blocks.argmax(axis=1)
        again = [slice(int(start), int(start) + size) for start in base[np.isnan(values[low])]]
        picked = [low, high, [0, len(values) - 1], axis.holes, axis.holes + 1]
        for block in [*again, slice(whole, len(values))]:
            known = block.start + np.flatnonzero(~np.isnan(values[block]))
            if known.size:
                picked.append(known[[values[known].argmin(), values[known].argmax()]])
        rows = np.unique(np.concatenate(picked))
    at, kept = axis.ms(axis.seconds[rows]), [array[rows] for array in (values, *others)]
    breaks = np.searchsorted(rows, axis.holes + 1)
    if breaks.size:
        at = np.insert(at, breaks, (at[breaks - 1] + at[breaks]) / 2)
        kept = [np.insert(array, breaks, np.nan) for array in kept]
    return [at, *kept]


_LOOK = {
    "axis_line_color": FAINT, "major_tick_line_color": FAINT, "minor_tick_line_color": None, "major_label_text_color": INK,
    "major_label_text_font_size": "11px", "axis_label_text_font_style": "normal", "axis_label_text_font_size": "11px", "axis_label_text_color": INK,
}  # fmt: skip


def empty(height: int, x_range: Range1d, y_range: Range1d) -> figure:
    """A figure without axes in the house's look; `height` is that of the frame in px."""
    plot = figure(
        frame_height=height, sizing_mode="stretch_width", x_axis_type=None, y_axis_type=None, x_range=x_range, y_range=y_range,
        tools=[], toolbar_location=None, title=None, background_fill_color=PAPER, border_fill_color=PAPER, outline_line_color=None,
        min_border_left=_LEFT_PX, min_border_right=14, min_border_top=6, min_border_bottom=4, output_backend="svg",
    )  # fmt: skip
    return plot


def scale(plot: figure, label: str, side: str) -> None:
    """A number axis "left" or "below" with its grid."""
    axis = LinearAxis(ticker=BasicTicker(desired_num_ticks=5), axis_label=label, **_LOOK)
    plot.add_layout(axis, side)
    plot.add_layout(Grid(dimension=1 if side == "left" else 0, ticker=axis.ticker, grid_line_color=GRID))


def blank(axis: Axis, height: int, y_label: str, *, show_time: bool = True) -> figure:
    """An empty figure over time."""
    plot = empty(height, axis.range, Range1d(0, 1))
    zoom = BoxZoomTool(dimensions="width")
    plot.add_tools(zoom, ResetTool())  # a double click resets
    plot.toolbar.active_drag = zoom
    if show_time:
        plot.add_layout(DatetimeAxis(ticker=axis.ticker, formatter=axis.formatter, axis_label=axis.label, **_LOOK), "below")
    plot.add_layout(Grid(dimension=0, ticker=axis.ticker, grid_line_color=GRID))
    if y_label:
        scale(plot, y_label, "left")
    return plot


@dataclass(frozen=True)
class Line:
    """One line of samples that `thinned` gave; its name shows under the pointer."""

    at: np.ndarray
    values: np.ndarray
    style: Style
    name: str
    width: float = 1.8


def lines(plot: figure, drawn: Sequence[Line]) -> None:
    """All lines of a figure as one glyph: a page of many figures stays quick."""
    known = [one for one in drawn if np.isfinite(one.values).any()]
    source = ColumnDataSource(
        {
            "x": [one.at for one in known],
            "y": [one.values.astype(np.float32) for one in known],
            "colour": [one.style.colour for one in known],
            "dash": [list(one.style.dash) for one in known],
            "width": [one.width for one in known],
            "name": [one.name for one in known],
        }
    )
    glyph = plot.add_glyph(source, MultiLine(xs="x", ys="y", line_color="colour", line_dash="dash", line_width="width"))
    over_time = any(isinstance(part, DatetimeAxis) for part in plot.below) or not plot.below
    tooltip = "@name: $data_y{0.0} at $data_x" + ("{%H:%M:%S}" if over_time else "{0}")
    plot.add_tools(HoverTool(renderers=[glyph], tooltips=tooltip, formatters={"$data_x": "datetime"}))


def band(plot: figure, at: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
    """The area between two curves."""
    source = ColumnDataSource({"x": at, "low": low.astype(np.float32), "high": high.astype(np.float32)})
    plot.add_glyph(source, VArea(x="x", y1="low", y2="high", fill_color=INK, fill_alpha=0.16))


def level(plot: figure, value: float, colour: str, width: float) -> None:
    """A horizontal line across the figure."""
    plot.add_layout(Span(location=value, dimension="width", line_color=colour, line_width=width))


def marks_and_gaps(plot: figure, axis: Axis, marks_s: np.ndarray, gaps_s: np.ndarray, *, numbered: bool = False) -> None:
    """Numbered vertical lines at marks; hatched boxes where readings are missing. gaps_s: (n, 2) start and end; of many the longest are drawn."""
    if len(gaps_s):
        longest = gaps_s[np.argsort(gaps_s[:, 0] - gaps_s[:, 1])[:_BOXES_MOST]]
        source = ColumnDataSource({"left": axis.ms(longest[:, 0]), "right": axis.ms(longest[:, 1])})
        boxes = Quad(
            left="left", right="right", bottom=-1e4, top=1e5, fill_color="#efece5", fill_alpha=0.7, line_color=None, hatch_alpha=0.5,
            hatch_pattern="right_diagonal_line", hatch_color=FAINT, hatch_scale=7, hatch_weight=0.6,
        )  # fmt: skip
        plot.add_glyph(source, boxes, level="underlay")
    if len(marks_s):
        source = ColumnDataSource({"at": axis.ms(marks_s)})
        plot.add_glyph(source, VSpan(x="at", line_color=INK, line_dash=[2, 3]))
    if numbered:
        for number, x in enumerate(axis.ms(marks_s[:_MARKS_LABELLED]), start=1):
            plot.add_layout(
                Label(x=float(x), y=2, y_units="screen", x_offset=3, text=str(number), text_font_size="11px", text_font_style="bold", text_color=INK,
                      background_fill_color=PAPER, background_fill_alpha=0.85)
            )  # fmt: skip


_LEVEL_LOOK = {
    "lost": ("#e2dfd8", "dot", LOST),
    "warn": ("#f6e3b4", "right_diagonal_line", WARN),
    "act": (ACT, "blank", ACT),
}  # fill, hatch, line
_ROW_PX = 24


def alarm_strip(axis: Axis, spans: Sequence[tuple[str, str, float, float]], rows: Sequence[tuple[str, str]]) -> figure:
    """Alarms that were on as bars, one row a place. spans: (place, level, start s, end s); rows: (place, shown name) from top to bottom."""
    plot = blank(axis, _ROW_PX * len(rows), "")
    plot.y_range.end = float(len(rows))
    bottom = {place: len(rows) - 1 - number + 0.12 for number, (place, _) in enumerate(rows)}
    for name, (fill, hatch, colour) in _LEVEL_LOOK.items():
        chosen = [span for span in spans if span[1] == name and span[0] in bottom]
        if chosen:
            y = [bottom[span[0]] for span in chosen]
            times = [axis.ms([span[side] for span in chosen]) for side in (2, 3)]
            source = ColumnDataSource({"left": times[0], "right": times[1], "bottom": y, "top": [low + 0.34 for low in y]})
            bars = Quad(left="left", right="right", bottom="bottom", top="top", fill_color=fill, line_color=colour, hatch_pattern=hatch,
                        hatch_color=colour, hatch_scale=6, hatch_weight=1)  # fmt: skip
            plot.add_glyph(source, bars)
    for place, shown in rows:
        plot.add_layout(Label(x=2, x_units="screen", y=bottom[place] + 0.36, text=shown, text_font_size="10px", text_color=INK))
    return plot


def fit(plot: figure, *series: np.ndarray, least_span: float, include: Sequence[float] = ()) -> None:
    """The vertical range: all finite values with some air, at least `least_span` tall."""
    known = [values for values in series if np.isfinite(values).any()]
    lows, highs = [float(np.nanmin(values)) for values in known], [float(np.nanmax(values)) for values in known]
    low, high = (min([*lows, *include]), max([*highs, *include])) if known else (0.0, 1.0)
    extra = max(least_span - (high - low), 0.0) / 2 + 0.06 * max(high - low, least_span)
    plot.y_range.start, plot.y_range.end = low - extra, high + extra


def altitude(curves: Mapping[str, np.ndarray], shown: Shown) -> figure:
    """Limit against altitude, a line a fuel with its name at the end; boiling onset dotted. curves: as hotfuel.risk.limits_card.altitude_curves."""
    height = np.asarray(shown.value(curves["altitude_m"], "length"))
    span = float(height[-1] - height[0]) or 1.0
    plot = empty(340, Range1d(float(height[0]), float(height[-1] + 0.22 * span)), Range1d(0, 1))
    scale(plot, f"altitude, {shown.unit('length')}", "below")
    scale(plot, f"limit (dotted: boiling begins), {shown.unit('temperature')}", "left")
    names = [name.removesuffix("_limit_degc") for name in curves if name.endswith("_limit_degc")]
    drawn = []
    for number, name in enumerate(names):
        look = Style(COLOURS[number % 8], DASHES[number % 8])
        limit, onset = (np.asarray(shown.value(curves[f"{name}_{kind}_degc"], "temperature")) for kind in ("limit", "onset"))
        drawn += [
            Line(height, limit, look, name, 2.0),
            Line(height, onset, Style(look.colour, (1, 4)), f"{name}, boiling begins", 1.2),
        ]
        plot.add_layout(
            Label(
                x=float(height[-1]),
                y=float(limit[-1]),
                x_offset=5,
                y_offset=-6,
                text=name,
                text_font_size="11px",
                text_color=look.colour,
            )
        )
    fit(plot, *(one.values for one in drawn), least_span=5)
    lines(plot, drawn)
    return plot

"""Figures of comparisons: runs side by side, differences with their intervals, power over engine speed. They draw what hotfuel.study worked out."""

from collections.abc import Sequence

import numpy as np
from bokeh.models import ColumnDataSource, Label, Range1d, Scatter, Segment, Span, VArea
from bokeh.plotting import figure

from hotfuel.report import figures as draw
from hotfuel.report.figures import ACT, COLOURS, DASHES, INK, Style
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.fixes.summaries import MARGIN, has
from hotfuel.units import Shown

_ROW_PX = 34
_MARKERS = ("circle", "square", "triangle", "diamond", "inverted_triangle", "hex")


def look(number: int) -> tuple[Style, str]:
    """Line style and marker of the n-th variant, everywhere the same."""
    return Style(COLOURS[number % 8], DASHES[number % 8]), _MARKERS[number % len(_MARKERS)]


def runs(result: Comparison, shown: Shown) -> figure:
    """Every run of every variant for the primary question: one row a variant, one marker a run, a bar at the mean."""
    names = [result.baseline, *result.variants]
    is_margin = result.drawn.quantity == MARGIN
    dimension = "temperature difference" if is_margin else "temperature"
    values = {}
    for name in names:
        degc = np.array([run.values[result.drawn] for run in result.runs if run.variant == name and has(run, result.drawn)])
        values[name] = np.asarray(shown.value(-degc if is_margin else degc, dimension))
    # a margin is read against zero
    every = np.concatenate([*values.values(), [0.0] if is_margin else []])
    span = max(float(np.ptp(every)), 2.0)
    left = float(every.min()) - 0.12 * span
    plot = draw.empty(
        _ROW_PX * len(names) + 10, Range1d(left, float(every.max()) + 0.08 * span), Range1d(-0.6, len(names) - 0.25)
    )
    draw.scale(plot, f"{result.drawn.words()}, {shown.unit(dimension)}", "below")
    for number, name in enumerate(names):
        row = len(names) - 1 - number
        style, marker = look(number)
        mean = float(values[name].mean())
        bar = ColumnDataSource({"x": [mean], "low": [row - 0.28], "high": [row + 0.28]})
        plot.add_glyph(bar, Segment(x0="x", x1="x", y0="low", y1="high", line_color=style.colour, line_width=3))
        dots = ColumnDataSource({"x": values[name], "y": np.full(len(values[name]), float(row))})
        plot.add_glyph(
            dots, Scatter(x="x", y="y", marker=marker, size=9, fill_color=style.colour, fill_alpha=0.35, line_color=style.colour)
        )
        plot.add_layout(
            Label(x=3, x_units="screen", y=row + 0.3, text=f"{name} ({len(values[name])})", text_font_size="11px", text_color=INK)
        )
    if is_margin:
        plot.add_layout(Span(location=0, dimension="height", line_color=ACT, line_width=1.6))
    return plot


def intervals(answers: Sequence[Answer], delta_degc: float, shown: Shown) -> figure:
    """Differences with their 95 % intervals, a row an answer; the grey stretch is a difference not worth having."""
    rows = list(answers)
    dimension = "temperature difference"
    middle, low, high = (
        np.array([shown.value(getattr(answer, name), dimension) for answer in rows], dtype=float)
        for name in ("difference_degc", "low_degc", "high_degc")
    )
    delta = float(shown.value(delta_degc, dimension))
    known = np.concatenate([middle, low[np.isfinite(low)], high[np.isfinite(high)], [-delta, delta]])
    reach = 1.08 * float(np.abs(known).max())
    plot = draw.empty(_ROW_PX * len(rows) + 10, Range1d(-reach, reach), Range1d(-0.6, len(rows) - 0.1))
    draw.scale(plot, f"difference, {shown.unit(dimension)} (left of zero: cooler, or further from the limit)", "below")
    ends = ColumnDataSource({"x": [-delta, delta], "low": [-0.6, -0.6], "high": [float(len(rows))] * 2})
    plot.add_glyph(ends, VArea(x="x", y1="low", y2="high", fill_color=INK, fill_alpha=0.08))
    plot.add_layout(Span(location=0, dimension="height", line_color=INK, line_width=1))
    y = np.arange(len(rows))[::-1].astype(float)
    source = ColumnDataSource({"x": middle, "low": low, "high": high, "y": y})
    plot.add_glyph(source, Segment(x0="low", x1="high", y0="y", y1="y", line_color=INK, line_width=2))
    plot.add_glyph(source, Scatter(x="x", y="y", marker="diamond", size=11, fill_color=COLOURS[0], line_color=INK))
    for row, answer in zip(y, rows, strict=True):
        beside = f" against {answer.baseline}" if answer.baseline != rows[0].baseline else ""
        text = f"{answer.variant}{beside}: {answer.cell.words()}"
        plot.add_layout(Label(x=3, x_units="screen", y=row + 0.18, text=text, text_font_size="10px", text_color=INK))
    return plot

"""The charts over time and over altitude, drawn from numbers already worked out. Colour never stands alone: lines differ in dash, states in hatching.

Long records are thinned to the smallest and largest value of each pixel column, so that no peak is lost at any length.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from hotfuel_wire import alarm

from hotfuel.places import is_behind_needle, probe_of
from hotfuel.report.chart import INK, LEFT_PX, NARROW_PX, PLOT_PX, WIDTH_PX, Chart, Range
from hotfuel.units import Shown

WARN, ACT, LOST = "#d39a1c", "#a8331a", "#77736a"
# Okabe and Ito's palette (jfly.uni-koeln.de/color) without its two greenish and yellow members, darkened for paper; dashes tell the rest.
COLOURS = ("#0b62a4", "#c2500e", "#7b3f8c", "#4a4a4a", "#3a9bd1", "#b0785a", "#c76fa6", "#8a6d00")
DASHES: tuple[tuple[int, ...], ...] = ((), (9, 3), (3, 3), (9, 3, 2, 3), (14, 4), (2, 5), (6, 2, 2, 2, 2, 2), (18, 3))
_MARKS_LABELLED, _BOXES_MOST = 24, 60


@dataclass(frozen=True)
class Style:
    """How a place is drawn, the same in every chart."""

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
    """The time axis all charts of a page share.

    seconds: (n,) of the record, rising; offset_s: added for local time; dates: False for time since the start; a longer step than longest_step_s breaks
    a line.
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
    def range(self) -> Range:
        """From the record's first second to its last, milliseconds."""
        time = "clock" if self.dates else "elapsed"
        if not len(self.seconds):
            return Range(0, 60_000, time)
        first, last = self.ms(self.seconds[[0, -1]])
        return Range(float(first), float(max(last, first + 1000)), time)

    @cached_property
    def holes(self) -> np.ndarray:
        """Rows after which something is missing."""
        return np.flatnonzero(np.diff(self.seconds) > self.longest_step_s)

    def columns(self, count: int) -> np.ndarray:
        """The first row of each of so many columns of equal time that holds a row, and the number of rows at the end."""
        edges = self.seconds[0] + (self.seconds[-1] - self.seconds[0]) / count * np.arange(count)
        return np.unique(np.append(np.searchsorted(self.seconds, edges), len(self.seconds)))


def thinned(axis: Axis, values: np.ndarray, *others: np.ndarray, columns: int = PLOT_PX) -> list[np.ndarray]:
    """At most about two samples a pixel column: those with its smallest and largest value; nan breaks the line at gaps and where data is missing.

    values: (n,) as axis.seconds; others: (n,) too, taken at the same samples. Returns [ms on the axis, values, *others], all of one length.
    """
    values = np.asarray(values, dtype=float)
    rows = np.arange(len(values))
    if len(values) > 2 * columns:
        picked: list[int] = [0, len(values) - 1]
        edges = axis.columns(columns).tolist()
        for start, end in pairwise(edges):
            block = values[start:end]
            low = int(block.argmin())
            if block[low] == block[low]:
                picked += (start + low, start + int(block.argmax()))
                continue
            known = np.flatnonzero(~np.isnan(block))  # argmin and argmax stop at a nan
            if known.size:
                picked += (start + int(known[block[known].argmin()]), start + int(known[block[known].argmax()]))
            picked.append(start + int(np.isnan(block).argmax()))  # which breaks the line there
        rows = np.unique(np.concatenate([picked, axis.holes, axis.holes + 1]).astype(np.int64))
    at, kept = axis.ms(axis.seconds[rows]), [array[rows] for array in (values, *others)]
    breaks = np.searchsorted(rows, axis.holes + 1)
    if breaks.size:
        at = np.insert(at, breaks, (at[breaks - 1] + at[breaks]) / 2)
        kept = [np.insert(array, breaks, np.nan) for array in kept]
    return [at, *kept]


def blank(
    name: str,
    axis: Axis,
    height: int,
    y: Range,
    title: str,
    alt: str,
    *,
    show_time: bool = True,
    show_y: bool = True,
    narrow: bool = False,
) -> Chart:
    """An empty chart over time; a narrow one is placed beside another and shows no time zone."""
    label = "" if narrow else axis.label
    return Chart(name, height, axis.range, y, title, alt, label, show_time, show_y, NARROW_PX if narrow else WIDTH_PX)


@dataclass(frozen=True)
class Line:
    """One line of samples that `thinned` gave; its name and unit show under the pointer."""

    at: np.ndarray
    values: np.ndarray
    style: Style
    name: str
    unit: str
    width: float = 1.8


def lines(plot: Chart, drawn: Sequence[Line]) -> None:
    """All lines of a chart; one of nothing is left out."""
    for one in drawn:
        plot.line(one.at, one.values, one.name, one.unit, one.style.colour, one.style.dash, one.width)


def marks_and_gaps(plot: Chart, axis: Axis, marks_s: np.ndarray, gaps_s: np.ndarray, *, numbered: bool = False) -> None:
    """Numbered vertical lines at marks; hatched boxes where readings are missing. gaps_s: (n, 2) start and end; of many the longest are drawn."""
    longest = gaps_s[np.argsort(gaps_s[:, 0] - gaps_s[:, 1])[:_BOXES_MOST]] if len(gaps_s) else gaps_s
    for start, end in longest:
        plot.box((float(axis.ms(start)), float(axis.ms(end))), None, fill="url(#gap)")
    for at in axis.ms(marks_s):
        plot.upright(float(at), INK, 1.0, "2 3")
    for number, at in enumerate(axis.ms(marks_s[:_MARKS_LABELLED]) if numbered else (), start=1):
        plot.label(str(number), float(plot.px(at)) + 3, plot.top + plot.height - 4, look="mark", at=float(at))


def stretches(plot: Chart, axis: Axis, spans: Sequence[tuple[float, float, str, bool]]) -> None:
    """What the car was doing: a box with its name at the top, where there is room for it. spans: (start s, end s, name, whether it is shaded)."""
    for start, end, name, shaded in spans:
        left, right = (float(plot.px(axis.ms(at))) for at in (start, end))
        if shaded:
            plot.box((float(axis.ms(start)), float(axis.ms(end))), None, fill=PARKED)
        if right - left > 6.2 * len(name) + 6:
            plot.print_px = 15
            plot.label(name, (left + right) / 2, plot.top + 11, anchor="middle", look="stretch")


PARKED = "#e9e5dc"


@dataclass(frozen=True)
class AlarmLook:
    """How the bar of an alarm and its entry in the key are drawn. level: its name (alarm.LEVELS)."""

    level: str
    fill: str
    stroke: str
    hatch: str
    key_fill: str
    words: str

    def key(self) -> dict[str, str]:
        """Its entry in the key."""
        return {"hatch": self.hatch, "fill": self.key_fill, "colour": self.stroke, "text": self.words}


# In the order of the key. Where no limit is left act is on too, and its bar is drawn.
ALARM_LOOKS = (
    AlarmLook("warn", "url(#warn)", WARN, "lines", "#f6e3b4", "warning: close to its limit"),
    AlarmLook("act", ACT, ACT, "solid", ACT, "act: beyond its limit"),
    AlarmLook("lost", "url(#lost)", LOST, "dots", "#e2dfd8", "no reading"),
)
_ROW_PX = 22


def alarm_strip(
    name: str,
    axis: Axis,
    spans: Sequence[tuple[str, str, float, float, str]],
    rows: Sequence[tuple[str, str]],
    title: str,
    alt: str,
) -> Chart:
    """Alarms that were on as bars, one row a place.

    spans: (place, level, start s, end s, words under the pointer); rows: (place, shown name) from top to bottom.
    """
    plot = blank(name, axis, _ROW_PX * len(rows), Range(0, float(len(rows))), title, alt, show_y=False)
    bottom = {place: len(rows) - 1 - number + 0.1 for number, (place, _) in enumerate(rows)}
    for look in sorted(ALARM_LOOKS, key=lambda look: alarm.URGENCY[alarm.LEVELS.index(look.level)]):  # the worst on top
        for place, _, start, end, tip in (span for span in spans if span[1] == look.level and span[0] in bottom):
            low = bottom[place]
            plot.box((float(axis.ms(start)), float(axis.ms(end))), (low, low + 0.36), tip, fill=look.fill, stroke=look.stroke)
    for place, shown in rows:
        plot.label(shown, LEFT_PX + 2, float(plot.py(bottom[place] + 0.36)) - 3.5)
    return plot


def fit(*series: np.ndarray, least_span: float, include: Sequence[float] = ()) -> Range:
    """The vertical range: all finite values with some space around them, at least `least_span` tall."""
    known = [values for values in series if np.isfinite(values).any()]
    lows, highs = [float(np.nanmin(values)) for values in known], [float(np.nanmax(values)) for values in known]
    low, high = (min([*lows, *include]), max([*highs, *include])) if known else (0.0, 1.0)
    extra = max(least_span - (high - low), 0.0) / 2 + 0.06 * max(high - low, least_span)
    return Range(low - extra, high + extra)


def apart(wanted_px: Sequence[float], least_px: float) -> list[float]:
    """Places for labels near where they are wanted, none closer than least_px to another, in the same order from top to bottom."""
    order = sorted(range(len(wanted_px)), key=lambda number: wanted_px[number])
    placed: dict[int, float] = {}
    before = -np.inf
    for number in order:
        placed[number] = before = max(wanted_px[number], before + least_px)
    return [placed[number] for number in range(len(wanted_px))]


def altitude(curves: Mapping[str, np.ndarray], shown: Shown, asked_m: float | None = None) -> Chart:
    """Limit against altitude, a line a fuel with its name at the end; boiling onset dotted. curves: as hotfuel.risk.limits_card.altitude_curves.

    asked_m: the altitude that was asked for, which is marked with each fuel's limit there.
    """
    height = np.asarray(shown.value(curves["altitude_m"], "length"))
    span = float(height[-1] - height[0]) or 1.0
    names = [name.removesuffix("_limit_degc") for name in curves if name.endswith("_limit_degc")]
    unit = shown.unit("temperature")
    drawn, ends = [], []
    for number, name in enumerate(names):
        look = Style(COLOURS[number % 8], DASHES[number % 8])
        limit, onset = (np.asarray(shown.value(curves[f"{name}_{kind}_degc"], "temperature")) for kind in ("limit", "onset"))
        drawn += [
            Line(height, limit, look, name, unit, 2.0),
            Line(height, onset, Style(look.colour, (1, 4)), f"{name}, boiling begins", unit, 1.2),
        ]
        ends.append(float(limit[-1]))
    y = fit(*(one.values for one in drawn), least_span=5)
    across = Range(float(height[0]), float(height[-1] + 0.24 * span))
    plot = Chart(
        "altitude", 340, across, y, f"limit (dotted: boiling begins), {unit}", _altitude_alt(curves, names, shown, asked_m),
        f"altitude, {shown.unit('length')}",
    )  # fmt: skip
    if asked_m is not None and curves["altitude_m"][0] <= asked_m <= curves["altitude_m"][-1]:
        at = float(shown.value(asked_m, "length"))
        plot.upright(at, INK, 1.4, "5 3")
        plot.label(f"asked: {shown.text(asked_m, 'length')}", float(plot.px(at)) + 5, plot.top + plot.height - 6)
        for line in drawn[::2]:
            there = float(np.interp(at, height, line.values))
            tip = f"{line.name}: {there:.0f} {unit} at {shown.text(asked_m, 'length')}"
            plot.marker(at, there, "circle", line.style.colour, tip, hollow=True, size=4)
    lines(plot, drawn)
    down = apart([float(plot.py(end)) for end in ends], 14)
    for name, y_px in zip(names, down, strict=True):
        plot.label(name, float(plot.px(height[-1])) + 6, y_px + 4, look="bold")
    return plot


def _altitude_alt(curves: Mapping[str, np.ndarray], names: Sequence[str], shown: Shown, asked_m: float | None) -> str:
    at_m = curves["altitude_m"]
    where = [float(at_m[0]), float(at_m[-1])] if asked_m is None else [asked_m]
    parts = []
    for name in names:
        limits = [shown.text(float(np.interp(one, at_m, curves[f"{name}_limit_degc"])), "temperature", 0) for one in where]
        parts.append(f"{name} {' and '.join(limits)}")
    return f"The limit of each fuel at {' and '.join(shown.text(one, 'length') for one in where)}: {'; '.join(parts)}."

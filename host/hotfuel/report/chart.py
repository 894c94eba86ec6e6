"""One chart as inline SVG: a frame with two scales, and what is drawn into it. drawsvg writes the elements; page.css gives them their look.

Everything is in the picture itself, so that it is read without a script and prints sharp. What a script needs to say what lies under the pointer
(chart.js) are the scales and names in data attributes: it reads the same path that is drawn.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import drawsvg
import numpy as np
from markupsafe import Markup, escape

from hotfuel.stretches import stretches
from hotfuel.text import minus

INK, PAPER, GRID, FAINT = "#1f2430", "#ffffff", "#e4e1da", "#8b8578"
WIDTH_PX, LEFT_PX, RIGHT_PX, TOP_PX, FOOT_PX = 680, 46, 12, 17, 18
PLOT_PX = WIDTH_PX - LEFT_PX - RIGHT_PX
NARROW_PX = 330
_TIME_STEPS_S = (
    1,
    2,
    5,
    10,
    15,
    30,
    60,
    120,
    300,
    600,
    900,
    1800,
    3600,
    7200,
    10800,
    21600,
    43200,
    86400,
    172800,
    604800,
    2592000,
)
_LETTER_PX = 6.0  # a letter's usual width
_TENTH = 10  # coordinates are kept to a tenth of a px


@dataclass(frozen=True)
class Range:
    """A scale's two ends; `time`: "" for a number, "clock" for milliseconds that show as time of day, "elapsed" for ones since the start."""

    low: float
    high: float
    time: str = ""

    def __post_init__(self) -> None:
        assert self.high > self.low, (self.low, self.high)


def number_ticks(low: float, high: float, most: int) -> tuple[list[float], int]:
    """(round values from low to high, at most so many; decimals they need)."""
    raw = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)], max(0, -math.floor(math.log10(step) + 1e-9))


def time_ticks(low_ms: float, high_ms: float, clock: bool, most: int = 7) -> list[tuple[float, str]]:
    """(milliseconds, text) of round times. clock: times of day, with the date where a day begins; else since the start."""
    step_s = next((step for step in _TIME_STEPS_S if (high_ms - low_ms) / 1000 / step <= most), _TIME_STEPS_S[-1])
    ticks = []
    for number in range(math.ceil(low_ms / 1000 / step_s), math.floor(high_ms / 1000 / step_s) + 1):
        at_s = number * step_s
        ticks.append((1000.0 * at_s, _time_text(at_s, step_s, clock)))
    return ticks


def _time_text(at_s: int, step_s: int, clock: bool) -> str:
    if clock and (step_s >= 86400 or (at_s % 86400 == 0 and step_s >= 3600)):
        return str(np.datetime64(at_s, "s").item().strftime("%-d %b"))
    hours, rest = divmod(at_s % 86400 if clock else at_s, 3600)
    text = f"{hours:02d}:{rest // 60:02d}" if clock else f"{hours}:{rest // 60:02d}"
    return text if step_s >= 60 else f"{text}:{rest % 60:02d}"


def number_text(value: float, decimals: int) -> str:
    """A number at a scale, with a real minus and no signed zero."""
    return minus(f"{round(value, decimals) + 0.0:.{decimals}f}")


@dataclass
class Chart:
    """A frame `height` px tall over x and y. title: what is drawn and its unit, above the frame; alt: the picture in a sentence from its numbers."""

    name: str
    height: int
    x: Range
    y: Range
    title: str = ""
    alt: str = ""
    x_title: str = ""
    show_x: bool = True
    show_y: bool = True
    width: int = WIDTH_PX
    print_px: float = 0.0  # below the frame's top: where words are that no vertical grid line may cross
    clear: Sequence[tuple[float, float]] = ()  # the only ranges of y that those lines cross, where there are words between rows
    under: list[Any] = field(default_factory=list)
    drawn: list[Any] = field(default_factory=list)
    over: list[Any] = field(default_factory=list)

    @property
    def top(self) -> float:
        """Where the frame begins, px from the picture's top."""
        return TOP_PX if self.title else 5

    @property
    def right(self) -> float:
        """Where the frame ends, px from the picture's left."""
        return self.width - RIGHT_PX

    def px(self, x: Any) -> Any:
        """Across, px."""
        return LEFT_PX + (np.asarray(x, dtype=float) - self.x.low) * ((self.right - LEFT_PX) / (self.x.high - self.x.low))

    def py(self, y: Any) -> Any:
        """Down, px."""
        return self.top + self.height - (np.asarray(y, dtype=float) - self.y.low) * (self.height / (self.y.high - self.y.low))

    def line(
        self,
        at: np.ndarray,
        values: np.ndarray,
        name: str,
        unit: str,
        colour: str,
        dash: Sequence[int] = (),
        width: float = 1.8,
        opacity: float = 1.0,
    ) -> None:
        """A line that is broken where values are nan. at, values: (n,) in the scales' own units; name and unit are told under the pointer."""
        d = path(self.px(at), self.py(values))
        if d:
            look: dict[str, Any] = {"stroke_dasharray": " ".join(map(str, dash))} if dash else {}
            look |= {"stroke_opacity": opacity} if opacity < 1 else {}
            self.drawn.append(
                drawsvg.Path(
                    d=d, class_="line", stroke=colour, stroke_width=width, data_name=_kept(name), data_unit=_kept(unit), **look
                )
            )

    def link(self, at: np.ndarray, values: np.ndarray, colour: str, dash: Sequence[int] = (), width: float = 1.8) -> None:
        """A line that joins markers; only the markers have a tip under the pointer."""
        if d := path(self.px(at), self.py(values)):
            look = {"stroke_dasharray": " ".join(map(str, dash))} if dash else {}
            self.drawn.append(drawsvg.Path(d=d, fill="none", stroke=colour, stroke_width=width, **look))

    def hair(self, at: np.ndarray, values: np.ndarray, colour: str) -> None:
        """A thin line over those drawn before, without a tip under the pointer: one of many of which `line` draws the mean."""
        if d := path(self.px(at), self.py(values)):
            self.drawn.append(drawsvg.Path(d=d, class_="hair", stroke=colour))

    def band(self, at: np.ndarray, low: np.ndarray, high: np.ndarray, colour: str = INK, opacity: float = 0.16) -> None:
        """The area between two curves (n,), where both are known."""
        known = np.isfinite(low) & np.isfinite(high)
        parts = []
        for start, end in stretches(known):
            x = self.px(at[start:end])
            around = path(np.concatenate([x, x[::-1]]), self.py(np.concatenate([high[start:end], low[start:end][::-1]])))
            parts.append(around + "z")
        if parts:
            self.under.append(drawsvg.Path(d="".join(parts), fill=colour, fill_opacity=opacity))

    def level(self, value: float, colour: str, width: float, dash: str = "") -> None:
        """A line across the frame."""
        y = _tenth(self.py(value))
        look = {"stroke_dasharray": dash} if dash else {}
        self.under.append(drawsvg.Line(LEFT_PX, y, self.right, y, stroke=colour, stroke_width=width, **look))

    def upright(self, value: float, colour: str, width: float, dash: str = "", spans: Sequence[tuple[float, float]] = ()) -> None:
        """A line from the frame's foot to its top, or only where `spans` of y say: it leaves out the lines of print."""
        x = _tenth(self.px(value))
        look = {"stroke_dasharray": dash} if dash else {}
        ends = [(self.py(high), self.py(low)) for low, high in spans] or [(self.top, self.top + self.height)]
        for top, foot in ends:
            self.under.append(drawsvg.Line(x, _tenth(top), x, _tenth(foot), stroke=colour, stroke_width=width, **look))

    def box(self, x: tuple[float, float], y: tuple[float, float] | None, tip: str = "", **look: Any) -> None:
        """A filled box; y None: as tall as the frame. tip: told under the pointer."""
        left, right = np.clip(self.px(x), LEFT_PX, self.right)
        low, high = (self.top + self.height, self.top) if y is None else (self.py(y[0]), self.py(y[1]))
        told = {"data_tip": _kept(tip)} if tip else {}
        shape = drawsvg.Rectangle(
            _tenth(left), _tenth(high), max(_tenth(right - left), 0.5), max(_tenth(low - high), 0.5), **told, **look
        )
        (self.drawn if tip else self.under).append(shape)

    def dot(self, x: float, y: float, colour: str, tip: str) -> None:
        """A ring that moves when the time is zoomed."""
        look = {"fill": PAPER, "stroke": colour, "stroke_width": 2, "data_tip": _kept(tip)}
        self.drawn.append(drawsvg.Circle(_tenth(self.px(x)), _tenth(self.py(y)), 4.2, **look))

    def marker(self, x: float, y: float, shape: str, colour: str, tip: str, *, hollow: bool, size: float = 5.0) -> None:
        """A dot of its own shape: "circle", "square", "triangle", "diamond", "inverted_triangle" or "hex"; hollow ones are filled with paper."""
        across, down = float(self.px(x)), float(self.py(y))
        look = {"fill": PAPER if hollow else colour, "stroke": colour, "stroke_width": 1.6, "data_tip": _kept(tip)}
        if shape == "circle":
            self.over.append(drawsvg.Circle(_tenth(across), _tenth(down), size, **look))
            return
        corners, turn = {"square": (4, 45), "triangle": (3, -90), "diamond": (4, 0), "inverted_triangle": (3, 90), "hex": (6, 0)}[
            shape
        ]
        angles = np.radians(turn + 360 / corners * np.arange(corners))
        points = zip(across + 1.25 * size * np.cos(angles), down + 1.25 * size * np.sin(angles), strict=True)
        self.over.append(drawsvg.Lines(*[_tenth(value) for point in points for value in point], close=True, **look))

    def label(
        self, text: str, x_px: float, y_px: float, *, anchor: str = "start", look: str = "", at: float | None = None
    ) -> None:
        """Words at a position in px. at: their x value, for those that move when the time axis is zoomed."""
        moving = {} if at is None else {"data_at": f"{at:.0f}"}
        # On paper this replaces the letters' outline, which would put the text into the file twice.
        wide = _LETTER_PX * len(text)
        left = x_px - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        self.over.append(drawsvg.Rectangle(_tenth(left - 1), _tenth(y_px - 9), _tenth(wide + 2), 11.5, class_="halo"))
        self.over.append(
            drawsvg.Text(
                text,
                None,
                _tenth(x_px),
                _tenth(y_px),
                text_anchor=anchor,
                class_=f"name {look}".strip(),
                font_family=None,
                **moving,
            )
        )

    def svg(self) -> Markup:
        """The picture as text for a page."""
        foot = (FOOT_PX if self.show_x else 4) + (13 if self.show_x and self.x_title else 0)
        whole = int(self.top + self.height + foot)
        picture = drawsvg.Drawing(self.width, whole, id_prefix=self.name)
        clip = drawsvg.ClipPath(id=f"{self.name}-frame")
        clip.append(drawsvg.Rectangle(LEFT_PX, self.top - 1, self.right - LEFT_PX, self.height + 2))
        picture.append_def(clip)
        picture.append(self._scales())
        framed = drawsvg.Group(clip_path=f"url(#{self.name}-frame)")
        inner = drawsvg.Group(class_="moves")
        for one in (*self.under, *self.drawn):
            inner.append(one)
        framed.append(inner)
        picture.append(framed)
        if self.over:
            over = drawsvg.Group(class_="over")
            for one in self.over:
                over.append(one)
            picture.append(over)
        text = picture.as_svg(header="")
        body = text[text.index(">") + 1 :]
        x, y = self.x, self.y
        along = "" if x.time else f'data-along="{escape(self.x_title.rpartition(", ")[2])}" '
        return Markup(
            f'<svg class="chart{"" if self.width == WIDTH_PX else " narrow"}" viewBox="0 0 {self.width} {whole}" role="img" aria-label="{escape(self.alt)}" '
            f'data-x="{LEFT_PX} {x.low!r} {self.right} {x.high!r} {x.time}" {along}'
            f'data-y="{self.top + self.height} {y.low!r} {self.top} {y.high!r}">{body}'
        )

    def _scales(self) -> Any:
        group = drawsvg.Group(class_="scales")
        bottom = self.top + self.height
        if self.show_y:
            values, decimals = number_ticks(self.y.low, self.y.high, max(2, self.height // 34))
            if len(values) < 2:  # a single number shows no scale
                values, decimals = number_ticks(self.y.low, self.y.high, 4)
            for value in values:
                y = _tenth(self.py(value))
                group.append(drawsvg.Line(LEFT_PX, y, self.right, y, class_="grid"))
                # a number at the frame's very top would touch the title
                down = max(y + 3.8, self.top + 9.0) if self.title else y + 3.8
                group.append(_text(number_text(value, decimals), LEFT_PX - 5, _tenth(down), "end"))
        along = drawsvg.Group(class_="along")
        if self.x.time:
            ticks = time_ticks(self.x.low, self.x.high, self.x.time == "clock", max(3, self.width // 95))
        else:
            values, decimals = number_ticks(self.x.low, self.x.high, self.width // 85)
            ticks = [(value, number_text(value, decimals)) for value in values]
        for value, text in ticks:
            x = _tenth(self.px(value))
            ends = [(self.py(high), self.py(low)) for low, high in self.clear] or [(self.top + self.print_px, bottom)]
            for top, foot in [*ends, *([(bottom, bottom + 4)] if self.show_x else [])]:
                along.append(drawsvg.Line(x, _tenth(top), x, _tenth(foot), class_="grid"))
            if self.show_x:
                cut = x + 3.3 * len(text) > self.width  # half the text would be outside
                along.append(_text(text, self.width if cut else x, bottom + 15, "end" if cut else "middle"))
        group.append(along)
        group.append(drawsvg.Line(LEFT_PX, bottom, self.right, bottom, class_="axis"))
        if self.title:
            group.append(_text(self.title, 0, 10, "start", "title"))
        if self.show_x and self.x_title:
            group.append(_text(self.x_title, self.right, bottom + 28, "end", "below"))
        return group


def path(x_px: np.ndarray, y_px: np.ndarray) -> str:
    """The `d` of a line through the points, broken at nan, "" for one of nothing: to a tenth of a px, in steps from point to point."""
    known = np.isfinite(x_px) & np.isfinite(y_px)
    x, y = (np.where(known, np.rint(np.where(known, values, 0.0) * _TENTH), 0).astype(np.int64) for values in (x_px, y_px))
    # a point on a level stretch, or on the point before it, adds nothing
    level = np.zeros(len(x), dtype=bool)
    if len(x) > 2:
        whole = known[:-2] & known[1:-1] & known[2:]
        rising = (x[1:-1] - x[:-2]) * (x[2:] - x[1:-1]) >= 0
        level[1:-1] = whole & rising & (y[1:-1] == y[:-2]) & (y[2:] == y[1:-1])
    parts, before = [], None
    for across, down, is_known in zip(x[~level].tolist(), y[~level].tolist(), known[~level].tolist(), strict=True):
        if not is_known:
            before = None
        elif before is None:
            parts.append(f"M{across / _TENTH:g} {down / _TENTH:g}h0")  # a single reading shows as a dot of the line's width
            before = across, down
        else:
            parts.append(f"l{_step(across - before[0])} {_step(down - before[1])}")
            before = across, down
    return "".join(parts)


def _step(tenths: int) -> str:
    text = f"{tenths / _TENTH:g}"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def _tenth(value: Any) -> float:
    return round(float(value), 1)


def _text(text: str, x: float, y: float, anchor: str, look: str = "") -> Any:
    more = {"class_": look} if look else {}
    return drawsvg.Text(text, None, _tenth(x), _tenth(y), text_anchor=anchor, **more)


def _kept(text: str) -> str:
    """Text typed by people, escaped for an attribute: drawsvg does not escape."""
    return str(escape(text))

"""Which figures a review shows, with their keys; one Plots per page. Uses hotfuel.report.figures for the drawing."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from hotfuel_wire import alarm

from hotfuel.places import is_behind_needle, place_words, probe_of
from hotfuel.report import figures as draw
from hotfuel.report import words
from hotfuel.report.figures import Axis, Line, Style
from hotfuel.risk.level import NO_LIMIT
from hotfuel.session import Session
from hotfuel.session.summary import Summary, index_seconds
from hotfuel.units import Shown

LEVEL_WORDS = {
    "warn": "margin smaller than its uncertainty",
    "act": "beyond the limit",
    "lost": "no reading",
    **{alarm.LEVELS[level]: f"{level.words}: beyond the limit" for level in NO_LIMIT},
}
_LEVEL_KEYS = {
    "warn": {"hatch": "lines", "fill": "#f6e3b4", "colour": draw.WARN, "text": "warning: margin smaller than its uncertainty"},
    "act": {"hatch": "solid", "fill": draw.ACT, "colour": draw.ACT, "text": "act: beyond the limit"},
    "lost": {"hatch": "dots", "fill": "#e2dfd8", "colour": draw.LOST, "text": "no reading"},
}
_ALARM_ROWS_MOST = 12


@dataclass
class Plot:
    """One picture: figures under one key. names: of the figures, from top to bottom."""

    names: list[str]
    key: list[dict[str, Any]] = field(default_factory=list)
    caption: str = ""


class Plots:
    """Draws what a session holds, in the reader's units. `figures`: name -> bokeh figure, filled as pictures are asked for."""

    def __init__(self, session: Session, shown: Shown, clock: words.Clock) -> None:
        self.session, self.shown, self.clock = session, shown, clock
        self.figures: dict[str, Any] = {}
        ticks = session.ticks
        longest = max((d["period_ms"] / 400 for d in session.descriptions.values()), default=1.0)
        label = clock.zone if clock.dates else "h:min:s since the start"
        self.axis = Axis(ticks.seconds, clock.offset_s, clock.dates, max(longest, 1.0), label)
        self.table = session.margin_table.places if session.car else {}
        self.places = [*ticks.places, *(name for name in self.table if is_behind_needle(name))]
        self.styles = draw.styles(self.places)
        self.degc = dict(zip(ticks.places, ticks.degc.T, strict=True))
        self.marks_s = index_seconds(pd.Index(session.marks()["time"]))
        gaps = session.gaps()
        self.gaps_s = np.stack([index_seconds(pd.Index(gaps["start"])), index_seconds(pd.Index(gaps["end"]))], axis=1)
        self.alarms = session.alarms() if session.car else pd.DataFrame({"place": [], "level": [], "start": [], "end": []})
        self._thin: dict[str, list[np.ndarray]] = {}

    def overview(self) -> list[Plot]:
        """Temperatures of all places, margins of all places, alarms; on one time axis."""
        plot = self._figure(
            "overview_temperatures", 190, f"temperature, {self.shown.unit('temperature')}", show_time=not self.table
        )
        drawn = []
        for name in self.degc:
            at, values = self._measured(name)
            drawn.append(Line(at, values, self.styles[name], place_words(name)))
        draw.fit(plot, *(one.values for one in drawn), least_span=5)
        draw.lines(plot, drawn)
        self._marks_and_gaps(plot, numbered=True)
        caption = (
            "Numbers at dotted lines are marks; hatched stretches have no readings."
            if len(self.marks_s) or len(self.gaps_s)
            else ""
        )
        first = Plot(["overview_temperatures"], [self._line_key(name) for name in self.degc], "" if self.table else caption)
        return [first, self._margins(), self._strip(caption)] if self.table else [first]

    def _margins(self) -> Plot:
        plot = self._figure("overview_margins", 150, f"margin, {self.shown.unit('temperature difference')}", show_time=False)
        drawn = []
        for name, place in self.table.items():
            at, margin = draw.thinned(self.axis, place.margin_degc)
            drawn.append(
                Line(at, np.asarray(self.shown.value(margin, "temperature difference")), self.styles[name], place_words(name))
            )
        draw.fit(plot, *(one.values for one in drawn), least_span=5, include=(0.0,))
        draw.lines(plot, drawn)
        draw.level(plot, 0.0, draw.ACT, 1.6)
        self._marks_and_gaps(plot)
        zero = {"colour": draw.ACT, "width": 1.6, "dash": "", "text": "no margin left", "hatch": ""}
        return Plot(["overview_margins"], [*(self._line_key(name) for name in self.table), zero])

    def picture(self, summary: Summary, height: int) -> Plot:
        """The one picture of the customer sheet: the place that matters, with its limit."""
        chosen = summary.without_limit or summary.smallest or summary.hottest
        if chosen is None:
            self._figure("picture", height, "temperature")
            return Plot(["picture"], [], "No temperature was recorded.")
        return self._one_place("picture", chosen.place, height)

    def technical(self) -> list[Plot]:
        """Every place with its limit and the band of what is not known, then the other inputs."""
        known = [name for name in self.places if np.isfinite(self._measured(name)[1]).any()]
        return [self._one_place(f"place_{number}", name, 130) for number, name in enumerate(known)] + self._inputs()

    def _one_place(self, key: str, name: str, height: int) -> Plot:
        plot = self._figure(key, height, f"temperature, {self.shown.unit('temperature')}")
        at, measured = self._measured(name)
        colour = self.styles[name].colour
        series, drawn = [measured], []
        label = place_words(probe_of(name))
        keys = [{"colour": colour, "width": 2, "dash": "", "text": label, "hatch": ""}]
        place = self.table.get(name)
        if place is not None and np.isfinite(place.limit_degc).any():
            limit_at, limit_degc, uncertainty = draw.thinned(self.axis, place.limit_degc, place.uncertainty_degc)
            limit, low, high = (self._shown(limit_degc + sign * uncertainty) for sign in (0, -1, 1))
            draw.band(plot, limit_at, low, high)
            where = " behind the needle" if is_behind_needle(name) else ""
            drawn.append(Line(limit_at, limit, Style(draw.INK, (7, 4)), f"limit{where}", 1.5))
            series += [low, high]
            keys.append({"colour": draw.INK, "width": 1.5, "dash": "7 4", "text": f"limit{where}", "hatch": ""})
            keys.append({"colour": "#dbdad7", "width": 9, "dash": "", "text": "± one standard uncertainty", "hatch": ""})
        draw.fit(plot, *series, least_span=5)
        draw.lines(plot, [*drawn, Line(at, measured, Style(colour, ()), label, 2.0)])
        self._marks_and_gaps(plot, numbered=True)
        return Plot([key], keys)

    def _strip(self, caption: str) -> Plot:
        raised = set(self.alarms["place"])
        rows = [(name, place_words(name)) for name in self.places if name in raised][:_ALARM_ROWS_MOST]
        if not rows:
            return Plot(
                [], [], f"No warning came at the places measured; fuel can boil where there is no probe. {caption}".strip()
            )
        starts, ends = (index_seconds(pd.Index(self.alarms[side])) for side in ("start", "end"))
        spans = list(zip(self.alarms["place"], self.alarms["level"], starts, ends, strict=True))
        self.figures["alarms"] = draw.alarm_strip(self.axis, spans, rows)
        self._marks_and_gaps(self.figures["alarms"])
        present = set(self.alarms["level"])
        return Plot(["alarms"], [key for name, key in _LEVEL_KEYS.items() if name in present], caption)

    def _inputs(self) -> list[Plot]:
        inputs = self.session.inputs()
        rows = (
            ("engine_rpm", "engine speed, rpm", None),
            ("fuel_pressure_kpa", f"fuel pressure (gauge), {self.shown.unit('pressure')}", "pressure"),
            ("ambient_pressure_kpa", f"air pressure, {self.shown.unit('pressure')}", "pressure"),
            ("battery_v", "supply, V", None),
        )
        result = []
        for number, (column, label, dimension) in enumerate(rows):
            if not np.isfinite(inputs[column].to_numpy()).any():
                continue
            at, values = draw.thinned(self.axis, inputs[column].to_numpy())
            values = np.asarray(self.shown.value(values, dimension)) if dimension else values
            plot = self._figure(column, 80, label.rsplit(", ", 1)[1])
            draw.lines(plot, [Line(at, values, Style(draw.COLOURS[number], ()), label.rsplit(", ", 1)[0], 1.5)])
            draw.fit(plot, values, least_span=1.0, include=(0.0,) if column in ("engine_rpm", "fuel_pressure_kpa") else ())
            self._marks_and_gaps(plot)
            result.append(Plot([column], [{"colour": draw.COLOURS[number], "width": 2, "dash": "", "text": label, "hatch": ""}]))
        return result

    def _figure(self, name: str, height: int, y_label: str, *, show_time: bool = True) -> Any:
        self.figures[name] = draw.blank(self.axis, height, y_label, show_time=show_time)
        return self.figures[name]

    def _marks_and_gaps(self, plot: Any, *, numbered: bool = False) -> None:
        draw.marks_and_gaps(plot, self.axis, self.marks_s, self.gaps_s, numbered=numbered)

    def _measured(self, name: str) -> list[np.ndarray]:
        """[ms, shown temperature] of a place, thinned once."""
        name = probe_of(name)
        if name not in self._thin:
            at, degc = draw.thinned(self.axis, self.degc[name])
            self._thin[name] = [at, self._shown(degc)]
        return self._thin[name]

    def _shown(self, degc: np.ndarray) -> np.ndarray:
        return np.asarray(self.shown.value(degc, "temperature"))

    def _line_key(self, name: str) -> dict[str, Any]:
        style = self.styles[name]
        return {
            "colour": style.colour,
            "width": 2,
            "dash": " ".join(map(str, style.dash)),
            "text": place_words(name),
            "hatch": "",
        }

"""Which figures a review shows, with their keys; one Plots per page. Uses hotfuel.report.figures for the drawing."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from hotfuel.report import figures as draw
from hotfuel.report import words
from hotfuel.report.figures import Axis, Style
from hotfuel.session import Session
from hotfuel.session.summary import Summary, index_seconds
from hotfuel.units import Shown

LEVEL_WORDS = {"warn": "margin smaller than its uncertainty", "act": "beyond the limit", "lost": "no reading"}
_LEVEL_KEYS = (
    {"hatch": "lines", "fill": "#f6e3b4", "colour": draw.WARN, "text": "warning: margin smaller than its uncertainty"},
    {"hatch": "solid", "fill": draw.ACT, "colour": draw.ACT, "text": "act: beyond the limit"},
    {"hatch": "dots", "fill": "#e2dfd8", "colour": draw.LOST, "text": "no reading"},
)
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
        self.places = [*ticks.places, *(name for name in self.table if name.endswith("_needle"))]
        self.styles = draw.styles(self.places)
        self.degc = dict(zip(ticks.places, ticks.degc.T, strict=True))
        self.marks_s = index_seconds(pd.Index(session.marks()["time"]))
        gaps = session.gaps()
        self.gaps_s = np.stack([index_seconds(pd.Index(gaps["start"])), index_seconds(pd.Index(gaps["end"]))], axis=1)
        self.alarms = session.alarms() if session.car else pd.DataFrame({"place": [], "level": [], "start": [], "end": []})
        self._range = self.axis.range

    def overview(self) -> list[Plot]:
        """Temperatures of all places, margins of all places, alarms; on one time axis."""
        result = []
        temperatures = self._figure("overview_temperatures", 225, f"temperature, {self.shown.unit('temperature')}", last=not self.table)
        series = []
        for name, values in self.degc.items():
            series.append(self._temperature(values))
            draw.line(temperatures, self.axis, series[-1], self.styles[name], name=words.place(name))
        draw.fit(temperatures, *series, least_span=5)
        draw.marks_and_gaps(temperatures, self.axis, self.marks_s, self.gaps_s, numbered=True)
        caption = "Numbers at dotted lines are marks; hatched stretches have no readings." if len(self.marks_s) or len(self.gaps_s) else ""
        result.append(Plot(["overview_temperatures"], [self._line_key(name) for name in self.degc], "" if self.table else caption))
        if self.table:
            margins = self._figure("overview_margins", 170, f"margin, {self.shown.unit('temperature difference')}", last=False)
            values = {name: self._difference(place.margin_degc) for name, place in self.table.items()}
            for name, margin in values.items():
                draw.line(margins, self.axis, margin, self.styles[name], name=words.place(name))
            draw.fit(margins, *values.values(), least_span=5, include=(0.0,))
            draw.level(margins, 0.0, draw.ACT, width=1.6)
            draw.marks_and_gaps(margins, self.axis, self.marks_s, self.gaps_s)
            keys = [self._line_key(name) for name in self.table]
            result.append(Plot(["overview_margins"], [*keys, {"colour": draw.ACT, "width": 1.6, "dash": "", "text": "no margin left", "hatch": ""}]))
            result.append(self._strip(caption))
        return result

    def picture(self, summary: Summary) -> Plot:
        """The one picture of the customer sheet: the place that matters, with its limit."""
        chosen = summary.smallest or summary.hottest
        if chosen is None:
            return Plot([self._name(self._figure("picture", 190, "", last=True))], [], "No temperature was recorded.")
        return self._one_place("picture", chosen.place, 190)

    def technical(self) -> list[Plot]:
        """Every place with its limit and the band of what is not known, then the other inputs."""
        shown = [name for name in self.places if np.isfinite(self._measured(name)).any()]
        return [self._one_place(f"place_{number}", name, 150) for number, name in enumerate(shown)] + self._inputs()

    def _one_place(self, key: str, name: str, height: int) -> Plot:
        plot = self._figure(key, height, f"temperature, {self.shown.unit('temperature')}", last=True)
        measured = self._temperature(self._measured(name))
        style = Style(self.styles[name].colour, ())
        series = [measured]
        label = words.place(name.removesuffix("_needle"))
        keys = [{"colour": style.colour, "width": 2, "dash": "", "text": label, "hatch": ""}]
        place = self.table.get(name)
        if place is not None and np.isfinite(place.limit_degc).any():
            low, high = (self._temperature(place.limit_degc + sign * place.uncertainty_degc) for sign in (-1, 1))
            limit = self._temperature(place.limit_degc)
            draw.band(plot, self.axis, low, high, draw.INK)
            draw.line(plot, self.axis, limit, Style(draw.INK, (7, 4)), width=1.5, name="limit")
            series += [low, high]
            where = " behind the needle" if name.endswith("_needle") else ""
            keys.append({"colour": draw.INK, "width": 1.5, "dash": "7 4", "text": f"limit{where}", "hatch": ""})
            keys.append({"colour": "#bbb8b2", "width": 9, "dash": "", "text": "± one standard uncertainty", "hatch": ""})
        draw.line(plot, self.axis, measured, style, width=2.0, name=label)
        draw.fit(plot, *series, least_span=5)
        draw.marks_and_gaps(plot, self.axis, self.marks_s, self.gaps_s, numbered=True)
        return Plot([key], keys)

    def _strip(self, caption: str) -> Plot:
        raised = list(dict.fromkeys(self.alarms["place"]))
        rows = [(name, words.place(name)) for name in self.places if name in raised][:_ALARM_ROWS_MOST]
        if not rows:
            return Plot([], [], f"No warning came at the places measured; fuel can boil where there is no probe. {caption}".strip())
        times = zip(index_seconds(pd.Index(self.alarms["start"])), index_seconds(pd.Index(self.alarms["end"])), strict=True)
        strip = draw.alarm_strip(self.axis, self._range, self.alarms, rows, times)
        draw.marks_and_gaps(strip, self.axis, self.marks_s, self.gaps_s)
        self.figures["alarms"] = strip
        present = set(self.alarms["level"])
        keys = [key for key, name in zip(_LEVEL_KEYS, ("warn", "act", "lost"), strict=True) if name in present]
        self._show_time(strip)
        return Plot(["alarms"], keys, caption)

    def _inputs(self) -> list[Plot]:
        inputs = self.session.inputs()
        rows = (
            ("engine_rpm", "engine speed, rpm", None),
            ("fuel_pressure_kpa", f"fuel pressure, {self.shown.unit('pressure')} gauge", "pressure"),
            ("ambient_pressure_kpa", f"air pressure, {self.shown.unit('pressure')}", "pressure"),
            ("battery_v", "supply, V", None),
        )
        result = []
        for number, (column, label, dimension) in enumerate(rows):
            values = inputs[column].to_numpy()
            if not np.isfinite(values).any():
                continue
            values = self.shown.value(values, dimension) if dimension else values
            plot = self._figure(column, 100, label, last=True)
            draw.line(plot, self.axis, values, Style(draw.COLOURS[number], ()), width=1.5)
            draw.fit(plot, values, least_span=1.0, include=(0.0,) if column in ("engine_rpm", "fuel_pressure_kpa") else ())
            draw.marks_and_gaps(plot, self.axis, self.marks_s, self.gaps_s)
            result.append(Plot([column], [{"colour": draw.COLOURS[number], "width": 2, "dash": "", "text": label, "hatch": ""}]))
        return result

    def _figure(self, name: str, height: int, y_label: str, *, last: bool) -> Any:
        self.figures[name] = draw.blank(self.axis, self._range, height, y_label, show_time=last)
        return self.figures[name]

    def _name(self, plot: Any) -> str:
        return next(name for name, figure in self.figures.items() if figure is plot)

    def _show_time(self, plot: Any) -> None:
        plot.xaxis.visible = True
        plot.xaxis.axis_label = self.axis.label
        plot.height += 26

    def _measured(self, name: str) -> np.ndarray:
        return self.degc[name.removesuffix("_needle")]

    def _temperature(self, degc: np.ndarray) -> np.ndarray:
        return np.asarray(self.shown.value(degc, "temperature"))

    def _difference(self, degc: np.ndarray) -> np.ndarray:
        return np.asarray(self.shown.value(degc, "temperature difference"))

    def _line_key(self, name: str) -> dict[str, Any]:
        style = self.styles[name]
        return {"colour": style.colour, "width": 2, "dash": " ".join(map(str, style.dash)), "text": words.place(name), "hatch": ""}

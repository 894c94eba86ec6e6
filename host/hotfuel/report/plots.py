"""Which charts a review shows, with their keys; one Plots per page. Uses hotfuel.report.figures for the drawing."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from hotfuel_wire import alarm

from hotfuel.places import behind_words, is_behind_needle, place_words, probe_of
from hotfuel.report import figures as draw
from hotfuel.report import words
from hotfuel.report.chart import Chart, Range
from hotfuel.report.figures import Axis, Line, Style
from hotfuel.risk.level import Level, is_beyond
from hotfuel.session import Session, more_inputs
from hotfuel.session.summary import PlaceSummary, Summary, index_seconds
from hotfuel.study.drive.phases import IDLE, SOAK, STANDING, Phase
from hotfuel.units import Shown, expanded
from hotfuel.wired import axis_of

_STRIP = "Bars show the alarms as they come while driving, not the time below zero: an alarm waits 4 s, allows for a slow probe's lag and stays on for a minute"
_STRIP_PERCOLATES = "; {} it ends when the engine stops, because fuel usually boils there then; the tables still count that time."
_DOTS_MOST = 300
_ALARM_ROWS_MOST = 12
_CARD_PX, _CARD_EACH_PX = 190, 130
PICTURE_PX, LEAST_PX = 250, 110  # of one place on the first page
_BETWEEN_PX = 40  # scale and title of a second one
_DOING = {SOAK: ("parked", True), STANDING: ("parked", True), IDLE: ("idling", False)}  # all else is driving


def alarm_words(name: str, shown: Shown) -> str:
    """What an alarm that was on says, by its level's name (alarm.LEVELS)."""
    return Level(alarm.LEVELS.index(name)).on_chart(shown)


def _stretches(phases: Sequence[Phase], seconds: np.ndarray) -> list[tuple[float, float, str, bool]]:
    """(start s, end s, what the car was doing, whether it is shaded), neighbours that read alike joined."""
    joined: list[tuple[float, float, str, bool]] = []
    for phase in phases:
        name, shaded = _DOING.get(phase.kind, ("driving", False))
        start, end = (float(seconds[0]) + at for at in (phase.start_s, phase.end_s))
        if joined and joined[-1][2] == name:
            start = joined.pop()[0]
        joined.append((start, end, name, shaded))
    return joined


@dataclass
class Plot:
    """One picture: charts under one key. names: of the charts, from top to bottom."""

    names: list[str]
    key: list[dict[str, Any]] = field(default_factory=list)
    caption: str = ""


class Plots:
    """Draws what a session holds, in the reader's units. `figures`: name -> chart, filled as pictures are asked for."""

    def __init__(self, session: Session, shown: Shown, clock: words.Clock) -> None:
        self.session, self.shown, self.clock = session, shown, clock
        self.figures: dict[str, Chart] = {}
        ticks = session.ticks
        longest = max((d["period_ms"] / 400 for d in session.descriptions.values()), default=1.0)
        label = clock.zone if clock.dates else "h:min since the start"
        self.axis = Axis(ticks.seconds, clock.offset_s, clock.dates, max(longest, 1.0), label)
        self.table = session.margin_table.places if session.car else {}
        self.places = [*ticks.places, *(name for name in self.table if is_behind_needle(name))]
        self.styles = draw.styles(self.places)
        self.degc = dict(zip(ticks.places, ticks.degc.T, strict=True))
        self.marks_s = index_seconds(pd.Index(session.marks()["time"]))
        gaps = session.gaps()
        self.gaps_s = np.stack([index_seconds(pd.Index(gaps["start"])), index_seconds(pd.Index(gaps["end"]))], axis=1)
        self.alarms = session.alarms() if session.car else pd.DataFrame({"place": [], "level": [], "start": [], "end": []})
        self.summary: Summary = session.summary()
        self.unit = shown.unit("temperature")
        self._thin: dict[str, list[np.ndarray]] = {}

    def overview(self) -> list[Plot]:
        """Temperatures of all places, room to the limit of all places, alarms; on one time axis."""
        drawn = []
        for name in self.degc:
            at, values = self._measured(name)
            drawn.append(Line(at, values, self.styles[name], place_words(name), self.unit))
        read = self._by_hand()
        by_hand = np.array([value for _, value, _, _ in read])
        plot = self._figure(
            "overview_temperatures", 114, draw.fit(*(one.values for one in drawn), by_hand, least_span=5), f"temperature, {self.unit}",
            self._alt_of_temperatures(), show_time=not self.table,
        )  # fmt: skip
        draw.lines(plot, drawn)
        for when, value, where, degrees in read:
            plot.dot(when, value, draw.INK, f"{where} {degrees}")
        self._marks_and_gaps(plot, numbered=True)
        caption = (
            "Numbers at dotted lines are marks; hatched stretches have no readings."
            if len(self.marks_s) or len(self.gaps_s)
            else ""
        )
        if read:
            caption = (
                f"Rings are readings by hand: {', '.join(dict.fromkeys(where for _, _, where, _ in read))}. {caption}".strip()
            )
        first = Plot(["overview_temperatures"], [self._line_key(name) for name in self.degc], "" if self.table else caption)
        return [first, self._margins(), self._strip(caption)] if self.table else [first]

    def _by_hand(self) -> list[tuple[float, float, str, str]]:
        """(ms on the axis, shown temperature, place and temperature in words) of temperatures a person read within the recording."""
        told = self.session.by_hand()
        told = told[told["dimension"] == "temperature"][:_DOTS_MOST]
        seconds = index_seconds(pd.Index(told["time"]))
        inside = (
            (seconds >= self.axis.seconds[0]) & (seconds <= self.axis.seconds[-1])
            if len(self.axis.seconds)
            else np.zeros(len(told), bool)
        )
        rows = zip(self.axis.ms(seconds)[inside], told["place"][inside], told["value"][inside], strict=True)
        return [
            (
                float(at),
                float(self.shown.value(float(degc), "temperature")),
                place_words(place),
                self.shown.text(float(degc), "temperature", 0),
            )
            for at, place, degc in rows
        ]

    def _margins(self) -> Plot:
        unit = self.shown.unit("temperature difference")
        drawn = []
        for name, place in self.table.items():
            at, margin = draw.thinned(self.axis, place.margin_degc)
            values = np.asarray(self.shown.value(margin, "temperature difference"))
            drawn.append(Line(at, values, self.styles[name], place_words(name), unit))
        y = draw.fit(*(one.values for one in drawn), least_span=5, include=(0.0,))
        title = f"margin: room left to the limit, {unit} (below zero: beyond it)"
        plot = self._figure("overview_margins", 76, y, title, self._alt_of_margins(), show_time=False)
        draw.lines(plot, drawn)
        plot.level(0.0, draw.ACT, 1.6)
        self._marks_and_gaps(plot)
        zero = {"colour": draw.ACT, "width": 1.6, "dash": "", "text": "no margin left", "hatch": ""}
        needles = [self._line_key(name) for name in self.table if is_behind_needle(name)]  # the others have a key above
        return Plot(["overview_margins"], [*needles, zero])

    def picture(self, summary: Summary, height: int, phases: Sequence[Phase] = (), beyond: Sequence[str] = ()) -> Plot:
        """The one picture of the customer sheet: the places that matter, with their boiling limits, over what the car was doing. beyond: the places that
        were beyond their limit; without one, the place nearest it. Two are drawn where there is height for both."""
        chosen = self._matter(summary, beyond)
        if not chosen:
            self._figure("picture", height, draw.fit(least_span=1), "temperature", "No temperature was recorded.")
            return Plot(["picture"], [], "No temperature was recorded.")
        first, *others = chosen
        if not others or height < 2 * LEAST_PX + _BETWEEN_PX:
            return self._one_place("picture", first, min(height, PICTURE_PX), phases)
        each = min((height - _BETWEEN_PX) // 2, PICTURE_PX)
        drawn = [self._one_place(key, name, each, phases) for key, name in (("picture", first), ("picture_2", others[0]))]
        return Plot(
            [name for one in drawn for name in one.names], drawn[0].key + [one for one in drawn[1].key if one not in drawn[0].key]
        )

    def card(self, summary: Summary, phases: Sequence[Phase] = (), beyond: Sequence[str] = ()) -> list[Chart]:
        """The same places, narrow, for the card."""
        chosen = self._matter(summary, beyond)[:2]
        if not chosen:
            self._figure("card", 150, draw.fit(least_span=1), "temperature", "No temperature was recorded.", narrow=True)
            return [self.figures.pop("card")]
        for number, name in enumerate(chosen):
            self._one_place(f"card_{number}", name, _CARD_PX if len(chosen) == 1 else _CARD_EACH_PX, phases, narrow=True)
        return [self.figures.pop(f"card_{number}") for number in range(len(chosen))]  # they stand on no page

    @staticmethod
    def _matter(summary: Summary, beyond: Sequence[str]) -> list[str]:
        """The places a picture must show, the first that matters most."""
        nearest = summary.without_limit or summary.smallest or summary.hottest
        if summary.without_limit is not None or not beyond:
            return [nearest.place] if nearest is not None else []
        return list(beyond)

    def technical(self) -> list[Plot]:
        """Every place with its limit and the band of what is not known, then the other inputs."""
        known = [name for name in self.places if np.isfinite(self._measured(name)[1]).any()]
        return [self._one_place(f"place_{number}", name, 92, narrow=True) for number, name in enumerate(known)] + self._inputs()

    def _one_place(self, key: str, name: str, height: int, phases: Sequence[Phase] = (), *, narrow: bool = False) -> Plot:
        at, measured = self._measured(name)
        colour = self.styles[name].colour
        series, drawn = [measured], []
        label = f"fuel at the {place_words(probe_of(name))}" if phases else place_words(probe_of(name))
        said_limit = "its boiling limit" if phases else "limit"
        said_limit += behind_words(name, narrow=not phases)
        keys = [{"colour": colour, "width": 2, "dash": "", "text": label, "hatch": ""}]
        place = self.table.get(name)
        band = None
        if place is not None and np.isfinite(place.limit_degc).any():
            limit_at, limit_degc, uncertainty = draw.thinned(self.axis, place.limit_degc, place.uncertainty_degc)
            limit, low, high = (self._shown(limit_degc + sign * expanded(uncertainty)) for sign in (0, -1, 1))
            band = limit_at, low, high
            drawn.append(Line(limit_at, limit, Style(draw.INK, (7, 4)), said_limit, self.unit, 1.5))
            series += [low, high]
            keys.append({"colour": draw.INK, "width": 1.5, "dash": "7 4", "text": said_limit, "hatch": ""})
            keys.append({"colour": "#dbdad7", "width": 9, "dash": "", "text": "95 % band", "hatch": ""})
        title = f"temperature, {self.unit}"
        y = draw.fit(*series, least_span=5)
        if phases:  # room for their names
            y = Range(y.low, y.high + 16 * (y.high - y.low) / height)
        plot = self._figure(key, height, y, title, self._alt_of_place(name), narrow=narrow)
        doing = _stretches(phases, self.axis.seconds)
        draw.stretches(plot, self.axis, doing)
        if any(shaded for *_, shaded in doing):  # a short stretch is too narrow for its name
            keys.append({"colour": draw.PARKED, "width": 9, "dash": "", "text": "parked (else driving or idling)", "hatch": ""})
        if band is not None:
            plot.band(*band)
        draw.lines(plot, [*drawn, Line(at, measured, Style(colour, ()), label, self.unit, 2.0)])
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
        alarms: Any = self.alarms.itertuples()
        tips = [
            f"{place_words(str(row.place))}: {alarm_words(str(row.level), self.shown)}, "
            f"{self.clock.moment(row.start)} to {self.clock.moment(row.end)}"
            for row in alarms
        ]
        spans = list(zip(self.alarms["place"], self.alarms["level"], starts, ends, tips, strict=True))
        self.figures["alarms"] = draw.alarm_strip("alarms", self.axis, spans, rows, "", self._alt_of_alarms(len(spans), rows))
        self._marks_and_gaps(self.figures["alarms"])
        present = set(self.alarms["level"])
        car = self.session.car
        usual = "at an injector and in the line to it" if car is not None and car.regulated else "in a bowl and behind the needle"
        said = _STRIP + (_STRIP_PERCOLATES.format(usual) if any(place.percolates for place in self.table.values()) else ".")
        return Plot(["alarms"], [look.key() for look in draw.ALARM_LOOKS if look.level in present], f"{said} {caption}".strip())

    def _inputs(self) -> list[Plot]:
        inputs = self.session.inputs()
        rows = (
            ("engine_rpm", "engine speed", "rpm", None),
            ("fuel_pressure_kpa", "fuel pressure (gauge)", self.shown.unit("pressure"), "pressure"),
            ("ambient_pressure_kpa", "air pressure", self.shown.unit("pressure"), "pressure"),
            ("battery_v", "supply", "V", None),
            *((column, *axis_of(column, self.shown)) for column in more_inputs.names(self.session.car)),
        )
        result = []
        for number, (column, what, unit, dimension) in enumerate(rows):
            if not np.isfinite(inputs[column].to_numpy()).any():
                continue
            at, values = draw.thinned(self.axis, inputs[column].to_numpy())
            values = np.asarray(self.shown.value(values, dimension)) if dimension else values
            y = draw.fit(
                values,
                least_span=0.2 if unit == "lambda" else 1.0,
                include=(0.0,) if column in ("engine_rpm", "fuel_pressure_kpa") else (),
            )
            decimals = 0 if unit == "rpm" else 2 if unit in ("lambda", "V") else 1
            alt = f"{what.capitalize()} over the recording, from {np.nanmin(values):.{decimals}f} to {np.nanmax(values):.{decimals}f} {unit}."
            plot = self._figure(column, 46, y, f"{what}, {unit}", alt, narrow=True)
            draw.lines(plot, [Line(at, values, Style(draw.COLOURS[number % len(draw.COLOURS)], ()), what, unit, 1.5)])
            self._marks_and_gaps(plot)
            result.append(Plot([column]))
        return result

    def _figure(self, name: str, height: int, y: Range, title: str, alt: str, **more: bool) -> Chart:
        self.figures[name] = draw.blank(name.replace("_", "-"), self.axis, height, y, title, alt, **more)
        return self.figures[name]

    def _marks_and_gaps(self, plot: Chart, *, numbered: bool = False) -> None:
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

    def _alt_of_temperatures(self) -> str:
        known = [
            f"{place_words(p.place)} {self._degrees(p.coldest_degc)} to {self._degrees(p.hottest_degc)}"
            for name, p in self.summary.places.items()
            if name in self.degc and np.isfinite(p.hottest_degc)
        ]
        return f"Temperatures over the recording: {'; '.join(known)}." if known else "No temperature was recorded."

    def _alt_of_margins(self) -> str:
        known = [
            f"{place_words(p.place)} {words.signed(self.shown, p.smallest_margin_degc)}"
            for name, p in self.summary.places.items()
            if name in self.table and np.isfinite(p.smallest_margin_degc)
        ]
        return f"The smallest room left to the limit at each place: {'; '.join(known)}." if known else "No limit is known."

    def _alt_of_place(self, name: str) -> str:
        p: PlaceSummary | None = self.summary.places.get(name)
        if p is None:
            return f"{place_words(name)} over the recording."
        heat = self.summary.places.get(probe_of(name), p)
        text = f"Fuel at the {place_words(p.place)}: hottest {self._degrees(heat.hottest_degc)} at {self.clock.moment(heat.hottest_at)}"
        if not np.isfinite(p.smallest_margin_degc):
            return f"{text}; no limit is known there."
        side = "beyond" if is_beyond(p.smallest_margin_degc) else "below"
        gap = words.difference(self.shown, p.smallest_margin_degc)
        return f"{text}; nearest its limit of {self._degrees(p.limit_there_degc)} at {self.clock.moment(p.smallest_margin_at)}, {gap} {side} it."

    def _alt_of_alarms(self, count: int, rows: list[tuple[str, str]]) -> str:
        return f"When warnings were on: {count} in all, at {', '.join(shown for _, shown in rows)}; the table of warnings lists them."

    def _degrees(self, degc: float) -> str:
        return self.shown.text(degc, "temperature")

"""Sentences and times for people. Numbers come in SI and are shown in the reader's units; no sentence promises anything."""

import datetime
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from pandas.api.typing import NaTType

from hotfuel.places import at_place, is_behind_needle, place_words, probe_of
from hotfuel.risk.level import is_beyond, words_in_units
from hotfuel.risk.pressure import ambient
from hotfuel.session.recording import Session
from hotfuel.session.summary import PlaceSummary, Summary
from hotfuel.study.drive.course import outside_air
from hotfuel.study.drive.phases import SOAK
from hotfuel.study.fixes.summaries import MARGIN, Cell
from hotfuel.text import Size, between, directed, minus
from hotfuel.units import Shown, expanded

if TYPE_CHECKING:
    from hotfuel.study.fixes.answers import Answer

_FINEST = 4  # decimals
_NOT_PROMISED = "Nothing is promised for another fuel, more heat, more altitude or a heavier load."
CAUTIONS = (
    f"Measured under the conditions listed here. {_NOT_PROMISED}",
    "No warning means only that no probe saw one: fuel can boil where there is no probe.",
    "Fuel and its vapour catch fire. Fuel lines are worked on with the engine cold, the pressure let off, the battery disconnected and an "
    "extinguisher at hand; every joint is checked for leaks before starting and once more when hot.",
    "Hot tanks and lines stay under pressure after the engine stops: they are not opened until cold.",
    "Repairs need licensed practice and must follow local rules.",
)
# of a sheet on which nothing was measured
FORECAST_CAUTIONS = (f"Worked out for the drive that was recorded, not measured. {_NOT_PROMISED}", *CAUTIONS[1:])

where = at_place
LEAST_ROOM = "least room to boiling"
Moment = pd.Timestamp | pd.Timedelta | NaTType | None  # of a recording that knows the time of day, or time since its start


def quantity(name: str, plain: bool) -> str:
    """What is asked of a place, for example "hottest". plain: for the reader of a first page, who need not know the word margin."""
    return LEAST_ROOM if plain and name == MARGIN else name


def phase(name: str, plain: bool) -> str:
    """A phase's name. plain: for the reader of a first page, who need not know the words hot soak."""
    return "hot stop" if plain and name == SOAK else name


def cell(one: Cell) -> str:
    """A question in the words of a first page, for example "least room to boiling at pump, hot stop"."""
    return f"{quantity(one.quantity, True)} at {place_words(one.place)}, {phase(one.phase, True)}"


class Clock:
    """Times of one recording: local time if the offset is known, else UTC, else time since the start."""

    def __init__(self, dates: bool, offset_min: int | None) -> None:
        self.dates = dates
        self.offset_s = 60.0 * (offset_min or 0) if dates else 0.0
        if not dates:
            self.zone = "time since the start"
        elif offset_min is None:
            self.zone = "UTC"
        else:
            self.zone = f"local time, UTC{offset_min / 60:+.4g} h" if offset_min else "UTC"

    def moment(self, at: Moment) -> str:
        """Time of day (or since the start), "–" where there is none."""
        if at is None or isinstance(at, NaTType) or at != at:
            return "–"
        if isinstance(at, pd.Timedelta):
            return duration(at.total_seconds())
        return (at + pd.Timedelta(seconds=self.offset_s)).strftime("%H:%M:%S")

    def day(self, at: Moment) -> str:
        """The date, "" where it is not known."""
        if not isinstance(at, pd.Timestamp) or at is pd.NaT:
            return ""
        return (at + pd.Timedelta(seconds=self.offset_s)).strftime("%-d %B %Y")


def duration(seconds: float) -> str:
    """For example "45 s", "12 min 30 s", "2 h 05 min"."""
    if not np.isfinite(seconds):
        return "–"
    whole = round(seconds)
    if 0 < seconds < 10:
        return f"{seconds:.1f} s"
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def minute(clock: Clock, at: Moment) -> str:
    """A moment to the minute: a time of day, or how long after the start."""
    text = clock.moment(at)
    return text[: -len(":00")] if clock.dates and isinstance(at, pd.Timestamp) else f"{text} after the start"


def began(clock: Clock, at: Moment) -> str:
    """Day and time of a start: "1 June 2026, 09:12"."""
    day = clock.day(at)
    return f"{day}, {minute(clock, at)}" if day else "start not known"


def spoken(seconds: float) -> str:
    """A length of time in words: "45 seconds", "13 minutes", "2 hours 5 minutes"."""
    if seconds < 90:
        return _count(max(round(seconds), 1), "second")
    minutes = round(seconds / 60)
    if minutes < 90:
        return _count(minutes, "minute")
    hours, rest = divmod(minutes, 60)
    return _count(hours, "hour") + (f" {_count(rest, 'minute')}" if rest else "")


def of_all(seconds: float, all_s: float) -> str:
    """ "27 of 37 minutes", "5 minutes of 2 hours"."""
    part, whole = spoken(seconds), spoken(all_s)
    if part == whole:
        return f"all of the {whole}"
    unit = f" {whole.split()[1]}"
    return f"{part.removesuffix(unit) if len(whole.split()) == len(part.split()) else part} of {whole}"


def on_days(first: str, last: str) -> str:
    """ "on 1 June 2026", or "from 1 June 2026 to 2 June 2026"."""
    return f"on {first}" if first == last else f"from {first} to {last}"


def how_long_beyond(place: PlaceSummary) -> str:
    """ "was beyond its limit for 13 minutes, 12 minutes of that by more than its ±": only the latter surely boiled. Without a full stop."""
    whole, sure = spoken(place.beyond_limit_s), spoken(place.beyond_doubt_s)
    if place.beyond_doubt_s <= 0:
        return f"was beyond its limit for {whole}, never by more than its ±"
    return f"was beyond its limit for {whole}" + (f", {sure} of that by more than its ±" if whole != sure else "")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def signed(shown: Shown, margin_degc: float) -> str:
    """A margin with its sign: "+4.2 °C", "−9.4 °C"."""
    text = shown.text(margin_degc, "temperature difference")
    return f"+{text}" if text.value > 0 else minus(text)


def difference(shown: Shown, degc: float) -> Size:
    """A difference's size, without a sign."""
    return shown.text(abs(degc), "temperature difference")


def rough(shown: Shown, degc: float, doubt_degc: float) -> Size:
    """A difference no finer than its doubt: whole degrees where the doubt is one or more."""
    doubt = float(shown.value(doubt_degc, "temperature difference"))
    return shown.text(degc, "temperature difference", 0 if not doubt < 1 else 1)


def inside(
    low: float, high: float, delta: float, size: Callable[[float, int], Size], sense: Callable[[float], str], decimals: int = 1
) -> str:
    """The span of an interval: where it lies inside plus or minus `delta`, with as many decimals more as keep its ends from printing as that."""
    furthest = max(-low, high)
    while furthest < delta and decimals < _FINEST and size(furthest, decimals).value >= size(delta, 1).value:
        decimals += 1
    return between(low, high, lambda value: size(value, decimals), sense)


def change(answer: "Answer", shown: Shown, *, rounded: bool = False) -> str:
    """An answer's difference with its 95 % interval in words, so that no sign needs a meaning: "10.0 °F cooler (7.2 to 12.9)".

    rounded: no finer than half the interval.
    """
    more, less = ("more room", "less room") if answer.cell.quantity == MARGIN else ("cooler", "hotter")
    doubt_degc = (answer.high_degc - answer.low_degc) / 2 if rounded else 0.0

    def size(degc: float) -> Size:
        return rough(shown, abs(degc), doubt_degc)

    better = answer.cell.better
    room = better * answer.difference_degc
    text = directed(size(room), more if room >= 0 else less, "no change")
    low, high = (
        sorted((better * answer.low_degc, better * answer.high_degc)) if np.isfinite(answer.low_degc) else (np.nan, np.nan)
    )
    if not np.isfinite(low):
        return text
    if low * high >= 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{text} ({size(near)} to {size(far)})"
    return f"{text} (from {directed(size(low), less, 'no change')} to {directed(size(high), more, 'no change')})"


def hottest_words(summary: Summary) -> str:
    """What a summary's hottest place holds: without a car file it may be anything."""
    return "hottest fuel" if summary.hottest_is_fuel else "highest temperature"


def nearest(summary: Summary, shown: Shown, clock: Clock) -> str:
    """The finding in one or two sentences: which place came nearest its limit, by how much, when, and how sure that is."""
    near = summary.smallest
    if summary.without_limit is not None:
        rest = f" Where there was a limit: {_where(near, shown, clock)} {_how_sure(near, shown)}" if near else ""
        return without_limit(summary.without_limit, shown, clock) + rest
    if near is None:
        hot = summary.hottest
        if hot is None:
            return "There is no temperature in this recording."
        return (
            f"The {hottest_words(summary)} was {shown.text(hot.hottest_degc, 'temperature')} at the {place_words(hot.place)}, "
            f"at {clock.moment(hot.hottest_at)}. "
            "How near the fuel was to boiling is not known: it needs the car file with fuel, pressures and altitude."
        )
    return f"{_where(near, shown, clock)} {_how_sure(near, shown)}"


def without_limit(place: PlaceSummary, shown: Shown, clock: Clock) -> str:
    """The finding where there was no limit at the pressure, in a sentence or two."""
    since = f"from {clock.moment(place.no_limit_from)}" + ("" if clock.dates else " after the start")
    return (
        f"At the {place_words(place.place)}, {since}, for {duration(place.no_limit_s)} altogether: "
        f"{words_in_units(place.no_limit, shown)}; it counts as beyond the limit. "
        f"The lowest pressure worked out there was {shown.text(place.no_limit_kpa, 'pressure')} absolute."
    )


def _where(near: PlaceSummary, shown: Shown, clock: Clock) -> str:
    name = place_words(probe_of(near.place))
    there = f"{shown.text(near.temperature_there_degc, 'temperature')} at the {name}"
    limit = shown.text(near.limit_there_degc, "temperature")
    at = (
        f"at {clock.moment(near.smallest_margin_at)}"
        if clock.dates
        else f"{clock.moment(near.smallest_margin_at)} after the start"
    )
    gap = difference(shown, near.smallest_margin_degc)
    kind = "vapour forms behind the needle" if is_behind_needle(near.place) else "this fuel forms too much vapour there"
    if is_beyond(near.smallest_margin_degc):
        return f"The fuel reached {there} {at}, {gap} beyond the {limit} at which {kind}."
    return f"The fuel came nearest to boiling with {there} {at}: {gap} were left to the {limit} at which {kind}."


def _how_sure(near: PlaceSummary, shown: Shown) -> str:
    doubt_degc = float(expanded(near.uncertainty_degc))
    sure = difference(shown, doubt_degc)
    if near.smallest_margin_degc <= -doubt_degc:
        passed = f"so the limit was passed; it stayed passed for {duration(near.beyond_limit_s)}"
        return f"The measurement and the limit together are known to about ±{sure}, {passed}."
    if near.smallest_margin_degc < doubt_degc:
        return (
            f"The measurement and the limit together are known to about ±{sure}: this is too close to tell on which side it was."
        )
    return f"The measurement and the limit together are known to about ±{sure}."


def conditions(summary: Summary, session: Session, shown: Shown, clock: Clock) -> list[tuple[str, str]]:
    """(what, value) rows of the conditions the sheet holds for; unknown ones are named."""
    car = session.car
    rows = [
        ("Date", clock.day(summary.started) or "not known"),
        ("Time", f"{minute(clock, summary.started)} to {minute(clock, summary.ended)} ({clock.zone})"),
    ]
    rows.append(("Measured for", spoken(summary.recorded_s)))
    rows.append(("Outside air", _outside(session, shown)))
    if car is not None:
        rows += [
            (
                "Altitude",
                f"about {10 * round(shown.value(car.altitude_m, 'length') / 10)} {shown.unit('length')}"
                if car.altitude_m is not None
                else "not given",
            ),
            ("Air pressure", _air(session, shown)),
        ]
        rows.append(("Fuel", fuel_words(session, shown)))
    for key, label in (("venue", "Where"), ("weather", "Weather"), ("fuel_bought_on", "Fuel bought on")):
        if session.metadata.get(key):
            rows.append((label, str(session.metadata[key])))
    return rows


def _outside(session: Session, shown: Shown) -> str:
    noted = session.metadata.get("ambient_degc")
    if noted is not None:
        return shown.text(noted, "temperature", 0)
    read = dict(zip(session.ticks.places, session.ticks.degc.T, strict=True))
    measured = outside_air(session.car, read) if session.car is not None else None
    return f"{shown.text(measured[0], 'temperature', 0)}, measured" if measured is not None else "not noted"


def fuel_words(session: Session, shown: Shown) -> str:
    """What the tank held, for its owner: the class, or the figures that were measured."""
    known = session.car.fuel_table if session.car is not None else None
    if known is None or known.vapour_pressure_kpa is None:
        return session.fuel.name
    said = [f"vapour pressure {shown.text(known.vapour_pressure_kpa, 'pressure')}"]
    if known.t10_degc is not None:
        said.append(f"10 % evaporated at {shown.text(known.t10_degc, 'temperature', 0)}")
    if known.ethanol_vol:
        said.append(f"{known.ethanol_vol:g} % ethanol")
    return f"as measured: {', '.join(said)}" + (f", on {known.measured_on:%-d %B %Y}" if known.measured_on else "")


def _air(session: Session, shown: Shown) -> str:
    pressures = session.input_arrays()["ambient_pressure_kpa"]
    if np.isfinite(pressures).any():
        low, high = float(np.nanmin(pressures)), float(np.nanmax(pressures))
        ends = list(dict.fromkeys(shown.text(kpa, "pressure") for kpa in (low, high)))
        return f"{' to '.join(ends)}, measured"
    if session.car is None:
        return "not known"
    stated = ambient(session.car)
    return f"{shown.text(stated.pressure_kpa, 'pressure')}, {stated.kind}"


def today() -> str:
    """Today's date, for the page."""
    return datetime.date.today().strftime("%-d %B %Y")

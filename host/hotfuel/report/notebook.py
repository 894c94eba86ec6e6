"""The car's notebook: an archive as one page. Each car with what was fitted when, each session with a sentence, a number and a picture."""

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from hotfuel import __version__
from hotfuel.places import place_words, probe_of
from hotfuel.report import figures as draw
from hotfuel.report import html, words
from hotfuel.report.chart import INK, NARROW_PX, Chart
from hotfuel.report.figures import COLOURS, Axis, Line, Style
from hotfuel.report.headline import headline
from hotfuel.report.table import Table
from hotfuel.session import Session, private
from hotfuel.session.summary import Summary
from hotfuel.text import counted, listed, told_apart
from hotfuel.units import Shown

_COLUMNS, _HEIGHT_PX = 140, 70  # of a small picture
AS_BUILT = "as built, or not noted"


@dataclass(frozen=True)
class Entry:
    """One session of the notebook. number, where: the one number and what it is; fitted: what the session says was fitted; unread: the places
    that number does not tell of, in words."""

    day: str
    began: str
    name: str
    sentence: str
    number: str
    where: str
    look: str
    fitted: str
    chart: str
    link: str
    room_degc: float
    unread: str


def write(
    rows: Iterable[Mapping[str, Any]],
    opened: Callable[[Mapping[str, Any]], Session],
    path: str | Path,
    shown_of: Callable[[Mapping[str, Any]], Shown],
    *,
    without_names: bool = False,
    progress: Callable[[], None] = lambda: None,
) -> Path:
    """Write the page; returns its path. rows: as hotfuel.session.archive.listed gives them, oldest first; opened: the session of a row, opened one
    after the other. shown_of: the units of a row's car. progress: called after each. Raises InputError if the place cannot be written."""
    target = Path(path)
    charts: dict[str, Chart] = {}
    found: list[tuple[str, str, Entry]] = []  # car, session, what is shown of it
    simulated = False
    for row in rows:
        session, shown = opened(row), shown_of(row)
        link = "" if without_names else _link(session, target)
        if without_names:
            private.hide([session])
        simulated |= bool(session.metadata.get("simulated"))
        name = f"session-{len(charts)}"
        clock = words.Clock(session.ticks.timeline.anchored, session.metadata.get("utc_offset_min"))
        summary = session.summary()
        charts[name] = _picture(name, session, summary, shown, clock)
        found.append((str(row["car"]), str(row["session"]), _entry(session, summary, shown, clock, name, link)))
        progress()
    names = told_apart([one.name for *_, one in found], [one.began for *_, one in found], [folder for _, folder, _ in found])
    cars: dict[str, list[Entry]] = {}
    for (car, _, one), name in zip(found, names, strict=True):
        cars.setdefault(car, []).append(replace(one, name=name))
    named = cars if not without_names else {f"car {chr(65 + n % 26)}": each for n, each in enumerate(cars.values())}
    values = {
        "title": "The car's notebook" if len(named) == 1 else "The cars' notebook",
        "made": words.today(),
        "simulated": simulated,
        "cars": [(car, _span(each), fitted(each), each) for car, each in named.items()],
        "version": f"hotfuel {__version__}, {words.today()}",
    }
    return html.write(html.page("notebook.html.jinja", charts, values), target)


def _link(session: Session, target: Path) -> str:
    """The session's own report, as seen from the page; "" where there is none."""
    report = session.folder.path / "review.html"
    return Path(os.path.relpath(report, target.resolve().parent)).as_posix() if report.is_file() else ""


def _entry(session: Session, summary: Summary, shown: Shown, clock: words.Clock, chart: str, link: str) -> Entry:
    near, hot = summary.smallest, summary.hottest
    number, where, look, room = "–", "no temperature", "", np.nan
    if summary.without_limit is not None:
        number, where, look, room = "none left", f"room to boiling, {place_words(summary.without_limit.place)}", "beyond", -np.inf
    elif near is not None:
        room = near.smallest_margin_degc
        side = "left" if room > 0 else "beyond"
        number = f"{words.rough(shown, abs(room), near.uncertainty_degc)} {side}"
        where = (
            f"least room to boiling, {place_words(near.place)}" if room > 0 else f"the boiling limit, {place_words(near.place)}"
        )
        look = "beyond" if room <= 0 else ""
    elif hot is not None:
        number, where = (
            shown.text(hot.hottest_degc, "temperature", 0),
            f"{words.hottest_words(summary)}, {place_words(hot.place)}",
        )
    silent = listed([place_words(one.place) for one in summary.unread])
    doubted = listed([place_words(one.place) for one in summary.suspected])
    unread = ", ".join(
        [*([f"{silent} not always read"] if silent else []), *([f"{doubted} perhaps not read"] if doubted else [])]
    )
    told = str(session.metadata.get("fix") or (session.car.fix if session.car else "") or "").strip()
    before = str(session.metadata.get("before") or "").strip()
    told = "as built" if told.casefold() == "none" else told
    what = f"{told} before {before}" if told and before and " before " not in told else told
    day = clock.day(summary.started) or "date not known"
    return Entry(
        day,
        words.began(clock, summary.started),
        session.name,
        headline(summary, None, shown, clock, undescribed=session.losses.readings_without_description).sentence,
        number,
        where,
        look,
        what or AS_BUILT,
        chart,
        link,
        room,
        unread,
    )


def _span(entries: list[Entry]) -> str:
    count = counted(len(entries), "session")
    first, last = entries[0].day, entries[-1].day
    return f"{count}, {first}" + (f" to {last}" if last != first else "")


def fitted(entries: list[Entry]) -> Table:
    """What was fitted when: a row for each stretch of sessions with the same parts, with its least room to boiling."""
    table = Table(("From", "to", "Fitted", "Sessions", "Least room to boiling"), numbers=(3, 4))
    begin = 0
    for at in range(1, len(entries) + 1):
        if at < len(entries) and entries[at].fitted.casefold() == entries[begin].fitted.casefold():
            continue
        part = entries[begin:at]
        known = [one for one in part if not np.isnan(one.room_degc)]
        least = min(known, key=lambda one: one.room_degc).number if known else "no limit known"
        unread = "".join(f"; {places}" for places in dict.fromkeys(one.unread for one in part if one.unread))
        table.rows.append((part[0].day, part[-1].day, part[0].fitted, str(len(part)), f"{least}{unread}"))
        begin = at
    return table


def _picture(name: str, session: Session, summary: Summary, shown: Shown, clock: words.Clock) -> Chart:
    """The place that matters, small, with its limit."""
    chosen = summary.without_limit or summary.smallest or summary.hottest
    ticks = session.ticks
    longest = max((d["period_ms"] / 400 for d in session.descriptions.values()), default=1.0)
    axis = Axis(ticks.seconds, clock.offset_s, clock.dates, max(longest, 1.0), "")
    unit = shown.unit("temperature")
    drawn = []
    alt = "No temperature was recorded."
    if chosen is not None:
        place = probe_of(chosen.place)
        at, degc = draw.thinned(axis, ticks.degc[:, list(ticks.places).index(place)], columns=_COLUMNS)
        look = Style(COLOURS[list(ticks.places).index(place) % 8], ())
        drawn.append(Line(at, np.asarray(shown.value(degc, "temperature")), look, f"fuel at the {place_words(place)}", unit))
        alt = f"Fuel at the {place_words(place)}, at most {shown.text(float(np.nanmax(degc)), 'temperature', 0)}"
        limit = session.margin_table.places.get(chosen.place) if session.car is not None else None
        if limit is not None and np.isfinite(limit.limit_degc).any():
            at, degc = draw.thinned(axis, limit.limit_degc, columns=_COLUMNS)
            drawn.append(
                Line(at, np.asarray(shown.value(degc, "temperature")), Style(INK, (7, 4)), "its boiling limit", unit, 1.3)
            )
            alt += f"; its boiling limit {shown.text(float(np.nanmedian(degc)), 'temperature', 0)} in the middle"
        alt += "."
    y = draw.fit(*(one.values for one in drawn), least_span=5)
    plot = Chart(name, _HEIGHT_PX, axis.range, y, f"{drawn[0].name if drawn else 'temperature'}, {unit}", alt, width=NARROW_PX)
    draw.lines(plot, drawn)
    marks = pd.Index(session.marks()["time"])
    if len(marks):
        from hotfuel.session.summary import index_seconds

        draw.marks_and_gaps(plot, axis, index_seconds(marks), np.empty((0, 2)))
    return plot

"""The review of one session: the headline numbers, then a sheet for the customer, then the technical part."""

import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from hotfuel import __version__
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.report import (
    about,
    basis,
    complaint_words,
    heat,
    html,
    input_table,
    pull_figures,
    pull_table,
    review_tables,
    sheet,
    stops,
    story_words,
    words,
    written,
)
from hotfuel.report.chart import NARROW_PX, Chart
from hotfuel.report.customer import Report, Sheet
from hotfuel.report.headline import headline
from hotfuel.report.plots import LEAST_PX, PICTURE_PX, Plot, Plots
from hotfuel.report.session_notes import all_notes
from hotfuel.risk.level import is_beyond, words_in_units
from hotfuel.session import Session
from hotfuel.session.summary import Summary
from hotfuel.study import story
from hotfuel.study.story import Story
from hotfuel.text import first_upper
from hotfuel.units import Shown, expanded

if TYPE_CHECKING:
    from hotfuel.study.fixes.came import Came

_TITLE_MOST = 70


def write(
    session: Session,
    path: str | Path,
    units: str | None = None,
    pdf: str | Path | None = None,
    told: Story | None = None,
    png: str | Path | None = None,
    came: "Came | None" = None,
) -> list[Path]:
    """Write the review as one stand-alone HTML file, on paper if `pdf` names a file, as a card and charts if `png` does; returns every file written, the
    page first.

    told: the session's story, if it is at hand already. came: a forecast held against this session.
    units: "si" or "us"; default the car file's. Raises InputError if a place cannot be written or there is nothing to print with.
    """
    return written.write(make(session, units, told, came), path, _shown(session, units), pdf, png)


def render(session: Session, units: str | None = None, told: Story | None = None) -> str:
    """The page as text. told: the session's story, if it is at hand already (hotfuel.study.story.tell)."""
    return make(session, units, told).page


def make(session: Session, units: str | None = None, told: Story | None = None, came: "Came | None" = None) -> Report:
    """The page with its first page's sheet and its charts."""
    if came is not None:  # brings the forecasts' room with it, which most reviews do without
        from hotfuel.report import came as held_forecast
        from hotfuel.report import came_words
    shown = _shown(session, units)
    if told is None:
        with contextlib.suppress(InputError):  # a recording without a temperature has no story
            told = story.tell(session)
    summary = session.summary()
    offset = session.metadata.get("utc_offset_min")
    clock = words.Clock(session.ticks.timeline.anchored, offset)
    drawn = Plots(session, shown, clock)
    alarms = drawn.alarms
    refused = f"The car file cannot be used: {session.car_refused}." if session.car_refused else ""
    head = headline(summary, told, shown, clock, refused, session.losses.readings_without_description, session.ending)
    complaint, work_done = sheet.complaint_and_work(session.metadata)
    judged = complaint_words.judgement(told.judgement, shown) if told and told.judgement else ()
    car = session.car.name if session.car else str(session.metadata.get("car") or "Car not named")
    customer = session.metadata.get("customer")
    first = Sheet(
        [head.sentence],
        shop=str(session.metadata.get("shop") or ""),
        about=[_title(session), car, f"for {customer}" if customer else "", clock.day(summary.started)],
        complaint=complaint,
        lead=[" ".join(judged)] if judged else [],
        text=[*([head.basis] if head.basis else []), *(came_words.first(came, shown) if came is not None else [])],
        work_done=work_done,
        done=sheet.fitted(session.metadata) if not work_done else [],
        next_steps=head.next_steps,
        facts=words.conditions(summary, session, shown, clock),
    )
    first.simulated, first.simulated_words = _simulated(session, told, came)
    phases = told.phases if told else ()

    def card() -> list[Chart]:
        return drawn.card(summary, phases, head.places)

    held, moved = told.judgement if told else None, []
    if held is not None:
        from hotfuel.report import before_after  # brings the comparisons' room with it, which most reviews do without

        first.headlines = [before_after.headline(held), head.sentence]
        found = before_after.pairs(held, before_after.aimed_at(session.metadata))
        first.table = before_after.table(found, shown)
        pictured = before_after.chart(found, shown)
        if pictured is not None:
            drawn.figures["places"], caption = pictured
            first.room(drawn.figures["places"].height, drawn.figures["places"].height)
            if first.overfull:
                moved = [Plot(["places"], [], caption)]
            else:
                first.picture = Plot(["places"], [], caption)

            def card() -> list[Chart]:
                return [narrow[0] for narrow in [before_after.chart(found, shown, NARROW_PX)] if narrow]

    if first.picture is None and not moved:
        first.picture = drawn.picture(summary, first.room(2 * PICTURE_PX, LEAST_PX), phases, head.places)
    values = {
        "title": _short(session.name),
        "sub": _sub(session, summary, clock, first),
        "numbers": _numbers(summary, alarms, shown, clock),
        "sheet": first,
        "simulated": first.simulated,
        "finding": words.nearest(summary, shown, clock),
        "overview": [*moved, *drawn.overview()],
        "marks": review_tables.marks(session, clock),
        "places": review_tables.places(session, summary, shown, clock),
        "alarm_rows": review_tables.alarms(alarms, shown, clock),
        "story": story_words.sentences(told, shown) if told else [],
        "phases": review_tables.phases(told, session, shown, clock) if told else None,
        "hot_stops": stops.hot_stops(told, shown) if told else None,
        "restarts": stops.restarts(told, session.ticks.index[0], shown, clock) if told else None,
        "held": stops.held([told.judgement], shown) if told and told.judgement else None,
        "pulled": _pulled(told, drawn, shown),
        "pulls": pull_table.pulls(told, session.ticks.index[0], shown, clock) if told else None,
        "line": review_tables.line(told, session, shown, clock) if told else None,
        "heat": heat.ladder(told.heat, shown, drawn.figures) if told and told.heat else None,
        "heat_rows": heat.table(told.heat, shown) if told and told.heat else None,
        "came": held_forecast.part(came, shown, drawn.figures) if came is not None else None,
        "wired": input_table.of_session(session, shown),
        "in_full": sheet.in_full(session.metadata, complaint, work_done),
        "technical": drawn.technical(),
        "method": basis.method(session, shown),
        "limits": basis.limits(session, summary, shown),
        "assumed": basis.assumed(session, summary, shown),
        "fuel": session.fuel.describe(shown) if session.car else ["No car file, so no fuel is known and there are no limits."],
        "calibration": basis.calibration(session, shown),
        "notes": all_notes(session, shown) or ["Nothing is missing: every reading the board numbered is here."],
        "gaps": review_tables.gaps(session, clock),
        "events": review_tables.events(session, clock),
        "session_rows": [
            *about.rows(_not_told(session.metadata), shown),
            ("Report made with", f"hotfuel {__version__}"),
            ("Report made on", words.today()),
        ],
    }
    page = html.page("review.html.jinja", drawn.figures, values)
    return Report(page, first, drawn.figures, card, head.why)


def _simulated(session: Session, told: Story | None, came: "Came | None") -> tuple[bool, str]:
    """Whether anything on the page is simulated, and what."""
    if session.metadata.get("simulated"):
        return True, "simulated, no real car"
    if told is not None and told.judgement is not None and told.judgement.simulated:
        return True, "the complaint's session is simulated, no real car"
    return came is not None and came.simulated, "the forecast's session is simulated, no real car"


def _not_told(known: Mapping[str, Any]) -> dict[str, Any]:
    """The session's metadata without the long texts, which are on the first page or printed in full before."""
    return {key: value for key, value in known.items() if key not in ("complaint", "work_done")}


def _title(session: Session) -> str:
    """The session's title as the first page names it, "" where none was given."""
    return _short(str(session.metadata.get("title") or ""))


def _short(title: str) -> str:
    """The title cut to fit a heading; it is in full among the session's facts."""
    return title if len(title) <= _TITLE_MOST else f"{title[:_TITLE_MOST].rstrip()} ..."


def _pulled(told: Story | None, drawn: Plots, shown: Shown) -> Plot | None:
    """The pulls laid over each other at the last place of the line."""
    if told is None or told.laid is None:
        return None
    drawn.figures["pulls"] = pull_figures.of_session(told.laid, shown)
    return Plot(["pulls"], [], pull_figures.caption([told.laid]))


def _shown(session: Session, units: str | None) -> Shown:
    return Shown(units or session.units)


def _sub(session: Session, summary: Summary, clock: words.Clock, first: Sheet) -> str:
    if not summary.readings:
        return "Nothing was recorded."
    span = (
        f"{clock.moment(summary.started)} to {clock.moment(summary.ended)}, {clock.zone}"
        if clock.dates
        else "time of day not known"
    )
    parts = [
        clock.day(summary.started),
        span,
        f"{words.duration(summary.recorded_s)} recorded",
        str(session.metadata.get("fix") or ""),
    ]
    return " · ".join(part for part in (*parts, first.simulated_words if first.simulated else "") if part)


def _numbers(summary: Summary, alarms: pd.DataFrame, shown: Shown, clock: words.Clock) -> list[dict[str, str]]:
    near, hot, without = summary.smallest, summary.hottest, summary.without_limit
    rows = []
    if without is not None:
        where = (
            f"{place_words(without.place)}, from {clock.moment(without.no_limit_from)}: {words_in_units(without.no_limit, shown)}"
        )
        rows.append({"label": "Smallest margin to boiling", "value": "none left", "where": where, "look": "beyond"})
    elif near is None:
        rows.append({"label": "Smallest margin to boiling", "value": "–", "where": "no limit is known", "look": ""})
    else:
        look = (
            "beyond"
            if is_beyond(near.smallest_margin_degc)
            else "near"
            if near.smallest_margin_degc < expanded(near.uncertainty_degc)
            else ""
        )
        where = f"{place_words(near.place)}, {clock.moment(near.smallest_margin_at)}, ±{words.difference(shown, expanded(near.uncertainty_degc))}"
        rows.append(
            {
                "label": "Smallest margin to boiling",
                "value": words.signed(shown, near.smallest_margin_degc),
                "where": where,
                "look": look,
            }
        )
    if hot is None:
        rows.append({"label": "Hottest fuel", "value": "–", "where": "no temperature", "look": ""})
    else:
        where = f"{place_words(hot.place)}, {clock.moment(hot.hottest_at)}"
        rows.append(
            {
                "label": first_upper(words.hottest_words(summary)),
                "value": shown.text(hot.hottest_degc, "temperature"),
                "where": where,
                "look": "",
            }
        )
    longest = max(summary.places.values(), key=lambda p: p.beyond_limit_s, default=None)
    beyond = longest.beyond_limit_s if longest else 0.0
    count = sum(level in ("warn", "act") for level in alarms["level"])
    where = f"{place_words(longest.place) if longest and beyond else 'at the places measured'}; {count} warning{'' if count == 1 else 's'}"
    rows.append({
        "label": "Time beyond the limit", "value": words.duration(beyond) if near or beyond else "–",
        "where": where if near or beyond else "no limit is known",
        "look": "beyond" if beyond else "",
    })  # fmt: skip
    return rows

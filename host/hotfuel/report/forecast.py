"""The pages of `hotfuel forecast`: changes with their charts, and what to try first. Renders the results of hotfuel.study.line; works out nothing."""

from collections.abc import Callable, Sequence

import numpy as np

from hotfuel import __version__
from hotfuel.fuel import Fuel
from hotfuel.places import place_words
from hotfuel.report import first_words, forecast_words, html, sheet, words
from hotfuel.report.chart import INK, NARROW_PX, WIDTH_PX, Chart, Range
from hotfuel.report.customer import Report, Sheet
from hotfuel.report.first_words import (
    NOTHING_SURE,
    WORDS,
    assumed_fuel,
    beyond_still,
    by_outlook,
    forecast_of,
    interval,
    name,
    try_one,
)
from hotfuel.report.plots import Plot
from hotfuel.report.table import Table
from hotfuel.report.unknown_words import named
from hotfuel.session import Session
from hotfuel.study.fixes.present import Present
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.first import Tried
from hotfuel.study.line.forecast import Curve, Forecast, Row
from hotfuel.text import directed, first_upper, is_nothing, listed, minus
from hotfuel.units import Shown

_AFTER, _LIMIT = "#0b6fa4", "#a3182b"
_HIGHEST_PX, _LEAST_PX, _MORE_PX = 210, 110, 150
_MOST_CHARTS, _CARD_PX = 6, 190
_NOTHING_DEGC = 0.05
_HEADLINES = 3  # more would leave no room for the rest
_MAY_HARM, _NO_HELP = "may harm", "no help"  # in place of a group's number
_METHOD = (
    "The recorded drive is worked out again from the tank on, 200 times, each with other values for what was not measured; ranges hold 95 in 100. The error of "
    "the measurement itself is common to before and after, and is not in them.",
    "The project's table of measurements says how often such ranges held on a second model of a fuel line.",
)


def changes(session: Session, told: Sequence[Forecast], shown: Shown, asked: Sequence[Fuel] = ()) -> Report:
    """The page of one change or several, each with a chart of the place it changes most. asked: the fuels among them."""
    first = _sheet(session, [headline(one, shown) for one in told[:_HEADLINES]], told, shown, asked)
    if more_changes := [one.change for one in told[_HEADLINES:]]:
        first.lead = [*first.lead, f"What {listed(more_changes)} would do is in the technical part."]
    figures: dict[str, Chart] = {}
    place = chosen(told[0])
    if place:
        figures["change0"] = _chart("change0", told[0].curves[place], place, shown, first.room(_HIGHEST_PX, _LEAST_PX))
        first.picture = Plot(["change0"], _key(), _caption(told[0], place))
    more = []
    for number, one in enumerate(told[1:_MOST_CHARTS], start=1):
        if place := chosen(one):
            figures[f"change{number}"] = _chart(f"change{number}", one.curves[place], place, shown, _MORE_PX)
            more.append(Plot([f"change{number}"], _key(), _caption(one, place)))
    parts = [
        {
            "title": first_upper(one.change),
            "said": _minuses(forecast_words.said(one, shown, plain=True).lines()),
            "rows": _rows(one, shown),
            "assumed": _minuses(forecast_words.assumptions(one, shown)),
        }
        for one in told
    ]
    values: dict[str, object] = {"parts": parts, "more": more, "groups": None}
    return _report(session, "What a change would do", first, figures, values, _card(told[0], shown))


def try_first(
    session: Session, tried: Sequence[Tried], shown: Shown, caution: str = "", there: Present = first_words.NOTHING
) -> Report:
    """The page of what to try first. caution: why this session says little about it, if it does. there: what is fitted already."""
    found = by_outlook(tried, shown)
    order = [*found.sure, *found.unsure, *found.none]
    best = found.best
    names = ", ".join(name(one) for one in best)
    if len(best) > 1:
        lines = [try_one(best)]
    elif best:
        lines = [f"Try first: {names}"]
    else:
        lines = [NOTHING_SURE if found.unsure else "None of the fixes that can be forecast here gives more room to boiling"]
    useful = [*found.sure, *found.unsure]
    left = beyond_still(useful, shown) if useful else ""
    first = _sheet(session, [*([caution] if caution else []), *lines], [forecast_of(one) for one in order[:1]], shown)
    lead = [*first.lead, *([f"They are: {names}."] if len(best) > 1 else []), *([f"{left}."] if left else [])]
    if found.unsure:
        doubtful = listed([name(one) for one in found.unsure])
        lead.append(f"{first_upper(doubtful)} may help, and may make it worse.")
    first.lead = lead
    first.reasons = [*first.lead, f"Drawn: {name(order[0])}."] if first.lead else []  # the card has no caption
    ranks = [*(str(one.group) for one in found.sure), *(_MAY_HARM for _ in found.unsure), *(_NO_HELP for _ in found.none)]
    rows: list[Sequence[str]] = [_first_row(one, shown, rank) for one, rank in zip(order, ranks, strict=True)]
    first.table = Table(("Group", "Fix", "Room to boiling", "Carburettor in a pull"), [row[:4] for row in rows])
    left = first_words.left_out(there)
    first.text = [*first.text[:1], *([left] if left else [])]  # the rest is in the technical part: the table takes its place
    first.next_steps = ["Fit one thing at a time, drive the same road on an equally warm day, and compare the two sessions."]
    figures: dict[str, Chart] = {}
    more: list[Plot] = []
    if order and (place := chosen(order[0].told)):
        figures["change0"] = _chart("change0", order[0].told.curves[place], place, shown, first.room(_HIGHEST_PX, _LEAST_PX))
        picture = Plot(["change0"], _key(), _caption(forecast_of(order[0]), place))
        first.picture = None if first.overfull else picture
        more = [picture] if first.overfull else []
    groups = Table(
        ("Group", "Fix", "Room to boiling", "Fuel at the carburettor in a pull", "Nearest its limit then", "Most of the doubt is",
            "Work and upkeep", "Where its numbers come from"),
        rows,
    )  # fmt: skip
    unknown = Table(("Fix", "Work and upkeep", "Why nothing is known"), first_words.unknown(there))
    parts = [
        {
            "title": first_upper(name(one)),
            "said": _minuses(forecast_words.said(forecast_of(one), shown, plain=True).lines()),
            "rows": None,
            "assumed": _minuses(forecast_words.assumptions(forecast_of(one), shown)),
        }
        for one in order
    ]
    values: dict[str, object] = {"parts": parts, "more": more, "groups": groups, "unknown": unknown}
    return _report(session, "What to try first", first, figures, values, _card(order[0].told, shown) if order else list)


def headline(one: Forecast, shown: Shown) -> str:
    """The answer in one sentence, at the precision of its doubt."""
    gain = one.smallest
    if gain is None:
        return f"With {one.change}: no limit is known, so no room to boiling can be told"
    text = [shown.text(abs(x), "temperature difference", 0) for x in (gain.degc.least, gain.degc.greatest)]
    if gain.degc.half < 0.5 and abs(gain.degc.middle) < 0.5:
        return f"{first_upper(one.change)} would not change the {words.LEAST_ROOM}"
    if gain.degc.least <= 0 <= gain.degc.greatest:
        less, more = directed(text[0], "less", "no change"), directed(text[1], "more", "no change")
        return f"Whether {one.change} would give more room to boiling cannot be told: {less} to {more}"
    way = "more" if gain.degc.middle > 0 else "less"
    low, high = (text[0], text[1]) if way == "more" else (text[1], text[0])
    return f"With {one.change} there would be {low.digits} to {high} {way} room to boiling"


def chosen(one: Forecast) -> str:
    """The place a chart is about: where the temperature moves most, else the one nearest its limit."""
    rows = [row for row in one.rows if row.place in one.curves]
    if not rows:
        return ""
    moved = max(
        rows,
        key=lambda row: abs(row.hottest_degc - row.hottest_before_degc) + abs(_or_0(row.running_degc - row.running_before_degc)),
    )
    if abs(moved.hottest_degc - moved.hottest_before_degc) + abs(_or_0(moved.running_degc - moved.running_before_degc)) >= 0.3:
        return moved.place
    return min(rows, key=lambda row: row.margin_degc if np.isfinite(row.margin_degc) else np.inf).place


def _or_0(value: float) -> float:
    return value if np.isfinite(value) else 0.0


def _sheet(
    session: Session, headlines: Sequence[str], told: Sequence[Forecast], shown: Shown, asked: Sequence[Fuel] = ()
) -> Sheet:
    customer = session.metadata.get("customer")
    complaint, _ = sheet.complaint_and_work(session.metadata, 0.5)
    car = session.car.name if session.car else str(session.metadata.get("car") or "Car not named")
    return Sheet(
        list(headlines),
        kind="Forecast from a recorded drive",
        shop=str(session.metadata.get("shop") or ""),
        about=[car, f"for {customer}" if customer else "", session.name],
        complaint=complaint,
        lead=[assumed] if (assumed := assumed_fuel(session, asked)) else [],
        text=_minuses(_about_the_margin(told[0], shown) if told else []),
        done_title="What this is",
        conditions_title="What it assumes",
        done=["Worked out from one recorded drive; nothing of it has been fitted and measured on this car."],
        next_steps=["Fit it, drive the same road on an equally warm day, and compare the result with this sheet."],
        conditions=_minuses([text for one in told[:1] for text in forecast_words.assumptions(one, shown)[:4]]),
        cautions=words.FORECAST_CAUTIONS,
        simulated=bool(session.metadata.get("simulated")),
    )


def _about_the_margin(one: Forecast, shown: Shown) -> list[str]:
    """What the first page says below its headline."""
    said = forecast_words.said(one, shown, plain=True)
    return [text for text in (said.margin, said.was_least or said.margin_there or said.doubt) if text]


def _report(
    session: Session,
    title: str,
    first: Sheet,
    figures: dict[str, Chart],
    more: dict[str, object],
    card: Callable[[], list[Chart]],
) -> Report:
    values = more | {
        "sheet": first, "simulated": first.simulated, "title": f"{title}: {session.name}", "method": _METHOD,
        "version": f"hotfuel {__version__}, {words.today()}",
    }  # fmt: skip
    return Report(html.page("forecast.html.jinja", figures, values), first, figures, card)


def _card(one: Forecast, shown: Shown) -> Callable[[], list[Chart]]:
    """Draws the card's narrow chart."""
    place = chosen(one)
    return lambda: [_chart("card-change", one.curves[place], place, shown, _CARD_PX, NARROW_PX)] if place else []


def _key() -> list[dict[str, object]]:
    looks = (
        (INK, 1.8, "", "as recorded"),
        (_AFTER, 1.6, "7 3", "with the change, and where it is in 95 of 100"),
        (_LIMIT, 1.4, "2 3", "boiling limit then"),
    )
    return [{"colour": colour, "width": width, "dash": dash, "text": text, "hatch": ""} for colour, width, dash, text in looks]


def _caption(one: Forecast, place: str) -> str:
    return (
        f"The fuel at the {place_words(place)}, as recorded and with {one.change}; where the lines meet the limit, it would boil."
    )


def _chart(name: str, curve: Curve, place: str, shown: Shown, height_px: int, width: int = WIDTH_PX) -> Chart:
    degrees = lambda values: np.array([shown.value(float(x), "temperature") for x in values])  # noqa: E731
    before, least, middle, greatest, limit = (
        degrees(x) for x in (curve.before_degc, curve.least_degc, curve.middle_degc, curve.greatest_degc, curve.limit_degc)
    )
    every = np.concatenate([x[np.isfinite(x)] for x in (before, least, greatest, limit)])
    room = max(float(np.ptp(every)) * 0.06, 1.0)
    unit = shown.unit("temperature")
    end = float(curve.time_s[-1])
    chart = Chart(
        name,
        height_px,
        Range(0.0, max(end, 1.0) * 1000, "elapsed"),
        Range(float(every.min()) - room, float(every.max()) + room),
        title=f"{place_words(place)}, {unit}",
        x_title="h:min since the start",
        width=width,
        alt=(
            f"Fuel at the {place_words(place)}: hottest {before.max():.0f} {unit} as recorded, {middle.max():.0f} {unit} with the change "
            f"({greatest.max():.0f} at the upper end)."
        ),
    )
    at = curve.time_s * 1000
    chart.band(at, least, greatest, _AFTER, 0.2)
    chart.line(at, limit, "limit", unit, _LIMIT, (2, 3), 1.4)
    chart.line(at, before, "as recorded", unit, INK)
    chart.line(at, middle, "with the change", unit, _AFTER, (7, 3), 1.6)
    return chart


def _rows(one: Forecast, shown: Shown) -> Table:
    table = Table(
        (
            "Place",
            "Running, median",
            "with the change",
            "Hottest",
            "with the change",
            first_upper(words.LEAST_ROOM),
            "with the change",
        ),
        numbers=range(1, 7),
    )
    for row in one.rows:
        table.rows.append(_row(row, shown))
    return table


def _row(row: Row, shown: Shown) -> tuple[str, ...]:
    def pair(before: float, after: Interval, dimension: str) -> tuple[str, str]:
        if not np.isfinite(before):
            return "", ""
        if after.half < _NOTHING_DEGC and abs(after.middle - before) < _NOTHING_DEGC:
            return minus(shown.text(before, dimension)), "as before"
        half = shown.no_finer(after.half, "temperature difference", after.half)
        was, will = (minus(shown.no_finer(x, dimension, after.half)) for x in (before, after.middle))
        return was, will if is_nothing(half) else f"{will} ±{half}"

    return (
        place_words(row.place),
        *pair(row.running_before_degc, row.running, "temperature"),
        *pair(row.hottest_before_degc, row.hottest, "temperature"),
        *pair(row.margin_before_degc, row.margin, "temperature difference"),
    )


def _first_row(one: Tried, shown: Shown, rank: str) -> tuple[str, ...]:
    gain, pull = one.told.smallest, one.told.in_pull
    assert gain is not None
    return (
        rank,
        name(one),
        minus(interval(gain.degc, shown, ("more", "less"))),
        minus(interval(pull.degc, shown, ("cooler", "hotter"))) if pull else "no pull in this session",
        f"{place_words(gain.place)} ({gain.phase})",
        named(gain.degc.carried_by) or "–",
        WORDS[one.fix.which].fuss,
        WORDS[one.fix.which].basis,
    )


def _minuses(lines: Sequence[str]) -> list[str]:
    return [minus(line) for line in lines]

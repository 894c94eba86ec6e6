"""The page of `hotfuel cooler`: fuel before and behind a cooler over the drive, and how good it is. Renders the results of hotfuel.study.line."""

from collections.abc import Sequence

import numpy as np

from hotfuel import __version__
from hotfuel.places import place_words
from hotfuel.report import cooler_words, html, sheet, words
from hotfuel.report import figures as draw
from hotfuel.report.chart import FAINT, INK, Chart
from hotfuel.report.cooler_words import effectiveness, watts
from hotfuel.report.customer import Report, Sheet
from hotfuel.report.line_words import FLOW
from hotfuel.report.plots import Plot
from hotfuel.report.table import Table
from hotfuel.session import Session
from hotfuel.stretches import stretches
from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.line.line_cooler import LineCooler
from hotfuel.text import first_upper
from hotfuel.units import Shown, expanded

_BEHIND = "#0b6fa4"
_HIGHEST_PX, _LEAST_PX, _CARD_PX = 250, 120, 200
_JOINED_SHARE = 0.005  # shorter pauses between stretches that count are too short to see in the picture
_METHOD = (
    "Effectiveness is how far the fuel was cooled, as a share of the way from its own temperature to the coolant's; UA is the size that goes with it. "
    "Both come from medians over settled running at about one flow, by the usual heat exchanger formulas.",
    "± holds in 95 of 100 cases. It allows for the readings, how the probes are fitted, the flow, and the hose behind the cooler.",
)


def make(session: Session, course: Course, seen: LineCooler, elsewhere: Sequence[str], shown: Shown) -> Report:
    """The page of one cooler. elsewhere: sentences about the same cooler under other conditions, and about ice."""
    clock = words.Clock(session.ticks.timeline.anchored, session.metadata.get("utc_offset_min"))
    known = session.metadata
    complaint, work_done = sheet.complaint_and_work(known, 0.5)
    customer = known.get("customer")
    first = Sheet(
        headlines(seen, shown),
        kind="A cooler in the line",
        shop=str(known.get("shop") or ""),
        about=[session.car.name if session.car else "", f"for {customer}" if customer else "", session.name],
        complaint=complaint,
        table=_numbers(seen, shown),
        text=[f"{cooler_words.size(seen.cooler)} ± holds in 95 of 100 cases.", *elsewhere],
        work_done=work_done,
        done=[] if work_done else ["Measured in one drive with the cooler in the line."],
        next_steps=_next(seen),
        facts=words.conditions(session.summary(), session, shown, clock),
        weakens=_weakens(seen),
        simulated=bool(known.get("simulated")),
    )
    height = first.room(_HIGHEST_PX, _LEAST_PX)
    figures = {"cooler": _chart("cooler", course, seen, shown, clock, height)}
    first.picture = Plot(
        ["cooler"], _key(seen), "In the grey stretches the engine had run for a while at about one flow: only these are counted."
    )
    part = {
        "title": "What was measured",
        "said": cooler_words.sentences(seen, shown)[:1],
        "rows": None,
        "assumed": [*_weakens(seen)],
    }
    values = {
        "sheet": first, "simulated": first.simulated, "title": f"Cooler before the {place_words(seen.place)}: {session.name}", "method": _METHOD,
        "parts": [part], "more": [], "groups": None, "unknown": (), "version": f"hotfuel {__version__}, {words.today()}",
    }  # fmt: skip

    def card() -> list[Chart]:
        return [_chart("card-cooler", course, seen, shown, clock, _CARD_PX, narrow=True)]

    return Report(html.page("forecast.html.jinja", figures, values), first, figures, card)


def headlines(seen: LineCooler, shown: Shown) -> list[str]:
    """How much the cooler cools, and how good it is, at the precision of the doubt."""
    name = f"the cooler before the {place_words(seen.place)}"
    drop, doubt = seen.inlet_degc - seen.outlet_degc, float(expanded(seen.drop_u_degc))
    if drop <= doubt:
        return [f"Whether {name} cools the fuel cannot be told here: the difference is within the probes' uncertainty."]
    size, half = (words.rough(shown, degc, doubt) for degc in (drop, doubt))
    one = seen.cooler
    return [
        f"{first_upper(name)} cooled the fuel by {size}, ±{half}.",
        f"Its effectiveness is {effectiveness(one)}: 1 would be fuel as cold as the coolant.",
    ]


def _next(seen: LineCooler) -> list[str]:
    if seen.cooler.effectiveness <= expanded(seen.cooler.effectiveness_u):
        return ["Put both probes side by side in one bath and note how far they differ; then drive again on a hotter day."]
    steps = [] if seen.cooler.ua_told else ["Measure it again at more flow, with a meter in the line, to find its size."]
    return [*steps, "Drive the same road without it, on an equally warm day, to see what it does for the room to boiling."]


def _weakens(seen: LineCooler) -> list[str]:
    lines = []
    if seen.behind is None:
        lines.append(
            f"The whole line from the {place_words(seen.before)} to the {place_words(seen.place)} is counted as the cooler: heat taken up after it makes it "
            "look smaller than it is."
        )
    elif not seen.behind.given:
        lines.append(
            "How much of the line lies behind the cooler is not known: the heat the fuel may take up there is in the uncertainty."
        )
    if seen.flow_relative_u > 0.2:
        lines.append(f"The fuel's flow is known to ±{100 * expanded(seen.flow_relative_u):.0f} % only ({FLOW[seen.flow_basis]}).")
    return lines


def _numbers(seen: LineCooler, shown: Shown) -> Table:
    """Readings and results, in one row."""
    one = seen.cooler
    table = Table(("Fuel before", "Fuel behind", "Coolant", "Fuel flow", "Heat taken out"), numbers=range(1, 5))
    decimals = 0 if shown.value(float(expanded(seen.drop_u_degc)), "temperature difference") >= 1 else 1
    degrees = [shown.text(degc, "temperature", decimals) for degc in (seen.inlet_degc, seen.outlet_degc, seen.coolant_degc)]
    table.rows.append((*degrees, shown.text(one.fuel_l_h, "volume flow"), watts(one.heat_w, one.heat_u_w)))
    return table


def _key(seen: LineCooler) -> list[dict[str, object]]:
    looks = (
        (INK, "", f"fuel before the cooler ({place_words(seen.before)})"),
        (_BEHIND, "6 3", f"fuel behind it ({place_words(seen.place)})"),
    )
    return [{"colour": colour, "width": 1.8, "dash": dash, "text": text, "hatch": ""} for colour, dash, text in looks]


def _chart(
    name: str, course: Course, seen: LineCooler, shown: Shown, clock: words.Clock, height_px: int, *, narrow: bool = False
) -> Chart:
    seconds = course.time_s + (course.start_s if clock.dates else 0.0)
    axis = draw.Axis(seconds, clock.offset_s, clock.dates, 5 * STEP_S, clock.zone)
    unit = shown.unit("temperature")
    before, behind = (np.asarray(shown.value(course.degc[place], "temperature")) for place in (seen.before, seen.place))
    coolant = float(shown.value(seen.coolant_degc, "temperature"))
    alt = (
        f"Fuel before and behind the cooler over the drive: medians {shown.text(seen.inlet_degc, 'temperature', 0)} and "
        f"{shown.text(seen.outlet_degc, 'temperature', 0)} over {seen.steady_s / 60:.0f} min, with the coolant at "
        f"{shown.text(seen.coolant_degc, 'temperature', 0)} (dotted)."
    )
    y = draw.fit(before, behind, least_span=5, include=[coolant])
    plot = draw.blank(name, axis, height_px, y, f"fuel, {unit}", alt, narrow=narrow)
    for start, end in _drawn_stretches(seen.steady):
        plot.box((float(axis.ms(seconds[start])), float(axis.ms(seconds[end - 1]))), None, fill=FAINT, fill_opacity=0.16)
    plot.level(coolant, FAINT, 1.2, "1 3")
    plot.label("coolant", float(plot.right) - 4, float(plot.py(coolant)) - 4, anchor="end")
    looks = ((before, draw.Style(INK, ()), seen.before), (behind, draw.Style(_BEHIND, (6, 3)), seen.place))
    for values, style, place in looks:
        at, kept = draw.thinned(axis, values)
        draw.lines(plot, [draw.Line(at, kept, style, place_words(place), unit)])
    return plot


def _drawn_stretches(counted: np.ndarray) -> list[tuple[int, int]]:
    """(first row, row after the last) of each stretch that counts; pauses too short to see are left out."""
    joined: list[tuple[int, int]] = []
    for start, end in stretches(counted):
        if joined and start - joined[-1][1] <= max(_JOINED_SHARE * len(counted), 1):
            start = joined.pop()[0]
        joined.append((start, end))
    return joined

"""Where the fuel takes up its heat, as a picture and a table: rungs from the tank to the carburettor, a line for each phase."""

import numpy as np

from hotfuel.places import place_words
from hotfuel.report.chart import LEFT_PX, Chart, Range
from hotfuel.report.heat_words import UNTOLD, percent, sentence, taken_up
from hotfuel.report.plots import Plot
from hotfuel.report.table import Table
from hotfuel.study.line.heat import DRIVING, PULLING, STANDING_STILL, STOPPED, HeatBudget, Part
from hotfuel.study.line.ways import is_told
from hotfuel.text import minus
from hotfuel.units import Shown

_RUNG_PX = 26
_LOOKS = {STANDING_STILL: ("#a3182b", ()), DRIVING: ("#0b6fa4", (7, 4)), PULLING: ("#3d5a2a", (2, 3))}
_SAID = {STANDING_STILL: "solid", DRIVING: "dashed", PULLING: "dotted"}  # a chart on its own has no key


def ladder(budget: HeatBudget, shown: Shown, figures: dict[str, Chart]) -> Plot | None:
    """The picture; puts its chart into `figures`. None where nothing flowed."""
    phases = [phase for phase in _LOOKS if any(part.phase == phase for part in budget.parts)]
    if not phases:
        return None
    sections = [part for part in budget.parts if part.phase == phases[0]]
    rungs = [sections[0].before, *(part.place for part in sections)]
    climbs = {}
    for phase in phases:
        parts = [part for part in budget.parts if part.phase == phase]
        climbs[phase] = np.concatenate([[0.0], np.cumsum([part.degc.middle for part in parts])])
    phases = [phase for phase in phases if np.isfinite(climbs[phase][1:]).any()]
    if not phases:
        return None
    scale = shown.value(1.0, "temperature difference")
    every = np.concatenate(list(climbs.values())) * scale
    low, high = min(float(np.nanmin(every)), 0.0), max(float(np.nanmax(every)), 1.0)
    unit = shown.unit("temperature difference")
    said = "; ".join(
        f"{phase} ({_SAID[phase]}) {climbs[phase][-1] * scale:.0f}\u00a0{unit} in all"
        for phase in phases
        if np.isfinite(climbs[phase][-1])
    )
    chart = Chart(
        "heat", _RUNG_PX * len(rungs), Range(low - 0.28 * (high - low), high + 0.06 * (high - low)), Range(-(len(rungs) - 0.5), 0.5),
        title=f"the same fuel on its way, {unit}", alt=f"Warming of the same fuel from {place_words(rungs[0])} to {place_words(rungs[-1])}: {said}.",
        x_title=f"warmer than in the {place_words(rungs[0])}, {unit}", show_y=False,
    )  # fmt: skip
    for number, rung in enumerate(rungs):
        chart.level(-number, "#e4e1da", 1.0)
        chart.label(place_words(rung), LEFT_PX + 4, float(chart.py(-number)) - 3)
    for phase in phases:
        colour, dash = _LOOKS[phase]
        chart.link(climbs[phase] * scale, -np.arange(len(rungs), dtype=float), colour, dash)
        for number, degrees in enumerate(climbs[phase]):
            if not np.isfinite(degrees):
                continue
            told = f"{phase}, {place_words(rungs[number])}: {shown.text(float(degrees), 'temperature difference')} warmer"
            chart.marker(float(degrees * scale), -number, "circle", colour, told, hollow=False, size=3.5)
    figures["heat"] = chart
    key = [
        {"colour": _LOOKS[phase][0], "width": 1.8, "dash": " ".join(map(str, _LOOKS[phase][1])), "text": phase, "hatch": ""}
        for phase in phases
    ]
    checked = (
        f" The probes were compared with each other in the {budget.parked_s:.0f} s in which the car stood cold before its start."
        if budget.parked_s
        else ""
    )
    return Plot(["heat"], key, sentence(budget, shown) + checked)


def table(budget: HeatBudget, shown: Shown) -> Table:
    """A row a section and phase, 95 % intervals."""
    made = Table(("Section", "While", "Warmer by", "Heat taken up", "Share of the heat"), numbers=(2, 3, 4))
    for part in budget.parts:
        made.rows.append((f"{place_words(part.before)} to {place_words(part.place)}", part.phase, *_values(part, shown)))
    for way in budget.ways:
        share = f"{percent(way.metal)} from hot metal" if way.told else f"metal or air: {UNTOLD}"
        each = [f"{percent(one)} from {place_words(name)}" for name, one in way.metals if is_told(one)]
        share = "; ".join([share, *each])
        made.rows.append((f"{place_words(way.before)} to {place_words(way.place)}", "running", "", "", share))
    if np.isfinite(budget.back_w.middle):
        made.rows.append(
            (
                "return to the tank",
                "running",
                "",
                taken_up(budget.back_w),
                percent(budget.back_share),
            )
        )
    return made


def _values(part: Part, shown: Shown) -> tuple[str, str, str]:
    if not np.isfinite(part.degc.middle):
        return UNTOLD, "", ""
    values = (shown.no_finer(x, "temperature difference", part.degc.half) for x in (part.degc.middle, part.degc.half))
    degrees = minus(" ±".join(values))
    if part.phase == STOPPED:
        return f"{degrees} at {place_words(part.place)}", "", ""
    if not np.isfinite(part.watts.middle):
        return degrees, "", ""
    if part.cools:
        return degrees, taken_up(part.watts), "takes heat out"
    return degrees, taken_up(part.watts), percent(part.share) if part.share_told else UNTOLD

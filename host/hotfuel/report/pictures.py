"""A report as pictures to send: an upright card with the first page's words, and every chart. PNG, 1200 px wide, no print smaller than 34 px.

One browser draws all of them below one another, and the result is cut at the stripes between them.
"""

from collections.abc import Sequence
from pathlib import Path

from hotfuel.errors import InputError
from hotfuel.files import MARK, refuse_unwritable, whole
from hotfuel.report import html
from hotfuel.report.chart import NARROW_PX, WIDTH_PX, Chart
from hotfuel.report.customer import Report

WIDTH = 1200
LEAST_TEXT = 34  # px of WIDTH: read on a phone held upright
_STRIPE = (255, 0, 255)  # between pictures; nothing in them has this colour
_TALLEST = 12_000  # px a browser draws in one piece
_CARD_TALL = 3000  # px, more than any card needs
_FACTS_MOST = 7


def write(report: Report, path: str | Path) -> list[Path]:
    """Write the card as `path`, and each chart beside it with its name added; returns all paths.

    Raises InputError if the path does not end in .png, a place cannot be written, or there is no browser to draw with.
    """
    card = html.target(path, ".png")
    charts = [chart for chart in report.figures.values() if chart.name != "runs"]  # the runs stand on the card
    names = [card, *(card.with_name(f"{card.stem}-{chart.name.replace('_', '-')}.png") for chart in charts)]
    for name in names[1:]:
        html.target(name, ".png")
    refuse_unwritable(card)
    begin = 0
    while begin < len(names):
        tall, end = 0, begin
        while end < len(names) and (end == begin or tall + _tall(charts, end) <= _TALLEST):
            tall += _tall(charts, end)
            end += 1
        shown = [chart for number, chart in enumerate(charts, start=1) if begin <= number < end]
        _cut(page(report, shown, begin == 0), tall, names[begin:end])
        begin = end
    return names


def page(report: Report, charts: Sequence[Chart], with_card: bool) -> str:
    """The page that is drawn: the card, if wanted, then the charts, each with its words, with a stripe behind each."""
    sheet = report.sheet
    values = {
        "title": sheet.headlines[0],
        "sheet": sheet if with_card else None,
        "card": report.card() if with_card else [],
        "charts": charts,
        "facts": sheet.facts[:_FACTS_MOST],
        "mark": sheet.simulated,
    }
    return html.page("card.html.jinja", {}, values)


def _tall(charts: list[Chart], number: int) -> int:
    """More than the picture's height, px: of the card, number 0, or a chart."""
    if number == 0:
        return _CARD_TALL
    chart = charts[number - 1]
    return 500 + round((chart.height + 80) * WIDTH / (NARROW_PX if chart.width == NARROW_PX else WIDTH_PX))


def _cut(page: str, tall: int, names: list[Path]) -> None:
    """The page's pictures, each to its file."""
    import numpy as np
    from PIL import Image, PngImagePlugin

    with html.screenshot(page, WIDTH, tall) as file, Image.open(file) as opened:
        drawn = opened.convert("RGB")
    stripes = np.flatnonzero((np.asarray(drawn)[:, 0] == _STRIPE).all(axis=1))
    ends = stripes[np.diff(stripes, prepend=-9) > 1]  # the first row of each
    if len(ends) < len(names):
        raise InputError(f"the browser drew {len(ends)} of {len(names)} pictures: open the HTML file and take them from there")
    about = PngImagePlugin.PngInfo()
    about.add_text("Software", MARK.decode())
    top = 0
    for name, end in zip(names, ends.tolist(), strict=False):
        with whole(name) as part:
            drawn.crop((0, top, WIDTH, end)).save(part, format="PNG", optimize=True, pnginfo=about)
        top = int(stripes[stripes >= end][np.argmax(np.append(np.diff(stripes[stripes >= end]), 9) > 1)]) + 1

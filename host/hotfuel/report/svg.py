"""A drawing of matplotlib as SVG inside a page: sharp on paper, read without a script, with a sentence for who does not see it."""

import html
import io
import re
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FONT = ["Segoe UI", "Helvetica Neue", "Roboto", "Liberation Sans", "Arial", "DejaVu Sans", "sans-serif"]  # as page.css
WIDTH_IN = 7.1  # of the sheet between its margins
_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text: searched, copied, read aloud
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.edgecolor": "#8b8578",
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e4e1da",
    "grid.linewidth": 0.8,
    "axes.axisbelow": True,
    "text.color": "#1f2430",
    "axes.labelcolor": "#1f2430",
    "xtick.color": "#1f2430",
    "ytick.color": "#1f2430",
    "xtick.major.size": 3,
    "ytick.major.size": 3,
}


def empty(height_in: float) -> "Figure":
    """A figure in the house's look, as wide as the sheet."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    matplotlib.rcParams.update(_STYLE)
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    FigureCanvasSVG(figure)
    return figure


def inline(figure: "Figure", name: str, says: str) -> Markup:
    """The figure as an <svg> element. name: unique on its page, for its ids; says: what it shows, in a sentence."""
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'(id="|url\(#|href="#)', rf"\g<1>{name}-", text)  # two figures of one page share no id
    text = re.sub(r"font: [^;\"]*?(\d+(?:\.\d+)?)px [^;\"]*", rf"font: \1px {', '.join(FONT).replace(chr(34), '')}", text)
    box = re.search(r'viewBox="[^"]*"', text[: text.index(">")])
    assert box is not None
    label = html.escape(says, quote=True)
    start = f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {box.group()} role="img" aria-label="{label}" class="chart">'
    return Markup(start + f"<title>{label}</title>" + text[text.index(">") + 1 :])

"""One stand-alone HTML file with its charts as inline pictures, no network needed; and the same page printed by a headless browser."""

import contextlib
import functools
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from hotfuel.errors import InputError
from hotfuel.files import MARK, refuse_anothers, refuse_unwritable, whole
from hotfuel.report.chart import Chart
from hotfuel.text import minus
from hotfuel.units import Shown

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=[°%]|(?:hp|kW|W|lb-ft|Nm|psi|kPa|gph|L/h|mL|US gal|ft|rpm|minutes?|seconds?|min|s|h)\b)")
_PRINT_TIMEOUT_S = 120
_PAGE_MM = {"A4": 276, "letter": 258}  # between the margins of page.css, a mm to spare


@functools.cache
def _templates() -> jinja2.Environment:
    loader = jinja2.FunctionLoader(lambda name: resources.files("hotfuel.report").joinpath(name).read_text(encoding="utf-8"))
    made = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    made.filters["tied"] = _tied
    return made


def _tied(text: str) -> str:
    """The text with a minus sign before its negative numbers, and each number kept on the same line as its unit."""
    return _BEFORE_UNIT.sub("\u00a0", minus(text))


@functools.cache
def _part(name: str) -> Markup:
    return Markup(resources.files("hotfuel.report").joinpath(name).read_text(encoding="utf-8"))


def page(template: str, figures: Mapping[str, Chart], values: Mapping[str, Any]) -> str:
    """The page of a template as text. figures: name -> chart; templates place them as divs[name]. Everything else is escaped."""
    # A second title above the picture for narrow screens, where the picture's own would touch its numbers.
    over = Markup('<p class="above" aria-hidden="true">{}</p>')
    divs = {name: (over.format(chart.title) if chart.title else Markup()) + chart.svg() for name, chart in figures.items()}
    return (
        _templates()
        .get_template(template)
        .render(css=_part("page.css"), script=_part("chart.js") if figures else "", divs=divs, **values)
    )


def target(path: str | Path, *endings: str) -> Path:
    """The path; refuses one that does not end like its content, and one where another program's file stands."""
    place = Path(path)
    if place.suffix.lower() not in endings:
        raise InputError(
            f'"{place.name}" ends in "{place.suffix}": give a file that ends in {" or ".join(endings)}; nothing was written'
        )
    refuse_anothers(place)
    return place


def write(text: str, path: str | Path) -> Path:
    """Write the page whole or not at all. Raises InputError if the place cannot be written or does not end in .html."""
    place = target(path, ".html", ".htm")
    with whole(place) as part:
        part.write_text(text, encoding="utf-8")
    return place


def write_figure(path: str | Path, figure: Chart, title: str) -> Path:
    """One figure as a stand-alone page. Raises InputError if the place cannot be written."""
    return write(page("figure.html.jinja", {"figure": figure}, {"title": title, "simulated": False}), path)


def browser() -> str | None:
    """The browser that can print, None without one; HOTFUEL_BROWSER names one."""
    named = os.environ.get("HOTFUEL_BROWSER")
    return shutil.which(named) if named else next((found for name in BROWSERS if (found := shutil.which(name))), None)


def paper(shown: Shown) -> str:
    """The paper of a reader of these units."""
    return "letter" if shown.system == "us" else "A4"


def write_pdf(page_path: str | Path, path: str | Path, paper: str = "A4") -> Path:
    """Print a page that was written before, on "A4" or "letter" paper, whole or not at all.

    Raises InputError if there is no browser to print with, or it fails.
    """
    place = target(path, ".pdf").resolve()
    refuse_unwritable(place)
    with whole(place) as part:
        text = Path(page_path).read_text(encoding="utf-8")
        size = f"@page {{ size: {paper}; }} @media print {{ :root {{ --page: {_PAGE_MM[paper]}mm; }} }}"
        with _drawn(text.replace("</head>", f"<style>{size}</style></head>", 1)) as (command, page):
            said = _printed([*command, "--window-size=840,1123", "--no-pdf-header-footer", f"--print-to-pdf={part}", page])
        if said or not _is_whole(part):  # a browser does not report a full disk
            raise InputError(
                f"{Path(command[0]).name} could not print the page ({said or 'no reason given, perhaps a full disk'}): "
                "open the HTML file and print it from your browser"
            )
        with open(part, "ab") as file:
            file.write(b"%" + MARK + b"\n")  # a comment that marks the file as ours, so that it may be overwritten
    return place


@contextlib.contextmanager
def screenshot(text: str, width: int, height: int) -> Iterator[Path]:
    """A page as a PNG of so many px, for as long as the block lasts. Raises InputError if there is no browser to draw with, or it fails."""
    with tempfile.TemporaryDirectory() as folder, _drawn(text) as (command, page):
        file = Path(folder) / "page.png"
        said = _printed([*command, "--hide-scrollbars", f"--window-size={width},{height}", f"--screenshot={file}", page])
        if said or not file.is_file():
            raise InputError(
                f"{Path(command[0]).name} could not draw the pictures ({said or 'no reason given, perhaps a full disk'})"
            )
        yield file


@contextlib.contextmanager
def _drawn(text: str) -> Iterator[tuple[list[str], str]]:
    """(the browser's command, the page's address), the page on disk for as long as the block lasts."""
    program = browser()
    if program is None:
        raise InputError(
            "there is no Chromium or Chrome here to print with: install one, or open the HTML file and print it from your browser"
        )
    with tempfile.TemporaryDirectory() as folder:
        profile, page = Path(folder) / "profile", Path(folder) / "page.html"
        page.write_text(text, encoding="utf-8")
        sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []  # it refuses to run as root with one
        options = ["--headless", "--disable-gpu", *sandbox, f"--user-data-dir={profile}", "--virtual-time-budget=10000"]
        yield [program, *options], page.as_uri()


def _is_whole(pdf: Path) -> bool:
    """Whether a PDF is there to its last line."""
    return pdf.is_file() and b"%%EOF" in pdf.read_bytes()[-32:]


def _printed(command: list[str]) -> str:
    """Run the browser; returns "" or the last line of why it failed."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_PRINT_TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        return f"not done after {_PRINT_TIMEOUT_S} s"
    except OSError as error:
        return error.strerror or str(error)
    return (done.stderr.strip().splitlines() or ["no reason given"])[-1][:120] if done.returncode else ""

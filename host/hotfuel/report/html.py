"""One stand-alone HTML file: bokeh's script inside, no network; and the same page on paper through a headless browser."""

import functools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from bokeh.core.validation import silence
from bokeh.core.validation.warnings import MISSING_RENDERERS
from bokeh.document import Document
from bokeh.embed import components
from bokeh.resources import Resources
from markupsafe import Markup

from hotfuel.errors import InputError
from hotfuel.files import MARK, refuse_anothers, whole

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
_PRINT_TIMEOUT_S = 120
silence(MISSING_RENDERERS, True)  # a recording without a temperature has an empty picture, and the page says so


@functools.cache
def _templates() -> jinja2.Environment:
    loader = jinja2.FunctionLoader(lambda name: resources.files("hotfuel.report").joinpath(name).read_text(encoding="utf-8"))
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)


@functools.cache
def _library() -> Markup:
    return Markup(Resources(mode="inline", components=["bokeh"], log_level="warn").render_js())


def page(template: str, figures: Mapping[str, Any], values: Mapping[str, Any]) -> str:
    """The page of a template as text. figures: name -> bokeh figure; templates place them as divs[name]. Everything else is escaped."""
    script = ""
    divs: dict[str, str] = {}
    if figures:
        document = Document()
        with document.models.freeze():  # else every figure added counts all models anew
            for figure in figures.values():
                document.add_root(figure)
        script, divs = components(dict(figures))
    css = resources.files("hotfuel.report").joinpath("page.css").read_text(encoding="utf-8")
    given = {"css": Markup(css), "library": _library() if figures else "", "script": Markup(script)}
    return _templates().get_template(template).render(**given, divs={name: Markup(div) for name, div in divs.items()}, **values)


def _target(path: str | Path, *endings: str) -> Path:
    """The path; refuses one that does not end like its content, and one where another program's file stands."""
    target = Path(path)
    if target.suffix.lower() not in endings:
        raise InputError(
            f'"{target.name}" ends in "{target.suffix}": give a file that ends in {" or ".join(endings)}; nothing was written'
        )
    refuse_anothers(target)
    return target


def write(text: str, path: str | Path) -> Path:
    """Write the page whole or not at all. Raises InputError if the place cannot be written or does not end in .html."""
    target = _target(path, ".html", ".htm")
    with whole(target) as part:
        part.write_text(text, encoding="utf-8")
    return target


def write_figure(path: str | Path, figure: Any, title: str) -> Path:
    """One figure as a stand-alone page. Raises InputError if the place cannot be written."""
    return write(page("figure.html.jinja", {"figure": figure}, {"title": title}), path)


def browser() -> str | None:
    """The browser that can print, None without one; HOTFUEL_BROWSER names one."""
    named = os.environ.get("HOTFUEL_BROWSER")
    return shutil.which(named) if named else next((found for name in BROWSERS if (found := shutil.which(name))), None)


def write_pdf(page_path: str | Path, path: str | Path, paper: str = "A4") -> Path:
    """Print a page that was written before, on "A4" or "letter" paper, whole or not at all.

    Raises InputError if there is no browser to print with, or it fails.
    """
    target = _target(path, ".pdf").resolve()
    program = browser()
    if program is None:
        raise InputError(
            "there is no Chromium or Chrome here to print with: install one, or open the HTML file and print it from your browser"
        )
    with whole(target) as part, tempfile.TemporaryDirectory() as folder:
        profile, sized = Path(folder) / "profile", Path(folder) / "page.html"
        text = Path(page_path).read_text(encoding="utf-8")
        sized.write_text(text.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>", 1), encoding="utf-8")
        sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []  # it refuses to run as root with one
        said = _printed(
            [program, "--headless", "--disable-gpu", *sandbox, f"--user-data-dir={profile}", "--window-size=840,1123", "--virtual-time-budget=10000",
             "--no-pdf-header-footer", f"--print-to-pdf={part}", sized.as_uri()]
        )  # fmt: skip
        if said or not _is_whole(part):  # a browser says nothing of a full disk
            raise InputError(
                f"{Path(program).name} could not print the page ({said or 'no reason given, perhaps a full disk'}): "
                "open the HTML file and print it from your browser"
            )
        with open(part, "ab") as file:
            file.write(b"%" + MARK + b"\n")  # a comment: whose it is, should it be written again
    return target


def _is_whole(pdf: Path) -> bool:
    """Whether a PDF is there to its last line."""
    return pdf.is_file() and b"%%EOF" in pdf.read_bytes()[-32:]


def _printed(command: list[str]) -> str:
    """Run the browser; "" or the last it said of why it failed."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_PRINT_TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        return f"not done after {_PRINT_TIMEOUT_S} s"
    except OSError as error:
        return error.strerror or str(error)
    return (done.stderr.strip().splitlines() or ["no reason given"])[-1][:120] if done.returncode else ""

"""A report's files: its page, the page on paper, and its pictures."""

from pathlib import Path

from hotfuel.report import html
from hotfuel.report.customer import Report
from hotfuel.units import Shown


def write(
    report: Report, path: str | Path, shown: Shown, pdf: str | Path | None = None, png: str | Path | None = None
) -> list[Path]:
    """Write the page, print it if `pdf` names a file, draw its card and charts if `png` does; returns every file written, the page first.

    Raises InputError if a place cannot be written or there is nothing to print with.
    """
    files = [html.write(report.page, path)]
    if pdf is not None:
        html.write_pdf(files[0], pdf, html.paper(shown))
        files.append(Path(pdf))
    if png is not None:
        from hotfuel.report import pictures

        files += pictures.write(report, png)
    return files

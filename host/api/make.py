"""Writes the API as pages from the docstrings, with a worked analysis: python host/api/make.py FOLDER. Needs `pip install '.[docs]'`.

The pages are not kept in the repository: they would only repeat the sources.
"""

import sys
from pathlib import Path

MODULES = [
    "hotfuel.session.recording",
    "hotfuel.fuel",
    "hotfuel.fuel.fuel",
    "hotfuel.car",
    "hotfuel.places",
    "hotfuel.risk.margin",
    "hotfuel.risk.pressure",
    "hotfuel.risk.level",
    "hotfuel.risk.limits_card",
    "hotfuel.temperature.thermocouple",
    "hotfuel.samples.decoded",
    "hotfuel.samples.table",
    "hotfuel.study.drive.phases",
    "hotfuel.study.story",
    "hotfuel.report.story_words",
    "hotfuel.report.forecast_words",
    "hotfuel.report.first_words",
    "hotfuel.report.heat_words",
    "hotfuel.report.line_words",
    "hotfuel.report.unknown_words",
    "hotfuel.study.fixes.sessions",
    "hotfuel.study.line.change",
    "hotfuel.study.line.forecast",
    "hotfuel.study.line.first",
    "hotfuel.study.line.heat",
    "hotfuel.study.power.power",
    "hotfuel.units",
    "hotfuel.errors",
]


def make(folder: Path) -> list[Path]:
    """Write the pages, with the worked analysis; returns their paths."""
    import pdoc
    from pdoc.render import configure

    configure(
        docformat="markdown",
        show_source=True,
        footer_text="units stand in the names; SI and degrees Celsius inside",
        template_directory=Path(__file__).parent / "templates",
    )
    pdoc.pdoc(*MODULES, str(Path(__file__).parent / "example.py"), output_directory=folder)
    return sorted(folder.rglob("*.html"))


if __name__ == "__main__":
    print(f"{len(make(Path(sys.argv[1] if len(sys.argv) > 1 else 'api')))} pages written")

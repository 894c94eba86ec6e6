"""A test day on paper: the runs in their order, with room for notes beside each."""

from pathlib import Path

from hotfuel.places import place_words
from hotfuel.report import day_words, html, run_words, words
from hotfuel.report.table import Table
from hotfuel.study.fixes.day_plan import DayPlan
from hotfuel.text import first_upper
from hotfuel.units import Shown

RULES = (
    "Keep to the order whatever the first results look like. After every complete block the verdict so far is shown; between blocks it is not.",
    "Let every run begin alike: the same tank and engine temperatures, the same fuel level, the same route or pull.",
    "A run that went wrong for a reason seen at once (a probe off, traffic, an early end) is driven again before the next: move its recording away first.",
)
CAUTIONS = (
    "The driver does not operate this: no reading, no pressing while the car moves.",
    "Change parts with the engine cold and the fuel line depressurised, battery off, extinguisher at hand; test every joint before starting and again hot.",
    "No warning does not mean safe: fuel can boil where there is no probe.",
)


def write(plan: DayPlan, path: Path, shown: Shown, pdf: Path | None = None) -> list[Path]:
    """The sheet as a page, and printed to `pdf`; returns the files written. Raises InputError where a place cannot be written."""
    width = len(plan.variants)
    starts = [place_words(place) for place in plan.start_degc] or ["Tank"]
    table = Table(
        ("Block", "Run", "Fitted", "Done at", *(f"{place} at start" for place in starts), "Outside air", "Notes"), numbers=()
    )
    for number, name in enumerate(plan.order, start=1):
        block = f"{(number - 1) // width + 1} of {plan.last_block}" if (number - 1) % width == 0 else ""
        table.rows.append((block, f"{number}", name, "", *([""] * len(starts)), "", ""))
    rules = [
        f"Asked: {day_words.question(plan)}; {day_words.difference(plan, shown)} is worth having. {len(plan.order)} runs at most, {plan.last_block} of each.",
        *filter(None, [run_words.must_hold(plan)]),
        *([f"{day_words.start(plan, shown).capitalize()}."] if plan.start_degc else []),
        *RULES,
    ]
    values = {
        "title": first_upper(" against ".join((", ".join(plan.variants[1:]), plan.variants[0]))),
        "car": "",
        "simulated": False,  # nothing was driven yet
        "made": words.today(),
        "rules": rules,
        "runs": table,
        "cautions": CAUTIONS,
    }
    files = [html.write(html.page("day_sheet.html.jinja", {}, values), path)]
    if pdf is not None:
        html.write_pdf(files[0], pdf, html.paper(shown))
        files.append(pdf)
    return files

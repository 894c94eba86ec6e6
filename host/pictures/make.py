"""Makes pictures of every sheet from the demo and from made-up runs and pulls: `python host/pictures/make.py [FOLDER]` (needs Chromium and poppler).

Without a folder it makes the two of the README beside itself. With one, every sheet's pages stand there on Letter and the first on A4, in grey, at the
width of a phone, and as a card with its charts, to be looked at: that is the only way to see what is cut off, unreadable or told by hue alone.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from hotfuel import session
from hotfuel.car import EXAMPLE
from hotfuel.report import comparison, cooler, forecast, html, lap_page, notebook, pictures, power, review
from hotfuel.report.customer import Report
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.scenarios import QUEUE, Cooler, Fixes
from hotfuel.study.drive.course import of_session
from hotfuel.study.drive.laps import laps
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell, Filled, Run
from hotfuel.study.line import first, line_cooler
from hotfuel.study.line.change import Change
from hotfuel.study.line.forecast import forecast as forecasts
from hotfuel.study.power.power import compare_pulls
from hotfuel.study.power.pulls import Pull
from hotfuel.units import Shown
from PIL import Image

HERE = Path(__file__).parent
sys.path += [str(HERE.parents[1] / "tests" / "host" / part) for part in ("cli", "study/driving")]
import lapped  # noqa: E402 - sessions written as the tests write theirs
import written  # noqa: E402

US = Shown("us")
_PHONE_PX, _PHONE_TALL = 500, 2200  # a headless browser opens no narrower window
_COLOURS, _KEEPS_HUES = {"review": 128, "compare": 64}, Image.Quantize.MAXCOVERAGE
_PAGE_PX = 1000  # the width of a page's picture in the README


def runs() -> list[Run]:
    """Six runs on one day, by turns as built and with a shield; made up, the shield leaves 8 degC more room at the pump."""
    spread = (0.3, -0.9, 0.6, 1.0, -0.7, -0.2)
    asked, seen = Cell(MARGIN, "pump", "hot soak"), Cell(PEAK, "tank", "drive")
    return [
        Run(
            f"run {number + 1}", "shield" if number % 2 else "as built", f"s{number}",
            {asked: (4.0 if number % 2 else -4.0) + spread[number], seen: 35.0 + spread[-number]}, {},
            start_s=1.7e9 + 2400 * number, ambient_degc=31.0, ambient_pressure_kpa=94.5, fuel=Filled("A", ethanol_vol=10.0), car="made-up saloon",
        )
        for number in range(6)
    ]  # fmt: skip


def pulls() -> dict[str, list[Pull]]:
    """Six pulls in a balanced order; made up, with the cooler 1.2 % more."""
    rpm = np.linspace(2500, 6500, 81)
    random = np.random.default_rng(5)
    found: dict[str, list[Pull]] = {"warm fuel": [], "cooler": []}
    for at, letter in enumerate("bccbbc"):
        gain = 1.2 * (letter == "c") + random.normal(0, 0.15)
        kw = (60 + 120 * np.sin((rpm - 1500) / 5500 * np.pi / 2)) * (1 + gain / 100)
        found["cooler" if letter == "c" else "warm fuel"].append(Pull(f"pull {at + 1}", rpm, kw, kw * 1000 / (rpm * np.pi / 30)))
    return found


def sheets(demo: Path) -> Iterator[tuple[str, Report]]:
    """Name and report of every sheet, in US units."""
    compared, measured = compare_runs(runs(), "as built", Cell(MARGIN, "pump", "hot soak")), None
    measured = compare_pulls(pulls(), "warm fuel", order=[f"pull {at}" for at in range(1, 7)])
    yield "review", review.make(session.open(demo / "drive"), "us")
    yield "compare", comparison.make(compared, units="us")
    yield "power", power.make(measured, units="us")
    both = compare_pulls({"as built": pulls()["warm fuel"], "shield": pulls()["cooler"]}, "as built")
    yield "compare-power", comparison.make(compared, power=both, units="us")
    yield from forecasts_and_cooler(demo)


def forecasts_and_cooler(demo: Path) -> Iterator[tuple[str, Report]]:
    """What to try first and what two changes would do for the demo's drive; and a cooler, in a drive of the simulated car with one."""
    drive = session.open(demo / "drive")
    yield "try-first", forecast.try_first(drive, first.try_first(of_session(drive)), US)
    asked = [
        Change("a cooler before the carb inlet", cooler_effectiveness=0.6, cooler_before="carb_inlet"),
        Change("a day 10 °F hotter", hotter_degc=10 / 1.8),
    ]
    yield "forecast", forecast.changes(drive, forecasts(drive, asked), US)
    truth = CarModel(replace(QUEUE, fixes=Fixes(cooler=Cooler(fan=True)))).truth.iloc[::4]
    places = ("tank", "pump", "carb_inlet")
    degc = truth[[f"{place}_probe_degc" for place in places]].to_numpy()
    about = {"ambient_degc": QUEUE.ambient_degc, "simulated": True}
    folder = written.write(demo / "cooled", EXAMPLE, places, degc, truth.engine_rpm.to_numpy(), about=about, period_ms=1000)
    cooled = session.open(folder)
    course = of_session(cooled)
    seen = line_cooler.in_session(course, "carb_inlet")
    yield "cooler", cooler.make(cooled, course, seen, [], US)


def first_page(page: Path, picture: Path, paper: str) -> int:
    """The first sheet of paper as a picture, all of Letter beside it; returns how many sheets there are."""
    pdf = html.write_pdf(page, picture.with_suffix(".pdf"), paper)
    subprocess.run(["pdftoppm", "-png", "-r", "118", "-l", "1", "-singlefile", pdf, picture.with_suffix("")], check=True)
    if paper == "letter":
        subprocess.run(["pdftoppm", "-png", "-r", "90", pdf, picture.with_suffix("")], check=True)
    told = subprocess.run(["pdfinfo", pdf], check=True, capture_output=True, text=True).stdout
    return int(told.split("Pages:")[1].split()[0])


def to_look_at(folder: Path, demo: Path) -> None:
    """Every sheet in every form in which it is used."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, report in sheets(demo):
        page = html.write(report.page, folder / f"{name}.html")
        pictures.write(report, folder / f"{name}-card.png")
        counts = [first_page(page, folder / f"{name}-{paper.lower()}.png", paper) for paper in ("letter", "A4")]
        with Image.open(folder / f"{name}-letter.png") as drawn:
            drawn.convert("L").save(folder / f"{name}-grey.png")
        _phone(report.page, folder / f"{name}-phone.png")
        print(f"{name}: {counts[0]} sheets of Letter, {counts[1]} of A4, {len(report.page.encode()) / 1000:.0f} kB")
    driven, _, _ = lapped.laps(demo / "laps", about={"simulated": True})
    around = lap_page.write(laps(driven), driven, folder / "laps.html", US)
    first_page(around, folder / "laps-letter.png", "letter")
    first_page(around, folder / "laps-A4.png", "A4")
    _phone(around.read_text(encoding="utf-8"), folder / "laps-phone.png")
    row = {"car": "made-up saloon", "session": "drive"}
    notes = notebook.write([row], lambda row: session.open(demo / "drive"), folder / "notebook.html", lambda _: US)
    first_page(notes, folder / "notebook-letter.png", "letter")
    _phone(notes.read_text(encoding="utf-8"), folder / "notebook-phone.png")


def _phone(page: str, picture: Path) -> None:
    with html.screenshot(page, _PHONE_PX, _PHONE_TALL) as file:
        shutil.copyfile(file, picture)


def for_the_readme(demo: Path) -> None:
    """Page one of the demo's review as it is printed, and the card of a comparison."""
    made = dict(sheets(demo))
    with tempfile.TemporaryDirectory() as folder:
        page = html.write(made["review"].page, Path(folder) / "review.html")
        first_page(page, Path(folder) / "review.png", "letter")
        pictures.write(made["compare"], Path(folder) / "compare.png")
        for name in ("review", "compare"):
            with Image.open(Path(folder) / f"{name}.png") as drawn:
                drawn.thumbnail((_PAGE_PX, 4 * _PAGE_PX))
                drawn.convert("RGB").quantize(_COLOURS[name], method=_KEEPS_HUES).save(HERE / f"{name}.png", optimize=True)


def main() -> None:
    """Make the pictures."""
    if html.browser() is None or shutil.which("pdftoppm") is None:
        sys.exit("this needs Chromium or Chrome, and pdftoppm (poppler-utils): install them and try again")
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder) / "demo"
        subprocess.run([sys.executable, "-m", "hotfuel", "demo", "--headless", "--out", str(demo)], check=True)
        if len(sys.argv) > 1:
            to_look_at(Path(sys.argv[1]), demo)
        else:
            for_the_readme(demo)


if __name__ == "__main__":
    main()

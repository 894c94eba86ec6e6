"""The number of sheets that a review takes and where the parts of a forecast stand, in the print: the demo's drive, with every text that a person can enter."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hotfuel import session
from hotfuel.car import EXAMPLE
from hotfuel.report import forecast, html, review
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.scenarios import Scenario
from hotfuel.study.drive.course import of_session
from hotfuel.study.line import first
from hotfuel.units import Shown

sys.path.insert(0, str(Path(__file__).parents[1] / "cli"))
from written import write

pytestmark = pytest.mark.slow
SHEETS_MOST = 5
PLACES = ("tank", "pump", "carb_inlet")
ABOUT = {
    "title": "Friday evening over the pass with the trailer behind",
    "customer": "Mr and Mrs Underhill",
    "shop": "Underhill Carburettors",
    "technician": "J. Doe",
    "venue": "Pass road",
    "weather": "sunny, light wind",
    "ambient_degc": 32.0,
    "complaint": "After a fast run in summer the engine dies at the first lights and does not start for a quarter of an hour. Once it ran it bucked for a "
    "mile. It began after the new exhaust was fitted in spring, and comes with every fuel.",
    "work_done": "Insulated the line from the pump to the carburettor, moved the hose 40 mm off the manifold, cleaned the strainer, fitted a new filter.",
}


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """The demo's car and drive with everything wired that its board can have except the barometer, whose chart shares a row with another."""
    truth = CarModel(Scenario()).truth.iloc[::4]
    degc = truth[[f"{place}_probe_degc" for place in PLACES]].to_numpy()
    where, counts = tmp_path_factory.mktemp("sheets") / "drive", {"battery": 22748, "fuel_pressure": 25777}
    write(where, EXAMPLE, PLACES, degc, truth.engine_rpm.to_numpy(), about=ABOUT, period_ms=1000, counts=counts)
    return session.open(where)


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_a_review_with_all_its_texts_is_five_sheets(opened, tmp_path, paper):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    pdf = html.write_pdf(html.write(review.render(opened), tmp_path / "review.html"), tmp_path / "review.pdf", paper)
    *sheets, rest = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout.split(
        "\f"
    )
    assert not rest.strip()
    assert len(sheets) <= SHEETS_MOST
    parts = (
        "Full-throttle pulls", "Where the fuel takes up its heat", "Warnings as they came", "engine speed, rpm", "fuel pressure (gauge), psi",
        "supply, V", "Hot stops", "Restarts", "Limits", "Session and versions",
    )  # fmt: skip
    for heading in parts:
        assert any(heading in sheet for sheet in sheets), heading
    assert "For the customer" in sheets[0] and "Complaint" in sheets[0]
    strip = next(sheet for sheet in sheets if "act: beyond its limit" in sheet)
    after = strip[strip.index("act: beyond its limit") :]
    rows = re.findall(r"^ +(carb inlet, behind the needle|carb inlet|pump)$", after, re.MULTILINE)
    assert len(rows) == len(set(rows)) >= 2, "each label of a chart appears once in the print"


@pytest.mark.parametrize("units", ["us", "si"])
def test_what_to_try_first_has_its_signature_on_its_first_sheet(opened, tmp_path, units):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    shown = Shown(units)
    report = forecast.try_first(opened, first.try_first(of_session(opened)), shown)
    paper = "letter" if units == "us" else "A4"
    pdf = html.write_pdf(html.write(report.page, tmp_path / "first.html"), tmp_path / "first.pdf", paper)
    sheets = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    for row in report.sheet.table.rows:
        assert row[1].split(" before ")[0] in sheets[0], row[1]
    assert "Place and date" in sheets[0]
    assert "Technical part" in sheets[1]

"""The power sheet: the answer first, one picture that shows 1 %, each caution once, the source of the columns last."""

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hotfuel.report import html, power_charts, power_words
from hotfuel.report import power as report
from hotfuel.study.power.facts import Facts
from hotfuel.study.power.power import compare_pulls
from hotfuel.study.power.pulls import Pull
from hotfuel.units import Shown

RPM = np.linspace(2500, 6500, 81)


def pulls(gain=1.2, order="bccbbc"):
    random = np.random.default_rng(5)

    def pull(name, percent):
        kw = (60 + 120 * np.sin((RPM - 1500) / 5500 * np.pi / 2)) * (1 + (percent + random.normal(0, 0.2)) / 100)
        return Pull(name, RPM, kw, kw * 1000 / (RPM * np.pi / 30), mapping=('rpm from "RPM"',), unit_check=1.0004,
                    facts=Facts(fuel_degc=40.0 - 20 * (percent > 0), intake_degc=25.0))  # fmt: skip

    found = {"bare": [], "cooler <b>": []}
    for at, letter in enumerate(order):
        found["bare" if letter == "b" else "cooler <b>"].append(pull(f"run{at}", gain if letter == "c" else 0.0))
    return found


def text_of(page):
    body = re.sub(r"<svg.*?</svg>", " ", page[page.index("<main>") : page.index("</main>")], flags=re.DOTALL)
    plain = re.sub(r"<[^>]+>", " ", body)
    for code, sign in (("&lt;", "<"), ("&gt;", ">"), ("&#39;", "'"), ("&#34;", '"'), ("&amp;", "&")):
        plain = plain.replace(code, sign)
    return re.sub(r"\s+", " ", plain)


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_answer_comes_first_and_provenance_last(units):
    result = compare_pulls(pulls(), "bare")
    text = text_of(report.render(result, units=units))
    (gain,) = result.gains
    assert gain.verdict == "higher"
    sheet, technical = text.split("Technical part")
    told = re.sub(r"\s+", " ", power_words.finding(result, Shown(units)))
    assert sheet.index(told[0].upper() + told[1:]) < sheet.index("Peak power") < sheet.index("Please read")
    shown = Shown(units)
    for said in result.said:
        assert shown.text(said.power_kw.value, "power") in sheet
        assert shown.text(said.torque_nm.value, "torque") in sheet
        assert shown.text(said.fuel_degc, "temperature") in sheet
    assert "read from" not in sheet.casefold()
    assert technical.index("How it was worked out") < technical.index("Where each column came from")
    assert technical.rstrip().split("Where each column came from")[1].count("1.000") == 1  # equal pulls in one row
    assert f"{gain.gain_percent:+.2f} %".replace("-", "−") in technical


def test_each_caution_is_given_once_and_nothing_is_promised():
    page = report.render(compare_pulls(pulls(), "bare"))
    text = text_of(page)
    for caution in report._CAUTIONS:
        assert text.count(caution) == 1
    assert text.count("No weather was given") == 1
    assert "sleeve <b>" not in page
    assert "cooler &lt;b&gt;" in page
    assert not re.search(r"\b(safe|OK|guaranteed)\b", text, re.IGNORECASE)
    assert len(page) < 150_000


def drawn(result, units="si"):
    """For each frame: the text, and the lines read back from their paths in the scale's own units: name -> (rpm, values)."""
    found = {}
    for name, chart in power_charts.charts(result, Shown(units)).items():
        root = ET.fromstring(str(chart.svg()))
        x0, low, x1, high = map(float, root.get("data-x").split()[:4])
        y0, bottom, y1, top = map(float, root.get("data-y").split())
        lines = {}
        for path in root.iter("path"):
            if path.get("class") == "line":
                steps = np.array(
                    [[float(n) for n in re.findall(r"-?[.\d]+", step)[:2]] for step in re.split("[Ml]", path.get("d"))[1:]]
                )
                px, py = np.cumsum(steps, axis=0).T
                lines[path.get("data-name")] = (
                    low + (px - x0) * (high - low) / (x1 - x0),
                    bottom + (py - y0) * (top - bottom) / (y1 - y0),
                )
        found[name] = (root, lines, (bottom, top))
    return found


def test_the_picture_holds_the_numbers_it_states():
    """Read back from the SVG: the gain's line is where the gain is on its scale, and 1 % is more than a tenth of the frame's height."""
    result = compare_pulls(pulls(), "bare")
    frames = drawn(result)
    texts, ids = [], []
    for root, _, _ in frames.values():
        assert root.get("role") == "img"
        texts += ["".join(node.itertext()).strip() for node in root.iter() if node.tag.endswith("text")]
        ids += [node.get("id") for node in root.iter() if node.get("id")]
    for label in ("power, kW", "torque, Nm", "engine speed, rpm", "gain over bare, %"):
        assert label in texts
    assert len(ids) == len(set(ids))
    root, lines, (bottom, top) = frames["gain"]
    assert "cooler <b> over bare between" in root.get("aria-label")
    assert 1 / (top - bottom) > 0.1
    (gain,) = result.gains
    rpm, values = lines["cooler <b>"]
    assert values == pytest.approx(np.interp(rpm, gain.rpm, gain.curve_percent), abs=0.02)
    assert set(frames["power"][1]) == set(frames["torque"][1]) == {"bare", "cooler <b>"}
    for name, of in (("power", lambda curve: curve.mean_kw), ("torque", lambda curve: curve.torque_nm(curve.mean_kw))):
        root, lines, (bottom, top) = frames[name]
        rpm, values = lines["bare"]
        assert values == pytest.approx(np.interp(rpm, result.curves[0].rpm, of(result.curves[0])), abs=0.01 * (top - bottom))
        assert sum(path.get("class") == "hair" for path in root.iter("path")) == 6  # each pull thin over the two means


def test_the_legend_names_the_variants_and_counts_their_pulls():
    text = text_of(report.render(compare_pulls(pulls(), "bare")))
    assert "bare (3)" in text
    assert "cooler <b> (3)" in text


def test_a_wide_band_does_not_hide_one_per_cent():
    _, _, (low, high) = drawn(compare_pulls(pulls(order="bcb"), "bare"), "us")["gain"]
    assert high - low <= 14


def test_single_pulls_have_a_picture_without_a_band():
    one = compare_pulls(pulls(order="bc"), "bare")
    text = text_of(report.render(one))
    assert "driven in turn, if pulls of one side differ by 0.5 %" in text
    assert "not tested" in text


@pytest.mark.parametrize(("order", "units"), [("bccbbc", "us"), ("bc", "si")])
def test_the_customers_sheet_is_one_page(tmp_path, order, units):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    result = compare_pulls(pulls(order=order), "bare")
    report.write(result, tmp_path / "p.html", units=units, pdf=tmp_path / "p.pdf")
    pages = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "p.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout.split("\f")
    for there in ("Peak power", "Please read", "Place and date"):
        assert there in pages[0], there
    assert "Technical part" in pages[1]


def test_days_and_air_of_the_pulls_are_among_the_conditions(drive):
    from dataclasses import replace
    from datetime import datetime

    from hotfuel.report import sheet
    from hotfuel.study.power.correction import Weather

    sides = pulls()
    for number, pull in enumerate(pull for each in sides.values() for pull in each):
        air = Weather(97.0 + 0.1 * number, 24.0 + number, 1.2)
        facts = replace(pull.facts, driven_at=datetime(2026, 10, 3 + number // 3, 12, number), weather=air)
        object.__setattr__(pull, "facts", facts)
    result = compare_pulls(sides, "bare", already_corrected=True)
    said = text_of(report.render(result))
    first = said[: said.index("Technical part")]
    assert "Pulled from 3 October 2026 to 4 October 2026." in first
    assert "Air at the intake: 97.0 kPa to 97.5 kPa, 24 °C to 29 °C." in first
    assert "do not say on which day" in text_of(report.render(compare_pulls(pulls(), "bare")))
    (line,) = sheet.driven([drive], Shown("us"))
    assert re.fullmatch(r"Driven on \d+ \w+ \d{4}; outside air 75 °F; altitude about 1969 ft; fuel: .+\.", line), line

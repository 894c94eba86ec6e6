"""The comparison's page renders the study's results word for word and number for number."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hotfuel.report import comparison, html, words
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.power.power import compare_pulls
from hotfuel.units import Shown

sys.path.insert(0, str(Path(__file__).parent))
from made_studies import HOT_SOAK, pulls, runs


def text_of(page):
    """What a person reads."""
    body = page[page.index("<main>") : page.index("</main>")]
    plain = re.sub(r"<[^>]+>", " ", body)
    for code, sign in (("&lt;", "<"), ("&gt;", ">"), ("&#39;", "'"), ("&#34;", '"'), ("&amp;", "&")):
        plain = plain.replace(code, sign)
    return re.sub(r"\s+", " ", plain)


@pytest.mark.parametrize("units", ["si", "us"])
def test_finding_intervals_and_runs(units):
    result = compare_runs(runs(), "bare", HOT_SOAK, shown=Shown(units))
    text = text_of(comparison.render(result, units=units))
    shown = Shown(units)
    assert re.sub(r"\s+", " ", result.finding()) in text
    primary = result.answers[0]
    assert primary.verdict == "lower"
    for degc in (primary.difference_degc, primary.low_degc, primary.high_degc):
        assert shown.text(abs(degc), "temperature difference") in text
    assert words.change(primary, shown) in text
    for run in result.runs:
        assert run.name in text
    assert "+5.0 °C" in text or units == "us"  # the sleeve's margin, not its stored negative
    for caution in (*result.cautions, *result.conditions):
        assert re.sub(r"\s+", " ", caution) in text


def test_one_run_a_side_is_described_not_tested():
    result = compare_runs(runs(2), "bare", HOT_SOAK)
    text = text_of(comparison.render(result))
    assert "described, not tested" in text
    assert "one run on a side shows what happened that day" in text
    assert f"Drive in this order: {', '.join(result.proposed_order)}." in text


def test_temperature_and_power_on_one_sheet():
    power = compare_pulls(pulls(), "bare")
    result = compare_runs(runs(), "bare", HOT_SOAK)
    both = text_of(comparison.render(result, power=power))
    sheet = both[: both.index("Technical part")]
    assert result.finding() in sheet
    assert re.sub(r"\s+", " ", power.finding()) in sheet
    assert "bare: 3 runs, 4 pulls" in sheet
    assert f"{Shown('si').text(power.said[1].power_kw.value, 'power')} at 6400 rpm" in sheet
    assert "gain over bare, %" in both[both.index("Technical part") :]  # the curves, with the gain beneath them
    assert "separable from mixture:" not in both  # the headline says what cannot be told apart, nothing says it again


def test_names_are_escaped_and_nothing_is_loaded():
    page = comparison.render(compare_runs(runs(), "bare", HOT_SOAK), power=compare_pulls(pulls(), "bare"))
    body = page[page.index("<main>") : page.index("</main>")]
    assert "sleeve <b>" not in body
    assert "sleeve &lt;b&gt;" in body
    assert not re.search(r"(src|href)=(?!\"#)", body)  # only the drawing's own parts are referred to
    for word in (r"\bOK\b", r"\bsafe", r"\bgreen\b"):
        assert not re.search(word, text_of(page), re.IGNORECASE), word


def test_the_sessions_tell_customer_and_work(drive):
    result = compare_runs(runs(), "bare", HOT_SOAK)
    text = text_of(comparison.render(result, {"bare": [drive], "sleeve <b>": [drive]}))
    assert 'for A. "Driver" & Son' in text
    assert "Hose moved off the manifold." in text
    assert "149 readings are missing" in text


def test_temperature_and_power_fit_one_sheet_of_paper(tmp_path):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    pdf = tmp_path / "both.pdf"
    comparison.write(
        compare_runs(runs(), "bare", HOT_SOAK), tmp_path / "both.html", power=compare_pulls(pulls(), "bare"), units="us", pdf=pdf
    )
    pages = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    for there in ("What to do next", "What was done", "Please read", "Place and date"):
        assert there in pages[0], there
    assert "Technical part" in pages[1]

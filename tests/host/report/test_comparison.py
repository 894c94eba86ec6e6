"""The comparison's page shows the study's results word for word and number for number."""

import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import drawsvg
import numpy as np
import pytest
from hotfuel.report import beside, compare_words, comparison, html, pictures, power_words, study_figures, words
from hotfuel.report.chart import NARROW_PX, WIDTH_PX
from hotfuel.study.evidence.verdicts import UNDECIDED
from hotfuel.study.fixes.answers import Planned
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.fitted import Fitted, questions
from hotfuel.study.fixes.lacking import Unanswered
from hotfuel.study.fixes.summaries import MEAN, Cell, Run
from hotfuel.study.power.power import compare_pulls
from hotfuel.units import Shown

sys.path.insert(0, str(Path(__file__).parent))
from made_studies import HOT_SOAK, pulls, runs


def text_of(page):
    """The text that a person reads."""
    body = page[page.index("<main>") : page.index("</main>")]
    plain = re.sub(r"<[^>]+>", " ", body)
    for code, sign in (("&lt;", "<"), ("&gt;", ">"), ("&#39;", "'"), ("&#34;", '"'), ("&amp;", "&")):
        plain = plain.replace(code, sign)
    return re.sub(r"\s+", " ", plain)


def test_the_technical_part_has_its_title_once():
    page = comparison.render(compare_runs(runs(), "bare", HOT_SOAK))
    technical = page[page.index('id="technical"') :]
    assert technical.count("With and without: bare, sleeve &lt;b&gt;") == 1
    assert "<h2>Technical part</h2><span>With and without: bare, sleeve" in technical


def test_the_runs_name_the_places_that_were_not_read():
    made = runs()
    plain = comparison.render(compare_runs(made, "bare", HOT_SOAK))
    assert "Not read" not in plain
    made[1] = replace(made[1], unread_s={"carb_inlet": 754.0, "tank": np.nan})
    result = compare_runs(made, "bare", HOT_SOAK)
    page = comparison.render(result).replace("\N{NO-BREAK SPACE}", " ")
    assert '<th scope="col">Not read</th>' in page and "<td>carb inlet for 12 min 34 s and tank</td>" in page
    assert result.as_dict()["unread"] == [
        {"run": "run 1", "variant": "sleeve <b>", "place": "carb_inlet", "seconds": 754.0},
        {"run": "run 1", "variant": "sleeve <b>", "place": "tank", "seconds": None},
    ]


@pytest.mark.parametrize("units", ["si", "us"])
def test_finding_intervals_and_runs(units):
    result = compare_runs(runs(), "bare", HOT_SOAK)
    text = text_of(comparison.render(result, units=units))
    shown = Shown(units)
    plain = compare_words.finding(result, shown).replace("hot soak, smallest margin", "hot stop, least room to boiling")
    assert "hot stop" in plain
    assert re.sub(r"\s+", " ", plain) in text
    primary = result.answers[0]
    assert primary.verdict == "higher"
    for degc in (primary.difference_degc, primary.low_degc, primary.high_degc):
        assert shown.text(abs(degc), "temperature difference") in text
    assert words.change(primary, shown) in text
    for run in result.runs:
        assert run.name in text
    assert "+5.0 °C" in text or units == "us"  # the sleeve's margin
    for caution in (*compare_words.cautions(result, shown), *compare_words.conditions(result, shown)):
        assert re.sub(r"\s+", " ", caution) in text


def test_one_run_a_side_is_described_not_tested():
    result = compare_runs(runs(2), "bare", HOT_SOAK)
    text = text_of(comparison.render(result))
    assert "described, not tested" in text
    assert "one run on a side shows what happened that day" in text
    assert f"Drive in this order: {', '.join(result.proposed_order)}." in text


def test_a_question_without_runs_is_reported_as_large_as_an_answer():
    why = "No verdict on what ice can did at the carb inlet: it was asked of the full-throttle pull, and run 1 has no reading there."
    asked = Unanswered(Cell(MEAN, "carb_inlet", "full-throttle pull"), ("ice can",), ("run 1",), ("drive", "hot soak"))
    result = replace(compare_runs(runs(), "bare", HOT_SOAK), unanswered=(asked,))
    made = comparison.make(result)
    assert made.sheet.headlines[0] == "No verdict on what ice can did at the carb inlet."
    assert made.sheet.headlines[1].startswith("Sleeve <b> left 8.0 °C more room")
    assert why in text_of(made.page)


@pytest.mark.parametrize("width", [WIDTH_PX, NARROW_PX])
def test_no_vertical_line_crosses_a_label(width):
    """Of the runs, of the differences, and of a complaint's places; text extents are estimated from the usual size of letters."""
    result = compare_runs(runs(), "bare", HOT_SOAK)
    charts = [study_figures.runs(result, Shown("us"), width), study_figures.intervals(result.answers, 3.0, Shown("us"))]
    for chart in charts:
        drawn = re.findall(r'd="M([\d.]+),([\d.]+) L([\d.]+),([\d.]+)"', chart.svg())
        lines = [one for found in drawn if (one := tuple(map(float, found)))[0] == one[2]]  # x, y of both ends, from the top down
        texts = [one for one in chart.over if isinstance(one, drawsvg.Text)]
        assert lines
        assert len(texts) >= 2
        for text in texts:
            left, foot = float(text.args["x"]), float(text.args["y"])
            right = left + 6.0 * len(text.escaped_text)
            crossed = [(x, top, low) for x, top, _, low in lines if left <= x <= right and top < foot - 1 and low > foot - 8]
            assert not crossed, text.escaped_text


def test_temperature_and_power_on_one_sheet():
    power = compare_pulls(pulls(), "bare")
    result = compare_runs(runs(), "bare", HOT_SOAK)
    both = text_of(comparison.render(result, power=power))
    sheet = both[: both.index("Technical part")]
    assert (
        compare_words.finding(result, Shown("si")).replace("hot soak, smallest margin", "hot stop, least room to boiling")
        in sheet
    )
    assert re.sub(r"\s+", " ", power_words.finding(power, Shown("si"))) in sheet
    assert "bare: 3 runs, 4 pulls" in sheet
    assert f"{Shown('si').text(power.said[1].power_kw.value, 'power')} at 6400 rpm" in sheet
    assert "gain over bare, %" in both[both.index("Technical part") :]  # the curves, with the gain below them
    assert "separable from mixture:" not in both  # the headline says what cannot be distinguished, and nothing repeats it


def test_variants_are_side_by_side_at_every_place_and_phase():
    """The intervals of what was asked hold jointly, the others singly; a place before the fix is marked."""
    asked, other, before = Cell(MEAN, "carb_inlet", "drive"), Cell(MEAN, "pump", "drive"), Cell(MEAN, "tank", "drive")
    three = [
        Run(f"{name} {n}", name, f"{name} {n}", {asked: degc + 0.3 * n, other: 40 + 0.2 * (n % 2), before: 30 + 0.1 * (n % 3)}, {}, ambient_degc=24.0)
        for name, degc in (("bare", 60.0), ("ice can", 40.0), ("cooler", 55.0))
        for n in range(4)
    ]  # fmt: skip
    fitted = {"ice can": Fitted("ice", "carb_inlet"), "cooler": Fitted("cooler", "carb_inlet")}
    result = compare_runs(three, "bare", questions=questions(fitted, ("tank", "pump", "carb_inlet"), phase="drive")[0])
    made = beside.side_by_side(result, None, {"ice can": "8 lb of ice an hour"}, Shown("si"))
    assert list(made.head) == ["Against bare", "ice can", "cooler"]
    rows = {row[0]: row[1:] for row in made.rows}
    assert list(rows) == ["carb inlet, drive: mean", "Needs", "May be the best (bare: no)"]
    for told, size in zip(rows["carb inlet, drive: mean"], ("20.0 °C cooler (", "5.0 °C cooler ("), strict=True):
        assert told.startswith(size)
        assert told.endswith("), asked")
    assert rows["Needs"] == ("8 lb of ice an hour", "")
    assert rows["May be the best (bare: no)"] == ("yes", "no")
    behind = {"ice can": Fitted("ice", "carb_inlet"), "cooler": Fitted("cooler", "pump")}
    result = compare_runs(three, "bare", questions=questions(behind, ("tank", "pump", "carb_inlet"), phase="drive")[0])
    rows = {row[0]: row[1:] for row in beside.side_by_side(result, None, {}, Shown("si")).rows}
    assert rows["pump, drive: mean"][0] == "lies before it"
    assert rows["pump, drive: mean"][1].endswith(", asked")
    assert rows["carb inlet, drive: mean"][1].endswith(", not asked")


def test_names_are_escaped_and_nothing_is_loaded():
    page = comparison.render(compare_runs(runs(), "bare", HOT_SOAK), power=compare_pulls(pulls(), "bare"))
    body = page[page.index("<main>") : page.index("</main>")]
    assert "sleeve <b>" not in body
    assert "sleeve &lt;b&gt;" in body
    assert not re.search(r"(src|href)=(?!\"#)", body)  # only the drawing's own parts are referred to
    for word in (r"\bOK\b", r"\bsafe", r"\bgreen\b"):
        assert not re.search(word, text_of(page), re.IGNORECASE), word


def test_the_sessions_give_customer_and_work(drive):
    result = compare_runs(runs(), "bare", HOT_SOAK)
    text = text_of(comparison.render(result, {"bare": [drive], "sleeve <b>": [drive]}))
    assert 'for A. "Driver" & Son' in text
    assert "Hose moved off the manifold." in text
    assert "149 readings are missing" in text
    when, air, height, fuel = "driven on ", "outside air ", "altitude about ", "fuel: "
    conditions = text[text.index("Conditions") :].casefold()
    assert 0 < conditions.index(when) < conditions.index(air) < conditions.index(height) < conditions.index(fuel)


def test_no_difference_is_reported_as_such():
    result = compare_runs(runs(), "bare", HOT_SOAK)
    said = "No difference in the conditions was found among those that are recorded."
    assert result.conditions == ()
    assert said in text_of(comparison.render(result))
    warmer = [replace(run, ambient_degc=run.ambient_degc + (9 if run.variant == "bare" else 0)) for run in runs()]
    assert said not in text_of(comparison.render(compare_runs(warmer, "bare", HOT_SOAK)))


def test_paper_shows_no_command_line_options():
    """What is missing is described in words a customer can read; the command line adds its options."""
    missing = questions({"sleeve <b>": Fitted("cooler", "pump", guessed=True)}, ("tank", "pump"))[0]
    result = compare_runs(runs(), "bare", questions=missing)
    assert result.unanswered
    text = text_of(comparison.render(result))
    assert "Drive a full-throttle pull in every run, or name another phase." in text
    assert not re.search(r"(^|\s|\()--?[a-z]", text)
    assert not re.search(r"hotfuel [a-z]+ ", text.partition("Made with")[0])


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


def test_the_card_gives_the_reason_for_no_verdict():
    """Baseline first on each of four days: the reason is on the card, and first among the weaknesses of the finding."""
    cell = Cell(MEAN, "carb_inlet", "full-throttle pull")
    driven = [
        Run(
            f"{v}{day}",
            v,
            f"{v}{day}",
            {cell: 60.0 + 2 * i + 0.1 * day * (1 + i)},
            {},
            start_s=86400.0 * day + 3600 * i,
            ambient_degc=25.0,
            day=str(day),
        )
        for day in range(4)
        for i, v in enumerate(("bare", "sleeve"))
    ]
    made = comparison.make(compare_runs(driven, "bare", cell))
    reason = "No verdict on sleeve: bare was driven first on every day, and a car still warm from the run before looks like the change."
    assert made.sheet.weakens[0] == reason
    card = re.sub(r"\s+", " ", pictures.page(made, [], with_card=True).replace("\u00a0", " "))
    assert reason in card
    decided = comparison.make(compare_runs(runs(), "bare", HOT_SOAK))
    assert not decided.sheet.reasons


def test_a_planned_day_that_stays_undecided_asks_for_a_plan_of_its_own():
    """It asked for more runs of the same plan, which may not be looked at again."""
    result = compare_runs(runs(), "bare", HOT_SOAK)
    answers = tuple(replace(one, verdict=UNDECIDED) for one in result.answers)
    steps = compare_words.next_steps(replace(result, answers=answers, questions=(Planned(HOT_SOAK, 3, 3),)), None, ())
    assert steps == ["What is undecided after the last block stays so by this plan: more runs need a plan of their own."]

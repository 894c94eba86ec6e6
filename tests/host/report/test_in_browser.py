"""The reports in a real browser: tooltips on every chart are correct, zooming works, and nothing is missing without JavaScript."""

import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hotfuel.fuel.named import fuel_named
from hotfuel.report import comparison, figures, html, pictures
from hotfuel.report import power as power_report
from hotfuel.risk.limits_card import altitude_curves
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.power.power import compare_pulls
from hotfuel.units import Shown

sys.path.insert(0, str(Path(__file__).parent))
import made_studies as made

pytestmark = pytest.mark.slow
playwright = pytest.importorskip("playwright.sync_api")
if html.browser() is None:
    pytest.skip("needs Chromium", allow_module_level=True)
OPTIONS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
# For every line of every chart: its name, and a point a third of the way along, on the screen and as it was drawn.
POINTS = """() => [...document.querySelectorAll("svg.chart")].flatMap((svg) => [...svg.querySelectorAll("path.line")].map((path) => {
  const at = path.getPointAtLength(path.getTotalLength() / 3), screen = at.matrixTransform(svg.getScreenCTM());
  svg.scrollIntoView({block: "center"});
  const now = at.matrixTransform(svg.getScreenCTM());
  return {chart: [...document.querySelectorAll("svg.chart")].indexOf(svg), name: path.dataset.name, x: at.x, y: at.y, top: scrollY + now.y, left: now.x,
          scale: svg.dataset};
}))"""


@pytest.fixture(scope="module")
def chromium():
    with playwright.sync_playwright() as started:
        program = started.chromium.launch(executable_path=shutil.which(html.browser()), args=OPTIONS)
        yield program
        program.close()


@pytest.fixture(scope="module")
def pages(drive_page, tmp_path_factory):
    folder = tmp_path_factory.mktemp("looked at")
    result = compare_runs(made.runs(), "bare", made.HOT_SOAK)
    power = compare_pulls(made.pulls(), "bare")
    curves = altitude_curves({name: fuel_named(name) for name in ("D4814 A-1", "D4814 C-3")})
    return {
        "review": html.write(drive_page, folder / "review.html"),
        "compare": html.write(comparison.render(result, power=power, units="us"), folder / "compare.html"),
        "power": html.write(power_report.render(power, units="us"), folder / "power.html"),
        "limits": html.write_figure(folder / "limits.html", figures.altitude(curves, Shown("si"), 1600.0), "limits"),
    }


def opened(chromium, path, **options):
    page = chromium.new_page(viewport={"width": 900, "height": 800}, **options)
    page.set_default_timeout(90_000)  # s for a busy machine
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda asked: complaints.append(asked.url) if asked.url != path.as_uri() else None)
    page.goto(path.as_uri())
    return page, complaints


def number(text):
    return float(text.replace("−", "-"))


@pytest.mark.parametrize("which", ["review", "compare", "power", "limits"])
def test_every_line_has_a_tooltip_with_name_value_unit_and_place(chromium, pages, which):
    page, complaints = opened(chromium, pages[which])
    seen = page.evaluate(POINTS)
    assert len(seen) >= {"review": 12, "compare": 5, "power": 5, "limits": 4}[which]
    for one in seen:
        page.evaluate("top => scrollTo(0, top - 400)", one["top"])
        page.mouse.move(one["left"], one["top"] - page.evaluate("scrollY"))
        told = page.locator(".under").inner_text()
        match = re.fullmatch(r"(.+): (−?[\d.]+) (°F|°C|rpm|psi|kPa|V|hp|lb-ft|%) at ([\d:]+)( rpm| ft| m)?", told)
        assert match, (one, told)
        low_px, low, high_px, high = map(float, one["scale"]["y"].split())
        each = (high - low) / (low_px - high_px)
        expected = low + (low_px - one["y"]) * each
        same = match[1] == one["name"]
        assert same or which == "review", (told, one["name"])  # where two lines cross, either is correct
        if same and which != "review":
            assert abs(number(match[2]) - expected) <= 0.06 + 1.5 * abs(each), (told, expected)
    assert not complaints
    page.close()


def test_the_tooltip_of_a_reading_is_the_sessions_own_value(chromium, pages, drive):
    page, _ = opened(chromium, pages["review"])
    degf = Shown("us").value(drive.temperatures()["tank_degc"].to_numpy(), "temperature")
    clock = (drive.ticks.index + np.timedelta64(7200, "s")).strftime("%H:%M:%S").to_numpy()
    chosen = [one for one in page.evaluate(POINTS) if one["name"] == "tank"]
    assert chosen
    for one in chosen[:3]:
        page.evaluate("top => scrollTo(0, top - 400)", one["top"])
        page.mouse.move(one["left"], one["top"] - page.evaluate("scrollY"))
        name, value, _, moment = re.fullmatch(r"(.+): (\S+) (\S+) at (\S+)", page.locator(".under").inner_text()).groups()
        there = degf[clock == moment]
        if name == "tank" and "overview-margins" not in str(one):
            assert there.min() - 0.2 <= number(value) <= there.max() + 0.2
            break
    else:
        pytest.fail("no line of the tank's temperature was under the pointer")
    page.close()


def test_marks_bars_and_runs_have_tooltips(chromium, pages):
    for which, least in (("review", 1), ("compare", 8), ("limits", 2)):
        page, _ = opened(chromium, pages[which])
        shapes = page.locator("[data-tip]")
        assert shapes.count() >= least
        known = shapes.evaluate_all("all => all.map(one => one.dataset.tip)")
        for number_ in range(0, len(known), 1 + len(known) // 6):
            shapes.nth(number_).hover(force=True)
            told = page.locator(".under").inner_text()
            assert told in known  # of two that overlap either
            assert told
            assert "NaN" not in told
        page.close()


def test_zooming_into_a_span_and_back(chromium, pages):
    page, complaints = opened(chromium, pages["review"])
    chart = page.locator("svg.chart").first
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    labels = "() => [...document.querySelector('svg.chart[data-x$=clock] .along text').parentNode.querySelectorAll('text')].map(t => t.textContent)"
    before = page.evaluate(labels)
    page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.5)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
    page.mouse.up()
    after = page.evaluate(labels)
    assert after != before
    assert page.locator(".moves[transform]").count() >= 3
    page.mouse.dblclick(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
    assert page.evaluate(labels) == before
    assert not complaints
    page.close()


@pytest.mark.parametrize("which", ["review", "compare", "power", "limits"])
def test_axe_finds_nothing(chromium, pages, which):
    """The accessibility rules of axe-core, https://dequeuniversity.com/rules/axe."""
    axe = Path(pytest.importorskip("axe_playwright_python").__file__).parent / "axe.min.js"
    page, _ = opened(chromium, pages[which])
    page.evaluate(axe.read_text(encoding="utf-8"))
    found = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    assert len(found["passes"]) > 15
    assert [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found["violations"]] == []
    page.close()


def test_without_a_script_every_chart_is_there(chromium, pages):
    context = chromium.new_context(java_script_enabled=False)
    for path in pages.values():
        page = context.new_page()
        page.goto(path.as_uri())
        charts = page.locator("svg.chart")
        assert charts.count() >= 1
        for number_ in range(charts.count()):
            box = charts.nth(number_).bounding_box()
            assert box["width"] > 300
            assert box["height"] > 40
            assert len(charts.nth(number_).get_attribute("aria-label")) > 15
        page.close()
    context.close()


def test_on_a_phone_the_last_column_and_a_long_name_are_not_cut_off(chromium):
    """The customer's table lost its column "Change" at 390 px, the notebook half of its car's name."""
    css = (Path(html.__file__).parent / "page.css").read_text(encoding="utf-8")
    heads = "".join(
        f"<th{n}>{head}</th>"
        for head, n in (("Place", ""), ("Hottest then", " class=n"), ("Room then", ""), ("Hottest now", " class=n"))
    )
    cells = "<th>carb inlet (aimed at)</th><td class=n>182 °F</td><td>85 °F beyond, ±10 °F</td><td class=n>158 °F</td><td>61 °F beyond, ±9 °F</td>"
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.set_content(
        f"<style>{css}</style><main><section class=sheet><h2 class=big>68 coupe, 390 V8, customer Meyer</h2><div class=scroll><table><thead><tr>{heads}"
        f"<th>Room now</th><th>Change</th></tr></thead><tbody><tr>{cells}<td>24 °F more room, ±14 °F</td></tr></tbody></table></div></section></main>"
    )
    edges = "() => ['h2', '.scroll', 'table'].map(name => document.querySelector(name)).map(e => [e.scrollWidth, e.clientWidth])"
    for wide, there in page.evaluate(edges):
        assert wide <= there <= 390
    page.close()


# Every text with a letter or a digit in it: its content and its height on the screen.
PRINT = """() => { const found = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) { const text = walk.currentNode.textContent.trim(), of = walk.currentNode.parentElement;
    if (!/[\\p{L}\\d]/u.test(text) || !of.getClientRects().length) continue;
    const svg = of.closest("svg.chart"), scale = svg ? svg.getScreenCTM().a : 1;
    const box = of.getBoundingClientRect();
    found.push([text, parseFloat(getComputedStyle(of).fontSize) * scale, box.left, box.right]); }
  return found; }"""


def test_no_text_on_a_card_or_a_chart_to_send_is_smaller_than_34_px_or_cut_off(chromium, drive_report):
    made_ = [
        drive_report,
        comparison.make(compare_runs(made.runs(), "bare", made.HOT_SOAK), units="us"),
        power_report.make(compare_pulls(made.pulls(), "bare"), units="us"),
    ]
    page = chromium.new_page(viewport={"width": pictures.WIDTH, "height": 900})
    for report in made_:
        page.set_content(pictures.page(report, list(report.figures.values()), True))
        seen = page.evaluate(PRINT)
        assert report.sheet.headlines[0] in {text.replace("\u00a0", " ") for text, *_ in seen}
        assert len(seen) > 15
        for text, size, left, right in seen:
            assert size >= pictures.LEAST_TEXT - 0.01, (text, size)
            assert left >= 0, text
            assert right <= pictures.WIDTH, text
    page.close()


def test_the_pictures_are_upright_and_complete(drive_report, tmp_path):
    from PIL import Image

    report = drive_report
    names = pictures.write(report, tmp_path / "sunday.png")
    assert len(names) == 1 + len(report.figures)
    assert names[0].name == "sunday.png"
    assert "sunday-picture.png" in {name.name for name in names}
    for name in names:
        with Image.open(name) as drawn:
            assert drawn.width == pictures.WIDTH
            assert not (np.asarray(drawn.convert("RGB")) == (255, 0, 255)).all(axis=2).any()
            if name == names[0]:
                assert drawn.height > drawn.width
    for name in names:
        html.target(name, ".png")  # our own files may be overwritten
    before = [name.stat().st_mtime_ns for name in names]
    again = pictures.write(replace(report, figures=dict([*report.figures.items()][:1])), tmp_path / "sunday.png")  # and are
    assert again == names[:2]
    assert [name.stat().st_mtime_ns > at for name, at in zip(names, before, strict=True)] == [True] * 2 + [False] * (
        len(names) - 2
    )

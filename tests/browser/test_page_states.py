"""The page in every state: text, charts, what a screen reader speaks, what the keyboard reaches, what the accessibility rules find."""

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import live_rig as rig

if rig.missing():
    pytest.skip(rig.missing(), allow_module_level=True)
import fed_page
from fed_page import FedPage

EVERY = (*fed_page.SCENES, *fed_page.OWN)


# What each state must say, at any size.
@pytest.mark.parametrize(("scene", "key", "word"), [
    ("quiet", "quiet", "no warning"), ("ahead", "ahead", "limit ahead"), ("warn", "warn", "warn"), ("act", "act", "act"),
    ("back", "back", "was beyond"), ("lost", "lost", "sensor lost"), ("act and lost", "act", "act"), ("low pressure", "act", "act"),
])  # fmt: skip
def test_each_state_leads_with_its_word(seen, scene, key, word):
    seen.look(scene)
    assert seen.page.get_attribute("#head", "data-key") == key
    assert seen.page.text_content("#head-word") == word


def test_the_headline_says_why_there_is_no_number(seen):
    seen.look("low pressure")
    assert seen.page.inner_text("#head-lost") == "pressure too low for a limit"
    warmth = seen.page.inner_text("#head-was")
    assert re.fullmatch(r"now \d+ °F", warmth)  # its sensor works, and the page says so
    assert warmth in seen.page.inner_text("[data-place=pump]")
    assert not seen.page.is_visible("[data-place=pump] .chart")
    seen.look("lost")
    assert seen.page.inner_text("#head-lost") == "the amplifier did not answer"
    seen.look("act and lost")
    assert re.match(r"was \d+ °F past, act, \d\d:\d\d:\d\d", seen.page.inner_text("#head-was"))


def test_a_part_of_the_board_that_could_not_start_is_named_in_the_headline_and_its_row(seen):
    seen.look("part failed")
    said = "part of the board could not start: its lamp gives no warning, it stores nothing; install the firmware again"
    assert said in seen.page.inner_text("#flags")
    assert "hotfuel board install" in seen.page.inner_text("#health-rows")


@pytest.mark.parametrize("scene", ["stale", "ended", "no word"])
def test_a_last_known_act_stays_act_until_the_recording_has_ended_and_no_number_looks_live(seen, scene):
    seen.look(scene)
    ended = scene == "ended"
    assert seen.page.get_attribute("#head", "data-key") == ("none" if ended else "act")
    assert seen.page.get_attribute("[data-place=pump]", "data-key") == ("none" if ended else "act")
    assert ("Pull over" in seen.page.inner_text("body")) == (not ended)
    assert (seen.page.inner_text("#head-short") == "recording has ended") == ended
    assert (seen.page.inner_text("[data-place=pump] .word") == "ended") == ended
    assert seen.page.inner_text("#head-margin") == "–"
    assert re.match(r"was \d+ °F past, act, \d\d:\d\d:\d\d", seen.page.inner_text("#head-was"))
    colours = seen.page.evaluate(
        "() => ['#head-was', '#head'].map(name => getComputedStyle(document.querySelector(name))).map(style => [style.color, style.opacity])"
    )
    assert colours[0] == colours[1]  # at full opacity
    # the hatching of act
    assert seen.page.evaluate("getComputedStyle(document.querySelector('#head')).backgroundImage !== 'none'") == (not ended)
    live = seen.page.evaluate(
        """() => [...document.querySelectorAll('.place :is(.margin, .temperature, .limit, .range, .trend, .eta, .history), '
             + '#head-range, #head-eta, #head-history, #health-rows dd')].map(e => e.textContent).filter(text => /\\d/.test(text))"""
    )
    assert live == []
    assert seen.page.evaluate(
        "['#forecast', '#restart', '#flags'].every(name => { const e = document.querySelector(name); return e.hidden || !e.children.length; })"
    )
    if scene != "ended":
        assert seen.page.inner_text("#alert-check") != ""  # what to check
    assert seen.page.is_enabled("#mark")
    assert seen.page.is_enabled("#end") == (scene == "stale")
    assert seen.page.is_visible("[data-place=pump] .quieting") == (scene != "ended")  # no button that cannot work
    assert (
        seen.page.inner_text("#end-why")
        == {"stale": "", "ended": "the recording has ended", "no word": "no word from the recording computer"}[scene]
    )


def test_only_a_current_reading_says_that_there_is_nothing_to_do(seen):
    for view, where in (("near", "#head-action"), ("far", "#head-short")):
        told = {}
        for name, scene, more in (
            ("fresh", "quiet", {}),
            ("stale", "stale after quiet", {}),
            ("ended", "quiet", {"live": False}),
        ):
            seen.look(scene, view=view, **more)
            assert seen.page.is_visible(where)
            told[name] = seen.page.inner_text(where)
            words = seen.page.evaluate("['#head-word', '.place .word'].map(name => document.querySelector(name).textContent)")
            assert words == 2 * [{"fresh": "no warning", "stale": "no reading", "ended": "ended"}[name]]
            if name == "stale":
                assert seen.page.inner_text("#alert-check") != ""  # what to check
        assert "othing to do now" in told["fresh"]
        assert re.search(r"assume (the fuel is )?hot", told["stale"])
        assert "ended" in told["ended"]
        assert "othing to do" not in told["stale"] + told["ended"]
    seen.look("stale")  # after an act the action stays shown
    assert seen.page.inner_text("#head-action") == seen.scenes["act"].panels["us"]["head"]["action"]


@pytest.fixture(scope="module")
def charted(chromium, scenes):
    """A page of its own with the charts drawn."""
    made = FedPage(chromium, scenes, charts=True).open()
    made.until("Boolean(window.Charts)", 60)
    made.look("hot stop")
    made.until("Charts.count() === document.querySelectorAll('.place[data-key] .limit:not(:empty)').length", 60)
    made.send("hot stop")
    yield made
    made.close()


def test_after_a_stop_there_is_a_countdown_with_its_band_and_a_chart_for_each_place(charted):
    seen = charted
    words = seen.page.inner_text("#restart")
    assert re.match(
        r"restart likely possible (from about \d\d:\d\d \(\d\d:\d\d (to \d\d:\d\d|or later)\), in \d+ min|not before \d\d:\d\d)",
        words,
    )
    made = seen.page.evaluate(
        """() => Bokeh.documents.map(model => {
             const figure = model.roots()[0], place = figure.name.slice(6), of = name => model.get_model_by_name(`${name} ${place}`).data;
             const [line, ahead] = ['margin', 'ahead'].map(name => figure.renderers.find(r => r.name === name).glyph);
             const value = property => String(property.value ?? property);
             return {
               place, points: of('points').margin.length, band: of('points').high.some((high, i) => high > of('points').margin[i]),
               end: of('end').text[0], ahead: of('ahead').x.length, zero: figure.center.some(item => item.name === 'zero' && item.location === 0),
               widths: [line, ahead].map(glyph => Number(value(glyph.line_width))), dashes: [line, ahead].map(glyph => value(glyph.line_dash)),
             };
           })"""
    )
    by_place = {chart["place"]: chart for chart in made}
    assert {"pump", "carb_inlet", "tank"} <= set(by_place)
    pump = by_place["pump"]
    assert pump["points"] > 200
    assert pump["band"]
    assert pump["zero"]
    assert pump["ahead"] > 3
    assert pump["end"] == seen.page.inner_text("[data-place=pump] .margin")
    assert pump["dashes"][0] != pump["dashes"][1]  # can be told apart without hue
    assert pump["widths"][0] > pump["widths"][1]


def test_when_readings_stop_no_chart_shows_a_number_or_a_forecast_until_they_are_back(charted):
    told = """() => Bokeh.documents.map(model => {
      const place = model.roots()[0].name.slice(6), of = name => model.get_model_by_name(`${name} ${place}`).data;
      return [of('end').text.length, of('ahead').x.length];
    })"""
    before = charted.page.evaluate(told)
    assert all(labels == 1 for labels, _ in before)
    assert any(path for _, path in before)
    charted.send("hot stop", age_s=7.3)
    assert charted.old()
    assert charted.page.evaluate(told) == [[0, 0]] * len(before)
    assert (
        charted.page.get_attribute("[data-place=pump] .chart", "aria-label")
        == "margin of the last minutes before readings stopped"
    )
    charted.send("hot stop")
    assert charted.page.evaluate(told) == before


def violations(page):
    """Violations that axe finds on the page: (rule, elements)."""
    axe = (Path(pytest.importorskip("axe_playwright_python").__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    if not page.evaluate("'axe' in window"):
        page.evaluate(axe)
    found = page.evaluate(
        """async () => {
             const told = await axe.run(document, { resultTypes: ['violations'] });
             return [told.passes.length, told.violations.map(rule => [rule.id, rule.nodes.map(node => node.target)])];
           }"""
    )
    assert found[0] > 10  # axe did run
    return found[1]


@pytest.mark.parametrize("scene", EVERY)
def test_axe_finds_nothing(seen, scene):
    for size, view, choice in (("laptop", "near", "day"), ("phone", "far", "night")):
        seen.look(scene, size, view=view, look=choice)
        assert violations(seen.page) == []


def test_axe_finds_nothing_in_the_charts(charted):
    assert violations(charted.page) == []


def test_one_top_level_heading_landmarks_and_names(seen):
    seen.look("many")
    found = seen.page.evaluate(
        "() => ['h1', 'main', 'header', 'footer', 'aside'].map(name => document.querySelectorAll(name).length)"
    )
    assert found == [1, 1, 1, 1, 1]
    snapshot = seen.page.locator("body").aria_snapshot()
    for words in (
        'button "Mark"',
        'button "stumbled"',
        'button "far view"',
        'textbox "own word for a mark"',
        'region "Places"',
        'complementary "Quiet and mark"',
    ):
        assert words in snapshot, words


def test_announcements_only_when_a_state_changes(chromium, scenes):
    made = FedPage(chromium, scenes)
    try:
        made.open("quiet")
        made.page.evaluate(
            """() => {
                 window.spoken = [];
                 new MutationObserver(() => window.spoken.push(document.querySelector('#spoken').textContent)).observe(document.querySelector('#spoken'),
                   { childList: true, characterData: true, subtree: true });
               }"""
        )
        for number in range(5):
            panel = made.scenes["quiet"].panels["us"]
            head = panel["head"] | {"margin": str(20 - number)}
            made.send(
                "quiet",
                head=head,
                time=f"11:00:0{number}",
                places=[panel["places"][0] | {"margin": head["margin"]}, *panel["places"][1:]],
            )
        assert made.page.evaluate("window.spoken") == []
        for scene in ("ahead", "ahead", "warn", "warn", "act", "act", "back", "quiet", "quiet"):
            made.send(scene)
        spoken = made.page.evaluate("window.spoken")
        assert [re.split(r"[,.]", words)[0] for words in spoken] == ["limit ahead", "warn", "act", "was beyond", "no warning"]
        assert "Do not open cap" in spoken[2]
        made.send("act")
        made.send("stale")
        made.send("stale", age_s=9.0)
        made.send("act")
        last = made.page.evaluate("window.spoken").__getitem__(slice(5, None))
        assert [re.split(r"[,.]", words)[0] for words in last] == ["act", "NOT CURRENT", "act"]
        assert re.search(r"was \d+ °F past, act", last[1])
        made.send("ended")
        assert re.match(r"This recording has ended\. was \d+", made.page.evaluate("window.spoken")[-1])  # no part of a time
        assert made.page.evaluate("document.querySelectorAll('[aria-live]:not(#spoken)').length") == 0
    finally:
        made.close()


def test_keyboard_alone_reaches_marks_quiet_views_and_the_end_and_focus_is_kept(chromium, scenes):
    made = FedPage(chromium, scenes)
    try:
        made.open("act")
        reached = set()
        for _ in range(60):
            made.page.keyboard.press("Tab")
            name = made.page.evaluate(
                "document.activeElement.id || document.activeElement.dataset.mark || document.activeElement.className"
            )
            ring = made.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert name == "" or ring != "none", name  # the focus is visible
            reached.add(name)
        assert {"sound", "view", "mark-text", "end", "quiet", "mark", "stumbled", "fan off", "first", "quieting"} <= reached
        made.page.focus("[data-place=tank] .first")
        made.send("warn", places=list(reversed(made.scenes["warn"].panels["us"]["places"])))
        made.send("act")
        assert made.page.evaluate("document.activeElement.closest('.place').dataset.place") == "tank"  # cards changed places
        made.page.keyboard.press("Enter")
        assert made.page.get_attribute("[data-place=tank] .first", "aria-expanded") == "true"
        made.page.focus("#mark")
        made.page.keyboard.press("Enter")
        rig.wait_for(lambda: made.page.evaluate("1") and [asked for asked in made.asked if asked["kind"] == "mark"])
    finally:
        made.close()

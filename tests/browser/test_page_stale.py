"""When the page says that it is out of date, by its own clock; and what it shows before the first message, without JavaScript, and on a slow network."""

import re
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import live_rig as rig

if rig.missing():
    pytest.skip(rig.missing(), allow_module_level=True)
import fed_page
from fed_page import FedPage


@pytest.fixture
def clocked(chromium, scenes):
    """A page whose clock the test controls."""
    made = FedPage(chromium, scenes, clock="stepped")
    yield made
    assert made.complaints == []
    made.close()


STAMPS = "Object.fromEntries(performance.getEntriesByType('mark').map(mark => [mark.name, mark.startTime]))"


def stale_after_s(page):
    """Seconds from the last reading until the page said that it is out of date, by the page's own clock."""
    stamps = page.evaluate(STAMPS)
    return (stamps["stale"] - stamps["reading"]) / 1000


@pytest.mark.parametrize("age_s", [0.0, 0.13, 0.9, 1.99])
def test_without_messages_the_page_is_stale_within_2_1_s_of_the_last_reading(clocked, age_s):
    clocked.open("act")
    clocked.pass_ms(3000)
    clocked.send("act", age_s=age_s)
    assert not clocked.old()
    clocked.pass_ms(round(1000 * (2.0 - age_s)) - 5)
    assert not clocked.old()  # and not within two seconds
    clocked.pass_ms(105)
    assert clocked.old()
    assert 2.0 <= stale_after_s(clocked.page) <= 2.1
    assert clocked.page.inner_text("#head-margin") == "–"


def test_without_readings_but_with_messages_the_page_is_stale_within_2_1_s(clocked):
    # not read before the page was opened: a mark of the page cannot lie before its beginning, which a quick machine reaches sooner than 50 ms
    clocked.open("act", age_s=0.0)
    clocked.pass_ms(487)
    for age_s in (0.487, 0.987, 1.487, 1.987):
        assert not clocked.old()
        clocked.send("act", age_s=age_s)
        clocked.pass_ms(500)
    assert clocked.old()
    assert 2.0 <= stale_after_s(clocked.page) <= 2.1
    clocked.send("act", age_s=0.1)
    assert not clocked.old()


def test_a_server_that_ended_with_the_recording_leaves_a_page_that_says_it_has_ended(clocked):
    clocked.open("act")
    told = clocked.send("ended", last=True)
    clocked.disconnect()
    for _ in range(3):
        clocked.pass_ms(7000)
        assert clocked.page.inner_text("#alert-words") == f"This recording has ended, {told['time']}."
        assert clocked.page.evaluate("document.body.classList.contains('ended')")
        assert clocked.page.inner_text("#end-why") == "the recording has ended"
        assert clocked.page.inner_text("#head-margin") == "–"


def test_a_page_that_slept_is_stale_before_it_can_be_read(clocked):
    clocked.open("act")
    clocked.page.evaluate(
        "() => { const late = Date.now() + 3600e3; Date.now = () => late; window.dispatchEvent(new Event('focus')); }"
    )
    assert clocked.old()


def test_on_a_real_clock_no_task_of_the_page_sees_a_stale_number_as_live(chromium, scenes):
    """However late a busy machine runs the page's timers: code that runs after them never sees it live beyond 2.1 s."""
    made = FedPage(chromium, scenes, clock="real")
    try:
        made.open("act")
        made.page.wait_for_function("() => performance.now() > 300")  # no mark lies before the page's beginning
        made.page.evaluate(
            """() => {
                 window.found = [];
                 const reading = () => performance.getEntriesByName('reading')[0].startTime;
                 setInterval(() => {
                   const at = reading(), age = (performance.now() - at) / 1000;
                   // behind every timer that was due
                   setTimeout(() => { if (at === reading()) window.found.push([age, document.body.classList.contains('old')]); }, 0);
                 }, 10);
               }"""
        )
        for _ in range(2):
            made.send("act", age_s=0.1)
            made.page.wait_for_function("() => window.found.length && window.found.at(-1)[1]")
        found = made.page.evaluate("window.found")
        assert [age for age, old in found if age > 2.1 and not old] == []
        assert [age for age, old in found if age < 1.9 and old] == []
        assert sum(old for _, old in found) > 1
    finally:
        made.close()


def test_without_script_the_page_says_what_it_waits_for_or_the_state(chromium, scenes):
    for scene, words in (("waiting", "Waiting for the first reading of the board."), ("act", "act: pump")):
        made = FedPage(chromium, scenes, script=False)
        try:
            made._scene = scenes[scene]
            made.page.goto(fed_page.URL)
            text = made.page.inner_text("main.plain")
            assert words in text
            assert "No warning does not mean safe" in text
            assert made.page.locator("h1:visible").count() == 1
        finally:
            made.close()


def test_numbers_are_shown_before_the_chart_library_loads_and_within_64_kb(chromium, scenes):
    made = FedPage(chromium, scenes, charts=True)
    held = []
    try:
        made.page.route(re.compile(r"bokeh\.js"), lambda route: held.append(route))  # on a slow network it has not arrived yet
        made.open("act")
        rig.wait_for(lambda: made.page.evaluate("1") and held)
        margin = scenes["act"].panels["us"]["head"]["margin"]
        assert made.page.inner_text("#head-margin") == margin
        assert made.page.inner_text("[data-place=pump] .margin") == f"{margin} °F past"
        first = scenes["act"].panels["us"]
        told_bytes = len(str({name: value for name, value in first.items() if name != "points"}).encode())
        assert len(scenes["act"].html.encode()) + told_bytes < 64_000
        held[0].fallback()
        made.page.wait_for_function("() => window.Charts")
    finally:
        made.close()


def test_before_the_first_message_the_page_says_what_it_waits_for(chromium, scenes):
    made = FedPage(chromium, scenes)
    try:
        made.connected = False
        made.page.goto(fed_page.URL)
        assert made.page.inner_text("#alert-words") == "Waiting for the recording computer."
        assert made.page.is_enabled("#mark")
        made.page.click("[data-mark=stumbled]")
        assert "stumbled: waiting" in made.page.inner_text("#waiting")
    finally:
        made.close()


def test_a_recording_that_had_ended_says_so_at_once_and_cannot_be_ended_again(chromium, scenes, monkeypatch):
    """It said that it waited for the recording computer, beside a button that ends a recording, until the first message came."""
    made = FedPage(chromium, scenes)
    try:
        made._scene = ended(scenes["act"], monkeypatch)
        told = made._scene.panels["us"]
        made.connected = False
        made.page.goto(fed_page.URL)
        assert re.fullmatch(
            rf"This recording has ended, (\d+ \w+ \d{{4}}, )?{told['time']}\.", made.page.inner_text("#alert-words")
        )
        assert made.page.inner_text("#alert-words") == f"This recording has ended, {told['day']}{told['time']}."
        assert made.page.inner_text("#head-was") == told["head"]["was"] != ""
        assert made.page.inner_text("[data-place=tank] .was") == next(
            row["was"] for row in told["places"] if row["place"] == "tank"
        )
        assert made.page.inner_text("#head-word") == "ended" and made.page.inner_text("#head-margin") == "–"
        assert not made.page.is_visible("#end")
        assert made.page.inner_text("#end-why") == "the recording has ended"
        assert "Waiting" not in made.page.inner_text("body")
        made._scene = ended(scenes["act"], monkeypatch, read_share=0.4)
        made.page.goto(fed_page.URL)
        assert made.page.inner_text("#alert-words") == "reading the recording, 40 %"
        assert not made.page.is_visible("#end")
        made.connected = True
        made.open("ended")  # a page that was given nothing of an ended recording still waits for its first message
        assert made.page.inner_text("#alert-words").startswith("This recording has ended, ")
    finally:
        made.close()


def ended(scene, monkeypatch, read_share=1.0):
    """The scene, its recording ended before the page was opened."""
    page = scene.page
    now = replace(page.now, live=False, read_share=read_share)
    monkeypatch.setattr(page, "now", now)
    monkeypatch.setattr(page, "_panels", {})
    monkeypatch.setattr(page, "_html", None)
    return SimpleNamespace(html=page.html()[0].decode(), panels={"us": page.panel("us")}, page=page)


def test_units_are_switched_on_the_page_and_remembered(chromium, scenes):
    made = FedPage(chromium, scenes)
    try:
        made.open("act")
        made.page.click("#settings summary")
        assert made.page.inner_text("#units") == "show °C, kPa"
        made.page.click("#units")
        rig.wait_for(lambda: made.page.evaluate("1") and "si" in made.units)
        made.send("act", units="si")
        assert made.page.inner_text("#head-unit") == "°C"
        made.page.reload()
        made.send("act", units="si")
        assert made.units[-1] == "si"
        assert made.page.text_content("#units") == "show °F, psi"
    finally:
        made.close()

"""Legibility at each reading distance, and that every state fits every screen."""

import math
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import live_rig as rig

if rig.missing():
    pytest.skip(rig.missing(), allow_module_level=True)
import fed_page
from fed_page import SIZES

PHONES = ("phone", "phone on its side")
EVERY = (*fed_page.SCENES, *fed_page.OWN)


# Legibility: the height of a capital as drawn, in minutes of arc. Required screens: diagonal in inches, pixels, distance in m for
# far and near view.
PANELS = {"laptop": (14.0, 2.0, 0.7), "tablet": (10.1, 1.0, 0.5), "phone": (6.1, 0.7, 0.4)}
CAPITALS = """selector => [...document.querySelectorAll(selector)].filter(e => e.textContent.trim() && e.getClientRects().length
    && getComputedStyle(e).visibility === 'visible' && !e.closest('.unseen') && !(e.closest('details') && !e.closest('summary'))).map(e => {
  const style = getComputedStyle(e), canvas = document.createElement('canvas').getContext('2d');
  canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return [e.id || e.className || e.tagName, canvas.measureText('H').actualBoundingBoxAscent];
})"""


def arc_minutes(pixels, size, distance_m):
    inches, (width, height) = PANELS[size][0], SIZES[size]
    millimetres = pixels * inches * 25.4 / math.hypot(width, height)
    return math.degrees(math.atan(millimetres / (1000 * distance_m))) * 60


@pytest.mark.parametrize("size", PANELS)
@pytest.mark.parametrize("scene", ["act", "ahead", "quiet", "lost"])
def test_word_number_and_action_are_legible_from_afar(seen, size, scene):
    seen.look(scene, size, view="far")
    found = dict(seen.page.evaluate(CAPITALS, "#head-word, #head-place, #head-margin, #head-short, #head-unit, #head-left"))
    wanted = {"head-word", "head-place", "head-margin", "head-short"} | ({"head-unit", "head-left"} if scene != "lost" else set())
    assert set(found) == wanted
    assert min(arc_minutes(pixels, size, PANELS[size][1]) for pixels in found.values()) >= 20
    assert len(seen.page.inner_text("#head-short")) <= 24
    visible = seen.page.evaluate(
        "() => ['.place', '#side', '#head-action'].filter(name => [...document.querySelectorAll(name)].some(e => e.getClientRects().length))"
    )
    assert visible == []  # one place, one word, one number
    below = seen.page.evaluate(
        "() => document.querySelector('#head-short').getBoundingClientRect().bottom - document.querySelector('#thumb').getBoundingClientRect().top"
    )
    assert below <= 0


@pytest.mark.parametrize("size", PANELS)
def test_from_arms_length_state_margin_and_all_the_rest_are_legible(seen, size):
    for scene in ("many", "ahead", "stale", "hot stop"):
        seen.look(scene, size)
        far = PANELS[size][2]
        state = dict(
            seen.page.evaluate(CAPITALS, ".place .word, .place .margin, #head-word, #head-margin, #head-place, .place .name")
        )
        assert state
        assert min(arc_minutes(pixels, size, far) for pixels in state.values()) >= 16, scene
        leaves = seen.page.evaluate(CAPITALS, "body :is(p, span, strong, button, li, dt, dd, h1, h2, summary, small, label)")
        small = [(name, pixels) for name, pixels in leaves if arc_minutes(pixels, size, far) < 12]
        assert small == [], scene


def test_a_size_setting_makes_every_letter_larger(seen):
    for view in ("near", "far"):
        sizes = []
        for scale in ("1", "1.6"):
            seen.look("act", "laptop", view=view, scale=scale)
            sizes.append(
                dict(seen.page.evaluate(CAPITALS, "#head-word, #head-margin, #head-short, #head-action, .place .word, #mark"))
            )
        assert sizes[0].keys() == sizes[1].keys()
        for name, pixels in sizes[0].items():
            least = 1.1 if (view, name) == ("far", "head-margin") else 1.5  # that number fills the screen already
            assert sizes[1][name] > least * pixels, (view, name)


def test_a_screen_of_2560_pixels_is_used(seen):
    seen.look("many", "wide")
    used = seen.page.evaluate(
        """() => {
             const boxes = [...document.querySelectorAll('#head, .place, #side section')].map(e => e.getBoundingClientRect()).filter(b => b.height);
             return [Math.min(...boxes.map(b => b.left)), Math.max(...boxes.map(b => b.right)), Math.max(...boxes.map(b => b.bottom)),
               parseFloat(getComputedStyle(document.body).fontSize)];
           }"""
    )
    assert used[0] < 60
    assert used[1] > 2500
    assert used[2] > 0.6 * 1440
    assert used[3] > 20  # letters scale with it


FITS = """phone => {
  const found = [];
  for (const view of ['near', 'far']) {
    document.body.dataset.view = view;
    scrollTo(0, 0);
    if (document.documentElement.scrollWidth > document.documentElement.clientWidth) found.push(`${view}: scrolls sideways`);
    for (const e of document.querySelectorAll('main *, header *, p, #thumb *')) {
      const box = e.getBoundingClientRect(), name = `${view}: ${e.id || e.className || e.textContent}`;
      if (!box.width || !box.height || e.closest('.chart, .unseen, details:not([open]) > div')) continue;
      if (box.right > innerWidth + 1 || box.left < -1) found.push(`${name} is cut off`);
      if (e.matches('button') && e.scrollWidth > e.clientWidth + 1) found.push(`${name} is too small for its words`);
      if (e.matches('button, input, select, summary') && (box.width < 43.99 || box.height < 43.99)) found.push(`${name} is no target of 44 px`);
    }
    if (!phone) continue;
    const bar = document.querySelector('#thumb').getBoundingClientRect().top;
    for (const name of ['#head-word', '#head-margin', view === 'near' ? '#head-action' : '#head-short', '#quiet', '#mark']) {
      const e = document.querySelector(name), box = e.getBoundingClientRect();
      if (!e.textContent) { if (name !== '#head-action' && name !== '#head-short') found.push(`${view}: ${name} is empty`); continue; }
      if (!box.height || box.top < 0 || box.bottom > (e.closest('#thumb') ? innerHeight : bar)) found.push(`${view}: ${name} is not on the first screen`);
    }
  }
  return found;
}"""


@pytest.mark.parametrize("size", [*SIZES, (768, 1024), (320, 568)], ids=str)
def test_every_state_fits_and_a_phone_shows_the_essentials_on_the_first_screen(seen, size):
    """Nothing cut off, no sideways scrolling, targets of 44 px; on a phone headline, action, Quiet and Mark without scrolling."""
    for scene in EVERY:
        seen.look(scene, size)
        assert seen.page.evaluate(FITS, size in PHONES) == [], scene
        assert seen.page.text_content("#head-action") or scene in ("waiting", "no limits")


def test_on_a_phone_quiet_places_are_one_row_that_opens_at_a_touch(seen):
    seen.look("many", "phone")
    heights = "() => [...document.querySelectorAll('.place[data-key=quiet]')].map(e => e.getBoundingClientRect().height)"
    before = seen.page.evaluate(heights)
    assert len(before) >= 5
    assert max(before) < 90  # one row, of at most two lines where a name is long
    seen.page.click(".place[data-key=quiet] .first")
    assert seen.page.evaluate(heights)[0] > 150
    seen.page.click(".place[data-key=quiet] .first")


def test_more_than_four_places_scroll_and_the_worst_comes_first(seen):
    seen.look("many", "laptop")
    keys = seen.page.evaluate("[...document.querySelectorAll('.place')].map(e => e.dataset.key)")
    order = ("act", "warn", "ahead", "lost", "back", "note", "quiet", "none")
    assert [order.index(key) for key in keys] == sorted(order.index(key) for key in keys)
    assert keys[0] == "act"
    assert seen.page.evaluate("(e => e.scrollHeight > e.clientHeight)(document.querySelector('#places'))")
    whole = seen.page.inner_text("#head-action")
    assert "they hold pressure." in whole
    assert seen.page.evaluate("(e => e.scrollHeight <= e.clientHeight + 1)(document.querySelector('#head-action'))")


def test_no_number_wraps_and_each_unit_stays_in_its_box(seen):
    for width, height in (*SIZES.values(), (820, 1180), (1440, 900), (1024, 768)):
        seen.page.set_viewport_size({"width": width, "height": height})
        lines, over = seen.page.evaluate(
            """() => {
                 const all = (selector, text) => document.querySelectorAll(selector).forEach(e => { e.textContent = text; });
                 all('#head-margin', '118'); all('#head-unit', '°F'); all('#head-left', 'past');
                 all('.place .margin', '118 °F past'); all('.place .temperature', 'now 146 °F');
                 const number = document.getElementById('head-margin');
                 const outside = box => [...box.querySelectorAll('.margin, .unit, .arrow, .temperature, #head-margin')]
                   .some(e => e.getBoundingClientRect().right > box.getBoundingClientRect().right);
                 return [number.getBoundingClientRect().height / parseFloat(getComputedStyle(number).fontSize),
                   [...document.querySelectorAll('.place, #head')].filter(outside).map(e => e.dataset.place || e.id)];
               }"""
        )
        assert lines < 1.5, width
        assert over == [], width


def contrast(first, second):
    """Contrast of two colours (WCAG 2.1, relative luminance)."""

    def luminance(colour):
        parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("look", ["day", "night"])
def test_states_can_be_told_apart_without_colour_and_none_is_green(seen, look):
    if seen.page.evaluate("document.body.dataset.look") != look:
        seen.page.click("#settings summary")
        seen.page.click("#look")
    keys = ("quiet", "warn", "act", "lost", "note", "ahead", "back")
    made = seen.page.evaluate(
        """keys => keys.map(key => {
             const box = document.querySelector('.place').cloneNode(true);
             box.dataset.key = key;
             document.querySelector('#places').append(box);
             const style = getComputedStyle(box), sign = getComputedStyle(box.querySelector('.sign')).clipPath;
             const ink = style.color, pattern = style.backgroundImage !== 'none';
             const name = { quiet: '--panel', note: '--panel', ahead: '--panel', back: '--panel', warn: '--warn', act: '--act', lost: '--lost' }[key];
             const probe = document.createElement('i');
             probe.style.color = `var(${name})`;
             document.body.append(probe);
             const ground = getComputedStyle(probe).color;
             probe.remove(); box.remove();
             return { sign, ground, ink, pattern };
           })""",
        keys,
    )
    assert len({state["sign"] for state in made}) == len(keys)  # a different shape for each
    assert [state["pattern"] for state in made] == [False, False, True, False, False, False, False]
    for state in made:
        assert contrast(state["ink"], state["ground"]) > (7 if look == "day" else 5), state
        red, green, blue = (int(part) for part in re.findall(r"\d+", state["ground"])[:3])
        assert not green > max(red, blue) + 10, state
    quiet, warn, act = made[:3]
    assert contrast(quiet["ground"], act["ground"]) > 1.5
    if look == "day":
        assert contrast(warn["ground"], act["ground"]) > 3  # contrast of light and dark, visible without colour vision
    else:  # no large bright area in the dark: brightness is in lines and letters only
        assert max(contrast(state["ground"], "rgb(0, 0, 0)") for state in made) < 4

"""The page's sounds: levels and onsets as the browser renders them, what starts and stops them, and the notice of a page that cannot play them."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import live_rig as rig

if rig.missing():
    pytest.skip(rig.missing(), allow_module_level=True)
from fed_page import FedPage

RATE_HZ = 44100
LEVEL_S = 0.02


@pytest.fixture
def seen(chromium, scenes):
    """A page of its own that has not been touched yet."""
    made = FedPage(chromium, scenes)
    yield made
    assert made.complaints == []
    made.close()


def playing(seen):
    return seen.page.evaluate("Sound.playing()")


def heard(seen, looks=200):
    """The highest level at the loudspeaker in so many samples, covering at most one period of the longest pattern."""
    most = 0.0
    for _ in range(looks):
        most = max(most, seen.page.evaluate("Sound.level()"))
        if most > 0.3:
            break
        seen.page.wait_for_timeout(15)
    return most


def silent(seen):
    """True if there is no sound in 30 samples, starting once the loudspeaker has received what the page sent it."""
    at = seen.page.evaluate("Sound.at()")
    seen.until(f"Sound.at() > {at + 0.2}")
    return heard(seen, 30) < 0.01


def says_off(seen):
    return seen.page.is_visible("#sound-off") and seen.page.inner_text("#sound").startswith("sound off")


def pulses(samples):
    """(onset s, length s, level) of each pulse: the root mean square over 20 ms above a tenth of the greatest."""
    width = int(LEVEL_S * RATE_HZ / 4)
    power = np.sqrt((samples[: len(samples) // width * width].reshape(-1, width) ** 2).mean(axis=1))
    loud = np.concatenate(([0], (power > 0.1 * power.max()).astype(int), [0]))
    begins, ends = (np.flatnonzero(np.diff(loud) == step) for step in (1, -1))
    return [
        (begin * width / RATE_HZ, (end - begin) * width / RATE_HZ, power[begin:end].max())
        for begin, end in zip(begins, ends, strict=True)
    ]


@pytest.fixture(scope="module")
def rendered(chromium, scenes):
    made = FedPage(chromium, scenes).open()
    samples = {name: np.array(made.page.evaluate("name => Sound.render(name, 6.5)", name)) for name in ("act", "heed")}
    made.close()
    return samples


@pytest.mark.parametrize(("pattern", "onsets", "length_s"), [
    ("act", [whole + part for whole in range(6) for part in (0.0, 0.2, 0.4)] + [6.0, 6.2, 6.4], 0.12), ("heed", [0.0, 3.0, 6.0], 0.6),
])  # fmt: skip
def test_each_pattern_has_its_rhythm_and_is_loud(rendered, pattern, onsets, length_s):
    found = pulses(rendered[pattern])
    assert [onset for onset, _, _ in found] == pytest.approx(onsets, abs=0.01)
    assert [length for _, length, _ in found[:2]] == pytest.approx([length_s] * 2, abs=0.02)
    assert min(level for _, _, level in found) > 0.25  # of full scale, root mean square
    assert np.abs(rendered[pattern]).max() < 1  # and nothing clips


def test_the_two_patterns_differ_by_rhythm_alone(rendered):
    act, heed = (pulses(rendered[name]) for name in ("act", "heed"))
    assert len(act) > 5 * len(heed)
    assert heed[0][1] > 4 * act[0][1]


def test_until_a_touch_the_page_says_that_sound_is_off_and_then_it_sounds(seen):
    seen.open("act")
    assert says_off(seen)
    assert playing(seen) == ""
    # an alarm is present and makes no sound
    assert seen.page.evaluate("document.querySelector('#sound-off').classList.contains('due')")
    seen.page.click("#sound")
    seen.until("Sound.running()")
    assert not says_off(seen)
    assert seen.page.inner_text("#sound") == "sound on: test"
    assert playing(seen) == "act"
    assert heard(seen) > 0.3


def test_a_touch_in_a_quiet_state_plays_both_patterns_once_then_silence(seen):
    seen.open("quiet")
    # the page samples its level all the time itself: a busy machine may ask it too late
    seen.page.evaluate(
        "() => { window.most = 0; setInterval(() => { window.most = Math.max(window.most, Sound.level()); }, 5); }"
    )
    seen.page.click("#sound")
    seen.until("Sound.running()")
    begun = seen.page.evaluate("Sound.at()")
    seen.until(f"Sound.at() > {begun + 2.3}")
    assert seen.page.evaluate("window.most") > 0.3
    assert heard(seen, 30) < 0.01


def test_quieting_silences_one_alarm_and_a_new_place_or_a_worse_state_sounds_again(seen):
    seen.open("warn")
    seen.page.click("#sound")
    seen.until("Sound.playing() === 'heed'")
    seen.page.click("[data-place=pump] .quieting")
    rig.wait_for(lambda: seen.page.evaluate("1") and seen.asked)
    assert (seen.asked[-1]["kind"], seen.asked[-1]["place"]) == ("quiet", "pump")
    seen.send("warn", sound={"pattern": "", "places": {"pump": "11:07:20"}})
    assert playing(seen) == ""
    assert silent(seen)
    assert seen.page.inner_text("[data-place=pump] .quietly") == "sound quieted 11:07:20"
    assert seen.page.is_disabled("#quiet")
    assert seen.page.inner_text("#quiet-why") == "quieted 11:07:20"
    seen.send("warn", sound={"pattern": "heed", "places": {"pump": "11:07:20", "tank": ""}})
    assert playing(seen) == "heed"
    assert seen.page.is_enabled("#quiet")
    seen.send("act", sound={"pattern": "act", "places": {"pump": ""}})
    assert playing(seen) == "act"
    assert seen.page.inner_text("[data-place=pump] .quietly") == ""


def test_readings_lost_during_an_alarm_sound_and_can_be_quieted_until_they_are_back(seen):
    seen.open("act", sound={"pattern": "", "places": {"pump": "11:07:20"}})
    seen.page.click("#sound")
    seen.until("Sound.running()")
    assert playing(seen) == ""
    seen.send("stale", sound={"pattern": "", "places": {"pump": "11:07:20"}})
    assert playing(seen) == "heed"
    assert heard(seen) > 0.3
    seen.page.click("#quiet")
    assert playing(seen) == ""
    seen.send("stale", sound={"pattern": "", "places": {"pump": "11:07:20"}}, age_s=9.0)
    assert playing(seen) == ""
    seen.send("act", sound={"pattern": "", "places": {"pump": "11:07:20"}})
    seen.send("stale", sound={"pattern": "", "places": {"pump": "11:07:20"}})
    assert playing(seen) == "heed"  # lost again
    seen.disconnect()
    seen.later(3000)
    assert playing(seen) == "heed"


def test_readings_lost_without_an_alarm_and_an_ended_recording_make_no_sound(seen):
    seen.open("quiet")
    seen.page.click("#sound")
    seen.send("quiet", age_s=8.0)
    assert playing(seen) == ""
    seen.send("ended")
    assert playing(seen) == ""


def test_sound_off_shows_again_when_the_browser_takes_the_sound_away(seen):
    seen.page.add_init_script(
        "const Made = window.AudioContext; window.AudioContext = class extends Made { constructor() { super(); window.kept = this; } };"
    )
    seen.open("act")
    seen.page.click("#sound")
    seen.until("Sound.playing() === 'act'")
    seen.page.evaluate("window.kept.suspend()")
    seen.until("!Sound.running()")
    assert says_off(seen)


def test_a_browser_without_sound_says_so(seen):
    seen.page.add_init_script("delete window.AudioContext; delete window.webkitAudioContext;")
    seen.open("act")
    seen.page.click("#sound")
    seen.until("document.querySelector('#answer').textContent === 'this browser does not allow sound here'")
    assert says_off(seen)


def test_after_a_reload_in_an_alarm_any_touch_brings_the_sound_back(seen):
    seen.open("act")
    seen.page.click("#sound")
    seen.until("Sound.playing() === 'act'")
    seen.page.reload()
    seen.send("act")
    if not seen.page.evaluate("Sound.running()"):
        assert says_off(seen)
        seen.page.click("#head-word")
    seen.until("Sound.playing() === 'act'")
    assert not says_off(seen)

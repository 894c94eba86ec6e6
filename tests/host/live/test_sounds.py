"""Which alarms sound, which were quieted, and when they sound again."""

import pytest
from hotfuel.live.sounds import Quieting


def sound_panel(live=True, **states):
    """The part of a panel that sounds: place -> key; "lost ..." for one that cannot be read."""
    places = [
        {"place": name, "key": key.removeprefix("lost "), "lost": "no answer" if key.startswith("lost ") else ""}
        for name, key in states.items()
    ]
    return {"live": live, "places": places}


def after(*panels):
    made = Quieting()
    for panel in panels:
        made.update(panel)
    return made


@pytest.mark.parametrize(
    ("key", "pattern"),
    [
        ("quiet", ""),
        ("ahead", ""),
        ("back", ""),
        ("note", ""),
        ("lost", ""),
        ("warn", "heed"),
        ("act", "act"),
        ("lost warn", "heed"),
    ],
)
def test_each_state_has_its_sound(key, pattern):
    assert after(sound_panel(pump=key)).sound() == pattern


def test_an_ended_recording_makes_no_sound():
    assert after(sound_panel(live=False, pump="act")).sound() == ""


def test_quieting_applies_to_one_place_and_a_new_one_sounds():
    made = after(sound_panel(pump="act", tank="warn"))
    assert not made.quiet("pump", "14:03:20")
    assert (made.quieted("pump"), made.quieted("tank"), made.sound()) == ("14:03:20", "", "heed")
    assert made.quiet("tank", "14:03:25")
    assert made.told() == {"pattern": "", "places": {"pump": "14:03:20", "tank": "14:03:25"}}
    made.update(sound_panel(pump="act", tank="warn", carb_inlet="warn"))
    assert made.sound() == "heed"


def test_a_worse_state_sounds_again_and_a_better_one_does_not():
    made = after(sound_panel(pump="warn"))
    made.quiet("", "14:03:20")
    made.update(sound_panel(pump="act"))
    assert (made.sound(), made.quieted("pump")) == ("act", "")
    made.quiet("", "14:03:40")
    made.update(sound_panel(pump="warn"))
    assert (made.sound(), made.quieted("pump")) == ("", "14:03:40")


def test_an_alarm_that_recovers_and_returns_before_its_warning_ends_stays_quiet_and_the_next_sounds():
    made = after(sound_panel(pump="act"))
    made.quiet("", "14:03:20")
    made.update(sound_panel(pump="back"))
    made.update(sound_panel(pump="act"))
    assert made.sound() == ""
    made.update(sound_panel(pump="quiet"))
    made.update(sound_panel(pump="act"))
    assert made.sound() == "act"

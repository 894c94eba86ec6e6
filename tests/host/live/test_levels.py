"""Every level is handled wherever levels are shown: none may look like "no warning" because a table was forgotten. DEVELOPERS.md lists the tables."""

import importlib.util
import re
from pathlib import Path

import pytest
from hotfuel.live import alarms, terminal, warner, wording
from hotfuel.report import figures, track
from hotfuel.risk.level import BEYOND, LOOKS, NO_LIMIT, Level
from hotfuel.units import Shown
from hotfuel_wire import alarm

ROOT = Path(__file__).parents[3]
spec = importlib.util.spec_from_file_location("lamp_of_levels", ROOT / "firmware" / "lamp.py")
lamp = importlib.util.module_from_spec(spec)
spec.loader.exec_module(lamp)


def urgent(level):
    """True if the level is as urgent as act."""
    return level.urgency >= Level.ACT.urgency


def test_numbers_names_and_urgencies_are_those_of_the_wire():
    assert [level.value for level in Level] == list(range(len(alarm.LEVELS))) == list(range(len(alarm.URGENCY)))
    assert {level for level in Level if level.urgency} == set(alarm.ALARMS)
    assert {level for level in Level if urgent(level)} == set(BEYOND)


@pytest.mark.parametrize("level", list(Level))
def test_every_level_is_shown_with_its_urgency(level):
    assert level.words

    pattern = lamp.choose(level, False, True, False)
    calm = {Level.WARN: lamp.WARN, Level.LOST: lamp.LOST}
    assert pattern == (lamp.ACT if urgent(level) else calm.get(level, lamp.ACT) if level.urgency else lamp.ALIVE)

    key = level.look
    assert key in LOOKS
    assert (key == "act") == urgent(level)
    assert (key in ("quiet", "none")) == (not level.urgency)
    assert key in wording.ORDER
    assert key in terminal._SIGNS
    assert key in terminal._STYLES
    assert f'[data-key="{key}"]' in (ROOT / "host/hotfuel/live/places.css").read_text()

    kind = track._kind(float(level))
    assert (kind == "act") == urgent(level)
    assert (kind == "quiet") == (level == Level.QUIET)
    assert kind in track._COLOURS
    assert kind in track._WORDS

    name = alarm.LEVELS[level]
    assert (level in warner._COMES) == (level in warner._GOES) == bool(level.on_chart(Shown())) == bool(level.urgency)
    # Where no limit is left act is on too, and its bar is drawn.
    assert (name in {look.level for look in figures.ALARM_LOOKS}) == (bool(level.urgency) and level not in NO_LIMIT)


def test_the_lamp_numbers_in_health_are_those_of_the_lamp():
    assert (alarms.LAMP_NO_LIMITS, alarms.LAMP_WINK, alarms.LAMP_TEST) == (lamp.NO_LIMITS, lamp.WINK, lamp.TEST)


def test_the_patterns_taken_as_proof_of_limits_are_those_a_board_without_limits_never_shows_of_itself():
    of_itself = {
        lamp.choose(shown, unseen, False, full, failed)
        for shown in (Level.QUIET, Level.LOST)
        for unseen in (False, True)
        for full in (False, True)
        for failed in (0, 1)
    }
    assert not of_itself & set(alarms._NEED_LIMITS)
    assert set(alarms._NEED_LIMITS) == {lamp.ALIVE, lamp.WINK, lamp.STORE_FULL, lamp.WARN, lamp.ACT}


@pytest.mark.parametrize("level", list(Level))
def test_the_short_words_are_the_words_without_the_part_in_brackets(level):
    assert level.short == re.sub(r" \(.*\)", "", level.words)


@pytest.mark.parametrize("key", wording.ORDER)
def test_every_state_of_the_live_page_has_a_sign_and_a_style(key):
    assert key in terminal._SIGNS
    assert key in terminal._STYLES


def test_the_recipe_for_a_level_names_every_file_with_a_table_of_them():
    recipe = re.search(r"- \*\*a level\*\*.*?(?=\n- \*\*)", (ROOT / "DEVELOPERS.md").read_text(), re.DOTALL).group()
    for name in (
        "alarm.py",
        "lamp.py",
        "level.py",
        "wording.py",
        "warner.py",
        "track.py",
        "plots.py",
        "figures.py",
        "session/alarms.py",
    ):
        assert name in recipe

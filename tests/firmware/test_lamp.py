"""The lamp's patterns can be told apart, and it is never dark for long."""

import importlib.util
from pathlib import Path

import pytest
from hotfuel_wire import alarm
from hypothesis import given
from hypothesis import strategies as st

spec = importlib.util.spec_from_file_location("lamp", Path(__file__).parent.parent.parent / "firmware" / "lamp.py")
lamp = importlib.util.module_from_spec(spec)
spec.loader.exec_module(lamp)


def flashes(pattern):
    times = lamp.PATTERNS[pattern]
    return list(zip(times[0::2], times[1::2], strict=True))


def test_every_state_blinks_and_none_stays_dark_for_more_than_three_seconds():
    for pattern in range(lamp.TEST):
        assert all(on > 0 and 0 < off <= 3000 for on, off in flashes(pattern)), pattern


def test_at_most_three_flashes_in_any_second():
    """WCAG 2.2, success criterion 2.3.1: three flashes or below threshold."""
    for pattern in range(lamp.TEST):
        starts = []
        at = 0
        while at < 20000:
            for on, off in flashes(pattern):
                starts.append(at)
                at += on + off
        assert max(sum(start <= other < start + 1000 for other in starts) for start in starts) <= 3, pattern


def test_patterns_differ_in_count_or_length_of_flash():
    looks = {(len(flashes(p)), flashes(p)[0][0] >= 500, sum(lamp.PATTERNS[p]) < 1000) for p in range(lamp.TEST)}
    # wink and warn are both single long flashes: they differ in darkness, 2.2 s against 0.6 s
    assert len(looks) == lamp.TEST - 1
    assert flashes(lamp.WINK)[0][1] >= 3 * flashes(lamp.WARN)[0][1]


@given(st.sampled_from(range(len(alarm.LEVELS))), st.booleans(), st.booleans(), st.booleans())
def test_the_most_urgent_is_shown(shown, unseen, limits_good, store_full):
    pattern = lamp.choose(shown, unseen, limits_good, store_full)
    expected = {alarm.QUIET: None, alarm.NO_MARGIN: None, alarm.WARN: lamp.WARN, alarm.LOST: lamp.LOST}.get(shown, lamp.ACT)
    if expected is not None:
        assert pattern == expected
    elif not limits_good:
        assert pattern == lamp.NO_LIMITS
    else:
        assert pattern == (lamp.WINK if unseen else lamp.STORE_FULL if store_full else lamp.ALIVE)


@given(st.integers(1, 8), st.integers(1, 99))
def test_a_blink_code_can_be_counted(place, margin):
    times = lamp.blink_code(place, margin)
    groups, group = [], []
    for on, off in zip(times[0::2], times[1::2], strict=True):
        group.append(on)
        if off == lamp.CODE_PAUSE_MS:
            groups.append(group)
            group = []
    assert len(groups) == 2
    assert groups[0] == [200] * place
    assert 10 * groups[1].count(900) + groups[1].count(200) == margin


def test_no_room_left_is_one_very_long_flash():
    assert lamp.blink_code(2, -4) == [200, 300, 200, lamp.CODE_PAUSE_MS, 3000, lamp.CODE_PAUSE_MS]


def lit(one, start, end, step=20):
    return [one.on(ms) for ms in range(start, end, step)]


def test_lamp_test_at_boot_then_the_pattern():
    one = lamp.Lamp()
    one.show(lamp.ALIVE, 10)
    assert all(lit(one, 0, lamp.TEST_MS))
    one.show(lamp.ALIVE, lamp.TEST_MS)
    shown = lit(one, lamp.TEST_MS, lamp.TEST_MS + 3000)
    assert sum(shown) == 60 // 20


def test_a_code_plays_once_and_never_hides_act():
    one = lamp.Lamp()
    one.show(lamp.ALIVE, 5000)
    code = lamp.blink_code(1, 12)
    one.tell(code, 6000)
    assert sum(lit(one, 6000, 6000 + sum(code))) * 20 == sum(code[0::2])
    one.show(lamp.ACT, 20000)
    one.tell(code, 20100)
    assert sum(lit(one, 20000, 24000)) == pytest.approx(100, abs=1)


@pytest.mark.parametrize(
    ("sounding", "allowed", "ignition", "heard"),
    [(True, True, True, True), (True, False, True, False), (True, True, False, False), (False, True, True, False)],
)
def test_buzzer_sounds_for_act_only_if_chosen_and_never_after_key_off(sounding, allowed, ignition, heard):
    assert lamp.buzzer(sounding, allowed, ignition) is heard

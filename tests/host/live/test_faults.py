"""What wiring does to a screen: a loose plug, a shorted lead, a limit passed a moment ago, a board that restarts. None may look calm, none cry wolf."""

import math

import pytest
import synthetic
from hotfuel import car as car_file
from hotfuel.live.state import LiveState
from hotfuel.live.warner import Warner
from hotfuel.live.wording import panel
from hotfuel.risk.level import Level
from hotfuel.units import Shown
from hotfuel_wire import alarm
from hotfuel_wire.framing import FrameReader, encode
from hotfuel_wire.messages import NO_ANSWER, NOT_READY, TYPES
from test_state_board import read, with_health

STEP_S = 0.2


def told(session, pump, seconds, health=(), boots=()):
    """The panel of a recording whose pump reads pump(t) (None: no answer). health: (time, lamp). boots: times at which the board starts again."""
    made = synthetic.Recording()
    pulses, since = 0.0, 0.0
    for number in range(round(seconds / STEP_S)):
        at = number * STEP_S
        for begin in boots:
            if number == round(begin / STEP_S):
                made.boot(2 + boots.index(begin))
                since, pulses = at, 0.0
        pulses += 850 / 60 * 4 * STEP_S
        made.auxiliary(at - since, pulses, fuel_pressure_percent=40, battery_v=13.8)
        value = pump(at)
        made.reading(at - since, [30.0, NO_ANSWER if value is None else value, 45.0])
        for when, lamp in health:
            if number == round(when / STEP_S):
                with_health(made, at - since, lamp)
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
    words = panel(now, Shown("si"))
    return now, next(place for place in words["places"] if place["place"] == "pump"), words


def shorted(at):
    """Beyond its limit from the 5th second on, the leads shorted from the 30th: the reading is then the amplifier's own temperature."""
    return 45.0 if at < 5 else 70.0 if at < 30 else 30.0


@pytest.mark.parametrize("seconds", [30.4, 33.0, 39.0, 45.0, 75.0, 110.0, 200.0])
def test_a_shorted_lead_never_looks_calm_however_long_it_lasts(session, seconds):
    now, pump, words = told(session, shorted, seconds)
    assert pump["key"] in ("act", "lost")
    assert (pump["key"] == "act") == (now.places[1].state == Level.ACT)
    assert pump["margin"] == "–", "a margin of the amplifier's temperature is no margin"
    assert pump["temperature"] == "30"
    assert pump["lost"] == "fell faster than its probe can: check probe and wire"
    assert pump["history"] == "" or "back" not in pump["history"]
    assert any(flag.startswith("not believed: pump") for flag in words["flags"])
    if pump["key"] == "lost":
        assert pump["word"] == "sensor doubtful"
        assert "assume it is hot" in pump["action"]
        assert pump["brief"] == "check probe and wire; assume it is hot"


def test_a_short_that_is_gone_is_forgotten_and_its_readings_count_again(session):
    _, pump, words = told(session, lambda at: 30.0 if 20 <= at < 60 else 45.0, 80.0)
    assert (pump["key"], pump["lost"], pump["temperature"]) == ("quiet", "", "45")
    assert not any("not believed" in flag for flag in words["flags"])


@pytest.mark.parametrize("hot", [45.0, 70.0])
def test_an_amplifier_that_no_longer_converts_is_lost_and_not_blamed_on_the_probe(session, hot):
    now, pump, words = told(session, lambda at: NOT_READY if at >= 20 else hot if at >= 3 else 45.0, 30.0)
    assert math.isnan(now.places[1].degc)
    assert (pump["key"], pump["margin"]) == ("act" if hot == 70 else "lost", "–")
    assert pump["lost"] == "the amplifier answers but measures nothing new"
    assert "not seen: pump" in words["flags"]
    if hot == 45:
        assert pump["short"] == "switch box off and on"
        assert "assume it is hot" in pump["action"]


@pytest.mark.parametrize("seconds", [30.2, 30.4])
def test_a_slow_chip_between_two_conversions_keeps_what_it_last_read(session, seconds):
    now, pump, words = told(session, lambda at: NOT_READY if round(at / STEP_S) % 2 else 45.0, seconds)
    assert (pump["key"], pump["lost"], pump["temperature"]) == ("quiet", "", "45")
    assert math.isfinite(now.places[1].margin_degc)
    assert pump["margin"] != "–"
    assert words["flags"] == []
    _, pump, _ = told(session, lambda at: NOT_READY if round(at / STEP_S) % 2 else 45.0 if at < 5 else 70.0, seconds)
    assert (pump["key"], pump["left"]) == ("act", "past")


@pytest.mark.parametrize("back", [36.0, 45.0])
def test_a_short_that_opens_on_cooled_fuel_is_over_at_once(session, back):
    _, pump, words = told(session, lambda at: 30.0 if 20 <= at < 60 else 45.0 if at < 20 else back, 61.0)
    assert (pump["lost"], pump["temperature"]) == ("", f"{back:.0f}")
    assert not any("not believed" in flag for flag in words["flags"])


def test_fuel_that_cools_as_fast_as_a_probe_can_follow_is_believed(session):
    _, pump, _ = told(session, lambda at: 45.0 if at < 20 else 30.0 + 15.0 * math.exp(-(at - 20) / 1.5), 40.0)
    assert (pump["key"], pump["temperature"]) == ("quiet", "30")


def loose(at):
    """Beyond its limit and back below; then 0.8 s unreadable in every 2 s."""
    hot = 57.5 if 5 <= at < 15 else 50.0
    return None if at >= 30 and at % 2 < 0.8 else hot


def test_a_loose_plug_keeps_one_word_whether_or_not_it_makes_contact(session):
    keys, flags = set(), set()
    for seconds in (60.2, 60.6, 61.0, 61.4, 61.8):
        now, pump, words = told(session, loose, seconds)
        assert now.places[1].unsteady
        keys.add((pump["key"], pump["word"]))
        flags |= {flag for flag in words["flags"] if "pump" in flag and "first" not in flag}
    assert keys == {("act", "act")}, "while it comes and goes it has not been seen to recover"
    assert flags == {"not seen: pump", "lost a moment ago: pump; check the plug, probe and wire"}


def test_a_sensor_that_is_back_says_so_until_it_has_been_for_ten_seconds(session):
    for seconds, key, word in ((26.0, "lost", "sensor lost"), (31.0, "lost", "was lost"), (50.0, "quiet", "no warning")):
        _, pump, _ = told(session, lambda at: None if 20 <= at < 30 else 45.0, seconds)
        assert (pump["key"], pump["word"]) == (key, word)
        assert (pump["margin"] == "–") == (word == "sensor lost")
        assert "Not read" not in pump["action"] or word == "sensor lost"


def test_between_passing_a_limit_and_its_alarm_no_warning_is_never_said(session):
    now, pump, words = told(session, lambda at: 45.0 if at < 20 else 70.0, 21.0)
    assert now.places[1].state == Level.QUIET, "the alarm waits four seconds"
    assert (pump["key"], pump["word"], pump["left"]) == ("ahead", "at its limit", "past")
    assert words["head"]["place"] == "pump"
    assert "Nothing to do" not in words["head"]["action"]


@pytest.mark.parametrize("lamp", [4, 8])
def test_a_lamp_that_shows_a_lost_sensor_or_a_failed_part_is_no_proof_of_limits(session, lamp):
    now, _, words = told(session, lambda at: None if at >= 30 else 70.0, 60.0, health=((10.0, 3), (40.0, lamp)))
    assert not now.board_warns
    assert not any("load them again" in flag for flag in words["flags"])
    rows = {row["name"]: row["text"] for row in words["health"]}
    assert rows["warnings"].startswith("by this computer")
    now, _, _ = told(session, lambda at: 45.0, 60.0, health=((10.0, 0), (40.0, lamp)))
    assert now.board_warns, "it had limits before"


def test_a_warning_held_over_a_restart_is_no_disagreement_with_the_boards_limits(session):
    hot = {"boots": (30.0,), "health": ((10.0, 6), (32.0, 0))}
    for seconds in (33.0, 50.0, 80.0):
        now, _, _ = told(session, lambda at: 70.0 if 5 <= at < 25 else 45.0, seconds, **hot)
        assert now.board_warns
        assert now.disagreement == ()
    assert told(session, lambda at: 70.0 if at >= 5 else 45.0, 33.0, **hot)[0].disagreement == (), "its alarm takes four seconds"
    assert told(session, lambda at: 70.0 if at >= 5 else 45.0, 60.0, **hot)[0].disagreement == ("pump",)


@pytest.mark.parametrize(("lamp", "word"), [(5, "warn"), (6, "act")])
def test_an_alarm_from_before_the_recording_is_told_by_the_lamp_and_is_no_disagreement(session, lamp, word):
    now, _, words = told(session, lambda at: 45.0, 60.0, health=((20.0, lamp),))
    assert any(flag.startswith(f"the board's lamp shows {word} for a place") for flag in words["flags"])
    now, _, words = told(session, lambda at: 70.0, 60.0, health=((20.0, 6),))
    assert now.disagreement == ()
    assert not any("the board's" in flag for flag in words["flags"])


def test_a_restarted_board_that_has_not_described_itself_keeps_the_names_and_the_warning(session):
    made = synthetic.Recording()
    for number in range(100):
        made.reading(number * STEP_S, [30.0, 70.0, 45.0])
    before = made.data
    made.boot(2)
    undescribed = len(made.data)
    for number in range(5):
        made.reading(number * STEP_S, [30.0, 70.0, 45.0])
    boot = made.data[len(before) : undescribed]
    without = [payload for payload in FrameReader().feed(boot) if payload[0] != TYPES["description"]]
    log = before + b"".join(map(encode, without)) + made.data[undescribed:]
    with LiveState(session(log)) as state:
        now = read(state).situation()
    assert [place.name for place in now.places] == ["tank", "pump", "carb_inlet", "carb_inlet_needle"]
    pump = now.places[1]
    assert (pump.state, math.isnan(pump.degc)) == (Level.ACT, True)


def test_the_recorders_sentences_say_left_and_beyond_as_they_are():
    said = []
    warner = Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said.append)
    made = synthetic.Recording()
    for number in range(300):
        made.reading(number * STEP_S, [30.0, 45.0 if number < 50 else 70.0, 45.0])
    reader = FrameReader()
    warner.hear(list(reader.feed(made.data)))
    warned = next(sentence for sentence in said if sentence.startswith("warning: pump"))
    acted = next(sentence for sentence in said if sentence.startswith("ACT: pump"))
    for sentence in (warned, acted):
        assert " beyond its limit, give or take " in sentence
        assert "-" not in sentence
    assert alarm.ON_DELAY_MS == 4000


def test_the_recorders_sentence_is_of_the_alarms_moment_however_many_readings_came_at_once():
    made = synthetic.Recording()
    for number in range(300):
        made.reading(number * STEP_S, [30.0, 45.0 if not 50 <= number < 90 else 70.0, 45.0])
    said = {}
    for at_once in (True, False):
        said[at_once] = []
        warner = Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said[at_once].append)
        payloads = list(FrameReader().feed(made.data))
        for part in [payloads] if at_once else [[payload] for payload in payloads]:
            warner.hear(part)
    assert said[True] == said[False]
    acted = next(sentence for sentence in said[True] if sentence.startswith("ACT: pump"))
    assert "beyond its limit" in acted
    assert "now 70 °C" in acted


def test_the_recorder_says_at_its_limit_where_the_distance_rounds_to_nothing():
    said = []
    warner = Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said.append)
    made = synthetic.Recording()
    for number in range(900):
        made.reading(number * STEP_S, [30.0, 50.0 + 0.05 * number * STEP_S, 45.0])
    for payload in FrameReader().feed(made.data):
        warner.hear([payload])
    acted = next(sentence for sentence in said if sentence.startswith("ACT: pump"))
    assert acted.startswith("ACT: pump is at its limit, give or take ")


def test_the_recorders_sentences_do_not_depend_on_how_many_readings_come_together():
    """A board simulated faster than time, or a computer that was busy, gives many at once: each is said with the reading at which it came, in turn."""
    made = synthetic.Recording()
    for number in range(900):
        warm = 45.0 + 0.1 * min(number * STEP_S, 100) - 0.5 * max(number * STEP_S - 100, 0)
        made.reading(number * STEP_S, [30.0, warm, warm + 6])
    payloads = list(FrameReader().feed(made.data))
    heard = {}
    for together in (1, 7, 100, len(payloads)):
        said = heard[together] = []
        warner = Warner(car_file.load(car_file.EXAMPLE), Shown("si"), said.append)
        for first in range(0, len(payloads), together):
            warner.hear(payloads[first : first + together])
    assert sum(sentence.startswith(("warning: ", "ACT: ")) for sentence in heard[1]) >= 4
    assert any(sentence.endswith("the warning is over") for sentence in heard[1])
    assert heard[7] == heard[1]
    assert heard[100] == heard[1]
    assert heard[len(payloads)] == heard[1]

"""The board's own warnings in the live state: shown, cleared by the board only, forgotten at its next start."""

import pytest
import synthetic
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.risk.level import Level
from hotfuel.units import Shown
from hotfuel_wire import alarm


def read(state):
    while state.advance(60.0):
        pass
    return state


def with_health(made, time_s, lamp, unseen=0):
    made.add(
        "health", time_s, late_ticks=0, skipped_ticks=0, longest_tick_us=0, frames_sent=0, frames_dropped=0, frames_stored=0, readings_dropped=0,
        memory_free=0, store_free_kb=100, lamp=lamp, alarm_unseen=unseen, limits_age_days=1,
    )  # fmt: skip


def test_the_boards_own_warning_is_shown_and_only_the_board_clears_its_latched_mark(session):
    made = synthetic.Recording()
    for number in range(150):
        time_s = number * 0.2
        made.reading(time_s, [30.0, 40.0, 45.0])
        if number == 20:
            with_health(made, time_s, 0)
        if number == 50:
            value = alarm.event_value(1, Level.ACT, alarm.NORMAL, alarm.UNACKNOWLEDGED)
            made.event(time_s, "alarm", value, channel=1)
            with_health(made, time_s, 6, 1)
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
        assert now.board_warns
        assert {p.name: p.state for p in now.places} == {
            "tank": Level.QUIET,
            "pump": Level.ACT,
            "carb_inlet": Level.QUIET,
            "carb_inlet_needle": Level.QUIET,
        }
        assert now.sounding
        assert now.winks
        assert now.first == "pump"
        state.host.acknowledge()
        assert state.situation().winks
    for new in (alarm.ACKNOWLEDGED, alarm.NORMAL):
        made.event(30.0, "alarm", alarm.event_value(1, Level.ACT, 0, new), channel=1)
        with_health(made, 30.0, 1, 1)
        with LiveState(session(made.data)) as state:
            now = read(state).situation()
            assert not now.sounding
            assert now.winks
            assert now.places[1].state == (Level.ACT if new == alarm.ACKNOWLEDGED else Level.QUIET)
    with_health(made, 31.0, 0, 0)
    with LiveState(session(made.data)) as state:
        assert not read(state).situation().winks


def test_a_board_without_limits_leaves_the_warning_to_the_host(session):
    made = synthetic.drive(400.0)
    with_health(made, 400.0, 3)
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
    assert not now.board_warns
    assert next(place for place in now.places if place.name == "pump").state == Level.ACT
    rows = {row["name"]: row for row in panel(now, Shown("si"))["health"]}
    assert rows["warnings"]["text"] == "by this computer: the board has no limits, or old ones"


def test_disagreeing_limits_of_board_and_car_file_are_reported(session):
    made = synthetic.drive(400.0)
    with_health(made, 400.0, 0)
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
    assert "pump" in now.disagreement
    assert now.places[1].state == Level.ACT  # the lower of the two
    assert any("load them again" in flag for flag in panel(now, Shown("si"))["flags"])


def test_a_restarted_board_has_forgotten_its_warnings(session):
    made = synthetic.Recording()
    for number in range(50):
        made.reading(number * 0.2, [30.0, 40.0, 45.0])
    made.event(10.0, "alarm", alarm.event_value(1, Level.ACT, 0, 1), channel=1)
    with_health(made, 10.0, 6)
    made.boot(2)
    for number in range(50):
        made.reading(number * 0.2, [30.0, 41.0, 45.0])
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
    assert [place.state for place in now.places] == [Level.QUIET] * 4
    assert now.health["boots"] == 2
    assert now.at == pytest.approx(9.8 + 1.0 + 9.8)
    assert now.places[1].degc == pytest.approx(41.0, abs=0.02)

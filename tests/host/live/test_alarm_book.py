"""The record of active alarms: which place came first, since when, which level is the worst."""

import math

from hotfuel.live.alarms import BoardAlarms
from hotfuel.risk.level import Level
from hotfuel_wire import alarm

ON, OFF = alarm.UNACKNOWLEDGED, alarm.NORMAL


def test_the_first_place_stays_first_until_all_are_clear():
    book = BoardAlarms()
    book.turn("tank", Level.LOST, ON, 1.0)
    assert book.first == "", "a lost sensor is not a warning"
    book.turn("pump", Level.WARN, ON, 2.0)
    book.turn("carb_inlet", Level.ACT, ON, 3.0)
    assert book.first == "pump"
    book.turn("pump", Level.ACT, ON, 4.0)
    book.turn("pump", Level.WARN, OFF, 5.0)
    assert book.first == "pump"
    assert (book.spells["pump"].begin, math.isnan(book.spells["pump"].end)) == (2.0, True)
    book.turn("pump", Level.ACT, OFF, 6.0)
    assert book.first == "pump", "the other place still is active"
    assert book.spells["pump"].end == 6.0
    book.turn("carb_inlet", Level.ACT, OFF, 7.0)
    assert book.first == ""
    book.turn("carb_inlet", Level.WARN, ON, 8.0)
    assert book.first == "carb_inlet"
    assert book.spells["carb_inlet"].begin == 8.0


def test_the_worst_live_alarm_comes_first_and_a_lost_sensor_ranks_below_a_warning():
    book = BoardAlarms()
    assert book.state("pump") == Level.QUIET
    book.turn("pump", Level.LOST, ON, 1.0)
    assert book.state("pump") == Level.LOST
    book.turn("pump", Level.WARN, ON, 2.0)
    assert book.state("pump") == Level.WARN
    book.turn("pump", Level.LOW_PRESSURE, alarm.ACKNOWLEDGED, 3.0)
    assert book.state("pump") == Level.LOW_PRESSURE
    assert not book.sounding
    book.turn("pump", Level.ACT, ON, 4.0)
    assert book.sounding
    book.turn("pump", Level.ACT, alarm.ACKNOWLEDGED, 5.0)
    assert not book.sounding
    assert book.state("pump") == Level.LOW_PRESSURE

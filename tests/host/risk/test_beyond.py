"""One rule for "beyond its limit": that of the alarm on the wire, for a margin's state, a summary and a sentence alike."""

import math

import numpy as np
import pytest
from hotfuel.risk.level import Level, is_beyond
from hotfuel.risk.margin import _state
from hotfuel_wire import alarm


@pytest.mark.parametrize("hundredths", [-100, -1, 0, 1, 100])
def test_beyond_is_what_the_alarm_acts_on(hundredths):
    alarms = alarm.Alarms(1, lambda *_: None)
    for _ in range(10):
        alarms.update(0, hundredths, 300, 1000)
    assert (alarms.shown() == Level.ACT) == bool(is_beyond(hundredths / 100))
    margin = np.array([hundredths / 100])
    state = _state(np.array([50.0]), margin, np.array([3.0]), [np.array([94.0])], act=True)
    assert (state[0] == Level.ACT) == bool(is_beyond(margin)[0])


def test_an_unknown_margin_is_not_beyond_by_its_number():
    assert not is_beyond(math.nan)
    assert is_beyond([-0.1, 0.0, math.nan]).tolist() == [True, False, False]

"""Alarms over a whole recording: skipping quiet periods gives the same as stepping through every sample."""

from types import SimpleNamespace

import numpy as np
from hotfuel.risk.level import Level
from hotfuel.session import alarms
from hotfuel_wire import alarm
from hypothesis import example, given
from hypothesis import strategies as st


def stepped(name, margin, below, elapsed_ms):
    """The machine fed with every sample."""
    began, found, at = {}, [], 0

    def changed(_place, level, _old, new):
        if new == alarm.UNACKNOWLEDGED:
            began[level] = at
        else:
            found.append(alarms.Span(name, alarm.LEVELS[level], began.pop(level), at))

    machine = alarm.Alarms(1, changed)
    for at in range(len(margin)):
        machine.update(0, int(margin[at]), int(below[at]), int(elapsed_ms[at]))
    found += [alarms.Span(name, alarm.LEVELS[level], first, len(margin) - 1) for level, first in began.items()]
    return sorted(found, key=lambda span: (span.first, span.level))


LOW, IMPOSSIBLE = 1e6, 2e6  # they represent the states without a margin
STRETCH = st.tuples(
    st.sampled_from([-5.0, -0.5, 0.5, 1.5, 2.5, 3.5, 4.5, 8.0, None, LOW, IMPOSSIBLE]),
    st.one_of(st.integers(1, 4), st.integers(1, 500)),
)


@example([(None, 52), (-5.0, 83)], 0.2)
@given(st.lists(STRETCH, min_size=1, max_size=12), st.sampled_from([0.1, 0.2, 1.0, 7.0]))
def test_skipping_equals_stepping(stretches, period_s):
    margin = np.concatenate([np.full(length, np.nan if value is None else value) for value, length in stretches])
    lost = np.isnan(margin)
    state = np.select(
        [lost, margin == LOW, margin == IMPOSSIBLE, margin <= 0, margin < 2.0],
        [Level.LOST, Level.LOW_PRESSURE, Level.IMPOSSIBLE_PRESSURE, Level.ACT, Level.WARN],
        0,
    )
    hundredths = np.rint(np.nan_to_num(margin) * 100).astype(int)
    hundredths = np.select(
        [lost, margin == LOW, margin == IMPOSSIBLE], [alarm.UNREADABLE, alarm.TOO_LOW, alarm.IMPOSSIBLE], hundredths
    )
    margin = np.where(margin >= LOW, np.nan, margin)
    place = SimpleNamespace(
        traced=None,
        margin_degc=margin,
        uncertainty_degc=np.full(len(margin), 2.0),
        state=state,
        indicative=False,
        percolates=False,
    )
    seconds = np.arange(len(margin)) * period_s
    found = sorted(
        alarms.spans(SimpleNamespace(places={"pump": place}, running=1.0), seconds), key=lambda span: (span.first, span.level)
    )
    elapsed_ms = np.rint(np.diff(seconds, prepend=seconds[0]) * 1000).astype(int)
    assert found == stepped("pump", hundredths, np.full(len(margin), 200), elapsed_ms)


def test_the_drives_alarms(drive):
    """Warn comes before act and lasts longer; act comes an on-delay after the margin is used up, less 0.4 of the probe's lag."""
    table = drive.alarms()
    pump = table[table["place"] == "pump"].set_index("level")
    margins = drive.margins()
    first = margins.index[margins["pump_margin_degc"] < 0][0]
    assert 3.3 <= (pump.loc["act", "start"] - first).total_seconds() <= 4.3
    assert pump.loc["warn", "start"] < pump.loc["act", "start"]
    assert pump.loc["warn", "end"] > pump.loc["act", "end"]
    assert set(table["level"]) == {"warn", "act"}

"""The alarm state machine: hand-written courses on every interpreter, and properties on random ones."""

import itertools
import os
import runpy
from pathlib import Path

from hotfuel_wire import alarm
from hypothesis import given
from hypothesis import strategies as st

HERE = Path(__file__).parent
VECTORS = HERE.parent.parent / "protocol" / "alarm_vectors.jsonl"
COUNT = len(VECTORS.read_text(encoding="utf-8").splitlines())
WARN_BELOW = 300


def test_cpython(capsys, monkeypatch):
    monkeypatch.chdir(VECTORS.parent)
    runpy.run_path(str(HERE / "board_alarm.py"))
    assert capsys.readouterr().out == f"replayed {COUNT}\n"


def test_unix_port(micropython):
    here = os.getcwd()
    os.chdir(VECTORS.parent)
    try:
        assert micropython(HERE / "board_alarm.py") == f"replayed {COUNT}\n"
    finally:
        os.chdir(here)


def test_webassembly(webassembly, wire_sources):
    assert webassembly(HERE / "board_alarm.py", {**wire_sources, "alarm_vectors.jsonl": VECTORS}) == f"replayed {COUNT}\n"


def replay(margins, step_ms=500, places=1):
    """[(step, place, level, old, new)] of a course of margins, and the alarms afterwards."""
    changes = []
    alarms = alarm.Alarms(places, lambda *change: changes.append((step, *change)))
    for step, margin in enumerate(margins):  # noqa: B007 - the lambda reads `step`
        for place in range(places):
            alarms.update(place, margin, WARN_BELOW, step_ms)
    return changes, alarms


margins = st.integers(-2000, 3000)
courses = st.lists(st.one_of(margins, st.just(alarm.NO_MARGIN)), max_size=400)
held = st.lists(st.tuples(margins, st.integers(1, 200)), max_size=12).map(lambda runs: [m for m, n in runs for _ in range(n)])


@given(st.one_of(courses, held))
def test_order_is_kept(course):
    """Every alarm goes on and off in turn, each change starts from the state the last one ended in, and steps never go back."""
    changes, alarms = replay(course)
    last = {}
    for step, place, level, old, new in changes:
        before_step, before = last.get((place, level), (-1, alarm.NORMAL))
        assert old == before
        assert step > before_step
        assert (old, new) in {(0, 1), (1, 3), (3, 1)}, "without acknowledging, on and off alternate"
        last[(place, level)] = (step, new)
    assert alarms.unseen is bool(changes)


@given(st.one_of(courses, held))
def test_nothing_is_missed_beyond_the_on_delay(course):
    """At the end of every unbroken run below the limit that outlasts the on-delay, the act alarm is live."""
    need = alarm.ON_DELAY_MS // 500 + 1
    for end in range(need, len(course) + 1):
        if all(margin != alarm.NO_MARGIN and margin < 0 for margin in course[end - need : end]):
            _, alarms = replay(course[:end])
            assert alarms.places[0][alarm.ACT].live
            assert alarms.shown() == alarm.SHOW_ACT
            break


@given(st.lists(st.integers(1, WARN_BELOW + alarm.DEADBAND - 1), max_size=600))
def test_no_chatter_inside_the_deadband(course):
    """Once on, a margin that moves between limit and deadband never changes the warn alarm again."""
    changes, _ = replay([100] * 9 + course)
    assert [change[2:] for change in changes if change[2] == alarm.WARN] == [(alarm.WARN, 0, 1)]


@given(held)
def test_at_most_one_change_per_delay(course):
    """However the margin jumps, an alarm changes at most once per on-delay, and comes back at most once per on-delay plus off-delay."""
    changes, _ = replay(course)
    for level, off_delay in ((alarm.WARN, alarm.OFF_DELAY_MS), (alarm.ACT, alarm.OFF_DELAY_MS)):
        steps = [change[0] for change in changes if change[2] == level]
        assert all((later - earlier) * 500 >= alarm.ON_DELAY_MS for earlier, later in itertools.pairwise(steps))
        assert all((later - earlier) * 500 >= off_delay for earlier, later in zip(steps[0::2], steps[1::2], strict=False))


@given(held, st.lists(st.integers(1, 60), max_size=6))
def test_acknowledging_changes_no_live_state_and_no_wink(course, cuts):
    """The same course with and without acknowledging shows the same lamp at every step."""
    plain, quiet = alarm.Alarms(1, lambda *_: None), alarm.Alarms(1, lambda *_: None)
    for step, margin in enumerate(course):
        plain.update(0, margin, WARN_BELOW, 500)
        quiet.update(0, margin, WARN_BELOW, 500)
        if step % 61 in cuts:
            quiet.acknowledge()
            assert not quiet.sounding()
        assert (plain.shown(), plain.unseen, plain.first_out) == (quiet.shown(), quiet.unseen, quiet.first_out)


@given(held)
def test_a_lost_sensor_never_outranks_a_live_act(course):
    alarms = alarm.Alarms(2, lambda *_: None)
    for _ in range(20):
        alarms.update(0, -100, WARN_BELOW, 500)
    for _ in course:
        alarms.update(1, alarm.NO_MARGIN, WARN_BELOW, 500)
    assert alarms.shown() == alarm.SHOW_ACT
    assert alarms.shown(1) == (alarm.SHOW_LOST if len(course) > 8 else alarm.SHOW_NOTHING)


@given(st.integers(0, 15), st.integers(0, 2), st.integers(0, 3), st.integers(0, 3))
def test_event_value_round_trip(place, level, old, new):
    assert alarm.from_event_value(alarm.event_value(place, level, old, new)) == (place, level, old, new)

"""The alarm state machine: hand-written sequences of margins on every interpreter, and properties on random ones."""

import itertools
import os
import random
import runpy
import statistics
from pathlib import Path

import pytest
from hotfuel_wire import alarm
from hotfuel_wire.meanings import from_event_value
from hypothesis import given
from hypothesis import strategies as st

HERE = Path(__file__).parent
VECTORS = HERE.parent.parent / "protocol" / "alarm_vectors.jsonl"
COUNT = len(VECTORS.read_text(encoding="utf-8").splitlines())
WARN_BELOW = 300


def test_cpython(capsys, monkeypatch):
    monkeypatch.chdir(VECTORS.parent)
    runpy.run_path(str(HERE / "board_alarm.py"), run_name="__main__")
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
    """[(step, place, level, old, new)] of a sequence of margins, and the alarms afterwards."""
    changes = []
    alarms = alarm.Alarms(places, lambda *change: changes.append((step, *change)))
    for step, margin in enumerate(margins):  # noqa: B007 - the lambda reads `step`
        for place in range(places):
            alarms.update(place, margin, WARN_BELOW, step_ms)
    return changes, alarms


margins = st.integers(-2000, 3000)
courses = st.lists(st.one_of(margins, st.just(alarm.UNREADABLE)), max_size=400)
held = st.lists(st.tuples(margins, st.integers(1, 200)), max_size=12).map(lambda runs: [m for m, n in runs for _ in range(n)])


@given(st.one_of(courses, held))
def test_transitions_are_in_order(course):
    """Every alarm alternates on and off, each change starts from the state where the last one ended, and step numbers never decrease."""
    changes, alarms = replay(course)
    last = {}
    for step, place, level, old, new in changes:
        before_step, before = last.get((place, level), (-1, alarm.NORMAL))
        assert old == before
        assert step > before_step
        assert (old, new) in {(0, 1), (1, 3), (3, 1)}, "without an acknowledgement, on and off alternate"
        last[(place, level)] = (step, new)
    assert alarms.unseen is bool(changes)


@given(st.one_of(courses, held))
def test_nothing_is_missed_beyond_the_on_delay(course):
    """At the end of every unbroken run below the limit that outlasts the on-delay, the act alarm is live."""
    need = alarm.ON_DELAY_MS // 500 + 1
    for end in range(need, len(course) + 1):
        if all(margin != alarm.UNREADABLE and margin < 0 for margin in course[end - need : end]):
            _, alarms = replay(course[:end])
            assert alarms.places[0][alarm.ACT].live
            assert alarms.shown() == alarm.ACT
            break


@given(st.integers(WARN_BELOW, WARN_BELOW + alarm.DEADBAND - 1), st.integers(0, alarm.DEADBAND - 1), st.integers(0, 30))
def test_no_chatter_inside_the_deadband(at_warn, at_act, swing):
    """Once on, an alarm does not change while its margin stays between the limit and its deadband, however the margin moves within it."""
    swung = [(-swing, 0, swing)[step % 3] for step in range(400)]
    for level, below, at in ((alarm.WARN, WARN_BELOW, at_warn), (alarm.ACT, 0, at_act)):
        course = [min(max(at + by, below), below + alarm.DEADBAND - 1) for by in swung]
        changes, alarms = replay([-100] * 9 + course)
        assert [change[2:] for change in changes if change[2] == level] == [(level, 0, 1)]
        assert alarms.places[0][level].live


@given(held)
def test_at_most_one_change_per_delay(course):
    """However the margin jumps, an alarm changes at most once per on-delay, and comes on again at most once per on-delay plus off-delay."""
    changes, _ = replay(course)
    for level, off_delay in ((alarm.WARN, alarm.OFF_DELAY_MS), (alarm.ACT, alarm.OFF_DELAY_MS)):
        steps = [change[0] for change in changes if change[2] == level]
        assert all((later - earlier) * 500 >= alarm.ON_DELAY_MS for earlier, later in itertools.pairwise(steps))
        assert all((later - earlier) * 500 >= off_delay for earlier, later in zip(steps[0::2], steps[1::2], strict=False))


@given(held, st.lists(st.integers(1, 60), max_size=6))
def test_acknowledging_changes_no_live_state_and_does_not_affect_the_lamp(course, cuts):
    """The same sequence with and without acknowledging shows the same lamp pattern at every step."""
    plain, quiet = alarm.Alarms(1, lambda *_: None), alarm.Alarms(1, lambda *_: None)
    for step, margin in enumerate(course):
        plain.update(0, margin, WARN_BELOW, 500)
        quiet.update(0, margin, WARN_BELOW, 500)
        if step % 61 in cuts:
            quiet.acknowledge()
            assert not quiet.sounding()
        assert (plain.shown(), plain.unseen, plain.first_out) == (quiet.shown(), quiet.unseen, quiet.first_out)


class EveryStep(alarm.Alarms):
    """The same machine without its shortcuts: every tick goes through the window and every alarm, and the state shown is recomputed each time."""

    def update(self, place, margin, warn_below, elapsed_ms):
        self._at_rest[place] = False
        sight = self.sights[place]
        if margin != alarm.UNREADABLE and not sight.unreadable_ms:
            sight.step(False, elapsed_ms)
        super().update(place, margin, warn_below, elapsed_ms)

    def shown(self, place=-1):
        return self._live(range(len(self.places)) if place < 0 else (place,))


@given(
    st.lists(
        st.tuples(
            st.sampled_from([alarm.UNREADABLE, alarm.TOO_LOW, alarm.IMPOSSIBLE, -100, 0, 1, 299, 300, 301, 499, 500, 30000]),
            st.sampled_from([100, 500, 1700, 9000]),
            st.integers(1, 40),
            st.sampled_from(["", "", "acknowledge", "seen"]),
        ),
        max_size=12,
    )
)
def test_the_shortcuts_while_nothing_happens_change_nothing(course):
    told = [], []
    both = [cls(2, lambda *change, to=to: to.append(change)) for cls, to in zip((alarm.Alarms, EveryStep), told, strict=True)]
    for step, (margin, elapsed_ms, times, then) in enumerate(course):
        for _ in range(times):
            for alarms in both:
                alarms.update(step % 2, margin, WARN_BELOW, elapsed_ms)
        if then:
            for alarms in both:
                getattr(alarms, then)()
        shown = [(alarms.shown(), alarms.shown(0), alarms.sounding(), alarms.unseen, alarms.first_out) for alarms in both]
        assert shown[0] == shown[1]
    assert told[0] == told[1]


@pytest.mark.parametrize(("margin", "level"), [(100, alarm.WARN), (-100, alarm.ACT)])
def test_a_lost_place_listed_before_a_hot_one_does_not_hide_it(margin, level):
    alarms = alarm.Alarms(2, lambda *_: None)
    for _ in range(20):
        alarms.update(0, alarm.UNREADABLE, WARN_BELOW, 500)
        alarms.update(1, margin, WARN_BELOW, 500)
    assert (alarms.shown(0), alarms.shown(1), alarms.shown()) == (alarm.LOST, level, level)


def test_one_hot_tick_long_ago_does_not_shorten_the_delay():
    """Its timer ended with it: the alarm takes as long as at a place that was never hot."""

    def ticks_to_act(alarms):
        for tick in range(100):
            if alarms.shown() == alarm.ACT:
                return tick
            alarms.update(0, -100, WARN_BELOW, 500)
        raise AssertionError

    hot_before = alarm.Alarms(1, lambda *_: None)
    for margin in (-100, 5000, 5000):
        hot_before.update(0, margin, WARN_BELOW, 500)
    assert ticks_to_act(hot_before) == ticks_to_act(alarm.Alarms(1, lambda *_: None)) == alarm.ON_DELAY_MS // 500 + 1


@given(held)
def test_a_lost_sensor_never_outranks_a_live_act(course):
    alarms = alarm.Alarms(2, lambda *_: None)
    for _ in range(20):
        alarms.update(0, -100, WARN_BELOW, 500)
    for _ in course:
        alarms.update(1, alarm.UNREADABLE, WARN_BELOW, 500)
    assert alarms.shown() == alarm.ACT
    assert alarms.shown(1) == (alarm.LOST if len(course) > 8 else alarm.QUIET)


@given(st.lists(st.tuples(margins, st.integers(0, 4)), max_size=200))
def test_unreadable_ticks_delay_warn_and_act_only_by_their_own_duration(course):
    """With unreadable ticks inserted, both alarms come on at the same readable tick as without."""
    plain, _ = replay([margin for margin, _ in course])
    woven, places = [], []
    for margin, between in course:
        woven += [margin] + [alarm.UNREADABLE] * between
        places.append(len(woven) - 1 - between)
    broken, _ = replay(woven)

    def first_on(changes):
        return {level: step for step, _, level, _, new in reversed(changes) if new == 1 and level != alarm.LOST}

    assert first_on(broken) == {level: places[step] for level, step in first_on(plain).items()}


@given(st.lists(st.one_of(margins, st.just(alarm.UNREADABLE)), max_size=400))
def test_the_sliding_window_counts_correctly(course):
    """Against a plain list of the last ticks; the window is 7.5 to 8 s long."""
    sight = alarm.Sight()
    for at, margin in enumerate(course):
        sight.step(margin == alarm.UNREADABLE, 200)
        gone = [before == alarm.UNREADABLE for before in course[: at + 1]]
        assert 200 * sum(gone[-37:]) <= sight.unreadable_ms <= 200 * sum(gone[-40:])


# One probe at a margin of -5 degC, 5 ticks a second; each trial is one seed. The bounds were fixed before the trials were run.


def course_of(seed, share, margin, seconds):
    draw = random.Random(seed)
    return [alarm.UNREADABLE if draw.random() < share else margin for _ in range(5 * seconds)]


def seconds_to(level, course):
    """Seconds from the first tick until `level` comes on; None if it never does."""
    changes, _ = replay(course, step_ms=200)
    return next((step / 5 for step, _, found, _, new in changes if found == level and new == 1), None)


def test_delays_are_kept_to_the_millisecond():
    for delay_ms, live in ((3999, False), (4000, True)):
        one = alarm.Alarm(4000, 60000)
        for step_ms in (7, delay_ms - 5, 5):  # the delay starts at the first tick
            one.update(True, False, step_ms)
        assert one.live == live
    for delay_ms, live in ((59999, True), (60000, False)):
        one = alarm.Alarm(0, 60000)
        one.update(True, False, 0)
        for step_ms in (3, *[4999] * 12, delay_ms - 12 * 4999):
            one.update(False, True, step_ms)
        assert one.live == live


@pytest.mark.parametrize("share", [0.0, 0.05, 0.1, 0.2])
def test_act_with_unreadable_ticks_at_random(share):
    found = [seconds_to(alarm.ACT, course_of(seed, share, -500, 30)) for seed in range(500)]
    assert statistics.median(found) <= 6
    assert max(found) <= 12
    assert min(found) >= 4


def test_act_with_every_nth_tick_unreadable():
    for every, most_s in ((20, 4.4), (10, 4.6), (5, 5.2), (2, 8.2)):
        course = [alarm.UNREADABLE if step % every == 0 else -500 for step in range(3000)]
        assert seconds_to(alarm.ACT, course) <= most_s


def test_lost_with_most_ticks_unreadable():
    found = [seconds_to(alarm.LOST, course_of(seed, 0.6, 2000, 60)) for seed in range(500)]
    assert sum(at <= 10 for at in found) >= 495
    assert seconds_to(alarm.LOST, [alarm.UNREADABLE, 2000] * 300) <= 10
    assert seconds_to(alarm.LOST, [alarm.UNREADABLE] * 300) == 4.0


@pytest.mark.parametrize("seeds", [range(25), pytest.param(range(25, 500), marks=pytest.mark.slow)])  # slow: 6 s
def test_one_unreadable_tick_in_ten_is_not_lost(seeds):
    assert all(seconds_to(alarm.LOST, course_of(seed, 0.1, 2000, 600)) is None for seed in seeds)


def test_codes_without_a_margin_are_below_every_margin():
    """A margin is hundredths of a degC, an int of 31 bits on the board; every code is below NO_NUMBER, every margin above."""
    codes = {alarm.UNREADABLE, alarm.TOO_LOW, alarm.IMPOSSIBLE}
    assert len(codes) == 3
    assert min(codes) > -(1 << 30)
    assert max(codes) < alarm.NO_NUMBER < -100 * 100_000


@given(st.integers(0, 15), st.sampled_from(alarm.ALARMS), st.integers(0, 3), st.integers(0, 3))
def test_event_value_round_trip(place, level, old, new):
    assert from_event_value(alarm.event_value(place, level, old, new)) == (place, level, old, new)

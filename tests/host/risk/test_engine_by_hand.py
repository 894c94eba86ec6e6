"""The parts of the engine-state estimate by hand: the likeliest sequence against all possible ones, and each bound just inside and just outside."""

import itertools

import numpy as np
import pytest
from hotfuel.risk import engine
from hotfuel.risk.engine import engine_course

NAN = np.nan


def of(*parts):
    """One value a second from (value, seconds) pairs."""
    return np.concatenate([np.full(seconds, float(value)) for value, seconds in parts])


def course(rpm, key=None, idle=800.0, pulses=2.0, **more):
    return engine_course(rpm, np.full(len(rpm), NAN) if key is None else key, idle, pulses, **more)


def worth(odds, states):
    """Log odds of a sequence from the weights of seconds and changes: -3 to begin running, half of 7.5 silent seconds for each change."""
    silence = np.log(0.2 / 0.9)
    return (
        -3.0 * states[0]
        + sum(odds[i] for i, on in enumerate(states) if on)
        + 7.5 * silence / 2 * sum(a != b for a, b in itertools.pairwise(states))
    )


@pytest.mark.parametrize("seed", range(6))
def test_the_likeliest_sequence_is_the_best_of_all(seed):
    odds = np.random.default_rng(seed).normal(0, 6, 11).round(1)
    odds[3:6] = odds[3]  # a run of equal seconds is one step
    best = max(itertools.product((0, 1), repeat=11), key=lambda states: worth(odds, states))
    assert engine._likeliest(odds).tolist() == [bool(state) for state in best]
    assert engine._likeliest(np.zeros(0)).tolist() == []


def test_the_weight_of_a_second():
    assert pytest.approx(np.log(0.8 / 0.1)) == engine._PULSES
    assert pytest.approx(np.log(0.2 / 0.9)) == engine._SILENCE
    assert course(of((800, 20), (0, 7), (800, 20))).running.all()
    assert course(of((800, 20), (0, 8), (800, 20))).running.tolist() == of((1, 20), (0, 8), (1, 20)).tolist()
    assert not course(of((0, 2), (800, 20))).running[:2].any()  # it begins before the start
    # 0.6 of idle is 480: below it the engine is cranked
    assert course(of((479, 20), (0, 20))).running.any() == course(of((0, 40))).running.any()
    assert course(of((480, 20), (0, 20))).running.tolist() == of((1, 20), (0, 20)).tolist()


@pytest.mark.parametrize(("other", "running"), [(1.0, True), (0.0, False), (NAN, True), (-1.0, True)])
def test_other_inputs_decide_where_speed_is_unknown(other, running):
    rpm = of((800, 30), (NAN, 30))
    found = course(rpm, otherwise=of((NAN, 30), (other, 30)))
    assert found.running.tolist() == of((1, 30), (running, 30)).tolist()
    assert course(rpm, otherwise=np.full(60, 0.0)).running[:30].all()  # where speed is known it counts
    assert not course(rpm, key=of((1, 30), (0, 30)), otherwise=np.full(60, 1.0)).running[30:].any()


def test_unknown_seconds_hold_the_last_known_value():
    held = engine._held(np.array([NAN, 1, NAN, NAN, 0, NAN]))
    assert held.tolist()[1:] == [1, 1, 1, 0, 0]
    assert np.isnan(held[0])
    assert np.isnan(engine._held(np.full(3, NAN))).all()
    assert not course(of((800, 30), (0, 3), (60, 5)), key=np.array([1.0] * 30 + [0.0] + [NAN] * 7)).running[31:].any()


def test_absurd_speeds_are_counted():
    assert course(of((800, 20), (15001, 2), (800, 20))).doubts == (
        "2 seconds had more than 15,000 rpm, which is noise: they are left out.",
    )
    assert course(of((800, 20), (15000, 2), (800, 20))).doubts == ()


@pytest.mark.parametrize(
    ("rpm", "seconds", "fast", "idle", "said"),
    [
        (400, 124, 0, 400, "The slowest steady speed is 400 rpm where the car file has an idle of 800: pulses per revolution looks like 1, not 2."),
        (400, 123, 0, 800, ""),  # 119 steady seconds: less than twice a minute
        (600, 130, 0, 800, ""), (599, 130, 0, 599, "looks like 1.5, not 2"), (1360, 130, 0, 800, ""), (1360, 130, 9000, 800, "looks like 3.5, not 2"),
        (1359, 130, 9000, 800, ""), (1360, 130, 8999, 800, ""), (61, 130, 0, 61, "looks like 0.5, not 2"), (60, 130, 0, 800, ""),
    ],
)  # fmt: skip
def test_wrong_pulse_counts_show_at_idle(rpm, seconds, fast, idle, said):
    speed = of((rpm, seconds), (fast, 20 if fast else 0))
    found, sentences = engine._idle(speed, 800.0, 2.0)
    assert found == idle
    assert (said in sentences[0]) if said else sentences == []
    if said:
        assert "check both" in engine._idle(speed, 800.0, None)[1][0]


def test_the_slowest_steady_speed_is_held_for_a_minute():
    """Sixty steady seconds of a starter do not count: the 61st slowest second decides."""
    for seconds, idle in ((64, 800), (65, 300)):  # 60 and 61 seconds in the middle of five
        assert engine._idle(of((300, seconds), (0, 5), (800, 90)), 800.0, 2.0)[0] == idle
    assert [engine._whole(value) for value in (0.1, 0.74, 0.76, 1.3, 2.0)] == ["0.5", "0.5", "1", "1.5", "2"]


def test_steady_seconds_are_within_an_eighth():
    speed = np.array([800.0, 800, 900, 800, 800, 801, 901.2])
    assert engine._steady(speed, speed > 0).tolist() == [False, False, True, True, False, False, False]
    assert engine._steady(speed, speed < 900).tolist() == [False] * 7
    assert engine._steady(speed[:4], speed[:4] > 0).tolist() == [False] * 4
    assert engine._steady(speed[:5], speed[:5] > 0).tolist() == [False, False, True, False, False]


@pytest.mark.parametrize(
    ("rpm", "seconds", "lost", "against"),
    [(800, 20, 0, True), (800, 19, 0, False), (640, 20, 0, True), (639, 20, 0, False), (800, 60, 3, True), (800, 60, 2, False)],
)
def test_steady_pulses_with_the_key_off(rpm, seconds, lost, against):
    """More than ten windows of ten seconds, 0.7 of which have pulses of 0.8 of idle or more; lost: one second in so many."""
    speed = np.full(seconds, float(rpm))
    if lost:
        speed[::lost] = 0.0
    speed, key = np.concatenate([[800.0] * 5, speed, [0.0] * 5]), of((1, 5), (0, seconds), (1, 5))
    found = engine._running_on_with_key_off(speed, speed >= 480, key, 800.0)
    assert found.tolist() == of((0, 5), (against, seconds), (0, 5)).tolist()


def test_scattered_pulses_with_the_key_off_are_noise():
    """Half of the windows' speeds within 0.15 of their middle are steady."""
    for spread, against in ((0.14, True), (0.16, False)):
        speed = 1000 * (1 + spread * np.array([0, 1, -1, 1, -1] * 8))
        assert engine._running_on_with_key_off(speed, speed >= 480, np.zeros(40), 800.0).all() == against
    said = course(np.full(240, 900.0), key=np.zeros(240)).doubts
    assert said[0].startswith("The ignition reads off for 4 min while the engine turns steadily at about 900 rpm")


@pytest.mark.parametrize(
    ("after", "belongs"),
    [
        ([0, 0, 500], 3),
        ([0] * 5 + [500], 6),
        ([0] * 6 + [500], 0),
        ([330], 1),
        ([320], 0),
        ([1270], 1),
        ([1280], 0),
        ([500, 0, 500, 0], 3),
    ],
)
def test_pulses_around_an_end_of_running_belong_to_it(after, belongs):
    """Within six seconds, at 0.4 to 1.6 of the level inside, here 800."""
    speed = np.concatenate([np.full(10, 800.0), after, np.zeros(8)])
    for turn in (slice(None), slice(None, None, -1)):
        running = (np.arange(len(speed)) < 10)[turn].copy()
        engine._to_the_last_pulse(running, speed[turn].copy(), (speed > 0)[turn].copy())
        assert running[turn].tolist() == [True] * (10 + belongs) + [False] * (len(speed) - 10 - belongs)


@pytest.mark.parametrize(("silent_s", "stopped"), [(1, 1), (7, 7), (8, 0)])
def test_the_key_stopped_the_engine_if_it_is_turned_off_soon_after(silent_s, stopped):
    running, off = np.arange(30) < 10, np.arange(30) >= 10 + silent_s
    engine._to_the_key(running, off)
    assert np.count_nonzero(running) == 10 + stopped
    still = np.arange(30) < 10
    engine._to_the_key(still, np.zeros(30, bool))
    assert np.count_nonzero(still) == 10


@pytest.mark.parametrize(
    ("before", "silence", "stalled"),
    [
        ([800] * 10, [300, 0, 200, 200], True), ([800] * 9 + [680], [0, 0, 200, 200], True), ([800] * 9 + [681], [0, 0, 200, 200], False),
        ([800] * 10, [300, 200, 200], True), ([800] * 10, [200, 200], False), ([800] * 10, [300] + [0] * 12 + [200] * 2, True),
        ([800] * 10, [300] + [0] * 13 + [200] * 2, False), ([800] * 10, [300, 0, 0, 200], False), ([800] * 2, [300, 0, 200, 200], False),
        ([800] * 3, [300, 0, 200, 200], True), ([800, 680], [0, 0, 200, 200], False), ([NAN, 800, 680], [0, 0, 200, 200], False),
        ([NAN] * 3, [0, 0, 200, 200], False),
        ([800, 800, 680], [0, 0, 200, 200], True), ([900] + [600] * 12, [0, 0, 200, 200], False),
    ],
)  # fmt: skip
def test_a_stall_is_cut_out_of_running(before, silence, stalled):
    speed = np.array([*before, *silence, *[800] * 5], dtype=float)
    running, low = np.ones(len(speed), bool), (speed > 30) & (speed < 480)
    engine._cut_stalls(running, speed, speed >= 480, low)
    assert (~running[len(before) : len(before) + len(silence)]).all() == stalled
    assert np.count_nonzero(~running) == (len(silence) if stalled else 0)
    end = np.array([*before, *silence], dtype=float)  # nothing after it: the engine did not start again
    running = np.ones(len(end), bool)
    engine._cut_stalls(running, end, end >= 480, (end > 30) & (end < 480))
    assert running.all()


def test_neighbours_runs_of_values_and_counts():
    assert engine._neighboured(np.array([1, 0, 0, 1, 1, 0], bool)).tolist() == [False, True, True, True, True, True]
    assert engine._seconds(np.array([True, False, True]), np.ones(3, bool)) == "2 of 3 seconds"


@pytest.mark.parametrize(("lost", "said"), [(5, False), (6, True)])
def test_more_than_five_bridged_seconds_are_reported(lost, said):
    rpm = np.full(160, 800.0)
    rpm[10 : 10 + 20 * lost : 20] = 0
    found = course(rpm)
    assert found.running.all()
    assert found.rpm.tolist() == [800.0] * 160
    assert any(f"{lost} of 160 seconds of running had no pulses" in doubt for doubt in found.doubts) == said
    longer = np.concatenate([rpm, np.full(40, 800.0)])  # three in a hundred: 6 of 200 are allowed
    assert course(longer).doubts == ()


@pytest.mark.parametrize(("stray", "said"), [(5, False), (6, True)])
def test_pulses_with_the_key_off_are_reported(stray, said):
    rpm = of((800, 20), (0, 160))
    rpm[30 : 30 + 20 * stray : 20] = 300
    found = course(rpm, key=of((1, 20), (0, 160)))
    assert any(f"{stray} of 160 seconds with the ignition off had pulses" in doubt for doubt in found.doubts) == said
    assert not found.running[20:].any()
    assert not found.turning.any()


def test_a_starter_counts_next_to_running_or_at_its_own_speed():
    found = course(of((0, 20), (200, 3), (800, 30), (0, 20), (200, 1), (0, 20)))
    assert np.flatnonzero(found.turning).tolist() == [20, 21, 22]
    assert found.rpm.tolist() == of((0, 20), (200, 3), (800, 30), (0, 41)).tolist()
    assert not course(of((0, 20), (30, 3), (0, 20))).turning.any()
    assert course(of((0, 20), (31, 3), (0, 20))).turning.sum() == 3
    ramp = course(np.concatenate([np.full(10, 800.0), [0.0], np.full(10, 1000.0)]))
    assert ramp.rpm[10] == 900.0

"""A chip that comes and goes is reported without flooding, and the last report is its present state."""

from itertools import pairwise

from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER
from hypothesis import given
from hypothesis import strategies as st
from watch import MINUTE_MS, Watch


def watch_events(states, tick_ms=200, rest_ms=2 * MINUTE_MS):
    """[(time, event, value, detail)] of one channel through these states, one tick each, then nothing new; step every 5 s as the application does."""
    events = []
    now = [0]
    watch = Watch(1, lambda name, channel, value=0, detail="": events.append((now[0], name, value, detail)))
    for state in [*states, *[states[-1]] * (rest_ms // tick_ms)]:
        now[0] += tick_ms
        watch.see(0, state, now[0])
        if now[0] % 5000 == 0:
            watch.step(now[0])
    return events


def names(events):
    return [event[1] for event in events]


def test_a_single_loss_and_return_are_reported_as_they_come():
    events = watch_events([0] * 10 + [NO_ANSWER] * 15 + [0] * 10)
    assert [(event[0], event[1]) for event in events] == [(2200, "chip_lost"), (5200, "chip_found")]


def test_a_loose_plug_for_ten_minutes_costs_two_events_and_one_a_minute():
    """Every second tick bad, 3000 changes."""
    events = watch_events([NO_ANSWER, 0] * 1500)
    assert names(events)[:2] == ["chip_lost", "chip_found"]
    assert set(names(events)[2:]) == {"chip_unsteady"}
    assert 9 <= len(events) - 2 <= 11
    assert sum(event[2] for event in events[2:]) == 1500 - 1, "every loss but the first, which had an event of its own"
    assert all(later[0] - earlier[0] >= MINUTE_MS for earlier, later in pairwise(events[2:]))


def test_after_a_quiet_minute_the_next_loss_is_reported_at_once_again():
    events = watch_events([NO_ANSWER, 0] * 3 + [0] * 1500 + [NO_ANSWER] * 5)
    assert names(events) == ["chip_lost", "chip_found", "chip_unsteady", "chip_lost"]


@given(st.lists(st.sampled_from([0, NO_ANSWER, CONFIGURATION_LOST]), min_size=1, max_size=2000))
def test_the_final_state_is_known_within_two_minutes_of_the_last_change(states):
    events = watch_events(states)
    state = "found"
    for _, name, _, detail in events:
        if name == "chip_unsteady":
            state = {"it answers": "found", "it does not answer": "lost"}.get(detail, "settings")
        else:
            state = {"chip_lost": "lost", "chip_found": "found"}.get(name, "settings")
    last = {0: ("found", "settings"), NO_ANSWER: ("lost",), CONFIGURATION_LOST: ("settings",)}[states[-1]]
    assert state in last, events  # configured again, it measures: no event says so
    minutes = len(states) * 200 / MINUTE_MS + 2
    assert len(events) <= 4 * (minutes + 1)

"""Board time across wraps and reboots: one frame at a time and in blocks, and by hand."""

import math

import numpy as np
from hotfuel.samples.boots import BACK_MS, Boots
from hotfuel_wire.messages import TYPES
from hypothesis import given, settings
from hypothesis import strategies as st

READING, DESCRIPTION, HEALTH, MARK, COMMAND = (TYPES[name] for name in ("reading", "description", "health", "mark", "command"))
frames = st.tuples(
    st.sampled_from([READING] * 4 + [DESCRIPTION, HEALTH, MARK, COMMAND]),
    st.integers(0, 1),
    st.one_of(st.integers(0, 40_000), st.integers(2**32 - 20_000, 2**32 - 1), st.integers(0, 2**32 - 1)),
    st.integers(0, 2),
)
# sequences that advance by small steps, with jumps between
courses = st.lists(st.tuples(frames, st.integers(1, 30)), max_size=20).map(
    lambda runs: [
        (kind, tick, (time_ms + 100 * step) % 2**32, number)
        for (kind, tick, time_ms, number), count in runs
        for step in range(count)
    ]
)


def one_by_one(course):
    boots = Boots()
    return [
        boots.step(kind, tick, time_ms, number if kind == READING else None, number if kind == DESCRIPTION else None)
        for kind, tick, time_ms, number in course
    ]


@given(st.one_of(st.lists(frames, max_size=80), courses), st.integers(1, 50))
@settings(max_examples=300)
def test_blocks_give_what_single_steps_give(course, size):
    boots = Boots()
    found = []
    for at in range(0, len(course), size):
        kind, tick, time_ms, number = (
            np.array(column, kind_of)
            for column, kind_of in zip(zip(*course[at : at + size], strict=True), ("u1", "u4", "u4", "u4"), strict=True)
        )
        keys = {place: int(number[place]) for place in np.flatnonzero(kind == DESCRIPTION).tolist()}
        boot, time_s = boots.steps(kind, tick, time_ms, number, keys)
        found += zip(boot.tolist(), time_s.tolist(), strict=True)
    assert [(boot, "nan" if math.isnan(time) else time) for boot, time in found] == [
        (boot, "nan" if math.isnan(time) else time) for boot, time in one_by_one(course)
    ]


def times(*course):
    return [(boot, time) for boot, time in one_by_one(course)]


def test_time_continues_over_the_wrap():
    course = [(READING, 0, (2**32 - 200 + 100 * step) % 2**32, 7) for step in range(5)]
    found = times(*course)
    assert {boot for boot, _ in found} == {0}
    assert np.allclose(np.diff([time for _, time in found]), 0.1)
    assert found[-1][1] == (2**32 + 200) / 1000


def test_time_that_falls_back_far_is_a_new_boot():
    assert times((READING, 0, 60_000, 7), (READING, 0, 300, 7)) == [(0, 60.0), (1, 0.3)]


def test_a_reading_that_waited_in_the_ring_is_not_a_new_boot():
    assert times((HEALTH, 0, 60_000, 0), (READING, 0, 60_000 - BACK_MS, 7)) == [(0, 60.0), (0, 45.0)]


def test_a_quick_reboot_is_recognised_by_the_descriptions_id():
    """The board restarts three seconds after its start: too short for the time alone, but the id (its boot count) and the order show it."""
    assert [boot for boot, _ in times((READING, 0, 3000, 7), (READING, 0, 200, 8))] == [0, 1]
    assert [
        boot for boot, _ in times((DESCRIPTION, 0, 0, 1), (READING, 0, 3000, 7), (DESCRIPTION, 0, 10, 2), (READING, 0, 200, 8))
    ] == [0, 0, 1, 1]


def test_changed_settings_are_not_a_new_boot():
    assert [boot for boot, _ in times((READING, 0, 3000, 7), (READING, 0, 3100, 8))] == [0, 0]


def test_host_frames_belong_to_the_boot_before_them():
    found = times((MARK, 0, 0, 0), (READING, 1, 5000, 7), (MARK, 1, 5000, 0), (MARK, 0, 0, 0))
    assert math.isnan(found[0][1])
    assert found[2] == (0, 5.0)
    assert math.isnan(found[3][1])

"""A whole recording traced at once gives the same as the recording followed tick by tick, in batches of any size."""

import itertools

import numpy as np
from hotfuel.risk.probes import ProbeTrace, fall_note, traced
from hotfuel.temperature.counts import NO_NEW_CONVERSION
from hypothesis import given
from hypothesis import strategies as st

# what comes for how many ticks: a temperature, unreadable, or no new conversion
runs = st.lists(
    st.tuples(st.one_of(st.floats(-10, 120), st.just(None), st.just("waiting")), st.integers(1, 60)), min_size=1, max_size=25
)


def course(runs):
    degc = np.concatenate([np.full(n, value if isinstance(value, float) else np.nan) for value, n in runs])
    late = np.concatenate([np.full(n, value == "waiting") for value, n in runs])
    reason = np.where(late, NO_NEW_CONVERSION, np.where(np.isnan(degc), 4, 0))
    return degc, reason


@given(runs, st.sampled_from([0.1, 0.2, 1.0, 3.0]), st.sampled_from([0.0, 1.5, 25.0]), st.lists(st.integers(1, 1500), max_size=6))
def test_all_at_once_equals_tick_by_tick(runs, period_s, lag_s, cuts):
    degc, reason = course(runs)
    seconds = 12.0 + period_s * np.arange(len(degc))
    whole = traced(lag_s, seconds, degc, reason)
    follower, edges = ProbeTrace(lag_s), [0, *sorted(cut for cut in cuts if cut < len(degc)), len(degc)]
    parts = [follower.see(seconds[a:b], degc[a:b], reason[a:b]) for a, b in itertools.pairwise(edges)]
    for name in ("doubted", "waiting", "lead_degc"):
        assert np.array_equal(getattr(whole, name), np.concatenate([getattr(part, name) for part in parts])), name
    joined = [(start + row, fall) for start, part in zip(edges, parts, strict=False) for row, fall in part.falls]
    assert list(whole.falls) == joined


def test_a_short_is_doubted_and_a_lasting_one_is_reported():
    degc = np.concatenate((np.full(100, 70.0), np.full(25, 28.0), np.full(100, 70.0), np.full(100, 28.0)))
    found = traced(1.5, 0.2 * np.arange(len(degc)), degc, np.zeros(len(degc)))
    assert np.flatnonzero(found.doubted).tolist() == [*range(100, 125), *range(225, 275)]
    assert found.falls == ((275, 42.0),)
    assert "shorted lead" in fall_note("pump") and "slosh" not in fall_note("pump")
    assert "fuel that comes over a bare probe, by sloshing or filling up" in fall_note("tank", tank=True)


def test_a_slow_chip_waits_and_a_dead_one_does_not():
    degc, reason = course([(50.0, 10), ("waiting", 1), (50.0, 15), ("waiting", 100)])
    waiting = traced(1.5, 0.2 * np.arange(len(degc)), degc, reason).waiting
    assert waiting[10]
    judged = np.flatnonzero(~waiting[26:])
    assert judged[0] == 10, "2 s after the last conversion"
    assert len(judged) == 9

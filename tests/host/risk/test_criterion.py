"""The criterion by pump, and how a car's own events move it."""

import pytest
from hotfuel.errors import InputError
from hotfuel.risk.criterion import HAD_TROUBLE, RAN_THROUGH, Criterion, moved_by_events
from hypothesis import given
from hypothesis import strategies as st

START = Criterion(20, 10, 36, "mechanical pump")


def test_without_events_nothing_moves():
    assert moved_by_events(START, []) == START


def test_trouble_at_little_vapour_lowers_it_and_running_through_much_raises_it():
    weak = moved_by_events(START, [(8.0, HAD_TROUBLE)] * 3)
    strong = moved_by_events(START, [(32.0, RAN_THROUGH)] * 3)
    assert weak.vapour_liquid_ratio < 14 < 22 < strong.vapour_liquid_ratio
    assert "3 events of this car" in weak.text


def test_both_kinds_close_in_on_the_cars_own_limit():
    events = [(12.0, RAN_THROUGH), (14.0, RAN_THROUGH), (20.0, HAD_TROUBLE), (18.0, HAD_TROUBLE), (13.0, RAN_THROUGH), (19.0, HAD_TROUBLE)]
    own = moved_by_events(START, events)
    assert 12 < own.vapour_liquid_ratio < 20
    assert own.greatest - own.least < START.greatest - START.least


@given(st.lists(st.tuples(st.floats(0, 60), st.sampled_from([HAD_TROUBLE, RAN_THROUGH])), max_size=12))
def test_order_does_not_matter_and_the_range_holds_the_middle(events):
    one, other = moved_by_events(START, events), moved_by_events(START, events[::-1])
    assert one.vapour_liquid_ratio == pytest.approx(other.vapour_liquid_ratio)
    assert 0 <= one.least <= one.vapour_liquid_ratio <= one.greatest <= 40.001


@pytest.mark.parametrize("event", [(5.0, "exploded"), (-1.0, HAD_TROUBLE), (float("nan"), RAN_THROUGH)])
def test_an_unknown_event_is_refused(event):
    with pytest.raises(InputError, match="had trouble"):
        moved_by_events(START, [event])

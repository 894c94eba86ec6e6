"""Stretches of True: written out by hand, and whatever the series, putting them back gives it again."""

import itertools

import numpy as np
from hotfuel.stretches import stretches
from hypothesis import given
from hypothesis import strategies as st


def test_stretches_by_hand():
    assert stretches(np.array([1, 0, 1, 1, 0, 1], bool)) == [(0, 1), (2, 4), (5, 6)]
    assert stretches([]) == stretches([False, False]) == []
    assert stretches([True, True]) == [(0, 2)]


@given(st.lists(st.booleans(), max_size=40))
def test_they_cover_every_true_once_and_never_touch(holds):
    found = stretches(holds)
    back = np.zeros(len(holds), bool)
    for first, past in found:
        assert first < past
        back[first:past] = True
    assert back.tolist() == holds
    assert all(past < later for (_, past), (later, _) in itertools.pairwise(found))

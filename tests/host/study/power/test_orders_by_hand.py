"""Orders, pauses and trends of pulls against figures worked by hand."""

import numpy as np
import pytest
from hotfuel.study.power import decided, driven


def test_an_engine_recovers_from_a_pause_over_two_pulls():
    np.testing.assert_allclose(decided.recovery(np.arange(5.0), 2.0), [0, 0, 1, np.exp(-0.5), np.exp(-1)])


@pytest.mark.parametrize(
    ("order", "pauses", "kind", "columns"),
    [
        ("bvvbbvvb", (), driven.FITTED, 3), ("bvvbbvvb", (4.0,), driven.FITTED, 4), ("bvvbbv", (3.0,), driven.PAUSED, 4), ("bvvb", (), driven.LEVEL, 2),
        ("bvvbbvvb", (0.0,), driven.FITTED, 3), ("bvvbbvvb", (8.0,), driven.FITTED, 3), ("bvvbbvvb", (7.0,), driven.FITTED, 4),
        ("bbvv", (), driven.AFTER, 2), ("bvbv", (), driven.LOPSIDED, 2), ("bvvb", (2.0,), driven.PAUSED, 3), ("bv", (), driven.LOPSIDED, 2),
    ],
)  # fmt: skip
def test_what_an_order_allows(order, pauses, kind, columns):
    side, at = np.array([letter == "v" for letter in order]), np.arange(len(order), dtype=float)
    values = np.linspace(0, 1, len(order)) ** 2
    found = decided.fit(values[~side], values[side], at[~side], at[side], pauses)
    assert (found.order.kind, found.design.shape) == (kind, (len(order), columns))
    assert found.can_test == (len(order) > 2)
    assert decided.fit(values[~side], values[side], None, at[side], pauses).order.kind == driven.UNKNOWN


def test_the_terms_a_fit_can_support():
    side, ones = np.repeat([0.0, 1], 3), np.ones(6)
    assert decided._can_carry([side, ones, np.array([0, 1.0, 2, 0, 1, 2])])
    # a column correlated with the side by r inflates the side's variance by 1/(1 - r^2): r^2 = 0.45 is within twice, 0.55 is not
    turned = np.array([1.0, -2, 1, 1, -2, 1]) / 2**0.5
    for r2, fits in ((0.45, True), (0.55, False)):
        with_side = (2 * side - 1) * r2**0.5 + turned * (1 - r2) ** 0.5
        assert decided._can_carry([side, ones, with_side]) == fits
    assert not decided._can_carry([side[1:5], ones[1:5], np.array([0, 1.0, 0, 1])])  # one degree of freedom left
    assert not decided._can_carry([side, ones, 2 * side])


def test_the_trend_within_the_sides():
    """Slope and its interval by hand: 0, 1, 2, 3 with values 0, 5, 5.2, 0.8: x -1.5 -.5 .5 1.5, y -.4 -.1 .1 .4, slope 0.26, residual 0.008 of 1 freedom."""
    at, values = np.array([0.0, 3]), np.array([0.0, 0.8])
    found = driven.judged(at, np.array([1.0, 2]), values, np.array([5.0, 5.2]))
    assert found.kind == driven.LEVEL
    assert found.trend_percent == pytest.approx(0.26)
    assert found.trend_half_percent == pytest.approx(12.7062 * (0.002 / 5) ** 0.5, rel=1e-4)
    # no degree of freedom is left
    assert np.isnan(driven.judged(np.array([0.0]), np.array([1.0, 2]), np.zeros(1), np.ones(2)).trend_percent)


@pytest.mark.parametrize(
    ("gaps", "pauses"),
    [((200, 200, 501, 200), (3.0,)), ((200, 200, 500, 200), ()), ((100, 100, 400, 100), ()), ((100, 100, 401, 100), (3.0,)), ((900, 100), ()),
     ((100, 900, 100), (2.0,))],
)  # fmt: skip
def test_a_longer_pause(gaps, pauses):
    assert driven._pauses(np.concatenate([[0.0], np.cumsum(gaps)])) == pauses

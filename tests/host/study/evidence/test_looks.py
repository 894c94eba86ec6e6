"""Interim looks that are paid for in advance: exact where a single last look is a t test, checked by another kind of draws elsewhere."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.study.evidence.looks import fixed_blocks, looked, most_blocks, multiples
from hotfuel.study.evidence.order import mirrored_blocks
from hotfuel.study.evidence.plan import runs_for
from hotfuel.study.evidence.verdicts import HIGHER, LOWER, NO_DIFFERENCE, UNDECIDED
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats


def test_a_plan_of_two_blocks_has_one_look_and_is_the_t_test():
    """Two variants: the pooled t's quantile; three: Tukey's range, by scipy."""
    assert multiples(2, 2) == pytest.approx([stats.t.ppf(0.975, 2)], rel=0.03)
    assert multiples(3, 2) == pytest.approx([stats.studentized_range.ppf(0.95, 3, 3) / np.sqrt(2)], rel=0.03)


def test_the_first_look_spends_its_share_of_the_error():
    """Of four blocks the second is half of the plan, so it may spend a quarter of 5 %: the t quantile at that error."""
    assert multiples(2, 4)[0] == pytest.approx(stats.t.ppf(1 - 0.05 * 0.25 / 2, 2), rel=0.06)


def test_all_looks_together_spend_five_per_cent():
    """Draws of another generator, the pooled t written separately; a fixed t at each look would spend more than twice that."""
    random = np.random.Generator(np.random.MT19937(7))
    a, b = random.standard_normal((2, 20_000, 5))
    crossed = careless = np.zeros(20_000, dtype=bool)
    for k, bound in enumerate(multiples(2, 5), start=2):
        t = np.abs(stats.ttest_ind(a[:, :k], b[:, :k], axis=1).statistic)
        crossed, careless = crossed | (t > bound), careless | (t > stats.t.ppf(0.975, 2 * k - 2))
    assert crossed.mean() == pytest.approx(0.05, abs=0.006)
    assert careless.mean() > 0.09


@pytest.mark.parametrize(("difference", "spread"), [(5.0, 1.5), (0.7, 0.5)])
def test_a_fixed_plan_of_two_is_the_t_test_s_and_looks_cost_at_most_three_tenths(difference, spread):
    assert fixed_blocks(2, difference, spread) == runs_for(difference, spread)
    assert (
        fixed_blocks(2, difference, spread) <= most_blocks(2, difference, spread) <= np.ceil(1.3 * runs_for(difference, spread))
    )


def test_a_verdict_once_reached_stays_and_its_block_is_named():
    values = np.array([[60.0, 50.0], [60.4, 50.3], [60.2, 50.1], [59.0, 70.0]])
    assert looked(values[:1], 4, 3.0) == []
    (one,) = looked(values[:3], 4, 3.0)
    assert (one.verdict, one.block, one.more) == (LOWER, 2, 0)
    (later,) = looked(values, 4, 3.0)
    assert (later.verdict, later.block) == (LOWER, 2)
    assert later.low < 0 < later.high
    (up,) = looked(-values[:3], 4, 3.0)
    assert up.verdict == HIGHER


def test_no_difference_and_how_many_more():
    random = np.random.default_rng(1)
    values = 60 + random.normal(0, 0.2, (4, 2))
    assert looked(values, 4, 3.0)[0].verdict == NO_DIFFERENCE
    (one,) = looked(np.array([[60.0, 57.0], [60.9, 57.4]]), 6, 1.0)
    assert one.verdict == UNDECIDED
    assert 1 <= one.more <= 4


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (np.full((5, 2), 60.0), "a plan of 4"),
        (np.array([[60.0, np.nan], [60.0, 55.0]]), "not complete"),
        (np.full((2, 2), 60.0), "equal to the last digit"),
    ],
)
def test_a_plan_that_cannot_decide_is_refused(values, words):
    with pytest.raises(InputError, match=words):
        looked(values, 4, 3.0)


@given(st.integers(2, 6), st.integers(1, 9), st.integers(0, 999))
def test_every_block_holds_each_variant_once_and_the_next_is_its_mirror(count, blocks, seed):
    names = [f"v{i}" for i in range(count)]
    order = mirrored_blocks(names, blocks, seed)
    rows = [order[i : i + count] for i in range(0, len(order), count)]
    assert len(rows) == blocks
    assert all(sorted(row) == names for row in rows)
    assert all(rows[i] == rows[i - 1][::-1] for i in range(1, blocks, 2))

"""Orders that a drift biases least, and the number of runs that a difference needs."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import power_words
from hotfuel.study.evidence import order
from hotfuel.study.evidence.plan import plan, runs_for
from hypothesis import given
from hypothesis import strategies as st


@given(st.integers(2, 4), st.integers(1, 9), st.integers(0, 1000))
def test_an_order_holds_every_variant_equally_often_and_is_reproducible_by_its_seed(count, each, seed):
    names = ["bare", "sleeve", "shield", "spacer"][:count]
    drawn = order.balanced_order(names, each, seed)
    assert sorted(drawn) == sorted(names * each)
    assert drawn == order.balanced_order(names, each, seed)


@given(st.integers(1, 20), st.integers(0, 1000))
def test_two_variants_are_balanced_against_a_straight_drift(pairs, seed):
    drawn = order.balanced_order(["bare", "sleeve"], 2 * pairs, seed)
    side = np.array([name == "sleeve" for name in drawn])
    position = np.arange(len(side))
    assert abs(position[side].mean() - position[~side].mean()) <= 1 / pairs  # at most half a place in sum over an even number
    assert order.is_balanced(side.tolist()) or len(side) < 4


def test_the_order_is_drawn_and_varies():
    assert len({tuple(order.balanced_order(["a", "b"], 4, seed)) for seed in range(60)}) >= 4


def test_the_cost_of_removing_a_drift():
    def inflation(text):
        return order.variance_inflation([c == "B" for c in text])

    assert inflation("ABBAABBA") == pytest.approx(1.0)
    # point-biserial correlation of AAAABBBB with the places 0..7: r² = 16/21
    assert inflation("AAAABBBB") == pytest.approx(1 / (1 - 16 / 21))
    assert inflation("AB") == np.inf
    assert order.is_balanced([c == "B" for c in "ABABABAB"])
    assert not order.is_balanced([c == "B" for c in "AAAABBBB"])
    assert order.is_one_after_the_other([True, True, False])
    assert not order.is_one_after_the_other([True, False, True])


@pytest.mark.parametrize(("spread", "each"), [(0.3, 6), (0.5, 12), (0.8, 29)])
def test_runs_for_seven_tenths_of_a_per_cent(spread, each):
    # noncentral t by simulation: power at n is at least 90 %, at n - 1 below
    assert runs_for(0.7, spread) == each
    rng = np.random.default_rng(1)

    def power(n):
        a, b = rng.normal(0, spread, (20000, n)), rng.normal(0.7, spread, (20000, n))
        t = (b.mean(1) - a.mean(1)) / np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / n)
        from scipy import stats

        return float(np.mean(np.abs(t) > stats.t.ppf(0.975, 2 * n - 2)))

    assert power(each) >= 0.9 - 0.01
    assert power(each - 1) < 0.9 + 0.01


def test_a_plan_gives_number_and_order():
    drawn = plan(["bare", "sleeve"], 0.7, 0.3, seed=3)
    assert drawn.runs_each == 6
    assert sorted(drawn.order) == ["bare"] * 6 + ["sleeve"] * 6
    assert power_words.plan(drawn)[0].startswith("6 runs a side find a difference of 0.7 %")
    assert drawn.as_dict()["order"] == list(drawn.order)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: plan(["bare"], 0.7, 0.3), "two or more different names"),
        (lambda: plan(["bare", "bare"], 0.7, 0.3), "two or more different names"),
        (lambda: runs_for(0.0, 0.3), "above 0"),
        (lambda: runs_for(0.1, 3.0), "more than 100 runs a side"),
        (lambda: order.balanced_order(["a", "b"], 0), "allowed are 1 to 200"),
    ],
)
def test_bad_input_is_one_sentence(call, words):
    with pytest.raises(InputError, match=words):
        call()

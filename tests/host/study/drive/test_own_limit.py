"""The car's own limit moves as an estimate from censored observations should."""

from dataclasses import replace

import numpy as np
import pytest
from driven import Driven
from hotfuel.errors import InputError
from hotfuel.report import limit_words
from hotfuel.simulator.scenarios import scenarios
from hotfuel.study.drive.course import of_session
from hotfuel.study.drive.own_limit import EVENT_SD_DEGC, PRIOR_SD_DEGC, Event, OwnLimit, events, own_limit
from hotfuel.units import Shown
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats


def event(margin_degc, trouble):
    return Event(margin_degc, trouble, "pump", "died" if trouble else "ran through")


def width(limit):
    return limit.high_degc - limit.low_degc


def test_without_events_the_limit_is_the_criterion_s_with_the_prior_s_width():
    limit = own_limit([])
    assert limit.shift_degc == pytest.approx(0, abs=0.02)
    assert (limit.low_degc, limit.high_degc) == pytest.approx(stats.norm.ppf([0.025, 0.975], scale=PRIOR_SD_DEGC), abs=0.03)
    assert (limit.troubles, limit.ran_through) == (0, 0)


def test_trouble_with_six_degrees_left_lowers_the_limit():
    limit = own_limit([event(6.0, True)])
    assert limit.high_degc < 0
    assert "below" in limit_words.own_limit(limit, Shown("si"))
    assert "1 event with trouble and 0 without" in limit_words.own_limit(limit, Shown("si"))


def test_running_through_five_degrees_beyond_raises_the_limit():
    limit = own_limit([event(-5.0, False)])
    assert limit.low_degc > 0
    assert "above" in limit_words.own_limit(limit, Shown("si"))
    assert (limit.troubles, limit.ran_through) == (0, 1)


@pytest.mark.parametrize("margin_degc", [20.0, 12.0])
def test_an_expected_event_moves_the_limit_little(margin_degc):
    assert abs(own_limit([event(margin_degc, False)]).shift_degc) < 0.3
    assert abs(own_limit([event(-margin_degc, True)]).shift_degc) < 0.3


@pytest.mark.parametrize("observed", [[(6.0, True)], [(-5.0, False)], [(6.0, True), (2.0, False), (-8.0, True)], [(40.0, True)]])
def test_quantiles_equal_those_of_adaptive_quadrature(observed):
    def density(s):
        value = stats.norm.pdf(s, scale=PRIOR_SD_DEGC)
        for margin, trouble in observed:
            chance = stats.norm.cdf((-s - margin) / EVENT_SD_DEGC)
            value *= chance if trouble else 1 - chance
        return value

    limit = own_limit([event(*one) for one in observed])
    middle = limit.shift_degc
    whole = integrate.quad(density, -70, 70, points=[middle], limit=400, epsabs=0)[0]
    for share, at in ((0.025, limit.low_degc), (0.5, middle), (0.975, limit.high_degc)):
        assert integrate.quad(density, -70, at, points=[min(middle, at) - 5], limit=400, epsabs=0)[0] / whole == pytest.approx(
            share, abs=0.003
        )


observations = st.lists(st.tuples(st.floats(-15, 15), st.booleans()), min_size=1, max_size=8)


@settings(deadline=None, max_examples=50)
@given(observations, st.randoms())
def test_order_does_not_matter(observed, random):
    shuffled = list(observed)
    random.shuffle(shuffled)
    one, two = (own_limit([event(*o) for o in each]) for each in (observed, shuffled))
    assert (one.shift_degc, one.low_degc, one.high_degc) == pytest.approx((two.shift_degc, two.low_degc, two.high_degc), abs=1e-9)


@settings(deadline=None, max_examples=50)
@given(observations, st.floats(-15, 15), st.booleans())
def test_trouble_never_raises_and_running_through_never_lowers(observed, margin_degc, trouble):
    before = own_limit([event(*o) for o in observed])
    after = own_limit([event(*o) for o in observed] + [event(margin_degc, trouble)])
    if trouble:
        assert after.shift_degc <= before.shift_degc + 1e-9
    else:
        assert after.shift_degc >= before.shift_degc - 1e-9


@settings(deadline=None, max_examples=50)
@given(observations)
def test_more_of_the_same_events_narrow_it(observed):
    """A normal prior with a log-concave likelihood: repeating the same events cannot widen the posterior."""
    once, thrice = (own_limit([event(*o) for o in observed] * n) for n in (1, 3))
    assert width(thrice) <= width(once) + 1e-6 <= width(own_limit([])) + 0.01


def test_a_known_limit_is_found_from_simulated_events():
    random = np.random.default_rng(1)
    inside = 0
    for _ in range(200):
        shift = random.normal(0, PRIOR_SD_DEGC)
        margins = random.uniform(-12, 12, 6)
        found = own_limit([event(m, bool(-shift - m + random.normal(0, EVENT_SD_DEGC) > 0)) for m in margins])
        inside += found.low_degc <= shift <= found.high_degc
    assert stats.binomtest(inside, 200, 0.95).pvalue > 0.01


def test_events_come_from_marks_with_the_smallest_margin_around_them():
    marks = ((700.0, "drove into the queue"), (890.0, "Stumbled at the lights"), (300.0, "ran through"), (1100.0, "hard start"))
    session = Driven(replace(scenarios()["as built"], seed=2), marks=marks)
    found = {one.text: one for one in events(of_session(session))}
    assert set(found) == {"Stumbled at the lights", "ran through", "hard start"}
    assert [found[text].trouble for text in ("Stumbled at the lights", "ran through", "hard start")] == [True, False, True]
    table = session.margins()
    for at_s, text in marks[1:]:
        part = table[[c for c in table if c.endswith("_margin_degc")]].iloc[int(at_s) - 60 : int(at_s) + 11]
        assert found[text].margin_degc == pytest.approx(part.min().min())
        assert f"{found[text].place}_margin_degc" == part.min().idxmin()


def test_a_hard_start_and_a_stall_of_one_stop_are_one_event():
    marks = ((890.0, "hard start"), (950.0, "died"), (1000.0, "died again"), (1300.0, "died"), (1360.0, "ran through"))
    found = events(of_session(Driven(replace(scenarios()["as built"], seed=2), marks=marks)))
    assert [(one.text, one.trouble) for one in found] == [
        ("hard start; died; died again", True),
        ("died", True),
        ("ran through", False),
    ]
    alone = [events(of_session(Driven(replace(scenarios()["as built"], seed=2), marks=(mark,))))[0] for mark in marks[:3]]
    assert found[0].margin_degc == min(one.margin_degc for one in alone)


def test_marks_all_through_a_drive_are_more_than_one_event():
    """Each within two minutes of the one before: the first event ends two minutes after its first mark."""
    marks = tuple((600.0 + 100 * n, f"stumbled {n}") for n in range(6))
    found = events(of_session(Driven(replace(scenarios()["as built"], seed=2), marks=marks)))
    assert [one.text for one in found] == ["stumbled 0; stumbled 1", "stumbled 2; stumbled 3", "stumbled 4; stumbled 5"]


def test_events_that_were_to_be_expected_are_said_to_tell_nothing():
    expected = own_limit([event(-58.0, True)])
    assert not expected.tells
    assert (
        limit_words.own_limit(expected, Shown("us"))
        == "1 event with trouble and 0 without say nothing yet of this car's own limit."
    )
    for telling in ([event(6.0, True)], [event(-5.0, False)], [event(1.0, True), event(-1.0, True), event(2.0, False)]):
        assert own_limit(telling).tells


@pytest.mark.parametrize("text", ["no stumble", "did not stall", "never died", "ran without a stumble"])
def test_a_mark_that_denies_trouble_is_not_trouble(text):
    session = Driven(scenarios()["as built"], marks=((890.0, text),))
    assert [one.trouble for one in events(of_session(session))] == [False]


def test_margins_that_are_not_numbers_are_refused():
    with pytest.raises(InputError, match="without a margin"):
        own_limit([event(np.nan, True)])


def test_the_shift_is_given_in_the_readers_units_no_finer_than_its_interval():
    found = own_limit([event(6.0, True)])
    si, us = (limit_words.own_limit(found, Shown(system)) for system in ("si", "us"))
    low, middle, high = (-found.high_degc, -found.shift_degc, -found.low_degc)
    assert f"lies {middle:.0f} °C below the criterion's (between {low:.0f} °C and {high:.0f} °C below)." in si
    assert f"lies {1.8 * middle:.0f} °F below the criterion's (between {1.8 * low:.0f} °F and {1.8 * high:.0f} °F below)." in us
    both = limit_words.own_limit(OwnLimit(0.1, -4.0, 4.2, 1, 1), Shown("si"))
    assert both.endswith("and 1 without, this car's limit is the criterion's (between 4 °C below and 4 °C above).")
    assert "No event" in limit_words.own_limit(own_limit([]), Shown("si"))

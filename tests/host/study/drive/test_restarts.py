"""Restart records against the simulator's truth; how hard a stop is, and what a repeat proves."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from driven import Driven
from hotfuel.errors import InputError
from hotfuel.report import complaint_words
from hotfuel.simulator.drives import CRANK_S
from hotfuel.simulator.scenarios import scenarios
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.drive.restarts import Hardness, hardness, proof, restarts, softer
from hotfuel.study.evidence.intervals import zero_failures_bound
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

SUMMER = scenarios()["summer drive"]


@cache
def driven(known=("engine_rpm", "fuel_pressure_kpa", "ambient_pressure_kpa", "ignition"), marks=(), seed=1):
    return Driven(replace(SUMMER, seed=seed), known=known, marks=marks)


def stop_and_start(session):
    return next((float(first), float(last)) for name, first, last in session.spans() if name == "hot soak")


@pytest.mark.parametrize("seed", [1, 2])
def test_the_record_of_a_restart_equals_the_truth(seed):
    session = driven(seed=seed)
    stop, start = stop_and_start(session)
    (one,) = restarts(of_session(session))
    assert one.at_s == pytest.approx(start, abs=1)
    assert one.stopped_min == pytest.approx((start - stop) / 60, abs=2 / 60)
    assert one.cranking_s == pytest.approx(CRANK_S, abs=1)
    assert one.tries == 1
    pressure = session.truth["fuel_pressure_kpa"].to_numpy()
    times = session.truth["time_s"].to_numpy()
    there = times[(times >= start) & (pressure >= 0.8 * session.car.pump.pressure_kpa)][0]
    assert one.pressure_s == pytest.approx(there - start, abs=1.5)
    assert one.trouble == ""
    row = int(one.at_s)
    for place in ("tank", "pump", "carb_inlet"):
        assert one.temperatures_degc[place] == pytest.approx(
            session.truth[f"{place}_probe_degc"][4 * row - 20 : 4 * row + 8].mean(), abs=0.3
        )
        assert one.margins_degc[place] == pytest.approx(session.margins()[f"{place}_margin_degc"].iloc[row - 5 : row + 2].mean())


def test_a_mark_of_trouble_belongs_to_the_restart_only_if_it_comes_soon_after():
    _, start = stop_and_start(driven())
    assert restarts(of_session(driven(marks=((start + 20, "hard start"),))))[0].trouble == "hard start"
    assert restarts(of_session(driven(marks=((start + 180, "stumbled"),))))[0].trouble == ""
    assert restarts(of_session(driven(marks=((start + 20, "saw a fox"),))))[0].trouble == ""


def by_speed(*parts):
    """A drive with engine speed alone: (rpm, seconds) one after another."""
    rpm = np.concatenate([np.full(seconds, float(value)) for value, seconds in parts])
    blank = np.full(len(rpm), np.nan)
    inputs = {"engine_rpm": rpm, **{k: blank for k in ("running", "fuel_pressure_kpa", "ignition", "ambient_pressure_kpa")}}
    return Course("x", np.arange(len(rpm)) * 1.0, {"pump": blank + 40}, {}, inputs, (), 0.0)


@pytest.mark.parametrize("tries", [1, 2, 4])
@pytest.mark.parametrize("cranking_s", [3, 8])
def test_each_turn_of_the_starter_is_counted(tries, cranking_s):
    starts = [(200, cranking_s), (0, 15)] * (tries - 1) + [(200, cranking_s)]
    (one,) = restarts(by_speed((800, 300), (0, 600), *starts, (900, 120)))
    assert one.tries == tries
    assert one.cranking_s == tries * cranking_s
    assert one.stopped_min == pytest.approx(10)
    assert one.at_s == 900
    assert np.isnan(one.pressure_s)


def test_the_first_start_and_a_missing_start_are_not_restarts():
    assert restarts(by_speed((0, 60), (200, 3), (900, 300), (0, 300), (200, 10), (0, 60))) == []


def test_an_engine_that_dies_again_makes_a_second_record():
    first, second = restarts(by_speed((800, 300), (0, 600), (200, 4), (800, 40), (0, 120), (200, 9), (800, 100)))
    assert (first.stopped_min, first.cranking_s) == (pytest.approx(10), 4)
    assert (second.stopped_min, second.cranking_s) == (pytest.approx(2), 9)


@pytest.mark.parametrize(("known", "marked"), [(("ignition",), False), ((), True)])
def test_without_engine_speed_the_minutes_are_known_and_the_cranking_is_not(known, marked):
    stop, start = stop_and_start(driven())
    (one,) = restarts(of_session(driven(known, ((stop, "key off"), (start, "restart")) if marked else ())))
    assert one.stopped_min == pytest.approx((start - stop) / 60, abs=0.05)
    assert np.isnan(one.cranking_s)
    assert np.isnan(one.pressure_s)


def test_an_unknown_engine_state_gives_no_record():
    assert restarts(of_session(driven(()))) == []


def test_hardness_of_a_stop_equals_the_truth():
    session = driven()
    course = of_session(session)
    soak = next(p for p in phases(course) if p.kind == SOAK)
    (found,) = hardness(course, [soak])
    stop, start = stop_and_start(session)
    profile = session.model.profile
    before = profile.time_s < stop
    assert found.soak_min == pytest.approx((start - stop) / 60, abs=0.05)
    assert found.driven_min == pytest.approx((profile.running & ~profile.cranking & before).sum() / 240, abs=0.05)
    assert found.high_speed_min == pytest.approx(
        (before & (profile.engine_rpm > 3 * session.car.engine.idle_speed_rpm)).sum() / 240, abs=0.1
    )
    standing = session.truth["time_s"].between(stop, start)
    outside_kpa = session.truth["ambient_pressure_kpa"][standing].median()
    assert found.limit_degc == pytest.approx(float(session.car.fuel().limit_degc(outside_kpa)), abs=0.05)
    assert found.peak_degc == soak.places["pump"].peak_degc
    # Not stated: the fuel's temperature at the cold start is used, which a sun-warmed tank keeps within a few degrees.
    assert found.ambient_degc == pytest.approx(
        np.median([session.temperatures()[c][:20].median() for c in session.temperatures()])
    )
    assert found.ambient_degc == pytest.approx(session.truth["ambient_degc"][:80].mean(), abs=3)


def test_unknown_minutes_of_running_are_not_counted_as_none():
    course = of_session(driven(()))
    soak = next(p for p in phases(course) if p.kind == SOAK)
    (found,) = hardness(course, [soak])
    assert np.isnan(found.driven_min)
    assert "running" not in complaint_words.hardness(found, Shown("si"))


def test_a_pump_with_more_pressure_makes_no_stop_easier():
    """The limit used in the hardness is the fuel's at the air's pressure: a repair must not count as easier conditions."""
    session = driven()
    pump = session.car.pump.model_copy(update={"pressure_kpa": 2 * session.car.pump.pressure_kpa})
    course = of_session(session)
    soak = next(p for p in phases(course) if p.kind == SOAK)
    other = replace(course, car=session.car.model_copy(update={"pump": pump}))
    (more,), (less,) = hardness(other, [soak]), hardness(course, [soak])
    assert more.limit_degc == less.limit_degc


def test_hardness_is_given_in_the_readers_units():
    us = complaint_words.hardness(HARD, Shown("us"))
    for part in ("14 min standing after 20 min of running", "2 min of that at high", "90 °F outside", "136 °F", "156 °F"):
        assert part in us
    assert "°C" not in us
    assert "32 °C outside" in complaint_words.hardness(HARD, Shown("si"))
    assert "outside temperature not known" in complaint_words.hardness(replace(HARD, ambient_degc=np.nan), Shown("si"))


HARD = Hardness(ambient_degc=32, soak_min=14, driven_min=20, limit_degc=58, peak_degc=69, high_speed_min=2)


@pytest.mark.parametrize(
    ("easier", "words"),
    [
        ({"ambient_degc": 25.0}, "cooler outside"),
        ({"ambient_degc": np.nan}, "outside temperature is not known"),
        ({"limit_degc": 62.0}, "fuel or the air pressure was easier"),
        ({"limit_degc": np.nan}, "limit is not known"),
        ({"soak_min": 8.0}, "stood for a shorter time"),
        ({"driven_min": 10.0}, "driven for a shorter time"),
        ({"driven_min": np.nan}, "how long it was driven before is not known"),
        ({"high_speed_min": 0.5}, "driven less hard"),
    ],
)
def test_an_easier_repeat_proves_nothing_and_the_reason_is_given(easier, words):
    repeat = replace(HARD, **easier)
    assert len(softer(HARD, repeat)) == 1
    found = proof(HARD, [(repeat, False)] * 3)
    assert not found.shown
    assert (found.stops, found.hard_enough) == (3, 0)
    assert complaint_words.proof(found).startswith("Not shown")
    assert words in complaint_words.proof(found)


def test_a_harder_repeat_counts():
    harder = replace(HARD, ambient_degc=36, soak_min=20, driven_min=30, limit_degc=55, high_speed_min=4)
    assert softer(HARD, harder) == []
    assert proof(HARD, [(harder, False)]).shown


@pytest.mark.parametrize(("stops", "percent"), [(1, 95), (2, 78), (3, 63), (10, 26), (58, 5)])
def test_few_stops_without_failure_are_given_with_their_bound(stops, percent):
    """Exact binomial (Clopper and Pearson, Biometrika 26 (1934) 404), from scipy."""
    found = proof(HARD, [(HARD, False)] * stops)
    assert found.shown
    assert found.still_possible == pytest.approx(1 - 0.05 ** (1 / stops))
    assert found.still_possible == pytest.approx(stats.binomtest(0, stops, alternative="less").proportion_ci(0.95, "exact").high)
    assert f"up to {percent} %" in complaint_words.proof(found)


def test_only_stops_that_were_hard_enough_count_for_the_bound():
    soft = replace(HARD, soak_min=5.0)
    found = proof(HARD, [(HARD, False), (soft, False), (soft, False)])
    assert (found.stops, found.hard_enough) == (3, 1)
    assert found.still_possible == pytest.approx(0.95)


def test_a_failure_counts_even_in_an_easier_stop():
    found = proof(HARD, [(HARD, False), (replace(HARD, soak_min=5.0), True)])
    assert not found.shown
    assert found.failures == 1
    assert complaint_words.proof(found) == "The trouble came back in 1 of 2 stops."


def test_a_comparison_without_a_repeat_is_refused():
    with pytest.raises(InputError, match="no hot soak after the repair"):
        proof(HARD, [])


@given(st.integers(1, 500))
def test_the_bound_falls_with_every_stop(stops):
    assert 0 < zero_failures_bound(stops + 1) < zero_failures_bound(stops) < 1

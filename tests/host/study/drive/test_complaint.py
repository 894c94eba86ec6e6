"""Hot stops compared with a complaint's: on runs of the simulated car whose stop, fuel and day are known."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from driven import Driven
from hotfuel.errors import InputError
from hotfuel.report.complaint_words import judgement
from hotfuel.report.story_words import sentences
from hotfuel.simulator.drives import Phase as Part
from hotfuel.simulator.scenarios import WINTER_FUEL, scenarios
from hotfuel.study.drive.complaint import hardest, judge, stops
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.drive.restarts import Easier
from hotfuel.study.fixes.sessions import compare_sessions
from hotfuel.study.story import tell
from hotfuel.units import Shown

SI = Shown("si")
DRIVE = (
    Part("drive", 5.0, "cruise", 64.0),
    Part("hot soak", 8.0, "off"),
    Part("restart", 0.5, "idle"),
    Part("drive", 2.0, "cruise", 60.0),
)
RUN = replace(scenarios()["as built"], drive=DRIVE, variation=0.0)
AMBIENT = {"ambient_degc": 30.0}


@cache
def restart_s():
    return next(float(last) for name, _, last in Driven(RUN).spans() if name == "hot soak")


def run(name, *marks, metadata=AMBIENT, scenario=RUN, **more):
    """A drive with one hot stop; marks: texts ten seconds after it was started again."""
    return Driven(scenario, name=name, metadata=metadata, marks=[(restart_s() + 10, text) for text in marks], **more)


def by_speed(*parts, marks=()):
    """A drive with engine speed alone: (rpm, seconds) one after another."""
    rpm = np.concatenate([np.full(seconds, float(value)) for value, seconds in parts])
    blank = np.full(len(rpm), np.nan)
    inputs = {"engine_rpm": rpm, **{k: blank for k in ("running", "fuel_pressure_kpa", "ignition", "ambient_pressure_kpa")}}
    return Course("x", np.arange(len(rpm)) * 1.0, {"pump": blank + 40}, {}, inputs, marks, 0.0)


STOPS = ((1500, 300), (0, 600), (200, 4), (800, 300), (0, 500), (200, 4), (800, 300))  # starts at 900 s and 1704 s


@pytest.mark.parametrize(
    ("marks", "trouble"),
    [
        ((), [False, False]),
        (((905.0, "hard start"),), [True, False]),
        (((1710.0, "stumbled"),), [False, True]),
        (((1100.0, "stumbled"),), [False, False]),  # three minutes after the start: driving
        (((910.0, "ran through"), (920.0, "no stall")), [False, False]),
        (((910.0, "ran through"), (930.0, "died")), [True, False]),
        (((310.0, "died"),), [False, False]),  # what stopped the engine, not how it was started again
    ],
)
def test_a_mark_belongs_to_the_stop_before_the_start_it_describes(marks, trouble):
    assert [stop.trouble for stop in stops(by_speed(*STOPS, marks=marks))] == trouble


def test_when_an_engine_dies_again_the_trouble_belongs_to_the_first_stop():
    again = by_speed((1500, 300), (0, 600), (200, 4), (800, 40), (0, 120), (200, 9), (800, 300), marks=((950.0, "died"),))
    first, second = stops(again)
    assert (first.trouble, first.mark, second.trouble) == (True, "died", False)
    assert hardest([first, second]) is first


def test_a_stop_without_a_start_does_not_count_unless_a_mark_says_so():
    assert [stop.trouble for stop in stops(by_speed((1500, 300), (0, 600)))] == [None]
    assert [stop.trouble for stop in stops(by_speed((1500, 300), (0, 600), marks=((700.0, "would not start"),)))] == [True]


def test_of_several_stops_the_hottest_with_trouble_is_taken_else_the_hottest():
    mild, hot, hotter = (
        replace(stops(of_session(run("x")))[0], phase=name, trouble=trouble, hardness=replace(base, peak_degc=peak))
        for base in [stops(of_session(run("x")))[0].hardness]
        for name, trouble, peak in (("mild", True, 50.0), ("hot", True, 60.0), ("hotter", False, 70.0))
    )
    assert hardest([mild, hot, hotter]) is hot
    assert hardest([replace(stop, trouble=False) for stop in (mild, hot, hotter)]).phase == "hotter"
    assert hardest([]) is None


def test_an_equally_hard_stop_without_trouble_is_reported_with_its_bound():
    found = judge(of_session(run("monday", "hard start")), of_session(run("friday")))
    assert (found.complaint.run, found.complaint.mark) == ("monday", "hard start")
    assert [stop.easier for stop in found.stops] == [()]
    assert found.proof.shown
    assert found.proof.still_possible == pytest.approx(0.95)
    held, verdict, marks, margins = judgement(found, SI)
    assert marks == "This stop is without marks: taken as no trouble only because nothing was marked."
    assert found.without_marks == 1
    assert '"monday", hot soak; marked "hard start"' in held
    assert "8 min standing after 5 min of running" in held
    assert "30 °C outside" in held
    assert verdict.startswith("No trouble in 1 stop at least as hard")
    least = min(
        place.smallest_margin_degc
        for place in next(p for p in phases(of_session(run("friday"))) if p.kind == SOAK).places.values()
    )
    assert least < 0
    assert (
        margins
        == f"The place nearest to boiling was {-least:.0f} °C beyond its limit now, and {-least:.0f} °C beyond its limit at the complaint's stop; "
        "the limit is still passed."
    )


def test_marked_and_unmarked_stops_are_distinguished():
    told = judge(of_session(run("monday", "hard start")), of_session(run("friday", "started at once")))
    assert told.proof.shown
    assert (told.without_marks, told.stops[0].mark) == (0, "started at once")
    assert not any("without marks" in sentence for sentence in judgement(told, SI))
    marked, silent = stops(by_speed(*STOPS, marks=((910.0, "ran through"),)))
    assert (marked.unmarked, silent.unmarked) == (False, True)
    trouble, silent = stops(by_speed(*STOPS, marks=((910.0, "died"),)))
    assert (trouble.unmarked, silent.unmarked) == (False, True)


def test_a_margin_that_has_returned_is_reported_without_a_promise():
    cooler = {"tank": -25.0, "pump": -25.0, "carb_inlet": -25.0}
    last = judgement(judge(of_session(run("monday", "hard start")), of_session(run("friday", shift_degc=cooler))), SI)[-1]
    assert last.startswith("The place nearest to boiling was ")
    assert "passed" not in last


def test_the_complaints_numbers_come_in_the_readers_units():
    held = judgement(judge(of_session(run("monday", "hard start")), of_session(run("friday"))), Shown("us"))[0]
    assert "86 °F outside" in held
    assert "°C" not in held


def test_trouble_again_is_reported():
    found = judge(of_session(run("monday", "hard start")), of_session(run("friday", "stumbled")))
    assert not found.proof.shown
    assert judgement(found, SI)[1] == "The trouble came back in 1 of 1 stop."


SHORT = replace(RUN, drive=(DRIVE[0], Part("hot soak", 5.0, "off"), *DRIVE[2:]))


@pytest.mark.parametrize(
    ("since", "easier", "because"),
    [
        (lambda: run("friday", metadata={"ambient_degc": 22.0}), Easier.COOLER_OUTSIDE, "it was cooler outside"),
        (lambda: run("friday", scenario=SHORT), Easier.STOOD_SHORTER, "it stood for a shorter time"),
    ],
)
def test_an_easier_stop_proves_nothing(since, easier, because):
    found = judge(of_session(run("monday", "hard start")), of_session(since()))
    assert not found.proof.shown
    assert easier in found.stops[0].easier
    assert judgement(found, SI)[1].startswith("Not shown")
    assert because in judgement(found, SI)[1]


def winter(name, *marks):
    car = run("x").car
    return run(name, *marks, car=car.model_copy(update={"fuel_table": car.fuel_table.model_copy(update=WINTER_FUEL)}))


def test_another_fuel_is_judged_by_its_limit():
    """Winter fuel boils ten degrees earlier: after it summer fuel is the easier test, and the other way round the harder one."""
    easier = judge(of_session(winter("monday", "hard start")), of_session(run("friday")))
    assert easier.stops[0].easier == (Easier.HIGHER_LIMIT,)
    harder = judge(of_session(run("monday", "hard start")), of_session(winter("friday")))
    assert harder.proof.shown
    assert harder.stops[0].hardness.limit_degc < harder.complaint.hardness.limit_degc - 8


def test_other_places_do_not_matter():
    one_probe = run("friday", scenario=replace(RUN, probes=RUN.probes[:1]))
    found = judge(of_session(run("monday", "hard start")), of_session(one_probe))
    assert found.stops[0].easier == ()
    assert found.proof.shown


def test_another_car_and_a_complaint_without_a_stop_are_refused():
    other = run("monday", car=run("x").car.model_copy(update={"name": "Somebody's coupe"}))
    with pytest.raises(InputError, match=r"of another car \(.*Somebody's coupe"):
        judge(of_session(other), of_session(run("friday")))
    cruise = Driven(replace(RUN, drive=DRIVE[:1]), name="sunday", metadata=AMBIENT)
    with pytest.raises(InputError, match=r"^sunday has no hot soak to judge a repair by"):
        judge(of_session(cruise), of_session(run("friday")))


@pytest.mark.parametrize(("parts", "words"), [(1, "there is no hot stop"), (2, "no start after a hot stop")])
def test_without_a_stop_or_a_start_nothing_is_shown(parts, words):
    since = Driven(replace(RUN, drive=DRIVE[:parts]), name="friday", metadata=AMBIENT)
    found = judge(of_session(run("monday", "hard start")), of_session(since))
    assert found.proof is None
    assert judgement(found, SI)[1].startswith("Not shown")
    assert words in judgement(found, SI)[1]


def test_the_story_reports_it_with_the_restart():
    told = tell(run("friday"), run("monday", "hard start"))
    at = [
        n
        for n, sentence in enumerate(sentences(told, SI))
        if sentence.startswith(("Restart at", "Compared with", "No trouble in"))
    ]
    assert at == list(range(at[0], at[0] + 3))
    assert told.judgement.proof.shown
    assert tell(run("friday")).judgement is None


def test_a_comparison_compares_every_variants_stops_with_the_baselines_trouble():
    warmer = [
        {"shift_degc": {place: shift for place in ("tank", "pump", "carb_inlet")}} for shift in (0.0, 0.3, 0.1, 0.5, 0.2, 0.7)
    ]
    groups = {
        "complaint": [run("monday", "hard start", **warmer[0]), run("tuesday", **warmer[1])],
        "sleeve": [run("wednesday", **warmer[2]), run("thursday", **warmer[3])],
        "shield": [run("friday", **warmer[4]), run("saturday", "stumbled", **warmer[5])],
    }
    result = compare_sessions(groups)
    sleeve, shield = result.judgements
    assert (sleeve.variant, shield.variant) == ("sleeve", "shield")
    assert {one.complaint.run for one in result.judgements} == {"monday"}
    assert judgement(sleeve, SI)[0].startswith('With sleeve, compared with the complaint\'s stop ("monday", hot soak')
    assert "in 2 stops at least as hard" in judgement(sleeve, SI)[1]
    assert "up to 78 %" in judgement(sleeve, SI)[1]
    assert judgement(shield, SI)[1] == "The trouble came back in 1 of 2 stops."
    assert [one["variant"] for one in result.as_dict()["judgements"]] == ["sleeve", "shield"]


def test_without_trouble_marked_in_the_baseline_a_comparison_claims_nothing():
    assert compare_sessions({"before": [run("monday")], "after": [run("friday")]}).judgements == ()

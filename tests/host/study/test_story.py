"""The story names the right place, phase and cause: against the simulated car's own fuel temperatures, not its probes."""

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pandas as pd
import pytest
from driven import START_S, Driven
from hotfuel.report.story_words import WHY, sentences
from hotfuel.simulator.drives import Phase as Part
from hotfuel.simulator.scenarios import PROBES, scenarios
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import DRIVE, IDLE, SOAK
from hotfuel.study.story import Why, tell
from hotfuel.units import Shown

SI = Shown("si")
BUILT = scenarios()["as built"]
CRUISE = (Part("warm up", 4.0, "cruise", 60.0), Part("drive", 6.0, "cruise", 64.0))
# Probes along the flow: one inserted 10 mm across it is heated or cooled by its own stem once the fuel stands.
ALONG = tuple(replace(fitted, probe=PROBES[1].probe, error_degc=0.0) for fitted in PROBES)
CASES = {
    "built": replace(BUILT, probes=ALONG),
    "soak": replace(scenarios()["summer drive"], probes=ALONG),
    "summer": scenarios()["summer drive"],
    "queue": replace(BUILT, drive=(*CRUISE, Part("queue", 12.0, "idle")), ambient_degc=36.0),
    "cool": replace(BUILT, drive=CRUISE, ambient_degc=10.0),
    "climb": replace(
        BUILT, drive=(Part("drive", 12.0, "cruise", 64.0), Part("climb", 12.0, "cruise", 70.0, climb_m=1200.0)), ambient_degc=34.0
    ),
}


@cache
def driven(case, known=("engine_rpm", "fuel_pressure_kpa", "ambient_pressure_kpa", "ignition"), marks=()):
    return Driven(CASES[case], metadata={"ambient_degc": CASES[case].ambient_degc}, known=known, marks=marks)


def true_margins(session):
    """{place: limit less the fuel's true temperature (n,)}, 1 Hz, averaged over 10 s as in the story: a restart changes both within seconds."""
    table = session.margins()
    return {
        place: pd.Series(
            table[f"{place}_limit_degc"].to_numpy() - session.truth[f"{place.removesuffix('_needle')}_degc"].to_numpy()[::4]
        )
        .rolling(10, center=True, min_periods=1)
        .mean()
        .to_numpy()
        for place in (c.removesuffix("_limit_degc") for c in table if c.endswith("_limit_degc"))
    }


@pytest.mark.parametrize(
    ("case", "kind", "because"),
    [
        ("summer", SOAK, "went on heating it after the stop"),
        ("queue", IDLE, "at idle little fuel flows"),
        ("cool", DRIVE, "heat picked up on the way from the tank"),
        ("climb", DRIVE, "pressure there fell"),
    ],
)
def test_place_moment_phase_and_cause(case, kind, because):
    session = driven(case)
    story = tell(session)
    truth = true_margins(session)
    nearest = story.nearest
    place = min(truth, key=lambda p: float(np.nanmin(truth[p])))
    assert nearest.place == place
    # A peak is flat: the time given has to be as near the limit as the true one, not the same second.
    assert truth[place][int(nearest.at_s)] == pytest.approx(np.nanmin(truth[place]), abs=1.0)
    assert nearest.margin_degc == pytest.approx(np.nanmin(truth[place]), abs=2 * nearest.uncertainty_degc)
    assert nearest.phase.startswith(kind)
    assert because in WHY[nearest.reason]
    first = sentences(story, SI)[0]
    told = datetime.fromtimestamp(START_S + nearest.at_s, UTC)
    for part in (
        f"The fuel at the {place}",
        f"{told:%H:%M} UTC",
        f"in {nearest.phase}",
        because,
        f"{abs(nearest.margin_degc):.1f} °C",
    ):
        assert part in first
    assert ("beyond" in first) == (nearest.margin_degc <= 0)


@pytest.mark.parametrize(
    ("case", "first", "words"),
    [
        ("soak", "carb_inlet_needle", "the fuel behind the needle at the carb inlet"),
        ("built", "pump", "the fuel at the pump"),
    ],
)
def test_the_soak_story_gives_the_first_place_to_cross_and_its_minutes_after_the_stop(case, first, words):
    session = driven(case)
    story = tell(session)
    (soak,) = story.soaks
    stop, start = next((float(begins), float(ends)) for name, begins, ends in session.spans() if name == "hot soak")
    crossed = {}
    for place, margin in true_margins(session).items():
        beyond = np.flatnonzero(margin[int(stop) : int(start)] <= 0)
        if beyond.size:
            crossed[place] = beyond[0] / 60
    assert soak.first_place == min(crossed, key=crossed.get) == first
    assert soak.crossed_min == pytest.approx(crossed[soak.first_place], abs=0.2)
    (said,) = [s for s in sentences(story, SI) if s.startswith("Hot soak")]
    for part in (f"{(start - stop) / 60:.0f} min standing", f"after {stop / 60:.0f} min of running", "30 °C outside"):
        assert part in said
    ends = f"passed its limit first, {crossed[first]:.0f} min after the stop."
    assert said.endswith(f"{words} " + (ends if crossed[first] >= 0.5 else "was beyond its limit from the stop on."))


def test_the_restart_is_reported():
    session = driven("summer")
    story = tell(session)
    (said,) = [s for s in sentences(story, SI) if s.startswith("Restart at")]
    (one,) = story.restarts
    stop, start = next((float(begins), float(ends)) for name, begins, ends in session.spans() if name == "hot soak")
    for part in (
        f"{datetime.fromtimestamp(START_S + start, UTC):%H:%M} UTC",
        f"{(start - stop) / 60:.0f} min after the stop",
        "3 s of cranking in 1 try",
        f"fuel pressure after {one.pressure_s:.0f} s",
        f"smallest margin then {-one.margins_degc['pump']:.1f} °C beyond the limit, at the pump",
    ):
        assert part in said


def test_a_drive_far_from_the_limit_is_reported_without_alarm():
    story = tell(driven("cool"))
    assert story.nearest.margin_degc > 20
    assert story.soaks == ()
    assert story.restarts == ()
    assert "The driver would have noticed nothing." in sentences(story, SI)
    text = " ".join(sentences(story, SI))
    for word in ("beyond", "is likely", "may form", "passed its limit", "safe", "OK"):
        assert word not in text


def test_within_two_standard_deviations_the_driver_may_have_noticed():
    story = tell(driven("queue"))
    assert 0 < story.nearest.margin_degc < 2 * story.nearest.uncertainty_degc
    assert any(s.startswith("Vapour may form at the pump") for s in sentences(story, SI))


def test_a_soak_in_which_nothing_crosses_says_so():
    session = Driven(replace(BUILT, drive=(*CRUISE, Part("off", 5.0, "off")), ambient_degc=5.0))
    (said,) = [s for s in sentences(tell(session), SI) if s.startswith("Hot soak")]
    assert said.endswith("no place passed its limit.")


@pytest.mark.parametrize(
    ("known", "marks", "word", "sure"),
    [
        (("engine_rpm",), (), "high", "engine speed"),
        (("ignition",), (), "medium", "do not tell idling from driving"),
        (("fuel_pressure_kpa",), (), "low", "guessed"),
        ((), (), "low", "guessed"),
    ],
)
def test_the_certainty_is_given(known, marks, word, sure):
    story = tell(driven("summer", known, marks))
    assert story.confidence == word
    assert sentences(story, SI)[-1].startswith("How sure")
    assert sure in sentences(story, SI)[-1]
    assert story.nearest.place == "pump"


def test_marks_move_the_limit_and_their_number_is_given():
    at_s = next(float(last) for name, _, last in driven("queue").spans() if name == "queue") - 60
    story = tell(driven("queue", marks=((at_s, "stumbled"), (at_s - 100, "looked at the sky"))))
    assert (story.own_limit.troubles, story.own_limit.ran_through) == (1, 0)
    assert any(line.startswith("From 1 event with trouble and 0 without") for line in sentences(story, SI))


def test_hotter_fuel_arriving_is_given_as_the_cause():
    """Idling, then driving off: fuel from the hot hose reaches the carburettor while the pump is already cooler."""
    car = driven("cool").car
    time_s = np.arange(900.0)
    rpm = np.where(time_s < 600, 750.0, 2500.0)
    inlet = 45 + np.where((time_s > 610) & (time_s < 650), 14.0, 0.0)
    blank = np.full(900, np.nan)
    margins = {
        place: {
            "margin_degc": 60.0 - degc,
            "limit_degc": np.full(900, 60.0),
            "uncertainty_degc": np.full(900, 2.0),
            "pressure_kpa": np.full(900, 95.0),
            "vapour_liquid_ratio": np.zeros(900),
            "state": np.zeros(900),
        }
        for place, degc in (("pump", np.full(900, 44.0)), ("carb_inlet", inlet))
    }
    inputs = {
        "engine_rpm": rpm,
        "running": np.ones(900),
        **{k: blank for k in ("fuel_pressure_kpa", "ignition", "ambient_pressure_kpa")},
    }
    degc = {"tank": np.full(900, 30.0), "pump": np.full(900, 44.0), "carb_inlet": inlet}
    story = tell(Course("x", time_s, degc, margins, inputs, (), np.nan, car, 25.0))
    assert story.nearest.place == "carb_inlet"
    assert story.nearest.reason is Why.FLOW_ROSE
    assert "hotter fuel that had stood further back arrived when the flow rose" in sentences(story, SI)[0]
    assert "10 min in" in sentences(story, SI)[0] or "11 min in" in sentences(story, SI)[0]  # no time of day is known


def test_without_a_car_file_the_hottest_fuel_is_given_and_no_limit_claimed():
    session = Driven(CASES["summer"])
    session.car = None
    story = tell(session)
    assert story.nearest is None
    hottest = session.temperatures().max().max()
    assert "The hottest fuel was at the pump" in sentences(story, SI)[0]
    assert float(sentences(story, SI)[0].split(": ")[1].split(" °C")[0]) == pytest.approx(hottest, abs=0.7)
    assert "no limit is known without a car file" in sentences(story, SI)[0]


def test_units_are_the_reader_s():
    us, si = (sentences(tell(driven("summer")), one)[0] for one in map(Shown, ("us", "si")))
    assert "°F" in us
    assert "psi" in us
    assert "°C" in si
    assert "kPa" in si


@pytest.mark.parametrize("case", CASES)
def test_probes_at_tank_and_carburettor_that_look_swapped(case):
    course = of_session(driven(case))
    assert tell(course).exchanged is None
    tank, last = course.degc["tank"], course.degc["carb_inlet"]
    found = tell(replace(course, degc=course.degc | {"tank": last, "carb_inlet": tank})).exchanged
    assert found is not None and (found.tank, found.last) == ("tank", "carb_inlet")
    assert found.tank_degc > 8.0 and found.last_degc < found.tank_degc / 3

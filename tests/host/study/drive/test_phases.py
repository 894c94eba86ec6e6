"""Phase boundaries against what the simulated car did, and the numbers of each phase against numpy by hand."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from driven import Driven
from hotfuel.errors import InputError
from hotfuel.risk.level import Level
from hotfuel.simulator.drives import Phase as Part
from hotfuel.simulator.scenarios import scenarios
from hotfuel.stretches import stretches
from hotfuel.study.drive import phases as study
from hotfuel.study.drive.course import Course, of_session
from hotfuel.study.drive.phases import COLD_START, DRIVE, IDLE, LAP, PULL, RESTART, SOAK, phases
from hypothesis import given, settings
from hypothesis import strategies as st

SUMMER = scenarios()["summer drive"]
PULL_S, PULL_EVERY_S = 10.0, 55.0  # how the simulated driver pulls


@cache
def driven(known=("engine_rpm", "fuel_pressure_kpa", "ambient_pressure_kpa", "ignition"), marks=(), seed=1):
    return Driven(replace(SUMMER, seed=seed), known=known, marks=marks)


def at(session, name):
    """(first, last second) of the truth's phase of that name."""
    return next((float(first), float(last)) for found, first, last in session.spans() if found == name)


def one(found, kind):
    matching = [phase for phase in found if phase.kind == kind]
    assert len(matching) == 1, [(p.kind, p.start_s, p.end_s) for p in found]
    return matching[0]


def agreeing(found, kind, first, last):
    """The share of the seconds of (first, last) that were given that kind."""
    inside = sum(max(0.0, min(p.end_s, last) - max(p.start_s, first)) for p in found if p.kind == kind)
    return inside / (last - first)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_with_engine_speed_every_boundary_is_where_the_truth_has_it(seed):
    session = driven(seed=seed)
    found = phases(session)
    assert {p.confidence for p in found} == {"high"}
    assert found[0].kind == COLD_START
    assert found[0].end_s == pytest.approx(at(session, "cold start")[1], abs=8)
    stop, start = at(session, "hot soak")
    soak = one(found, SOAK)
    assert soak.start_s == pytest.approx(stop, abs=2)
    assert soak.end_s == pytest.approx(start, abs=2)
    assert one(found, RESTART).start_s == pytest.approx(start, abs=2)
    queue = one(found, IDLE)
    assert queue.start_s == pytest.approx(at(session, "queue")[0], abs=10)
    assert queue.end_s == pytest.approx(at(session, "queue")[1], abs=2)
    for name in ("town", "hill", "drive on"):
        assert agreeing(found, DRIVE, *at(session, name)) > (0.75 if name == "drive on" else 0.97)
    assert not any(p.kind == PULL for p in found if p.end_s < at(session, "full throttle")[0] - 2)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_each_full_throttle_pull_is_found_once(seed):
    session = driven(seed=seed)
    first, last = at(session, "full throttle")
    truth = [s for s in np.arange(first, last, PULL_EVERY_S) if s + PULL_S <= last]
    found = [p for p in phases(session) if p.kind == PULL]
    assert len(found) == len(truth) >= 2
    for phase, start in zip(found, truth, strict=True):
        assert phase.start_s == pytest.approx(start, abs=3)
        assert phase.end_s == pytest.approx(start + PULL_S, abs=3)
    assert [p.name for p in found] == [f"full-throttle pull {i + 1}" for i in range(len(found))]


def test_town_driving_is_one_drive_although_it_stops_at_lights():
    session = driven()
    first, last = at(session, "town")
    assert not [p for p in phases(session) if p.kind == IDLE and p.start_s < last and p.end_s > first + 5]


@pytest.mark.parametrize(
    ("known", "marks", "confidence", "stop_late_s", "start_late_s"),
    [
        (("ignition",), (), "medium", 2, 2),
        (("ignition", "fuel_pressure_kpa"), (), "medium", 2, 10),  # key on, but pressure has to build up first
        ((), ("key off", "restart"), "medium", 2, 2),
        ((), ("Parked at the pits", "fired up"), "medium", 2, 2),
        (("fuel_pressure_kpa",), (), "low", 60, 10),  # the line holds its pressure for a while
    ],
)
def test_without_engine_speed_stop_and_restart_are_still_found(known, marks, confidence, stop_late_s, start_late_s):
    stop, start = at(driven(), "hot soak")
    session = driven(known, tuple(zip((stop, start), marks, strict=True)) if marks else ())
    found = phases(session)
    assert {p.confidence for p in found} == {confidence}
    soak = one(found, SOAK)
    assert stop - 2 <= soak.start_s <= stop + stop_late_s
    assert start - 2 <= soak.end_s <= start + start_late_s
    assert one(found, RESTART).start_s == soak.end_s
    assert not [p for p in found if p.kind in (IDLE, PULL)]  # cannot be determined, so it is not claimed


def test_a_stop_whose_ignition_is_lost_is_a_soak_to_the_end():
    session = Driven(scenarios()["as built"], known=("ignition",))
    found = phases(session)
    assert found[-1].kind == SOAK
    assert found[-1].start_s == pytest.approx(at(session, "hot soak")[0], abs=2)


def test_a_mark_saying_that_the_engine_did_not_start_is_not_a_start():
    stop, start = at(driven(), "hot soak")
    marks = (
        (stop, "key off"),
        (start - 300, "no start"),
        (start - 200, "would not start"),
        (start - 100, "won't start"),
        (start, "restart"),
    )
    soak = one(phases(driven((), marks)), SOAK)
    assert (soak.start_s, soak.end_s) == (pytest.approx(stop, abs=2), pytest.approx(start, abs=2))


def test_marks_about_a_car_standing_with_its_engine_running_are_not_a_stop():
    stop, start = at(driven(), "hot soak")
    other = (
        (100.0, "stopped at the lights"),
        (200.0, "startled by a deer"),
        (300.0, "misfired"),
        (400.0, "stop and go"),
        (500.0, "stop in traffic"),
    )
    soak = one(phases(driven((), (*other, (stop, "Stop"), (start, "Started at once")))), SOAK)
    assert (soak.start_s, soak.end_s) == (pytest.approx(stop, abs=2), pytest.approx(start, abs=2))


def test_engine_speed_lost_around_the_stop_is_bridged_by_ignition():
    session = Driven(SUMMER)
    stop, _ = at(session, "hot soak")
    session._inputs.iloc[int(stop) - 50 : int(stop) + 120, session._inputs.columns.get_loc("engine_rpm")] = np.nan
    assert one(phases(session), SOAK).start_s == pytest.approx(stop, abs=2)


def test_from_temperatures_alone_most_of_the_soak_is_found_and_marked_as_a_guess():
    drive = (Part("drive", 12.0, "cruise", 64.0), Part("hot soak", 12.0, "off"), Part("drive on", 8.0, "cruise", 64.0))
    session = Driven(replace(SUMMER, drive=drive, start_block_degc=80.0), known=())
    found = phases(session)
    assert {p.confidence for p in found} == {"low"}
    first, last = at(session, "hot soak")
    assert agreeing(found, SOAK, first, last) > 0.5
    longest = max((p for p in found if p.kind == SOAK), key=lambda p: p.duration_s)
    assert longest.start_s == pytest.approx(first, abs=60)


def test_laps_are_cut_at_their_marks():
    marks = ((460.0, "lap"), (560.0, "Lap 2"), (700.0, "lap"))
    found = [p for p in phases(driven(marks=marks)) if p.kind == LAP]
    assert [(p.start_s, p.end_s) for p in found] == [(460, 560), (560, 700)]
    assert [(p.lap, p.name) for p in found] == [(1, "lap #1"), (2, "lap #2")]
    assert "lap" not in found[0].as_dict() and {p.lap for p in phases(driven(marks=marks)) if p.kind != LAP} == {0}


def test_a_stop_between_two_lap_marks_is_not_a_lap():
    stop, start = at(driven(), "hot soak")
    found = phases(driven(marks=((stop - 100, "lap"), (start + 100, "lap"))))
    assert not [p for p in found if p.kind == LAP]
    assert one(found, SOAK)


def by_hand(time_s, values):
    """10 s running mean, second by second."""
    return np.array([np.nanmean(values[np.abs(time_s - t) <= 5.0]) for t in time_s])


def test_numbers_of_each_phase_equal_numpy_by_hand():
    session = driven()
    table, degc = session.margins(), session.temperatures()
    checked = 0
    for phase in phases(session):
        rows = slice(int(phase.start_s), int(phase.end_s))
        time_s = np.arange(len(table))[rows].astype(float)
        for place in ("tank", "pump", "carb_inlet", "carb_inlet_needle"):
            numbers = phase.places[place]
            mean = by_hand(time_s, degc[place.removesuffix("_needle") + "_degc"].to_numpy()[rows])
            margin = by_hand(time_s, table[f"{place}_margin_degc"].to_numpy()[rows])
            state = table[f"{place}_state"].to_numpy()[rows]
            assert numbers.peak_degc == pytest.approx(mean.max(), abs=1e-9)
            assert (numbers.start_degc, numbers.end_degc) == (pytest.approx(mean[0]), pytest.approx(mean[-1]))
            assert numbers.smallest_margin_degc == pytest.approx(margin.min(), abs=1e-9)
            assert numbers.smallest_margin_at_s == time_s[margin.argmin()]
            assert (numbers.warn_s, numbers.act_s) == ((state == Level.WARN).sum(), (state == Level.ACT).sum())
            assert numbers.largest_vapour_liquid_ratio == pytest.approx(
                np.nanmax(table[f"{place}_vapour_liquid_ratio"].to_numpy()[rows])
            )
            if len(time_s) > 10:
                t = time_s - time_s.mean()
                assert numbers.rate_degc_min == pytest.approx(60 * (t @ (mean - mean.mean())) / (t @ t), rel=1e-6, abs=1e-9)
            checked += 1
    assert checked == 4 * len(phases(session))


def test_peaks_are_near_the_fuels_true_peaks_whether_fuel_flows_or_stands():
    session = driven()
    soak = one(phases(session), SOAK)
    inside = (session.truth["time_s"] >= soak.start_s) & (session.truth["time_s"] < soak.end_s)
    for place in ("tank", "pump", "carb_inlet"):  # the probe includes stem conduction and the wire's error
        assert soak.places[place].peak_degc == pytest.approx(session.truth.loc[inside, f"{place}_degc"].max(), abs=2.0)


def test_seconds_over_all_states_add_up_to_those_of_the_whole_session():
    session = driven()
    states = session.margins()["pump_state"].to_numpy()
    found = phases(session)
    assert sum(p.places["pump"].act_s for p in found) == (states == Level.ACT).sum() > 0
    assert sum(p.places["pump"].warn_s for p in found) == (states == Level.WARN).sum() > 0


def test_a_session_without_a_temperature_is_refused_in_one_sentence():
    session = Driven(replace(SUMMER, drive=(Part("off", 1.0, "off"),)))
    session._temperatures[:] = np.nan
    with pytest.raises(InputError, match="run has no temperature in it"):
        phases(session)


speeds = st.lists(
    st.tuples(st.sampled_from([0.0, 180.0, 750.0, 2000.0, 5000.0, np.nan]), st.integers(1, 120)), min_size=1, max_size=12
)


@settings(deadline=None, max_examples=60)
@given(speeds, st.lists(st.tuples(st.integers(0, 600), st.sampled_from(["lap", "key off", "restart", "died"])), max_size=5))
def test_whatever_the_engine_did_phases_fill_the_time_without_gaps(parts, marks):
    rpm = np.concatenate([np.full(n, value) for value, n in parts])
    count = len(rpm)
    blank = np.full(count, np.nan)
    inputs = {
        "engine_rpm": rpm,
        "running": np.where(np.isnan(rpm), np.nan, (rpm > 0).astype(float)),
        **{key: blank for key in ("fuel_pressure_kpa", "ignition", "ambient_pressure_kpa")},
    }
    times = np.arange(count, dtype=float)
    course = Course("x", times, {"pump": 40 + times / 60}, {}, inputs, tuple(sorted(marks)), 0.0)
    found = phases(course)
    assert found[0].start_s == 0
    assert found[-1].end_s == count
    assert all(a.end_s == b.start_s for a, b in pairwise(found))
    assert len({p.name for p in found}) == len(found)

    def longest(flags):
        return max((past - first for first, past in stretches(flags)), default=0)

    for phase in found:
        if phase.kind in (SOAK, study.STANDING) and np.isfinite(rpm).mean() > 0.5:
            # a start runs for at least six seconds: less is noise on the pulse wire, or an attempt
            assert longest(rpm[int(phase.start_s) : int(phase.end_s)] > 500) < 6
        if phase.kind in (DRIVE, IDLE, PULL) and np.isfinite(rpm).mean() > 0.5:
            # with the ignition unknown, a stop is eight silent seconds: fewer are lost pulses
            assert longest(rpm[int(phase.start_s) : int(phase.end_s)] == 0) < 8


def test_phases_of_a_course_and_of_its_session_are_the_same():
    assert phases(of_session(driven())) == phases(driven())

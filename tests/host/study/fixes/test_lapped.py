"""Runs driven in laps, compared lap by lap: a known change, laps that do not count, and readings by hand."""

import lapped as track
import numpy as np
import pytest
from hotfuel.report import by_hand, compare_notes, compare_words, comparison
from hotfuel.study.drive.course import of_session
from hotfuel.study.drive.phases import LAP, Phase, phases
from hotfuel.study.fixes import read_by_hand
from hotfuel.study.fixes.faults import NO_LAP
from hotfuel.study.fixes.fitted import questions
from hotfuel.study.fixes.lapped import doubled, is_lapped, whole_laps
from hotfuel.study.fixes.notes import LapsNotSeen
from hotfuel.study.fixes.sessions import compare_sessions
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell
from hotfuel.units import Shown

OFF_DEGC = 6.0
ON_LAP = Cell(PEAK, "carb_inlet", LAP)


@pytest.fixture(scope="module")
def sides(tmp_path_factory):
    """Two sessions a side with laps by the button; the cooler lowers the inlet by 6 degC. On the block, by hand, 84 degC and 92 degC."""
    root = tmp_path_factory.mktemp("laps")
    found = {"as built": [], "cooler": []}
    for number, (name, off, read) in enumerate(
        (("as built", 0.0, 84), ("cooler", OFF_DEGC, 84), ("cooler", OFF_DEGC, 92), ("as built", 0.0, 92)), start=1
    ):
        marks = [(30.0, f"block {read} degC"), (40.0, f"block {read + 2} degC"), (50.0, f"block {read + 40} degC")]
        about = {"ambient_degc": 25.0}
        session, _, _ = track.laps(
            root / f"run{number}",
            3,
            seed=number,
            hand_marks=True,
            receiver=False,
            off_degc=off,
            marks=marks,
            about=about,
            spread_degc=0.4,
        )
        found[name].append(session)
    return found


@pytest.fixture(scope="module")
def result(sides):
    return compare_sessions(sides, "as built")


@pytest.mark.slow
def test_a_fix_is_compared_by_lap_and_found_at_its_full_size(result):
    assert result.primary == ON_LAP
    assert "the hottest on the lap" in compare_words.questions(result)[0]
    (answer,) = [one for one in result.answers if one.primary]
    assert answer.difference_degc == pytest.approx(-OFF_DEGC, abs=0.6)
    assert Cell(MARGIN, "carb_inlet", LAP) in {one.cell for one in result.answers}


@pytest.mark.slow
def test_a_runs_hottest_is_the_mean_of_its_laps(sides, result):
    session = sides["as built"][0]
    course = of_session(session)
    each = []
    for lap in [one for one in phases(course) if one.kind == LAP]:
        rows = (course.time_s >= lap.start_s) & (course.time_s < lap.end_s)
        seconds = course.degc["carb_inlet"][rows]
        each.append(max(np.nanmean(seconds[at : at + 10]) for at in range(len(seconds) - 9)))
    run = next(run for run in result.runs if run.session.endswith("run1/wire.log"))
    assert run.laps == len(each) == 3
    assert np.ptp(each) > 0.1, "the laps must differ, or this shows nothing"
    assert run.values[ON_LAP] == pytest.approx(float(np.mean(each)), abs=0.15)
    assert abs(run.values[ON_LAP] - max(each)) > 0.05


@pytest.mark.slow
def test_readings_by_hand_are_shown_and_not_counted(sides, result):
    (column,) = read_by_hand.columns(result.runs, LAP)
    assert by_hand.heading(column) == "Block, by hand"
    values = sorted(read_by_hand.of_run(run, column, LAP) for run in result.runs)
    assert values == pytest.approx([86.0, 86.0, 94.0, 94.0], abs=1e-6)  # the middle of three
    said = by_hand.sentence(result.runs, ("as built", "cooler"), LAP, Shown("si"))
    assert (
        said == "By hand, in the lap: block 90 °C (as built, 2 runs) and 90 °C (cooler, 2 runs); shown, and counted in nothing."
    )
    page = comparison.render(result, sides, units="si")
    assert "Block, by hand" in page and "86\xa0°C" in page and "(3 laps)" in page
    assert not any(cell.place == "block" for run in result.runs for cell in run.values)
    assert result.as_dict()["by_hand"][0]["count"] == 3
    assert by_hand.sentence(result.runs, ("as built",), "idle", Shown("si")) == ""


def test_a_lap_out_of_the_pit_lane_does_not_count():
    laps = [Phase(LAP, f"lap {n}", 100.0 * n, 100.0 * n + length, "high", {}) for n, length in enumerate([140, 90, 92, 100, 180])]
    assert [lap.name for lap in whole_laps(laps)] == ["lap 1", "lap 2", "lap 3"]
    assert is_lapped(laps)
    assert not is_lapped(laps[:1])
    assert whole_laps([]) == []


def test_laps_between_which_the_line_was_not_seen_do_not_count_and_are_named():
    pair = Phase(LAP, "laps #2 to #3", 190.0, 370.0, "high", {}, 2, 2)
    assert whole_laps([pair]) == [], "not even where the run holds no other lap"
    told = {last: compare_notes.note(LapsNotSeen("friday", 2, last), Shown("si")) for last in (3, 4)}
    assert told[3] == "Laps 2 and 3 of friday are not counted: no position was received where the line lies between them."
    assert told[4].startswith("Laps 2 to 4 of friday")


def lap_times(*times):
    """Phases of laps that took so many seconds."""
    ends = np.cumsum(times)
    return [Phase(LAP, f"lap {n}", end - time, end, "high", {}) for n, (end, time) in enumerate(zip(ends, times, strict=True))]


@pytest.mark.parametrize(
    ("runs", "found"),
    [
        ([(90, 91, 89), (90, 92, 90), (181, 178), (91, 90)], {2}),
        ([(90, 91, 89), (90, 92, 90), (181, 272), (91, 90)], {2}),  # a double one and a triple one
        ([(90, 91, 89), (90, 92, 90), (181, 178, 90), (91, 90)], set()),  # one single lap is one
        ([(90, 91, 89), (90, 92, 90), (135, 140), (91, 90)], set()),  # it rained
        ([(90, 91), (180, 181)], set()),  # which of the two left marks out is not known
        ([(90, 91), (92, 90), (180, 181), (182, 179)], set()),
    ],
)
def test_a_run_of_double_laps_alone_holds_no_single_lap(runs, found):
    assert doubled([lap_times(*times) for times in runs]) == found


def test_a_run_of_double_laps_is_left_out_of_the_lap_and_named(sides, tmp_path):
    """It counted them as laps: the hottest of two laps is hotter than that of one."""
    marks = {"hand_marks": True, "receiver": False, "about": {"ambient_degc": 25.0}, "every": 2}
    double, _, _ = track.laps(tmp_path / "run9", 4, seed=9, off_degc=OFF_DEGC, **marks)
    result = compare_sessions({**sides, "cooler": [*sides["cooler"], double]}, "as built")
    assert result.primary == ON_LAP, "the others were driven in laps"
    (left_out,) = [run for run in result.runs if run.faults]
    assert [(fault.kind, fault.phases) for fault in left_out.faults] == [(NO_LAP, (LAP,))]
    (said,) = compare_words.bad_runs(result, Shown("si"))
    assert said.startswith(
        f"{left_out.name} holds no single lap: each of its laps took as long as two or more of the other runs'"
    )
    (answer,) = [one for one in result.answers if one.primary]
    assert (answer.runs_variant, answer.runs_baseline) == (2, 2)
    page = comparison.render(result, sides, units="si")
    assert "left out: no single lap" in page


def test_what_acts_on_the_standing_car_is_not_compared_by_lap():
    from hotfuel.study.fixes.fitted import Fitted

    places = ("tank", "carb_inlet")
    asked, _ = questions({"a": Fitted("shield"), "b": Fitted("cooler"), "c": Fitted("insulation")}, places, lapped=True)
    assert [one.cells[0].phase for one in asked] == ["hot soak", LAP]
    assert asked[1].variants == ("b", "c")
    named, _ = questions({"b": Fitted("cooler")}, places, lapped=True, phase="drive")
    assert named[0].cells[0].phase == "drive"

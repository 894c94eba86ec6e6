"""One session driven with a fix switched on and off: cut at its marks, without the transitions."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import compare_words
from hotfuel.simulator.drives import Phase as Part
from hotfuel.study.fixes.sessions import compare_sessions, runs_of
from hotfuel.study.fixes.summaries import MEAN, Cell
from hotfuel.units import Shown
from short_drives import SAME_DAY, session

SI = Shown("si")
STEADY = replace(SAME_DAY, drive=(Part("steady", 20.0, "cruise", 64.0),), start_block_degc=85.0)
CHANGES = ((300.0, "bare"), (500.0, "Sleeve"), (700.0, "bare"), (900.0, "sleeve "))


def switched():
    """A steady drive in which the pump is 5 degC cooler from each mark "sleeve" to the next mark."""
    found = session(STEADY, "switched", marks=CHANGES)
    at = np.arange(len(found._temperatures))
    cooler = ((at >= 500) & (at < 700)) | (at >= 900)
    found._temperatures.loc[cooler, "pump_degc"] -= 5.0
    found._margins.loc[cooler, "pump_margin_degc"] += 5.0
    return found


def test_one_session_under_two_names_is_cut_at_the_marks_with_those_names():
    one = switched()
    runs, _ = runs_of({"bare": [one], "sleeve": [one]}, "bare")
    assert [(r.variant, r.duration_s) for r in runs] == [
        ("bare", 199),
        ("bare", 199),
        ("sleeve", 199),
        ("sleeve", pytest.approx(300, abs=3)),
    ]
    assert len({r.session for r in runs}) == 1
    result = compare_sessions({"bare": [one], "sleeve": [one]}, primary=Cell(MEAN, "pump", "drive"))
    assert result.answers[0].difference_degc == pytest.approx(-5, abs=1.0)
    tank = next(a for a in result.answers if a.cell == Cell(MEAN, "tank", "drive"))
    assert abs(tank.difference_degc) < 1.0


def test_the_same_recording_opened_twice_is_still_one_session(tmp_path):
    one, two = switched(), switched()
    one.folder = two.folder = SimpleNamespace(log_path=tmp_path / "wire.log")
    runs, _ = runs_of({"bare": [one], "sleeve": [two]}, "bare")
    assert [r.variant for r in runs] == ["bare", "bare", "sleeve", "sleeve"]
    assert runs[0].values[Cell(MEAN, "pump", "drive")] - runs[2].values[Cell(MEAN, "pump", "drive")] == pytest.approx(5, abs=1.5)


def test_a_recording_without_marks_under_two_names_is_refused():
    alone = session()
    with pytest.raises(InputError, match='given for a and b, and no mark in it reads "a"'):
        compare_sessions({"a": [alone], "b": [alone]})


def test_a_name_without_a_mark_is_refused():
    one = switched()
    with pytest.raises(InputError, match='no mark in it reads "shield"'):
        compare_sessions({"bare": [one], "shield": [one]})


def slowly_switched(lag_s, step_degc=-6.0, changes=((100.0, "bare"), (400.0, "sleeve"), (700.0, "bare"), (1000.0, "sleeve"))):
    found = session(STEADY, "slow", marks=changes)
    at = np.arange(len(found._temperatures))
    level = np.zeros(len(at))
    for second, text in changes:
        level[at >= second] = step_degc * (text == "sleeve")
    keep = np.exp(-1 / lag_s)
    for i in range(1, len(level)):
        level[i] = keep * level[i - 1] + (1 - keep) * level[i]
    found._temperatures["pump_degc"] += level
    found._margins["pump_margin_degc"] -= level
    return found


def test_the_transition_after_a_switch_is_left_out_and_reported():
    one = slowly_switched(40.0)
    result = compare_sessions({"bare": [one], "sleeve": [one]}, primary=Cell(MEAN, "pump", "drive"))
    pump = next(each for each in result.settlings if each.place == "pump")
    assert pump.lag_s == pytest.approx(40.0, rel=0.3)
    assert pump.left_out_s == pytest.approx(3 * pump.lag_s, abs=1)
    assert pump.left_s == pytest.approx(200 - pump.left_out_s, abs=5)
    unswitched = slowly_switched(40.0, step_degc=0.0)  # the drive warms up meanwhile, and one side comes first
    drifted = compare_sessions({"bare": [unswitched], "sleeve": [unswitched]}, primary=Cell(MEAN, "pump", "drive")).answers[0]
    assert result.answers[0].difference_degc - drifted.difference_degc == pytest.approx(-6.0, abs=0.3)
    tank = next(each for each in result.settlings if each.place == "tank")
    assert np.isnan(tank.lag_s)
    assert tank.left_out_s < 60
    told = next(line for line in compare_words.cautions(result, SI) if "cut at its marks" in line)
    assert f"{pump.left_out_s:.0f} s at pump" in told
    assert result.as_dict()["settlings"][0].keys() >= {"place", "left_out_s", "left_s", "usable"}


def test_a_place_that_never_settles_is_not_compared():
    one = slowly_switched(150.0)
    result = compare_sessions({"bare": [one], "sleeve": [one]})
    assert "pump" not in {answer.cell.place for answer in result.answers}
    assert any("too little is left of it" in line for line in compare_words.cautions(result, SI))

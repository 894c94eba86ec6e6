"""Whether a complaint's trouble is gone: if fuel boils again, that is an answer, however easy the stop was."""

from dataclasses import replace

import numpy as np
import pytest
from hotfuel.report import before_after
from hotfuel.study.drive.complaint import Judgement, PlaceAtStop, Stop, called
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.restarts import Easier, Hardness, Proof
from hotfuel.units import Shown

HARD = Hardness(*[10.0] * len(Hardness.__dataclass_fields__))


def stop(margin_degc, uncertainty_degc=2.5, **more):
    return Stop(
        "monday", "hot soak", HARD, False, margin_degc, places=(PlaceAtStop("pump", 65.0, margin_degc, uncertainty_degc),), **more
    )


def judge(before_degc, now_degc, *, hard_enough=0, failures=0):
    proof = Proof(bool(hard_enough), 1, hard_enough, failures, 0.95, "")
    return Judgement("", stop(before_degc), (stop(now_degc, easier=() if hard_enough else (Easier.COOLER_OUTSIDE,)),), proof, ())


@pytest.mark.parametrize(
    ("judgement", "said"),
    [
        (judge(-13.0, -11.0), "No: the fuel still boils at the pump."),
        (replace(judge(-13.0, -11.0), proof=None), "No: the fuel still boils at the pump."),
        (judge(-13.0, -11.0, hard_enough=1), "The fuel still boils at the pump. No trouble in 1 stop as hard as the complaint's; so few starts prove little."),
        (judge(-13.0, -11.0, failures=1), "The trouble came back in 1 of 1 stop."),
        (judge(-13.0, -4.8), "Whether the trouble is gone is not shown: no stop since the repair was as hard as the complaint's."),
        (judge(-4.8, -13.0), "Whether the trouble is gone is not shown: no stop since the repair was as hard as the complaint's."),
        (judge(-13.0, 9.0, hard_enough=1), "No trouble in 1 stop as hard as the complaint's; so few starts prove little."),
    ],
)  # fmt: skip
def test_the_answer(judgement, said):
    """±4.9 degC is 1.96 times the standard uncertainty: 4.8 beyond is within the uncertainty."""
    assert before_after.headline(judgement) == said


def test_a_change_has_its_uncertainty():
    (row,) = before_after.table(before_after.pairs(judge(-13.0, -11.0)), Shown("si")).rows
    assert row == ("pump", "65 °C", "13 °C beyond, ±5 °C", "65 °C", "11 °C beyond, ±5 °C", "2 °C more room, ±7 °C")


def test_the_picture_says_which_mark_is_which_where_no_caption_stands_beside_it():
    drawn, _ = before_after.chart(before_after.pairs(judge(-13.0, -11.0)), Shown("si"))
    assert "○ then, ■ now" in drawn.title
    assert drawn.alt.endswith("pump −13.0 then, −11.0 now.") and "○" not in drawn.alt


def test_a_session_has_a_short_name():
    course = Course("As it came", np.zeros(1), {}, {}, {}, (), 1_780_000_000.0, utc_offset_min=120)
    assert called(course) == "As it came"
    assert called(replace(course, name="goes on " * 60)) == "session of 28 May 2026"
    assert len(called(replace(course, name="goes on " * 60, start_s=np.nan))) < 70

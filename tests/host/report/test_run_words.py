"""What every run of a test day must hold is said for each phase; and a run without a number is told why, and what to drive."""

from pathlib import Path

import pytest
from hotfuel.report import run_words
from hotfuel.study.drive.phases import COLD_START, DRIVE, IDLE, LAP, PULL, RESTART, SOAK
from hotfuel.study.fixes import day_plan, lacking
from hotfuel.study.fixes.faults import CUT, Fault
from hotfuel.study.fixes.lacking import NotComplete
from hotfuel.study.fixes.summaries import MEAN, WHOLE_RUN, Cell


def plan(phase, quantity=day_plan.TEMPERATURE):
    return day_plan.made(
        Path("sunday.toml"),
        ("as built", "ice can"),
        quantity=quantity,
        place="carb_inlet",
        phase=phase,
        difference=5.0,
        spread=1.5,
        seed=1,
    )


@pytest.mark.parametrize("phase", [COLD_START, IDLE, DRIVE, LAP, PULL, SOAK, RESTART, WHOLE_RUN])
def test_every_phase_that_a_plan_can_ask_says_what_to_drive_and_by_what_it_is_recognised(phase):
    said = run_words.must_hold(plan(phase))
    assert said.startswith("Every run must hold ")
    assert any(word in said for word in ("engine's speed", "engine speed", "receiver"))
    assert said.count(". ") <= 1


def test_power_needs_no_phase():
    assert run_words.must_hold(plan("", day_plan.POWER)) == ""


CARB = Cell(MEAN, "carb_inlet", PULL)
HELD = (("drive", 593.0), ("idle", 53.0))


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (
            NotComplete("run 1", CARB, why=lacking.NO_PHASE, held=HELD),
            "run 1 has no mean at carb inlet, full-throttle pull: no full-throttle pull was recognised in it, only 9 min 53 s of drive and 53 s of idle. "
            "Every run must hold a full-throttle pull: in one gear from low engine speed",
        ),
        (NotComplete("run 1", CARB, why=lacking.NO_SPEED, held=HELD), "no engine speed was recorded, and without it no full-throttle pull"),
        (NotComplete("run 1", CARB, why=lacking.NO_PLACE), "the carb inlet was not read: look at its probe and its plug."),
        (NotComplete("run 1", CARB, why=lacking.GUESSED), "neither engine speed nor ignition was recorded, so its phases can only"),
        (NotComplete("run 1", CARB, why=lacking.NOT_COUNTED, held=HELD), "drive all runs alike, with as many stops"),
        (NotComplete("run 1", Cell(MEAN, "pump", WHOLE_RUN), why=lacking.DIVIDED), "name a phase in a new plan"),
        (NotComplete("run 1", CARB, Fault(CUT, (), (PULL,))), "run 1 was broken off before its full-throttle pull was whole"),
    ],
)  # fmt: skip
def test_a_run_without_a_number_is_told_why_and_what_to_do(one, words):
    said = run_words.not_complete(one)
    assert words in said
    assert said.endswith("Its block is not complete:")


def test_another_phase_is_named_only_where_the_run_holds_one():
    assert run_words.instead(NotComplete("run 1", CARB, why=lacking.NO_PHASE, held=HELD)) == "drive"
    assert run_words.instead(NotComplete("run 1", CARB, why=lacking.NO_PHASE)) == ""
    assert run_words.instead(NotComplete("run 1", CARB, why=lacking.NO_PLACE, held=HELD)) == ""

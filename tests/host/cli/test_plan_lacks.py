"""A run of a test day that does not hold what is asked: said before it is driven, and afterwards why, by its own recording alone."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hotfuel.study.fixes.day_plan import load

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from made_sessions import MONDAY_S, Made, noise, write

PULLS = (("drive", 120), ("pull", 72), ("drive", 60), ("stop", 120))
WITHOUT = (("drive", 252), ("stop", 120))


@pytest.fixture
def day(hotfuel, tmp_path):
    """(the plan's file, a function that records the next run)."""
    path = tmp_path / "my sunday.toml"
    asked = (
        "--fix",
        "ice can=ice before carb_inlet",
        "--difference",
        "5 degF",
        "--out",
        path,
        "--sheet",
        tmp_path / "sheet.html",
    )
    made = hotfuel("plan", "as built", "ice can", *asked, as_json=True)["plan"]

    def drive(number, **more):
        name = made["order"][number - 1]
        random = np.random.default_rng(number)
        values = {
            "start_s": MONDAY_S + 3600 * number,
            "drive": PULLS,
            "offset_degc": noise(random, 0.3, 0.3),
            "change_degc": {"carb_inlet": -20.0} if name == "ice can" else {},
            "title": f"run {number}",
        }
        return write(tmp_path / f"my sunday-{number:02d}-{name.replace(' ', '-')}", Made(**(values | more)), random, number)

    return path, drive


MUST = "Every run must hold a full-throttle pull: in one gear from low engine speed to the top, without lifting, 3 s at least and better 10 s."


def test_it_is_said_by_the_plan_and_on_the_sheet(hotfuel, day, tmp_path):
    path, _ = day
    said = hotfuel("plan", path)
    assert MUST in said
    assert said.index("Next is run 1") < said.index(MUST)
    assert MUST in (tmp_path / "sheet.html").read_text(encoding="utf-8").replace("\xa0", " ")
    assert MUST in hotfuel("plan", "as built", "ice can", "--place", "carb inlet", "--out", tmp_path / "other.toml")


REASONS = {
    "no pull": ({"drive": WITHOUT}, "no full-throttle pull was recognised in it, only 4 min 12 s of drive"),
    "no engine speed": (
        {"engine_speed": False},
        "no engine speed was recorded, and without it no full-throttle pull is recognised",
    ),
    "neither speed nor ignition": ({"engine_speed": False, "ignition": False}, "so its phases can only be guessed"),
    "a dead probe": ({"dead": (("carb_inlet", 0, 372),)}, "the carb inlet was not read: look at its probe and its plug"),
}


@pytest.mark.parametrize("case", REASONS)
def test_one_run_that_lacks_it_is_named_with_its_reason_and_the_others_keep_their_values(hotfuel, day, case):
    path, drive = day
    more, why = REASONS[case]
    for number in (1, 2, 3):
        drive(number)
    drive(4, **more)
    said = hotfuel("plan", path)
    assert "run 4 has no mean at carb inlet, full-throttle pull: " in said
    assert why in said
    assert f"Its block is not complete: hotfuel record --plan '{path}' drives the run again." in said
    assert not any(f"run {number} has no" in said for number in (1, 2, 3))
    assert "Next is run 4 of" in said
    assert hotfuel("plan", path, as_json=True)["plan"]["again"] == [4]
    assert ("make a new plan that asks of what these runs hold: hotfuel plan with --phase" in said) == (
        case in ("no pull", "no engine speed")
    )


def test_the_first_run_is_told_alone_and_at_once(hotfuel, day):
    path, drive = day
    drive(1, drive=WITHOUT)
    said = hotfuel("plan", path)
    assert "run 1 has no mean" in said
    assert said.count(MUST) == 1
    assert "hotfuel plan with --phase drive and another --out." in said


def test_every_step_names_the_next_command(hotfuel, day):
    path, drive = day
    record = f"Record it with: hotfuel record --plan '{path}'"
    report = f"Its report: hotfuel compare --plan '{path}' --out '{path.with_suffix('.html')}'"
    for number in range(1, 5):
        assert record in hotfuel("plan", path)
        drive(number)
    said = hotfuel("plan", path)
    assert "Decided: stop." in said
    assert report in said
    assert record not in said
    said = hotfuel("compare", "--plan", path, "--out", path.with_suffix(".html"))
    assert "Its report:" not in said
    assert f"report: {path.with_suffix('.html')}" in said


def test_the_page_too_says_that_runs_of_a_side_differ_far_more_than_assumed(hotfuel, day):
    """One run of each side was driven with the other side's part: the terminal said so, and the page that goes to the customer did not."""
    path, drive = day
    for number, name in enumerate(load(path).order, start=1):
        drive(number, **({"change_degc": {"carb_inlet": -20.0 if name == "as built" else 0.0}} if number < 3 else {}))
    page = path.with_suffix(".html")
    said = hotfuel("compare", "--plan", path, "--out", page)
    (told,) = [line for line in said.splitlines() if line.startswith("Runs of one variant differ by far more than the ")]
    text = page.read_text(encoding="utf-8").replace("\xa0", " ")
    assert told in text.split("What weakens the finding")[1]
    assert "Look at what was fitted in the runs that differ far more than assumed" in text
    assert "Drive more runs" not in text

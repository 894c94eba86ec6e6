"""A test day as a user drives it: plan, one run after another with a board, the verdict; and the same with files from a test stand."""

import contextlib
import json
import os
import re
import select
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.cli import shared_plan
from hotfuel.log.reserve import Reserve
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
from hotfuel.study.fixes import day_plan
from hotfuel.temperature.thermocouple import emf_mv

sys.path.insert(0, str(Path(__file__).parents[1] / "study" / "driving"))
from pull_files import RPM, lines, torque_nm


@contextlib.contextmanager
def running_engine(*degrees):
    """A board in a car driven at 2200 rpm, its probes in baths; ready once it has begun to send, however busy the machine."""
    emf = [float(emf_mv(degc) - emf_mv(24.0)) for degc in degrees]
    source = steady(emf, [24.0] * 3, seconds=3600, engine_rpm=2200, ignition=1)
    with SimulatedBoard(source, speed=20, hold_for_reader=False) as board:
        port = os.open(board.device, os.O_RDONLY | os.O_NONBLOCK)
        try:
            assert select.select([port], [], [], 120)[0]
        finally:
            os.close(port)
        yield board


@pytest.mark.slow
def test_every_run_is_recorded_under_the_plans_name_until_it_is_decided(hotfuel, tmp_path):
    """Four runs with a board: baths of 60 and 40 degC at the carburettor inlet, alternating as planned."""
    day = tmp_path / "sunday.toml"
    asked = ("--place", "carb inlet", "--phase", "drive", "--difference", "9 degF", "--fix", "ice can=ice before carb_inlet")
    planned = hotfuel("plan", "as built", "ice can", *asked, "--out", day, as_json=True)["plan"]
    order = planned["order"]
    car = tmp_path / "car.toml"
    car.write_text(car_file.EXAMPLE, encoding="utf-8")
    for number, name in enumerate(order[:4], start=1):
        varied = (0.0, 0.5, 0.2, 0.6)[number - 1]
        with running_engine(30 + varied, 45 - varied**2, (60 if name == "as built" else 40) + varied) as board:
            said = hotfuel("record", "--plan", day, "--car", car, "--port", board.device, "--for", "4")
        folder = tmp_path / f"sunday-{number:02d}-{name.replace(' ', '-')}"
        assert (folder / "wire.log").stat().st_size > 0
        assert f"run {number} of {len(order)}: {name}" in said
        about = json.loads((folder / "session.json").read_text(encoding="utf-8"))["metadata"]
        assert about["test_day"] == f"run {number} of {len(order)}: {name}"
        if number > 1:  # what the first run began at, with some room, is asked of the others
            assert f"run {number} of {len(order)}: {name}; start when the tank is below" in said
            assert about["start_when"].startswith("the tank is below")
        else:
            assert "start_when" not in about
        if number == 1:
            assert f"Next is run 2 of {len(order)}: {order[1]}; start when the tank is below" in said
        if number < 4:
            refused = hotfuel("compare", "--plan", day, "--out", tmp_path / "day.html", code=2)
            assert f"once the day is decided or all its {len(order)} runs are driven: Next is run {number + 1} of" in refused
            assert "cooler" not in refused
            assert not (tmp_path / "day.html").exists()
        if number in (1, 3):
            assert "cooler" not in said, "between blocks only the next step is printed"
        if number == 2:
            assert "1 of 5 blocks is complete" in said, said
            assert "a verdict is looked for from the second on" in said
    assert re.search(r"ice can against as built, .*: 3[4-9]\.\d °F cooler after 2 of \d+ blocks", said), said
    assert "Decided: stop." in said
    assert hotfuel("compare", "--plan", day, as_json=True)["plan"]["standing"]["decided"]
    assert "report: " in hotfuel("compare", "--plan", day, "--out", tmp_path / "day.html")
    page = (tmp_path / "day.html").read_text(encoding="utf-8")
    assert "Ice can lowered the fuel at the carb inlet by" in page
    assert "decided after block 2" in page
    told = hotfuel("archive", "add", folder, "--archive", tmp_path / "archive", as_json=True)
    assert len(told["added"]) == 1
    rows = hotfuel("archive", "list", "--archive", tmp_path / "archive", as_json=True)["sessions"]
    assert rows[0]["fix"] == ("ice" if order[3] == "ice can" else ""), "the fitted parts come from the plan"


@pytest.mark.slow
def test_an_interrupted_run_is_continued_by_the_same_command_or_driven_again(hotfuel, tmp_path):
    day = tmp_path / "sunday.toml"
    order = hotfuel("plan", "as built", "ice can", "--fix", "ice can=ice before carb_inlet", "--out", day, as_json=True)["plan"][
        "order"
    ]
    run = f"run 1 of {len(order)}: {order[0]}"
    first = tmp_path / f"sunday-01-{order[0].replace(' ', '-')}"
    with running_engine(30, 45, 60) as board:
        command = ("record", "--plan", day, "--port", board.device, "--for", "1.5")
        assert run in hotfuel(*command)
        Reserve(first / "wire.log", b"")  # as the recorder leaves it when it dies
        said = hotfuel("plan", day)
        assert f"{run.capitalize()} was cut off: hotfuel record --plan" in said
        before = (first / "wire.log").stat().st_size
        assert f"{run} goes on." in hotfuel(*command)
        assert (first / "wire.log").stat().st_size > before + 1000
        assert hotfuel("plan", day, as_json=True)["plan"]["driven"] == 1
        Reserve(first / "wire.log", b"")
        long_ago = time.time() - 3 * 3600
        os.utime(first / "wire.log", (long_ago, long_ago))
        said = hotfuel(*command)
    assert "was cut off 3.0 h ago" in said
    assert f"{run}. It was cut off and is driven again." in said
    assert (tmp_path / f"{first.name}-2" / "wire.log").exists()
    found = hotfuel("plan", day, as_json=True)["plan"]
    assert (found["driven"], found["interrupted"]) == (1, 0)


def test_a_day_on_the_test_stand(hotfuel, tmp_path):
    """Pulls are saved beside the plan as CSV under the names it gives; 2 % more power is found, and no result is given between blocks."""
    day = tmp_path / "pulls.toml"
    planned = hotfuel("plan", "before", "cooler", "--difference", "2 %", "--spread", "0.3 %", "--out", day, as_json=True)["plan"]
    rng = np.random.default_rng(3)
    following = planned["next"]
    for number, name in enumerate(planned["order"][:6], start=1):
        assert (following["number"], following["variant"]) == (number, name)
        gain = (1.03 if name == "cooler" else 1.0) * (1 + 0.002 * rng.standard_normal())
        text = "Engine speed (rpm),Torque (Nm)\n" + lines([RPM, torque_nm(0) * gain], ",")
        Path(following["path"]).write_text(text, encoding="utf-8")
        told = hotfuel("power", "--plan", day, as_json=True)["plan"]
        following = told["next"]
        if number == 3:
            assert f"Its CSV goes to {following['path']}." in hotfuel("plan", day)
            assert "Next is run 4 of" in hotfuel("power", "--plan", day, "--out", tmp_path / "day.html", code=2)
            assert not (tmp_path / "day.html").exists()
        assert (told["standing"] is None) == bool(number % 2)
    (pair,) = told["standing"]["pairs"]
    assert pair["verdict"] == "higher"
    assert told["standing"]["unit"] == "%"
    assert pair["low"] < 3.0 < pair["high"]
    said = hotfuel("plan", day)
    assert re.search(r"cooler against before, power: [23]\.\d % more power", said)
    assert "Decided: stop." in said
    assert "power --plan" in hotfuel("compare", "--plan", day, "--out", tmp_path / "day.html", code=2)
    assert "report: " in hotfuel("power", "--plan", day, "--out", tmp_path / "day.html")
    page = (tmp_path / "day.html").read_text(encoding="utf-8")
    assert f"more power than before, between {pair['low']:.1f} and {pair['high']:.1f}\xa0%" in page
    assert "after 3 of" in page
    assert "looks fixed beforehand" in page
    assert "should decide" not in page


def test_a_day_with_pulls_in_two_gears_gets_no_verdict(hotfuel, tmp_path):
    day = tmp_path / "pulls.toml"
    order = hotfuel("plan", "before", "cooler", "--difference", "2 %", "--spread", "0.3 %", "--out", day, as_json=True)["plan"][
        "order"
    ]
    for number, name in enumerate(order[:4], start=1):
        text = f"Gear: {4 if name == 'cooler' else 3}\nEngine speed (rpm),Torque (Nm)\n" + lines(
            [RPM, torque_nm(number / 1000)], ","
        )
        (tmp_path / f"pulls-{number:02d}-{name}.csv").write_text(text, encoding="utf-8")
    said = hotfuel("plan", day)
    assert "2 of" in said
    assert "no verdict: the gear was 3 with before and 4 with cooler. Pull again with these alike on both sides." in said
    assert f"Next is run 5 of {len(order)}" in said


def test_an_empty_recording_is_named_and_driven_again(hotfuel, tmp_path):
    day = tmp_path / "sunday.toml"
    asked = ("--fix", "ice can=ice before carb_inlet", "--difference", "5 degF", "--out", day)
    order = hotfuel("plan", "as built", "ice can", *asked, as_json=True)["plan"]["order"]
    for number in (1, 2):
        folder = tmp_path / f"sunday-{number:02d}-{order[number - 1].replace(' ', '-')}"
        folder.mkdir()
        (folder / "wire.log").write_bytes(b"nothing of a board")
        said = hotfuel("plan", day)
        assert f"sunday-{number:02d}" in said
        assert f"hotfuel record --plan {day} drives the run again." in said
        assert f"Next is run 1 of {len(order)}: {order[0]}, again." in said
    assert hotfuel("plan", day, as_json=True)["plan"]["again"] == [1, 2]
    # driven again beside the old one, which stays where it is; the new one then counts, and is empty too
    plan = day_plan.load(day)
    assert shared_plan.next_number(plan) == 1
    beside = plan.run_path(1).with_name(f"{plan.run_path(1).name}-2")
    beside.mkdir()
    (beside / "wire.log").write_bytes(b"nothing again")
    assert (plan.recording(1), shared_plan.next_number(plan)) == (beside, 2)
    assert beside.name in hotfuel("plan", day)
    assert shared_plan.next_number(plan) == 1
    assert '"ice can" is given twice' in hotfuel("plan", "as built", "ice can", "ice can", *asked, code=2)


def test_the_variant_without_a_fix_is_compared_with_whichever_is_named_first(hotfuel, tmp_path):
    asked = ("--fix", "ice can=ice before carb_inlet", "--difference", "5 degF")
    for number, names in enumerate((("as built", "ice can"), ("ice can", "as built"))):
        said = hotfuel("plan", *names, *asked, "--out", tmp_path / f"{number}.toml")
        assert ("Compared with as built, the only one of which no fix is known." in said) == bool(number)
        assert day_plan.load(tmp_path / f"{number}.toml").variants == ("as built", "ice can")
    hotfuel("plan", "ice can", "as built", "--place", "carb inlet", "--out", tmp_path / "guessed.toml")
    assert day_plan.load(tmp_path / "guessed.toml").variants == ("as built", "ice can")
    both = ("--fix", "duct=cooler before carb_inlet", *asked, "--out", tmp_path / "both.toml")
    assert '--fix is for "duct", with which the others are compared: name a variant without a fix first' in hotfuel(
        "plan", "duct", "ice can", *both, code=2
    )
    assert "which is none of the variants: they are as built, ice can" in hotfuel("plan", "as built", "ice can", *both, code=2)


def test_a_pull_copied_into_a_planned_day_gets_no_verdict(hotfuel, tmp_path):
    day = tmp_path / "pulls.toml"
    order = hotfuel("plan", "before", "cooler", "--difference", "2 %", "--spread", "0.3 %", "--out", day, as_json=True)["plan"][
        "order"
    ]
    for number, name in enumerate(order[:4], start=1):
        gain = 0.05 if name == "cooler" else number / 1000  # both of the cooler are one file
        text = "Engine speed (rpm),Torque (Nm)\n" + lines([RPM, torque_nm(0) * (1 + gain)], ",")
        (tmp_path / f"pulls-{number:02d}-{name}.csv").write_text(text, encoding="utf-8")
    said = hotfuel("plan", day)
    assert "a pull counts once, give each file once" in said
    assert "Decided" not in said


def test_a_difference_too_small_to_find_is_answered_in_its_units(hotfuel, tmp_path):
    percent = hotfuel("plan", "a", "b", "--difference", "0.1 %", "--out", tmp_path / "day.toml", code=1)
    assert (
        '--difference "0.1 %" cannot be found where runs alike spread by 0.5 %, assumed: give what you know with --spread'
        in percent
    )
    degrees = hotfuel(
        "plan",
        "a",
        "b",
        "--fix",
        "b=ice before carb_inlet",
        "--difference",
        "0.1 degF",
        "--spread",
        "3 degF",
        "--out",
        tmp_path / "day.toml",
        code=1,
    )
    assert (
        '--difference "0.1 degF" cannot be found where runs alike spread by 3.0 °F: it takes more than 40 runs of each variant'
        in degrees
    )
    assert not (tmp_path / "day.toml").exists()

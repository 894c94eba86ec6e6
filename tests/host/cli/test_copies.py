"""A recording given twice is one run: a copied folder, a longer and a shorter copy of one log, a part of it, in one side or across both."""

import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from hotfuel import session
from hotfuel.log import identity
from hotfuel.study.fixes.copies import copies, distinct
from hotfuel.study.fixes.sessions import pairs_of_sessions

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from made_sessions import DAY_S, MONDAY_S, Made, noise, write

DRIVE = (("drive", 120), ("stop", 120))


def run(folder, number, letter="a", **more):
    """A run of its own: another day, another start of the board, its own noise."""
    random = np.random.default_rng(number)
    change = {"carb_inlet": -8.0} if letter == "b" else {}
    values = {
        "start_s": MONDAY_S + DAY_S * number,
        "offset_degc": noise(random, 0.4, 0.5),
        "drive": DRIVE,
        "change_degc": change,
        "title": "Tuesday",
    }
    return write(folder, Made(**(values | more)), random, number)


def other_log(folder, of, data):
    """A folder like `of` with another log in it."""
    shutil.copytree(of, folder)
    (folder / "wire.log").write_bytes(data)
    return folder


@pytest.fixture(scope="module")
def four(tmp_path_factory):
    """Two runs a side; their logs begin with the number that a recorder gives them."""
    root, made = tmp_path_factory.mktemp("four"), []
    for number, letter in enumerate("abba", start=1):
        folder = run(root / f"day{number}", number, letter)
        log = folder / "wire.log"
        log.write_bytes(identity.frame(identity.new(), MONDAY_S + DAY_S * number) + log.read_bytes())
        made.append(folder)
    return made


def without_number(log):
    """The frames of a log without the first, which holds its number."""
    return log[len(identity.frame(identity.new(), 1.0)) :]


SHAPES = {
    "the whole": lambda log: log,
    "its beginning": lambda log: log[: len(log) // 2],
    "its end": lambda log: log[len(log) // 2 :],
    "its middle": lambda log: log[len(log) // 3 : 2 * len(log) // 3],
    "the readings in a log of another number": lambda log: identity.frame(identity.new(), 1.0) + without_number(log),
    "the readings in a log of an earlier version": without_number,
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_copy_is_refused_on_either_side(hotfuel, four, tmp_path, shape):
    first, second, third, _ = four
    copy = other_log(tmp_path / "copy", first, SHAPES[shape]((first / "wire.log").read_bytes()))
    out = tmp_path / "page.html"
    for sides in (
        (f"before={first},{copy}", f"duct={second},{third}"),
        (f"before={copy},{first}", f"duct={second},{third}"),
        (f"before={first}", f"duct={second},{copy}"),
    ):
        said = hotfuel("compare", *sides, "--out", out, code=1)
        assert str(first) in said
        assert str(copy) in said
        assert "is the same recording as" in said
        assert "whole or in part: a run counts once, give one of them" in said
        assert said.count("\n") == 1
    assert not out.exists()


def test_runs_of_their_own_are_compared_even_under_one_title(hotfuel, four):
    first, second, third, fourth = four
    found = hotfuel("compare", f"before={first},{fourth}", f"duct={second},{third}", as_json=True)["comparison"]
    assert found["runs"] == {"before": 2, "duct": 2}


def test_runs_of_one_start_of_the_board_and_of_a_board_that_cannot_count_its_starts_are_runs_of_their_own(tmp_path):
    """One start: the ticks go on. A board that cannot keep its count: the same ticks again, with other codes."""
    whole = run(tmp_path / "whole", 1)
    log = (whole / "wire.log").read_bytes()
    described = log[: log.index(b"\0", 1) + 1]
    half = log.index(b"\0", len(log) // 2) + 1
    parts = [
        other_log(tmp_path / name, whole, described + data)
        for name, data in (("morning", log[len(described) : half]), ("noon", log[half:]))
    ]
    uncounted = write(tmp_path / "uncounted", Made(drive=DRIVE), np.random.default_rng(9), 1)
    opened = [session.open(path) for path in (*parts, uncounted)]
    assert all(len(one.decoded.scans) > 100 for one in opened)
    assert copies(opened) == []
    assert copies([*opened, session.open(whole)]) == [(0, 3), (1, 3)]


def test_one_session_under_both_names_is_still_cut_at_its_marks(hotfuel, tmp_path):
    marks = tuple((at, "ab"[i % 2]) for i, at in enumerate(range(60, 660, 100)))
    path = run(tmp_path / "sunday", 1, drive=(("drive", 700),), marks=marks, switched_degc={"carb_inlet": -5.0})
    found = hotfuel("compare", f"a={path}", f"b={path}", "--question", "average at carb_inlet, drive", as_json=True)["comparison"]
    assert found["runs"] == {"a": 3, "b": 3}
    assert found["answers"][0]["difference_degc"] == pytest.approx(-5, abs=1.0)
    copy = other_log(tmp_path / "copy", path, (path / "wire.log").read_bytes())
    assert "is the same recording as" in hotfuel("compare", f"a={path}", f"b={copy}", code=1)


def test_an_archives_copies_make_no_pairs(four, tmp_path):
    """A pair of a run and its copy would differ by nothing, and make the widened interval too narrow."""
    first = four[0]
    opened = session.open(first)
    shorter = session.open(other_log(tmp_path / "shorter", first, (first / "wire.log").read_bytes()[:-2000]))
    assert distinct([shorter, opened]) == [opened]
    assert pairs_of_sessions([opened, shorter], "Trial car") == []
    again = session.open(run(tmp_path / "again", 9, start_s=MONDAY_S + DAY_S + 3600))
    assert len(pairs_of_sessions([opened, shorter, again], "Trial car")) == 1


def test_a_copy_among_a_planned_days_runs_is_named_and_driven_again(hotfuel, tmp_path):
    day = tmp_path / "sunday.toml"
    asked = ("--place", "carb inlet", "--phase", "drive", "--fix", "duct=cooler before carb_inlet", "--out", day)
    order = hotfuel("plan", "as built", "duct", *asked, as_json=True)["plan"]["order"]
    folders = [tmp_path / f"sunday-{n:02d}-{order[n - 1].replace(' ', '-')}" for n in (1, 2, 3, 4)]
    for number, folder in enumerate(folders[:2], start=1):
        run(folder, number, "b" if order[number - 1] == "duct" else "a")
    twin = next(n for n in (0, 1) if order[n] == order[2])
    shutil.copytree(folders[twin], folders[2])
    run(folders[3], 4, "b" if order[3] == "duct" else "a")
    said = hotfuel("plan", day)
    assert f"{folders[2]} is the same recording as {folders[twin]}, whole or in part, and a run counts once." in said
    assert f"Next is run 3 of {len(order)}: {order[2]}, again." in said
    assert "again" in hotfuel("compare", "--plan", day, "--out", tmp_path / "day.html", code=2)

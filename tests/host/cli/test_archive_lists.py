"""What `archive list`, `find` and `page` tell about sessions that look alike, in the units of their cars."""

import re

import pytest
from hotfuel import car as car_file
from hotfuel.session import folder as session_folder
from written import write

PLACES = ["tank", "carb_inlet"]
CAR = car_file.EXAMPLE


@pytest.fixture
def archive(hotfuel, tmp_path):
    """Three drives: two of one title, an hour apart, and one of another title and of a car in US units."""
    assert 'units = "us"' in CAR
    si = CAR.replace('units = "us"', 'units = "si"')
    for name, title, text, wall_s, hottest in (
        ("a", "After the fix", si, 1_780_000_000, 50.0),
        ("b", "After the fix", si, 1_780_003_600, 50.0),
        ("c", "Before", CAR, 1_780_010_000, 60.0),
    ):
        degc = [[30.0, hottest]] * 60
        write(
            tmp_path / name,
            text,
            PLACES,
            degc,
            [800.0] * 60,
            wall_s=wall_s,
            boot=ord(name),
            about={"title": title, "utc_offset_min": 120},
        )
    where = tmp_path / "archive"
    hotfuel("archive", "add", tmp_path / "a", tmp_path / "b", tmp_path / "c", "--archive", where)
    return where


def test_sessions_of_one_title_are_listed_with_day_and_time_of_their_start(hotfuel, archive):
    said = hotfuel("archive", "list", "--archive", archive)
    assert "After the fix (28 May 2026, 22:26), Blue saloon" in said  # UTC 20:26
    assert "After the fix (28 May 2026, 23:26), Blue saloon" in said
    assert re.search(r": Before, Blue saloon", said)
    found = hotfuel("archive", "find", "--since", "2026-05-29", "--archive", archive)
    assert "Before, Blue saloon" in found
    page = archive / "notebook.html"
    hotfuel("archive", "page", "--archive", archive)
    assert "After the fix (28 May 2026, 22:26)" in page.read_text(encoding="utf-8")
    assert "After the fix (28 May 2026, 23:26)" in page.read_text(encoding="utf-8")


def test_sessions_that_began_in_the_same_minute_are_told_apart_by_their_folders_on_the_page(hotfuel, tmp_path):
    for name, hottest in (("a", 50.0), ("b", 51.0)):
        write(tmp_path / name, CAR, PLACES, [[30.0, hottest]] * 60, [800.0] * 60, about={"title": "Run", "utc_offset_min": 0})
    hotfuel("archive", "add", tmp_path / "a", tmp_path / "b", "--archive", tmp_path / "archive")
    hotfuel("archive", "page", "--archive", tmp_path / "archive")
    page = (tmp_path / "archive" / "notebook.html").read_text(encoding="utf-8")
    for session in (tmp_path / "archive" / "sessions").iterdir():
        assert f"Run (28 May 2026, 20:26, {session.name})" in page


def test_each_session_is_listed_in_its_own_cars_units(hotfuel, archive):
    lines = {
        line.split(": ", 1)[1].split(",")[0].split(" (")[0]: line
        for line in hotfuel("archive", "list", "--archive", archive).splitlines()
    }
    assert "hottest 140.0 °F at carb inlet" in lines["Before"]
    assert "hottest 50.0 °C at carb inlet" in lines["After the fix"]
    assert "°F" not in hotfuel("archive", "list", "--units", "si", "--archive", archive)
    assert "°C" not in hotfuel("archive", "list", "--units", "us", "--archive", archive)


def test_a_place_that_was_not_read_is_named_beside_the_smallest_margin(hotfuel, tmp_path):
    degc = [[30.0, 50.0]] * 60 + [[float("nan"), 50.0]] * 600
    write(tmp_path / "a", CAR, PLACES, degc, [800.0] * 660, about={"fix": "shield"})
    where = tmp_path / "archive"
    hotfuel("archive", "add", tmp_path / "a", "--archive", where)
    said = hotfuel("archive", "list", "--archive", where)
    assert re.search(r"smallest margin [\d.]+ °F at carb inlet, behind the needle \(tank not read for 5 min 00 s\);", said)
    (row,) = hotfuel("archive", "find", "--archive", where, as_json=True)["sessions"]
    assert (row["unread_places"], row["unread_s"]) == ("tank", 300.0)
    hotfuel("archive", "page", "--archive", where)
    page = (where / "notebook.html").read_text(encoding="utf-8")
    assert "(tank not always read)</p>" in page and "; tank not always read</td>" in page


def test_the_notebook_is_in_the_units_of_each_car(hotfuel, archive, tmp_path):
    """It was in those of its first session, whichever car that was of."""
    page = archive / "notebook.html"
    hotfuel("archive", "page", "--archive", archive)
    assert "°C" not in page.read_text(encoding="utf-8"), "one car: as its last session has it"
    other = CAR.replace("Blue saloon", "Red tourer").replace('units = "us"', 'units = "si"')
    write(
        tmp_path / "d", other, PLACES, [[30.0, 55.0]] * 60, [800.0] * 60, wall_s=1_780_020_000, boot=9, about={"title": "Tourer"}
    )
    hotfuel("archive", "add", tmp_path / "d", "--archive", archive)
    hotfuel("archive", "page", "--archive", archive)
    of_car = {
        name: part
        for name in ("Blue saloon", "Red tourer")
        for part in page.read_text(encoding="utf-8").split('<h2 class="big">')
        if name in part
    }
    assert "°F" in of_car["Blue saloon"] and "°C" not in of_car["Blue saloon"]
    assert "°C" in of_car["Red tourer"] and "°F" not in of_car["Red tourer"]
    hotfuel("archive", "page", "--archive", archive, "--units", "si")
    assert "°F" not in page.read_text(encoding="utf-8")


def test_a_session_without_a_readable_car_file_is_listed(hotfuel, archive):
    for session in (archive / "sessions").iterdir():
        (session / session_folder.CAR).write_bytes(b"\xff\x00")
    assert len(hotfuel("archive", "list", "--archive", archive).splitlines()) == 3


def test_an_unknown_place_is_named_with_those_there_are(hotfuel, archive):
    said = hotfuel("archive", "find", "--place", "fuel rail", "--archive", archive)
    assert said.strip() == (
        'no session has a place called "fuel rail": there are "carb inlet", "carb inlet, behind the needle" and "tank"'
    )
    assert "Before" in hotfuel("archive", "find", "--place", "carb inlet", "--archive", archive)
    assert (
        hotfuel("archive", "find", "--place", "tank", "--hotter-than", "500 degF", "--archive", archive).strip()
        == "no session matches"
    )

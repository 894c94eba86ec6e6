"""What a command tells a person first, and which files it says it wrote."""

import sys
from pathlib import Path

import pytest
from hotfuel import car, session
from hotfuel.cli.shared import named, told_first
from hotfuel.errors import InputError
from hotfuel.report import html, pictures, review
from written import write

sys.path.insert(0, str(Path(__file__).parents[1] / "study" / "driving"))
import lapped

PLACES = [place.name for place in car.load(car.EXAMPLE).places]


def hot_drive(folder):
    """Ten minutes of running and five of standing, the pump at 75 degC in the end."""
    rows = [[30, 35 + min(at, 1200) / 30, 35 + min(at, 1200) / 60] for at in range(1800)]
    return write(folder, car.EXAMPLE, PLACES, rows, [2000.0 if at < 1200 else 0.0 for at in range(1800)])


def test_the_terminal_begins_with_the_page_s_answer(hotfuel, tmp_path):
    folder = hot_drive(tmp_path / "sunday")
    said = hotfuel("review", folder).splitlines()[0]
    headline = review.make(session.open(folder)).sheet.headlines[0]
    assert headline.startswith("The fuel boiled at the pump")
    assert said.startswith(headline)  # what happened and where
    assert " beyond its limit (±" in said  # how near
    assert ", because " in said  # why


def test_every_file_of_a_review_is_named(hotfuel, tmp_path, monkeypatch):
    folder = write(tmp_path / "sunday", car.EXAMPLE, PLACES, [[30, 40, 50]] * 60, [800.0] * 60)
    monkeypatch.setattr(html, "write_pdf", lambda page, path, paper: Path(path))
    drawn = [tmp_path / "sunday.png", tmp_path / "sunday-picture.png", tmp_path / "sunday-heat.png"]
    monkeypatch.setattr(pictures, "write", lambda report, path: drawn)
    out = hotfuel("review", folder, "--pdf", tmp_path / "sunday.pdf", "--png", drawn[0])
    assert out.splitlines()[-4:] == [
        f"report: {folder / 'review.html'}",
        f"PDF: {tmp_path / 'sunday.pdf'}",
        f"card: {drawn[0]}",
        f"charts: {drawn[1]}, {drawn[2]}",
    ]


def test_what_was_not_written_is_not_named():
    assert named([Path("sheet.htm")], "sheet") == ["sheet: sheet.htm"]
    assert named([]) == []


def test_an_error_while_printing_still_tells_the_answer(capsys, tmp_path):
    page, lines = tmp_path / "page.html", ["the answer"]
    with pytest.raises(InputError, match="no browser .*page.html is written"), told_first(lines, page, False):
        page.write_text("x")
        raise InputError("no browser")
    assert capsys.readouterr().out.splitlines() == ["the answer", f"report: {page}"]


def test_the_kept_line_of_the_laps_is_named(hotfuel, tmp_path):
    lapped.laps(tmp_path / "track")
    out = hotfuel("laps", tmp_path / "track", "--keep")
    assert f"line kept: {tmp_path / 'track' / 'lap_line.txt'}" in out.splitlines()
    assert (tmp_path / "track" / "lap_line.txt").is_file()

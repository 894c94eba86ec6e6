"""Where a page may be written: never over a file that is something else."""

from importlib import resources

import jinja2
import pytest
from hotfuel.errors import InputError
from hotfuel.report import customer, html
from hotfuel.report.table import Table


@pytest.mark.parametrize("name", ["wire.log", "car.toml", "sunday.csv", "sunday"])
def test_a_page_is_not_written_over_another_kind_of_file(tmp_path, name):
    kept = tmp_path / name
    kept.write_bytes(b"mine")
    with pytest.raises(InputError, match=r"give a file that ends in \.html or \.htm"):
        html.write("<p>", kept)
    with pytest.raises(InputError, match=r"give a file that ends in \.pdf"):
        html.write_pdf(tmp_path / "page.html", kept)
    assert kept.read_bytes() == b"mine"
    assert list(tmp_path.iterdir()) == [kept]


@pytest.mark.parametrize("name", ["page.html", "PAGE.HTM", "new folder/page.html"])
def test_a_page_is_written_where_a_page_belongs(tmp_path, name):
    assert html.write("<p>°", tmp_path / name).read_text(encoding="utf-8") == "<p>°"


def test_a_browser_that_prints_nothing_is_reported_even_over_an_older_file(tmp_path, monkeypatch):
    page, kept = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text("<html><head></head></html>")
    kept.write_text("older, of hotfuel")
    monkeypatch.setenv("HOTFUEL_BROWSER", "true")  # exits with success and prints nothing
    with pytest.raises(InputError, match="could not print"):
        html.write_pdf(page, kept)
    assert kept.read_text() == "older, of hotfuel"


@pytest.mark.parametrize("name", ["a.pdf", "a.png"])
def test_an_unwritable_place_is_named_before_anything_is_drawn(tmp_path, monkeypatch, name):
    from hotfuel.report import pictures
    from hotfuel.report.customer import Report, Sheet

    (tmp_path / "file").write_text("")
    where = tmp_path / "file" / name  # not a folder
    monkeypatch.setattr(html, "_drawn", None)  # calling a browser would fail
    page = html.write("<p>hotfuel</p>", tmp_path / "page.html")
    with pytest.raises(InputError) as refused:
        if name.endswith(".pdf"):
            html.write_pdf(page, where)
        else:
            pictures.write(Report("", Sheet(["x"]), {}), where)
    assert str(refused.value) == f"{where} cannot be written (File exists): give another place, or make room"


def test_every_page_says_whether_it_was_simulated():
    with pytest.raises(jinja2.UndefinedError, match="simulated"):
        html.page("page.html.jinja", {}, {"title": "laps"})
    assert ">SIMULATED<" in html.page("page.html.jinja", {}, {"title": "laps", "simulated": True})
    assert ">SIMULATED<" not in html.page("page.html.jinja", {}, {"title": "laps", "simulated": False})
    apart = {"page.html.jinja", "macros.html.jinja", "card.html.jinja"}  # the card's mark: test_in_browser
    pages = [one for one in resources.files("hotfuel.report").iterdir() if one.name.endswith(".jinja") and one.name not in apart]
    assert len(pages) >= 8
    for one in pages:
        assert one.read_text(encoding="utf-8").startswith('{% extends "page.html.jinja" %}'), one.name


def test_rows_that_wrap_are_counted_in_the_first_page_s_height():
    """Columns wider than the page together are narrowed: each row's longest cell takes a second line."""
    narrow = Table(("Fix", "Room"), [("a sleeve", "8 °F more"), ("a spacer", "2 °F\nmore")])
    assert customer._rows(narrow, 10.0) == [1.3, 1, 2]
    wide = Table(("Fix", "Room"), [("a sleeve " * 8, "8 °F more"), ("a spacer", "13 °F more (11 °F less to 19 °F more) " * 2)])
    assert customer._rows(wide, 10.0) == [1.3, 2, 2]


def test_a_number_stays_on_the_line_of_its_unit():
    assert (
        html._tied("8.7 psi, 3 min 30 s and 24 °F in 10 stops") == "8.7\u00a0psi, 3\u00a0min 30\u00a0s and 24\u00a0°F in 10 stops"
    )


def test_every_sentence_of_a_page_has_minus_signs():
    assert html._tied("between -2.3 and -0.5 %, on 2026-06-01") == "between −2.3 and −0.5\xa0%, on 2026-06-01"


def test_the_lines_of_a_heading_are_counted_by_whole_words():
    """Of this heading two lines were counted and three printed: the signature of the sheet stood alone on a second one."""
    heading = "The fuel boiled at the pump for 12 minutes while you were parked, and may have boiled at the carb inlet."
    assert customer._lines(heading, customer._BOLD * customer._FULL.h1) == 3

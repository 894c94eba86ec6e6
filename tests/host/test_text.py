"""No text from outside can move a terminal's cursor, change a page's reading direction or break a file."""

import shlex
import unicodedata

import pytest
from hotfuel import text
from hotfuel.errors import InputError
from hypothesis import given
from hypothesis import strategies as st

ANY = st.text(st.characters(min_codepoint=0, max_codepoint=0x10FFFF, categories=None), max_size=60)


@given(ANY)
def test_cleaned_text_can_be_shown_and_stored(given_text):
    found = text.shown(given_text)
    found.encode("utf-8")
    # L, R, LRE, RLO, ... by Unicode's own table; RLM, LRM and ALM are formats of their own
    assert not [
        c for c in found if unicodedata.bidirectional(c) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
    ]
    assert not [c for c in found if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") and c not in "\t\n"]
    assert text.shown(found) == found


@given(ANY)
def test_checked_text_is_unchanged_or_refused(given_text):
    if text.shown(given_text) == given_text:
        assert text.checked(given_text) == given_text
    else:
        with pytest.raises(InputError, match="cannot be read"):
            text.checked(given_text)


def test_ordinary_text_is_unchanged():
    for ordinary in ("Überholspur 21 °C", "קפה", "مرحبا", "日本語", "👩‍🔧", "a\tb\nc", "é"):
        assert text.checked(ordinary) == text.shown(ordinary) == ordinary


def test_a_file_name_that_is_not_utf_8_shows_its_bytes():
    assert text.shown(b"caf\xe9".decode("utf-8", "surrogateescape")) == "caf\\xe9"
    assert text.shown("\x1b[2Jgone\u202egpj.exe") == "\\x1b[2Jgone\\u202egpj.exe"


@pytest.mark.parametrize("folder", ["sunday", "-y", "--out", "a b", "it's", "$HOME", "*", "; ls", "-a b"])
def test_a_folder_in_a_command_is_one_word_and_not_an_option(folder):
    (word,) = shlex.split(text.typed(folder))
    assert word in (folder, f"./{folder}")
    assert not word.startswith("-")


def test_names_that_are_the_same_are_told_apart_by_what_differs():
    when, where = ["1 June 2026, 09:12", "1 June 2026, 09:12", "2 June 2026, 08:00", "x"], ["a", "b", "c", "d"]
    assert text.told_apart(["run", "run", "run", "day"], when, where) == [
        "run (1 June 2026, 09:12, a)",
        "run (1 June 2026, 09:12, b)",
        "run (2 June 2026, 08:00)",
        "day",
    ]
    assert text.told_apart(["run", "day"], ["x", "y"]) == ["run", "day"]
    assert text.told_apart(["run", "run"], ["", ""], ["a", "b"]) == ["run (a)", "run (b)"], "where no start is known"
    assert text.told_apart([]) == []


def test_a_count_of_one_is_singular():
    assert text.counted(1, "piece") == "1 piece"
    assert text.counted(0, "piece") == "0 pieces"
    assert text.counted(2, "reply", "replies") == "2 replies"


def test_only_hyphens_that_mean_minus_become_one():
    assert text.minus("-2.5 to 3 °C, -4; lb-ft, 2-1 x -y") == "−2.5 to 3 °C, −4; lb-ft, 2-1 x -y"


@pytest.mark.parametrize(
    "said",
    [
        "hotfuel forecast drive --hotter -5 --altitude '-12 m'",
        "report: /home/me/drive -5/review -2.html",
        text.typed("it's day -5/cold -1"),
        'Fitted already ("spacer -5 mm")',
    ],
)
def test_what_can_be_typed_again_keeps_its_hyphens(said):
    assert text.minus(f"{said} and -3 °C, the drivers' -2 °C") == f"{said} and −3 °C, the drivers' −2 °C"


def test_a_sentence_begins_with_a_capital_and_keeps_the_others():
    assert text.first_upper("fuel in the USA") == "Fuel in the USA"
    assert text.first_upper("") == ""

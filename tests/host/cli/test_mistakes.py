"""Things people mistype, save in the wrong format or mix up: one sentence, the promised exit code, nothing lost."""

import io
import re
import subprocess
import sys

import pytest
from hotfuel import car as car_file
from hotfuel import cli, session
from hotfuel.cli import archive, forecast
from hotfuel.cli.shared import findings
from hotfuel.errors import InputError
from hotfuel.report import html
from hotfuel.session import export, folder, metadata
from hotfuel.study.fixes import asking
from hotfuel.study.fixes.summaries import Cell
from hotfuel.units import Shown, parse
from written import write


@pytest.fixture
def typed(capsys, monkeypatch):
    """typed(*words) -> (exit code, stdout, stderr)."""

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["hotfuel", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            cli.main()
        said = capsys.readouterr()
        return end.value.code, said.out, said.err

    return run


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["reveiw", "sunday"], "no such command 'reveiw', did you mean 'review'?"),
        (["decode", "sunday"], "missing option '--out'"),
        (["review", "sunday", "--pfd", "x.pdf"], "--pdf"),
        (["simulator", "--speed", "0,5"], "it is a number, like 0.5"),
        (["--nonsense"], "no such option"),
        (["board", "infoo"], "`hotfuel board --help` tells more"),
    ],
)
def test_a_mistyped_command_is_one_sentence(typed, words, told):
    code, out, err = typed(*words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("hotfuel: ")
    assert told in err


def test_without_a_command_the_help_is_shown(typed):
    code, out, err = typed()
    assert code == 2
    assert "review" in out + err


def test_the_version_is_printed(typed):
    assert typed("--version")[:2] == (0, "hotfuel 0.1.0\n")


@pytest.mark.parametrize("text", ["1,6 km", "1,600 m", "-0,5 m"])
def test_a_comma_in_a_number_is_named(text):
    with pytest.raises(InputError, match="comma in its number"):
        parse(text, "length")


def test_a_car_file_from_a_windows_editor(tmp_path):
    path = tmp_path / "my car.toml"
    path.write_bytes(b"\xef\xbb\xbf" + car_file.EXAMPLE.replace("\n", "\r\n").encode())
    assert car_file.load(path) == car_file.load(car_file.EXAMPLE)
    kept = folder.create(tmp_path / "sunday", path.read_text(encoding="utf-8"))
    assert session.open(kept.path).car == car_file.load(car_file.EXAMPLE)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda text: text.replace('"', "”"), "straight ones"),
        (lambda text: text.replace("Blue saloon,", "C:\\cars\\k"), "write / where"),
        (lambda text: text.replace("[fuel]", "fuel:"), "under [tables]"),
    ],
)
def test_a_car_file_that_is_not_toml_is_refused_with_the_remedy(change, told):
    with pytest.raises(InputError) as error:
        car_file.load(change(car_file.EXAMPLE))
    assert told in str(error.value)


def test_a_table_of_another_program_is_not_overwritten(tmp_path):
    made = folder.create(tmp_path / "sunday")
    theirs = tmp_path / "pull.csv"
    theirs.write_text("rpm,torque\n3000,300\n")
    with pytest.raises(InputError, match="nothing is overwritten"):
        export.write(session.open(made.path), theirs)
    assert theirs.read_text().startswith("rpm")
    (tmp_path / "sunday.csv").touch()  # it is empty, so nothing is lost
    ours = export.write(session.open(made.path), tmp_path / "sunday.csv")
    assert export.write(session.open(made.path), ours) == ours, "its own files it overwrites"


def test_a_car_file_given_for_a_session(tmp_path):
    (tmp_path / "car.toml").write_text(car_file.EXAMPLE)
    with pytest.raises(InputError, match="car.toml is no recording"):
        folder.find(tmp_path / "car.toml")


def test_too_hot_a_day_is_refused_with_its_unit():
    with pytest.raises(InputError, match="482.22: allowed is a number from -60 to 70 degC"):
        metadata.checked({"ambient_degc": parse("900 degF", "temperature")})


def test_a_disk_that_fills_while_printing(tmp_path, monkeypatch):
    """The browser reports nothing and leaves the first pages."""

    def half(command, **options):
        out = next(word for word in command if word.startswith("--print-to-pdf=")).partition("=")[2]
        with open(out, "wb") as file:
            file.write(b"%PDF-1.4 half")
        return subprocess.CompletedProcess(command, 0, "", "")

    page = tmp_path / "page.html"
    page.write_text("<html><head></head></html>")
    monkeypatch.setenv("HOTFUEL_BROWSER", sys.executable)
    monkeypatch.setattr(subprocess, "run", half)
    with pytest.raises(InputError, match="full disk"):
        html.write_pdf(page, tmp_path / "page.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_a_terminal_without_a_degree_sign(monkeypatch):
    shown = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(shown, encoding="ascii"))
    monkeypatch.setattr(sys, "argv", ["hotfuel", "limits", "--fuel", "D4814 A-1"])
    with pytest.raises(SystemExit) as end:
        cli.main()
    sys.stdout.flush()
    assert end.value.code == 0
    assert b"?C" in shown.getvalue()


@pytest.mark.parametrize("columns", ["60", "80"])
def test_the_limits_fit_a_narrow_terminal(monkeypatch, columns):
    from hotfuel.cli import limits, shared

    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setattr(limits, "out", shared.Screen())
    with limits.out.console.capture() as captured:
        limits.limits(fuel="D4814 A-1", units="us")
    table = [line for line in captured.get().splitlines() if line.startswith(" ")]
    assert max(map(len, table)) <= int(columns)
    assert "…" not in "".join(table)
    assert any("standing" in line for line in table)


def test_a_broken_car_file_is_reported_by_the_review(typed, tmp_path):
    places = [place.name for place in car_file.load(car_file.EXAMPLE).places]
    made = write(tmp_path / "sunday", car_file.EXAMPLE, places, [[30, 40, 50]] * 60, [800.0] * 60)
    (made / "car.toml").write_text("name = = x\n")
    code, out, _ = typed("review", made)
    assert code == 0
    assert "The car file was left out, so there are no limits" in out


def test_times_are_those_on_the_page(tmp_path):
    places = [place.name for place in car_file.load(car_file.EXAMPLE).places]
    made = write(tmp_path / "sunday", car_file.EXAMPLE, places, [[30, 40, 50]] * 60, [800.0] * 60, about={"utc_offset_min": -240})
    lines = findings(session.open(made), Shown("us"))
    assert re.search(r"^hottest: carb inlet 122\.\d °F at 16:26:\d\d local time, UTC-4 h$", lines[0])  # 20:26 UTC


def test_a_session_in_the_archive_is_listed_in_readable_words():
    row = {
        "session": "2026-06-01_10-00-00_ab",
        "title": "evening run",
        "car": "Blue saloon",
        "date": "2026-06-01",
        "fix": "heat shield",
        "duration_s": 2204.6,
        "hottest_degc": 60.0,
        "hottest_place": "carb_inlet",
        "smallest_margin_degc": float("nan"),
        "smallest_margin_place": None,
        "unread_places": None,
        "unread_s": 0.0,
        "suspected_places": None,
        "suspected_s": 0.0,
    }
    assert archive._line(row, Shown("us")) == (
        "2026-06-01: evening run, Blue saloon, 36 min 45 s, hottest 140.0 °F at carb inlet, smallest margin –; fix: heat shield; 2026-06-01_10-00-00_ab"
    )


@pytest.mark.parametrize("place", ["carb_inlet", "carb_inlet_needle", "tank"])
def test_a_question_is_accepted_as_the_report_writes_it(place):
    cell = Cell("smallest margin", place, "hot soak")
    assert "_" not in cell.words()
    assert asking.parse(cell.words()) == cell
    assert asking.parse(f"smallest margin at {place}, hot soak") == cell


def test_a_place_may_be_typed_as_it_is_printed():
    assert forecast._share("carb inlet=0.6", "--cooler") == ("carb_inlet", 0.6)


def test_without_names_lists_the_names_that_stay(capsys):
    """The name that a person typed for a variant is on the page as it was typed."""
    from hotfuel.cli.shared import share

    share([], True, {"bare": [], "Otto's cooler": []})
    said = " ".join(capsys.readouterr().err.split())
    assert "stay as they were typed (bare, Otto's cooler): if one names a person, a car or a place, give it another." in said
    share([], False, {"Otto's cooler": []})
    share([], True)
    assert capsys.readouterr().err == ""

"""Ctrl-C: one sentence, exit code 130, no half-written file, whatever the command was doing."""

import subprocess
import sys

import pytest
from hotfuel import cli, session

FUEL = ["limits", "--fuel", "D4814 A-1"]


def ended(capsys, monkeypatch, *arguments):
    monkeypatch.setattr(sys, "argv", ["hotfuel", *map(str, arguments)])
    with pytest.raises(SystemExit) as end:
        cli.main()
    said = capsys.readouterr()
    return end.value.code, said.out, said.err


def interrupt(*arguments, **options):
    raise KeyboardInterrupt


@pytest.mark.parametrize(
    "command",
    [
        ["decode", "sunday", "--out", "sunday.csv"],
        ["compare", "a=sunday", "b=monday", "--out", "ab.html"],
        ["review", "sunday"],
        ["forecast", "sunday", "--tank-pump"],
        ["cooler", "sunday", "--before", "pump"],
    ],
)
def test_every_command_prints_one_sentence(capsys, monkeypatch, command):
    monkeypatch.setattr(session, "open", interrupt)
    code, out, err = ended(capsys, monkeypatch, *command)
    assert (code, out) == (130, "")
    assert err.startswith("hotfuel: stopped by Ctrl-C")
    assert err.count("\n") == 1


def test_while_the_libraries_are_loaded(capsys, monkeypatch):
    monkeypatch.delitem(sys.modules, "hotfuel.cli.app")
    monkeypatch.setattr(sys, "meta_path", [type("Slow", (), {"find_spec": staticmethod(interrupt)})])
    code, _, err = ended(capsys, monkeypatch, *FUEL)
    assert code == 130
    assert "stopped by Ctrl-C" in err


def test_at_a_question(capsys, monkeypatch):
    from hotfuel.risk import limits_card

    def asked(*arguments, **options):
        import typer

        raise typer.Abort

    monkeypatch.setattr(limits_card, "limits_card", asked)
    code, _, err = ended(capsys, monkeypatch, *FUEL)
    assert code == 130
    assert err.count("\n") == 1


def test_an_interrupted_figure_keeps_the_older_one(capsys, monkeypatch, tmp_path):
    figure = tmp_path / "figure.html"
    figure.write_text("older, by hotfuel")
    monkeypatch.setattr("os.replace", interrupt)
    assert ended(capsys, monkeypatch, *FUEL, "--figure", figure)[0] == 130
    assert [path.name for path in tmp_path.iterdir()] == ["figure.html"]
    assert figure.read_text() == "older, by hotfuel"


def test_an_interrupted_print_keeps_the_older_one(monkeypatch, tmp_path):
    from hotfuel.report import html

    def half(command, **options):
        out = next(word for word in command if word.startswith("--print-to-pdf=")).partition("=")[2]
        with open(out, "w") as file:
            file.write("half")
        raise KeyboardInterrupt

    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text("<html><head></head></html>")
    pdf.write_text("older, by hotfuel")
    monkeypatch.setenv("HOTFUEL_BROWSER", sys.executable)
    monkeypatch.setattr(subprocess, "run", half)
    with pytest.raises(KeyboardInterrupt):
        html.write_pdf(page, pdf)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "page.pdf"]
    assert pdf.read_text() == "older, by hotfuel"

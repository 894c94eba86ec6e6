"""How quickly the program is there: what only some commands need is loaded by them."""

import contextlib
import subprocess
import sys


def test_help_loads_no_heavy_library():
    script = (
        "import sys\n"
        "from hotfuel.cli import boards, checks, drives, fuels, studies\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules} & {'pandas', 'scipy', 'bokeh', 'pyarrow', 'jinja2', 'duckdb'}))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_the_list_of_commands_begins_with_the_first_one_needs_and_cuts_nothing_off(capsys, monkeypatch):
    from hotfuel.cli.app import run

    monkeypatch.setattr(sys, "argv", ["hotfuel", "--help"])
    with contextlib.suppress(SystemExit):
        run()
    said = capsys.readouterr().out
    assert said.index("\n  demo ") < said.index("\n  record ") < said.index("\n  review ") < said.index("\n  archive ")
    assert "..." not in said.replace("[ARGS]...", "")

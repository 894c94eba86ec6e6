"""The wheel alone: built, installed in its own environment outside the checkout, and the demo run from it."""

import json
import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command, folder, timeout=240):
    done = subprocess.run(
        [str(part) for part in command], cwd=folder, capture_output=True, text=True, timeout=timeout, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    run(
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        "--no-build-isolation",
        "--wheel-dir",
        folder,
        ROOT,
        folder=folder,
    )
    (found,) = folder.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def python(wheel, tmp_path_factory):
    """An environment that holds the wheel; the libraries it needs are borrowed from this one, the checkout is not visible."""
    folder = tmp_path_factory.mktemp("environment")
    venv.create(folder, with_pip=False)  # this environment's pip installs into it
    program = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    site = run(program, "-c", "import sysconfig; print(sysconfig.get_paths()['purelib'])", folder=folder).strip()
    # a plain path line: libraries are found there, but no .pth file of that folder (the checkout's) is read
    (Path(site) / "lent.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    into = ("--python", program, "install", "--quiet", "--no-deps", "--no-index", "--no-compile", wheel)
    run(sys.executable, "-m", "pip", *into, folder=folder)
    return program


def test_the_boards_files_are_in_the_wheel(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    wanted = {f"hotfuel/_firmware/{p.relative_to(ROOT / 'firmware')}" for p in (ROOT / "firmware").rglob("*.py")}
    assert wanted <= names
    assert "hotfuel_wire/messages.py" in names
    assert {f"hotfuel/fuel/data/{p.name}" for p in (ROOT / "host" / "hotfuel" / "fuel" / "data").glob("*.csv")} <= names
    assert not [name for name in names if "__pycache__" in name or name.startswith("tests/")]


def test_the_demo_runs_from_the_wheel_outside_the_checkout(python, tmp_path):
    where = run(python, "-c", "import hotfuel; print(hotfuel.__file__)", folder=tmp_path)
    assert str(ROOT) not in where
    result = json.loads(run(python, "-m", "hotfuel", "demo", "--json", "--out", tmp_path / "demo", folder=tmp_path))
    page = Path(result["report"]).read_text(encoding="utf-8")
    assert result["counts"]["frames"] > 10_000
    assert result["counts"]["gaps"] == 0
    assert result["summary"]["smallest"]["smallest_margin_degc"] < 0, "the demo's fuel passes its limit in the hot soak"
    assert "<script" in page
    assert "https://" not in page.split("<body", 1)[0], "the page needs no network"


def test_the_board_can_be_installed_from_the_wheel(python, tmp_path):
    script = "from pathlib import Path; from hotfuel.install.staging import stage; stage(Path('board'))"
    run(python, "-c", script, folder=tmp_path)
    board = tmp_path / "board"
    staged = {str(p.relative_to(board).with_suffix(".py")) for p in board.rglob("*") if p.is_file()}
    listed = {target for target, _ in json.loads((ROOT / "firmware" / "package.json").read_text())["urls"]}
    assert staged == listed, "what `hotfuel board install` copies is what mip installs"

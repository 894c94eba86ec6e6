"""The board's sources use MicroPython's modules as the rp2 port declares them: mypy against its stubs."""

import importlib.metadata
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
STUBS = ("micropython-rp2-rpi_pico-stubs", "micropython-stdlib-stubs")

pytest.importorskip("mypy")


@pytest.fixture(scope="module")
def stubs(tmp_path_factory):
    """A folder with the stubs alone: among the installed packages they would shadow CPython's own modules."""
    folder = tmp_path_factory.mktemp("stubs")
    for name in STUBS:
        try:
            distribution = importlib.metadata.distribution(name)
        except importlib.metadata.PackageNotFoundError:
            pytest.skip(f"no MicroPython stubs here: pip install {name}")
        for file in distribution.files:
            if file.suffix == ".pyi" or file.name == "VERSIONS":
                (folder / file).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(distribution.locate_file(file), folder / file)
    return folder


@pytest.fixture
def board(tmp_path):
    """A copy of all files that go onto a board, laid out as there."""
    folder = tmp_path / "board"
    shutil.copytree(ROOT / "firmware", folder, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "protocol" / "hotfuel_wire", folder / "hotfuel_wire", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


@pytest.fixture(scope="module")
def complaints(stubs, tmp_path_factory):
    """complaints(folder): mypy's errors about a board's sources, a line each."""
    cache = tmp_path_factory.mktemp("cache")

    def check(folder):
        command = [sys.executable, "-m", "mypy", "--config-file", str(HERE / "types.ini"), "--custom-typeshed-dir", str(stubs)]
        done = subprocess.run(
            [*command, "--cache-dir", str(cache), "."],
            cwd=folder,
            env={**os.environ, "MYPYPATH": str(stubs)},
            capture_output=True,
            text=True,
            timeout=240,
        )
        assert done.returncode in (0, 1), done.stdout + done.stderr
        assert done.returncode or "no issues found" in done.stdout
        return [line for line in done.stdout.splitlines() if ": error: " in line]

    return check


def test_every_call_matches_the_boards_modules(board, complaints):
    assert complaints(board) == []


@pytest.mark.parametrize(
    ("file", "right", "wrong", "said"),
    [
        ("board.py", "machine.lightsleep(ms)", "machine.Pin(0).valu(ms)", '"Pin" has no attribute "valu"'),
        ("board.py", "timeout=I2C_TIMEOUT_US", "time_limit=I2C_TIMEOUT_US", "time_limit"),
        ("board.py", "time.ticks_us", "time.perf_counter", "perf_counter"),
        ("application.py", "Inputs(board, self.settings, self.folder)", "Inputs(board)", "Missing positional argument"),
        ("store.py", "self.ring.flush(", "self.ring.flush_all(", '"Ring" has no attribute "flush_all"'),
        ("ring.py", "import os", "import pathlib as os", "pathlib"),
    ],
)
def test_a_wrong_call_is_found(file, right, wrong, said, board, complaints):
    source = (board / file).read_text(encoding="utf-8")
    assert right in source
    (board / file).write_text(source.replace(right, wrong), encoding="utf-8")
    found = complaints(board)
    assert found
    assert all(line.startswith(file) for line in found)
    assert any(said in line for line in found)

"""A simulated board on a pseudo-terminal, and the command line as a user calls it."""

import contextlib
import json
import sys
import warnings
from pathlib import Path

import pytest
from hotfuel.cli import main
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
from hotfuel.temperature.thermocouple import emf_mv

sys.path.insert(0, str(Path(__file__).parent))  # this folder's helpers
COLD_DEGC = 24.0


@contextlib.contextmanager
def as_a_program_warns():
    """Warnings as a separate program shows them: those for developers not at all, all others on stderr."""

    def write(message, category, filename, lineno, file=None, line=None):
        sys.stderr.write(warnings.formatwarning(message, category, filename, lineno, line))

    with warnings.catch_warnings():
        for category in (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning):
            warnings.simplefilter("ignore", category)
        warnings.showwarning = write
        yield


@pytest.fixture
def hotfuel(capfd, monkeypatch):
    """run(*arguments, code=0, as_json=False) -> stdout and stderr (or the parsed object); asserts the exit code (None: any) and
    that no traceback is shown.

    The entry point runs in this process, which saves loading the libraries each time; its output is captured at the file
    descriptors, as a shell does. Separate processes are tested in test_start.py, test_drives.py and tests/test_package.py.
    """

    def run(*arguments, code=0, as_json=False):
        monkeypatch.setattr(sys, "argv", ["hotfuel", *map(str, arguments), *(["--json"] if as_json else [])])
        capfd.readouterr()
        with as_a_program_warns(), pytest.raises(SystemExit) as ended:
            main()
        said, errors = capfd.readouterr()
        assert "Traceback" not in said + errors, errors[-2000:]
        assert code is None or (ended.value.code or 0) == code, said[-1500:] + errors[-1500:]
        return json.loads(said) if as_json else said + errors

    return run


@pytest.fixture
def board_at():
    """at(degC, ...) -> a running simulated board whose probes are in baths of these temperatures."""
    boards = []

    def at(*degrees, speed=1.0, **options):
        emf = [float(emf_mv(degc) - emf_mv(COLD_DEGC)) if isinstance(degc, int | float) else degc[0] for degc in degrees]
        board = SimulatedBoard(
            steady(emf, [COLD_DEGC] * len(emf), seconds=36000),
            chips=("MAX31856",) * len(emf),
            speed=speed,
            hold_for_reader=False,
            **options,
        )
        board.__enter__()
        boards.append(board)
        return board

    yield at
    for board in boards:
        board.close()

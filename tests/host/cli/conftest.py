"""A simulated board on a pseudo-terminal, and the command line as a user calls it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
from hotfuel.temperature.thermocouple import emf_mv

sys.path.insert(0, str(Path(__file__).parent))  # this folder's own helpers
COLD_DEGC = 24.0


@pytest.fixture
def hotfuel():
    """run(*arguments, code=0, json=False) -> stdout (or the parsed object); asserts the exit code and that no traceback is shown."""

    def run(*arguments, code=0, as_json=False, timeout=120, text=None):
        done = subprocess.run(
            [sys.executable, "-m", "hotfuel.cli", *map(str, arguments), *(["--json"] if as_json else [])],
            capture_output=True,
            text=True,
            timeout=timeout,
            input=text,
            check=False,
        )
        assert "Traceback" not in done.stdout + done.stderr, done.stderr[-2000:]
        assert done.returncode == code, done.stdout[-1500:] + done.stderr[-1500:]
        return json.loads(done.stdout) if as_json else done.stdout + done.stderr

    return run


@pytest.fixture
def board_at():
    """at(degC, ...) -> a running simulated board whose probes stand in baths of these temperatures."""
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

"""The stand-in behaves the same under the real MicroPython and under CPython."""

import ast
import itertools
import subprocess
import sys
from pathlib import Path

from hotfuel.simulator.firmware_sources import simulator_folder

SCRIPT = Path(__file__).parent / "board_bench.py"


def test_the_stand_in_gives_the_same_answers_under_both(micropython):
    there = micropython(SCRIPT, simulator_folder())
    here = subprocess.run(
        [sys.executable, SCRIPT, simulator_folder()],
        stdin=subprocess.PIPE,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    ).stdout
    assert there.splitlines() == here.splitlines()
    facts = dict(line.split(" ", 1) for line in here.splitlines())
    ticks = ast.literal_eval(facts["timer"])
    assert len(ticks) == 7
    assert {later - earlier for earlier, later in itertools.pairwise(ticks)} == {30_000}
    assert facts["nobody"] == "5"
    assert facts["poll"].startswith("[] 500")  # 50 ms of the board's time, none of real time

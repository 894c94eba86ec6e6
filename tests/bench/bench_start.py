"""How quickly the program starts: processor time of a few commands against importing the libraries that each needs, both in the same run.

    python tests/bench/bench_start.py [SESSION]

SESSION: the session `hotfuel demo` leaves, for `review`. The program's bytecode is kept from run to run, as an installation has it.
Prints ratios; bounds are those of the table in tests/bench/README.md.
"""

import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from hotfuel.car import EXAMPLE

TIMES = 7
SCREEN = "import typer, rich"
NUMBERS = "import numpy, scipy.optimize, pydantic"


def seconds(*arguments: str) -> float:
    """The smallest processor time of several runs of `python ARGUMENTS`; the first run is not counted."""
    found = []
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(TIMES + 1):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=environment)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found[1:])


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        car, page = Path(folder, "car.toml"), Path(folder, "review.html")
        car.write_text(EXAMPLE, encoding="utf-8")
        rows = [
            ("--help", 1.5, SCREEN, ["-m", "hotfuel", "--help"]),
            ("limits", 2.0, NUMBERS, ["-m", "hotfuel", "limits", "--car", str(car)]),
        ]
        if len(sys.argv) > 1:
            rows.append(("review", 3.0, NUMBERS, ["-m", "hotfuel", "review", sys.argv[1], "--out", str(page)]))
        for name, aim, peer, arguments in rows:
            theirs, ours = seconds("-c", peer), seconds(*arguments)
            print(f"{name:8} {ours:.2f} s, `{peer}` {theirs:.2f} s: {ours / theirs:.2f} x (aim at most {aim:g})")


if __name__ == "__main__":
    main()

"""Do the tests guard? Mutants of the rooms that decide a warning or a verdict, judged by each room's own tests.

    pip install -e '.[dev,mutants]'
    python tests/bench/bench_mutants.py alarm ring            one or more rooms of ROOMS below; none: all, about two hours on two cores
    python tests/bench/bench_mutants.py risk --number 60 --seed 2

cosmic-ray makes the mutants, in place in a copy of what is committed, because MicroPython runs some of the files. Each file's mutants are drawn at random
with a seed (all of them would take days); type annotations are left out, where nothing can go wrong at run time. The copy's tests run in a fork of this
process that has the libraries loaded already, without those marked slow, and stop at the first failure. What survives and is not in mutants.csv, with the
reason why nobody could tell it from the original or why it is left, is printed; the exit code is 1 where a room kills less than 90 % of its mutants.
"""

import argparse
import csv
import difflib
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import use_mutation

ROOT = Path(__file__).parent.parent.parent
SURVIVORS = Path(__file__).parent / "mutants.csv"
BOUND = 0.9


@dataclass(frozen=True)
class Room:
    """files: what is mutated; tests: what has to notice, the quickest to notice first; both relative to the repository."""

    files: tuple[str, ...]
    tests: tuple[str, ...]
    but: str = (
        ""  # tests left out, as pytest's -k names them: trials by chance that take seconds, the same again on another build
    )


def _files(folder: str, names: str) -> tuple[str, ...]:
    return tuple(f"{folder}/{name}.py" for name in names.split())


_EVIDENCE = ("tests/host/study/evidence",)
_RISK = (
    "alarm_inputs assumptions board_limits criterion engine findings level limit limits_card margin pressure probes suction trend"
)
ROOMS = {
    "alarm": Room(("protocol/hotfuel_wire/alarm.py",), ("tests/wire/test_alarm.py",), "webassembly or at_random or one_in_ten"),
    "ring": Room(("firmware/ring.py",), ("tests/firmware/test_ring.py",)),
    "flash": Room(("host/hotfuel/fuel/flash.py",), ("tests/host/fuel/test_fuel.py", "tests/host/fuel"), "test_edges"),
    "fuel": Room(("host/hotfuel/fuel/fuel.py",), ("tests/host/fuel/test_fuel.py", "tests/host/fuel"), "test_edges"),
    "intervals": Room(("host/hotfuel/study/evidence/intervals.py",), _EVIDENCE),
    "verdicts": Room(("host/hotfuel/study/evidence/verdicts.py",), _EVIDENCE),
    "power": Room(
        _files("host/hotfuel/study/power", "columns correction curves delimited expectation power pulls"),
        ("tests/host/study/power", "tests/authority/test_against_sae_j1349.py"),
        "false_verdict or coverage or curves_of_several_kinds",
    ),
    "temperature": Room(
        _files("host/hotfuel/temperature", "accuracy calibration counts doubts thermocouple"),
        ("tests/host/temperature", "tests/authority/test_against_probe_response.py"),
    ),
    "risk": Room(_files("host/hotfuel/risk", _RISK), ("tests/host/risk",), "test_engine or 400_soaks"),
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change of one file, found again by the text of its line."""

    file: str
    operator: str
    arguments: tuple
    occurrence: int
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.operator.removeprefix('core/')}"


def mutants(copy: Path, file: str) -> list[Mutant]:
    """Every mutant of a file cosmic-ray knows, but those of type annotations."""
    tree = get_ast_from_path(copy / file)
    lines = (copy / file).read_text(encoding="utf-8").splitlines()
    found = []
    for name in cosmic_ray.plugins.operator_names():
        kind = cosmic_ray.plugins.get_operator(name)
        if kind.arguments():
            continue
        positions = [at for node in ast_nodes(tree) for at in kind().mutation_positions(node)]
        for number, (start, _) in enumerate(positions):
            text = lines[start[0] - 1]
            if "BitOr" in name and re.search(r"(->|\b\w+:) .*\|", text):
                continue
            found.append(Mutant(file, name, (), number, start[0]))
    return found


def survives(copy: Path, room: Room, timeout_s: float) -> tuple[bool, float]:
    """Whether the tests pass in the copy as it is now, and the seconds they took."""
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        os.setsid()
        silence = os.open(copy / "last_run.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        os.chdir(copy)
        code = 3
        try:
            import pytest

            code = int(
                pytest.main(
                    [
                        "-x",
                        "-p",
                        "no:cacheprovider",
                        "--hypothesis-seed=0",
                        "--timeout=0",
                        *(["-k", f"not ({room.but})"] if room.but else []),
                        *room.tests,
                    ]
                )
            )
        finally:
            os._exit(code)
    while time.monotonic() - began < timeout_s:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            os.killpg(child, signal.SIGKILL) if _alive(child) else None
            return status == 0, time.monotonic() - began
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False, timeout_s


def _alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def changed_line(before: str, after: str) -> tuple[str, str]:
    """The first line that differs, as it was and as it is."""
    rows = [row for row in difflib.ndiff(before.splitlines(), after.splitlines()) if row[:1] in "+-"]
    was = next((row[2:].strip() for row in rows if row.startswith("-")), "")
    now = next((row[2:].strip() for row in rows if row.startswith("+")), "")
    return was, now


def known_survivors() -> dict[tuple[str, str, str], str]:
    """(file, line as it was, line as it is) -> reason."""
    if not SURVIVORS.exists():
        return {}
    with SURVIVORS.open(encoding="utf-8", newline="") as table:
        return {(row["file"], row["was"], row["is"]): row["reason"] for row in csv.DictReader(table)}


def copy_of_committed(folder: Path) -> Path:
    """The commit's tree, compiled so that only a changed file is compiled again."""
    copy = folder / "hotfuel"
    copy.mkdir()
    archive = subprocess.run(["git", "archive", "HEAD"], cwd=ROOT, check=True, capture_output=True).stdout
    subprocess.run(["tar", "-x", "-C", str(copy)], input=archive, check=True)
    if (ROOT / "node_modules").exists():
        (copy / "node_modules").symlink_to(ROOT / "node_modules")
    compiled = [
        sys.executable,
        "-m",
        "compileall",
        "-q",
        "--invalidation-mode",
        "checked-hash",
        str(copy / "host"),
        str(copy / "protocol"),
    ]
    subprocess.run(compiled, check=False)
    return copy


def load_libraries(copy: Path) -> None:
    """Once, before the forks: everything slow to import that is never mutated."""
    import construct  # noqa: F401
    import hypothesis  # noqa: F401
    import numpy  # noqa: F401
    import pandas  # noqa: F401
    import pydantic  # noqa: F401
    import pytest  # noqa: F401
    import scipy.optimize
    import scipy.special
    import scipy.stats  # noqa: F401

    sys.path[:0] = [str(copy / "host"), str(copy / "protocol")]
    os.environ["PYTHONPATH"] = f"{copy / 'host'}{os.pathsep}{copy / 'protocol'}"
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    sys.dont_write_bytecode = True
    assert "hotfuel" not in sys.modules
    assert "hotfuel_wire" not in sys.modules


def judge(copy: Path, name: str, number: int, seed: int) -> bool:
    """Run one room; True if enough of its mutants died."""
    room = ROOMS[name]
    passes, took = survives(copy, room, 600)
    if not passes:
        print(f"{name}: the tests fail without a mutant\n{(copy / 'last_run.txt').read_text()[-1500:]}")
        return False
    draw = random.Random(seed)
    chosen = []
    for file in room.files:
        every = mutants(copy, file)
        chosen += draw.sample(every, min(max(number // len(room.files), 12), len(every)))
    reasons, dead, equivalent, left, new = known_survivors(), 0, 0, 0, []
    print(f"{name}: {len(chosen)} mutants, tests {took:.0f} s without one", flush=True)
    for mutant in chosen:
        operator = cosmic_ray.plugins.get_operator(mutant.operator)()
        with use_mutation(copy / mutant.file, operator, mutant.occurrence) as (before, after):
            was, now = changed_line(before, after)
            lives, _ = survives(copy, room, max(3 * took, 30))
        if not lives:
            dead += 1
            continue
        reason = reasons.get((mutant.file, was, now))
        equivalent += reason is not None and reason.startswith("equivalent")
        left += reason is not None and not reason.startswith("equivalent")
        if reason is None:
            new.append((mutant.file, was, now))
            print(f"  survives: {mutant}\n    was {was}\n    is  {now}", flush=True)
    judged = len(chosen) - equivalent
    share = dead / max(judged, 1)
    print(
        f"{name}: {len(chosen)} mutants, {dead} killed = {share:.1%} of those that can be told apart; "
        f"{equivalent} equivalent ({equivalent / len(chosen):.1%}), {left} left with a reason, {len(new)} new",
        flush=True,
    )
    return share >= BOUND


def main() -> int:
    """Print the table of the rooms asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rooms", nargs="*", metavar="room", help=", ".join(ROOMS))
    parser.add_argument("--number", type=int, default=120, help="mutants a room, at least 12 a file")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="hotfuel-mutants-") as folder:
        copy = copy_of_committed(Path(folder))
        load_libraries(copy)
        good = [judge(copy, name, asked.number, asked.seed) for name in asked.rooms or ROOMS]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())

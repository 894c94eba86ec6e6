"""Do the tests guard? Mutants of the rooms that decide a warning or a verdict, judged by each room's own tests.

    pip install -e '.[dev,mutants]'
    python tests/bench/bench_mutants.py named alarm ring      rooms of ROOMS below, or what once survived by name; none: all of it, two hours
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

_QUIET = [
    "-x",
    "--hypothesis-seed=0",
    "--timeout=0",
    *(word for name in ("cacheprovider", "xdist", "benchmark") for word in ("-p", f"no:{name}")),
]
ROOT = Path(__file__).parent.parent.parent
SURVIVORS = Path(__file__).parent / "mutants.csv"
BOUND = 0.9


# room -> its files, each with those of the room's tests that are quickest to notice it; fewer tests only let more mutants live
_RISK, _POWER, _FUEL = (
    "host/hotfuel/risk/",
    "host/hotfuel/study/power/",
    ("tests/host/fuel/test_fuel.py", "tests/host/fuel/test_table.py"),
)
_EVIDENCE, _TEMPERATURE = "host/hotfuel/study/evidence/", "host/hotfuel/temperature/"
ROOMS: dict[str, dict[str, tuple[str, ...]]] = {
    "alarm": {"protocol/hotfuel_wire/alarm.py": ("tests/wire/test_alarm.py",)},
    "ring": {"firmware/ring.py": ("tests/firmware/test_ring.py",)},
    "flash": {"host/hotfuel/fuel/flash.py": (*_FUEL, "tests/host/fuel/test_fit.py")},
    "fuel": {"host/hotfuel/fuel/fuel.py": (*_FUEL, "tests/host/fuel/test_questions.py")},
    "intervals": {_EVIDENCE + "intervals.py": ("tests/host/study/evidence/test_intervals.py",)},
    "verdicts": {_EVIDENCE + "verdicts.py": ("tests/host/study/evidence/test_verdicts.py",)},
    "power": {
        _POWER + "correction.py": ("tests/authority/test_against_sae_j1349.py",),
        **{_POWER + f"{name}.py": tuple(f"tests/host/study/power/test_{one}.py" for one in ("pulls", "layouts")) for name in ("columns", "delimited", "pulls")},
        **{_POWER + f"{name}.py": ("tests/host/study/power/test_power.py",) for name in ("curves", "power")},
        _POWER + "expectation.py": ("tests/host/study/power/test_expectation.py",),
    },
    "temperature": {
        **{_TEMPERATURE + f"{name}.py": (f"tests/host/temperature/test_{name}.py",) for name in ("counts", "doubts", "thermocouple")},
        _TEMPERATURE + "calibration.py": ("tests/authority/test_against_iapws.py", "tests/host/temperature/test_calibration.py"),
        _TEMPERATURE + "accuracy.py": ("tests/host/temperature/test_accuracy.py", "tests/authority/test_against_probe_response.py"),
    },
    "risk": {
        **{_RISK + f"{name}.py": (f"tests/host/risk/test_{name}.py",) for name in ("criterion", "findings", "limits_card", "margin")},
        **{_RISK + f"{name}.py": (f"tests/host/risk/test_{name}.py",) for name in ("probes", "soak", "suction", "trend")},
        _RISK + "alarm_inputs.py": ("tests/host/risk/test_alarm_inputs.py", "tests/host/risk/test_probe_lag.py"),
        _RISK + "assumptions.py": ("tests/host/risk/test_suction.py",),
        _RISK + "board_limits.py": ("tests/host/risk/test_board_limits.py", "tests/host/risk/test_low_pressure.py"),
        _RISK + "limit.py": ("tests/host/risk/test_margin.py",),
        _RISK + "pressure.py": ("tests/host/risk/test_pressure.py", "tests/host/risk/test_suction.py"),
    },
}  # fmt: skip
# trials by chance that take seconds, and the same once more on another build
_BUT = (
    "webassembly or at_random or one_in_ten or false_verdict or coverage or curves_of_several_kinds or bands_hold or band_holds"
)

# What once survived, by name: (file, as it is, as the mutant has it, tests)
NAMED = (
    ("protocol/hotfuel_wire/alarm.py", "margin >= warn_below + DEADBAND", "margin >= warn_below", "tests/wire/test_alarm.py"),
    ("protocol/hotfuel_wire/alarm.py", "    3,\n    1,\n", "    1,\n    3,\n", "tests/wire/test_alarm.py"),
    (_RISK + "margin.py", " + np.square(slope * spread_kpa)", "", "tests/host/risk/test_margin.py"),
    ("firmware/ring.py", " and number != self._pinned[0]:", ":", "tests/firmware/test_ring.py"),
    ("host/hotfuel/live/alarms.py", "            if not self.first:\n                self.first = place\n", "            self.first = place\n",
     "tests/host/live/test_alarm_book.py"),
    (_RISK + "soak.py", "(within + (means - new_centres[name]) ** 2)", "((means - new_centres[name]) ** 2)", "tests/host/risk/test_soak.py"),
    ("host/hotfuel/fuel/flash.py", "c.VOLUME_0C_M3_MOL[self.which] @", "c.VOLUME_15C_M3_MOL[self.which] @", "tests/host/fuel/test_fuel.py"),
)  # fmt: skip


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


def survives(copy: Path, tests: tuple[str, ...], timeout_s: float) -> tuple[bool, float]:
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

            code = int(pytest.main([*_QUIET, "-k", f"not ({_BUT})", *tests]))
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
    os.environ["HYPOTHESIS_PROFILE"] = "quick"
    sys.dont_write_bytecode = True
    assert "hotfuel" not in sys.modules
    assert "hotfuel_wire" not in sys.modules


def judge(copy: Path, name: str, number: int, seed: int) -> bool:
    """Run one room; True if enough of its mutants died."""
    room, draw = ROOMS[name], random.Random(seed)
    every = {file: mutants(copy, file) for file in room}
    whole = sum(len(found) for found in every.values())
    reasons, judged, dead, equivalent, left, new = known_survivors(), 0, 0, 0, 0, 0
    for file, tests in room.items():
        passes, took = survives(copy, tests, 600)
        if not passes:
            print(f"{file}: the tests fail without a mutant\n{(copy / 'last_run.txt').read_text()[-1500:]}")
            return False
        share, before_file = round(number * len(every[file]) / whole), (judged, dead)
        for mutant in draw.sample(every[file], min(max(share, 4), len(every[file]))):
            operator = cosmic_ray.plugins.get_operator(mutant.operator)()
            with use_mutation(copy / file, operator, mutant.occurrence) as (before, after):
                was, now = changed_line(before, after)
                lives, _ = survives(copy, tests, max(4 * took, 60))
            judged += 1
            dead += not lives
            if not lives:
                continue
            reason = reasons.get((file, was, now))
            equivalent += reason is not None and reason.startswith("equivalent")
            left += reason is not None and not reason.startswith("equivalent")
            new += reason is None
            if reason is None:
                print(f"  survives: {mutant}\n    was {was}\n    is  {now}", flush=True)
        print(f"  {file}: {dead - before_file[1]} of {judged - before_file[0]} killed", flush=True)
    share_dead = dead / max(judged - equivalent, 1)
    print(
        f"{name}: {judged} of {whole} mutants, {dead} killed = {share_dead:.1%} of those that can be told apart; "
        f"{equivalent} equivalent ({equivalent / max(judged, 1):.1%}), {left} left with a reason, {new} new",
        flush=True,
    )
    return share_dead >= BOUND


def judge_named(copy: Path) -> bool:
    """The mutants of NAMED; True if all died."""
    alive = 0
    for file, was, now, tests in NAMED:
        source = (copy / file).read_text(encoding="utf-8")
        if source.count(was) != 1:
            print(f"named: {file} no longer has {was!r} once")
            return False
        (copy / file).write_text(source.replace(was, now), encoding="utf-8")
        lives, _ = survives(copy, (tests,), 300)
        (copy / file).write_text(source, encoding="utf-8")
        alive += lives
        print(f"named: {file}, {was.strip()!r}: {'SURVIVES' if lives else 'killed'}", flush=True)
    return not alive


def main() -> int:
    """Print the table of the rooms asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rooms", nargs="*", metavar="room", help=", ".join(("named", *ROOMS)))
    parser.add_argument("--number", type=int, default=120, help="mutants a room, shared by its files, at least 4 each")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="hotfuel-mutants-") as folder:
        copy = copy_of_committed(Path(folder))
        load_libraries(copy)
        good = [
            judge_named(copy) if name == "named" else judge(copy, name, asked.number, asked.seed)
            for name in asked.rooms or ("named", *ROOMS)
        ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())

"""Do the tests catch defects? Mutants of the rooms that decide a warning or a verdict, judged by each room's own tests.

    pip install -e '.[dev,mutants]'
    python tests/bench/bench_mutants.py named alarm ring      rooms of ROOMS below, or what once survived by name; none: all of it, half an hour
    python tests/bench/bench_mutants.py risk --number 120 --seed 2

cosmic-ray makes the mutants, in place in a copy of what is committed, because MicroPython runs some of the files. They are drawn at random with a seed
from all of a room's files, at least two of each (all of them would take days). Left out are type annotations, where nothing can go wrong at run time, and
what is the same by construction (_SAME). How the tests run: mutant_runs.py; those marked slow do not. What survives and is not in mutants.csv, with the
reason why nobody could tell it from the original or why it is left, is printed; the exit code is 1 where a room kills less than 90 % of those that can be
told apart, or more than 5 % cannot.
"""

import argparse
import csv
import difflib
import random
import re
import sys
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cosmic_ray.plugins
import mutant_runs
from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import use_mutation

ROOT = Path(__file__).parent.parent.parent
SURVIVORS = Path(__file__).parent / "mutants.csv"
BOUND, MOST_EQUIVALENT = 0.9, 0.05

_RISK, _POWER = "host/hotfuel/risk/", "host/hotfuel/study/power/"
_EVIDENCE, _TEMPERATURE = "host/hotfuel/study/evidence/", "host/hotfuel/temperature/"


def _every(folder: str) -> tuple[str, ...]:
    return tuple(folder + path.name for path in sorted((ROOT / folder).glob("*.py")) if path.name != "__init__.py")


# room -> its files, and its tests
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "alarm": (("protocol/hotfuel_wire/alarm.py",), ("tests/wire/test_alarm.py",)),
    "ring": (("firmware/ring.py",), ("tests/firmware/test_ring.py", "tests/firmware/test_ring_rules.py")),
    "flash": (("host/hotfuel/fuel/flash.py",), ("tests/host/fuel",)),
    "fuel": (("host/hotfuel/fuel/fuel.py",), ("tests/host/fuel",)),
    "intervals": ((_EVIDENCE + "intervals.py",), ("tests/host/study/evidence/test_intervals.py",)),
    "verdicts": ((_EVIDENCE + "verdicts.py",), ("tests/host/study/evidence/test_verdicts.py",)),
    "power": (_every(_POWER), ("tests/host/study/power", "tests/authority/test_against_sae_j1349.py")),
    "temperature": (
        _every(_TEMPERATURE),
        (
            "tests/host/temperature",
            *(f"tests/authority/test_against_{name}.py" for name in ("iapws", "nist_its90", "probe_response")),
        ),
    ),
    "risk": (_every(_RISK), ("tests/host/risk",)),
}
# tests that take many seconds (no mutant is given so long), the same on another build, and the store's under MicroPython, where
# nothing is traced
_BUT = (
    "webassembly or at_random or one_in_ten or false_verdict or coverage or curves_of_several_kinds or bands_hold or band_holds "
    "or power_lost or three_hours or fits_beside or tow_home or ethanol_blend_keeps or limit_rises_with or vapour_pressures_named or small_step "
    "or never_makes_the_limit or used_to_jump"
)

# The same by construction: == and `is` for small numbers and words; & and *, | and + for arrays of truth values; | and ^ for bits
# that do not overlap; a function without its cache.
_SAME = ("core/ReplaceComparisonOperator_Eq_Is", "core/ReplaceComparisonOperator_NotEq_IsNot")
_SAME_OF_TRUTHS = ("core/ReplaceBinaryOperator_BitAnd_Mul", "core/ReplaceBinaryOperator_BitOr_Add")
_SAME_OF_FIELDS = ("core/ReplaceBinaryOperator_BitOr_BitXor",)
_UNDECORATED = "core/RemoveDecorator"

# Mutants that once survived, by name: (file, original line, mutated line, tests)
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
    """One change of one file, located by the text of its line."""

    file: str
    operator: str
    arguments: tuple
    occurrence: int
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.operator.removeprefix('core/')}"


def mutants(copy: Path, file: str) -> list[Mutant]:
    """Every mutant of a file that cosmic-ray knows, except those of type annotations."""
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
            of_bits = _SAME_OF_TRUTHS if file.startswith("host/") else _SAME_OF_FIELDS
            if name in (*_SAME, *of_bits) or (name == _UNDECORATED and "cache" in text):
                continue
            found.append(Mutant(file, name, (), number, start[0]))
    return found


def changed_line(before: str, after: str) -> tuple[str, str]:
    """The first line that differs, before and after."""
    rows = [row for row in difflib.ndiff(before.splitlines(), after.splitlines()) if row[:1] in "+-"]
    was = next((row[2:].strip() for row in rows if row.startswith("-")), "")
    now = next((row[2:].strip() for row in rows if row.startswith("+")), "")
    return was, now


def known_survivors() -> dict[tuple[str, str, str], str]:
    """(file, original line, mutated line) -> reason."""
    if not SURVIVORS.exists():
        return {}
    with SURVIVORS.open(encoding="utf-8", newline="") as table:
        return {(row["file"], row["was"], row["is"]): row["reason"] for row in csv.DictReader(table)}


def drawn(every: dict[str, list[Mutant]], number: int, draw: random.Random) -> dict[str, list[Mutant]]:
    """So many of a room at random, at least two of each file."""
    chosen = {mutant for found in every.values() for mutant in draw.sample(found, min(2, len(found)))}
    rest = [mutant for found in every.values() for mutant in found if mutant not in chosen]
    chosen.update(draw.sample(rest, min(max(number - len(chosen), 0), len(rest))))
    return {file: [mutant for mutant in found if mutant in chosen] for file, found in every.items()}


@cache
def _traced(copy: Path, files: tuple[str, ...], tests: tuple[str, ...]) -> mutant_runs.Traced | str:
    return mutant_runs.trace(copy, files, tests, _BUT)


def judge(copy: Path, name: str, number: int, seed: int) -> bool:
    """Run one room; True if enough of its mutants died."""
    files, tests = ROOMS[name]
    every = {file: mutants(copy, file) for file in files}
    together = tuple(file for others, same in ROOMS.values() if same == tests for file in others)
    traced = _traced(copy, together, tests)
    if isinstance(traced, str):
        print(f"{name}: the tests fail without a mutant\n{traced}")
        return False
    whole = sum(len(found) for found in every.values())
    reasons, judged, dead, equivalent, left = known_survivors(), 0, 0, 0, 0
    for file, found in drawn(every, number, random.Random(seed)).items():
        source, before_file = (copy / file).read_text(encoding="utf-8"), (judged, dead)
        if found and not judged and not mutant_runs.survives(copy, traced, file, mutant_runs.statement(source, found[0].line)):
            print(f"{name}: the tests fail without a mutant, in another order\n{(copy / 'last_run.txt').read_text()[-2500:]}")
            return False
        for mutant in found:
            operator = cosmic_ray.plugins.get_operator(mutant.operator)()
            with use_mutation(copy / file, operator, mutant.occurrence) as (before, after):
                was, now = changed_line(before, after)
                lives = mutant_runs.survives(copy, traced, file, mutant_runs.statement(source, mutant.line))
            judged += 1
            dead += not lives
            if not lives:
                continue
            reason = reasons.get((file, was, now))
            equivalent += reason is not None and reason.startswith("equivalent")
            left += reason is not None and not reason.startswith("equivalent")
            if reason is None:
                print(f"  survives: {mutant}\n    was {was}\n    is  {now}", flush=True)
        if judged > before_file[0]:
            print(f"  {file}: {dead - before_file[1]} of {judged - before_file[0]} killed", flush=True)
    share_dead, share_equivalent = dead / max(judged - equivalent, 1), equivalent / max(judged, 1)
    print(
        f"{name}, seed {seed}: {judged} of {whole} mutants, {dead} killed = {share_dead:.1%} of those that can be distinguished; "
        f"{equivalent} equivalent ({share_equivalent:.1%}), {left} left with a reason, {judged - dead - equivalent - left} new",
        flush=True,
    )
    return share_dead >= BOUND and share_equivalent <= MOST_EQUIVALENT


def judge_named(copy: Path) -> bool:
    """The mutants of NAMED; True if all died."""
    alive = 0
    for file, was, now, tests in NAMED:
        source = (copy / file).read_text(encoding="utf-8")
        if source.count(was) != 1:
            print(f"named: {file} no longer has {was!r} exactly once")
            return False
        (copy / file).write_text(source.replace(was, now), encoding="utf-8")
        lives = mutant_runs.passes(copy, [tests], 300)
        (copy / file).write_text(source, encoding="utf-8")
        alive += lives
        print(f"named: {file}, {was.strip()!r}: {'SURVIVES' if lives else 'killed'}", flush=True)
    return not alive


def main() -> int:
    """Print the table of the rooms asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rooms", nargs="*", metavar="room", help=", ".join(("named", *ROOMS)))
    parser.add_argument("--number", type=int, default=60, help="mutants a room, at least two of each file")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="hotfuel-mutants-") as folder:
        copy = mutant_runs.copy_of_committed(ROOT, Path(folder))
        mutant_runs.load_libraries(copy)
        good = [
            judge_named(copy) if name == "named" else judge(copy, name, asked.number, asked.seed)
            for name in asked.rooms or ("named", *ROOMS)
        ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())

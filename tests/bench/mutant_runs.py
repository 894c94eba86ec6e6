"""Runs a room's tests against a mutant, cheaply: the tests that reach the changed statement, the quickest first, in a fork that
has the libraries loaded already, limited by processor time, so that a busy machine does not count a slow mutant as killed.
"""

import ast
import contextlib
import gc
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

_QUIET = [
    "-x",
    "--hypothesis-seed=0",
    "--timeout=0",
    *(word for name in ("cacheprovider", "xdist", "benchmark") for word in ("-p", f"no:{name}")),
]
_MOST_S = 5.0  # limit of a mutant's tests in times of their traced duration; running fewer tests only lets more mutants survive


@dataclass
class Traced:
    """The duration of each test of a room and the lines it reached: file -> line -> tests; tests that reach no line of a file are
    listed under none of its lines."""

    took_s: dict[str, float] = field(default_factory=dict)
    through: dict[str, dict[int, set[str]]] = field(default_factory=dict)

    def on(self, file: str, lines: range) -> list[str]:
        """The tests through any of these lines, the quickest first."""
        at = self.through[file]
        return sorted(set().union(*(at.get(line, set()) for line in lines)), key=self.took_s.__getitem__)

    def others(self, file: str, lines: range) -> list[str]:
        """The rest, those through the file first: code that ran at import, and results cached by an earlier test, are not in the trace."""
        here, first = set(self.on(file, lines)), set().union(*self.through[file].values(), set())
        return sorted(set(self.took_s) - here, key=lambda test: (test not in first, self.took_s[test]))


class _Chosen:
    """Runs these tests, in this order."""

    def __init__(self, tests: list[str]) -> None:
        self.place = {test: number for number, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list) -> None:
        items[:] = sorted((item for item in items if item.nodeid in self.place), key=lambda item: self.place[item.nodeid])


class _Tracing:
    """Tells coverage which test runs, and records each duration."""

    def __init__(self, measured: object) -> None:
        self.measured, self.took_s = measured, {}

    def pytest_runtest_protocol(self, item: object) -> None:
        self.measured.switch_context(item.nodeid)
        self._began = sum(os.times()[:4])  # MicroPython's too

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        self.took_s[nodeid] = sum(os.times()[:4]) - self._began


def _in_a_fork(copy: Path, work: Callable[[], int], processor_s: float) -> int:
    """The exit code of the work; that of a signal (below 0) where it exceeded its processor time, or ten times as long by the clock."""
    child = os.fork()
    if child == 0:
        os.setsid()
        silence = os.open(copy / "last_run.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        os.chdir(copy)
        resource.setrlimit(resource.RLIMIT_CPU, (int(processor_s) + 1, int(processor_s) + 2))
        code = 3
        try:
            code = work()
        finally:
            os._exit(code)
    began = time.monotonic()
    while time.monotonic() - began < 10 * processor_s + 60:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            _end(child)
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    _end(child)
    os.waitpid(child, 0)
    return -signal.SIGKILL


def _end(group: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(group, signal.SIGKILL)


def trace(copy: Path, files: tuple[str, ...], tests: tuple[str, ...], but: str) -> Traced | str:
    """Run all the tests once without a mutant; returns their output if one fails."""
    import json

    kept = copy / "traced.json"

    def work() -> int:
        import coverage
        import pytest

        measured = coverage.Coverage(data_file=None, include=[str(copy / file) for file in files], config_file=False)
        tracing = _Tracing(measured)
        measured.start()
        code = int(pytest.main([*_QUIET, "-k", f"not ({but})", *tests], plugins=[tracing]))
        measured.stop()
        data, through = measured.get_data(), {}
        for file in files:
            lines = data.contexts_by_lineno(str(copy / file))
            through[file] = {line: [test for test in contexts if test in tracing.took_s] for line, contexts in lines.items()}
        kept.write_text(json.dumps([tracing.took_s, through]))
        return code

    if _in_a_fork(copy, work, 900) != 0:
        return (copy / "last_run.txt").read_text(errors="replace")[-2500:]
    took_s, through = json.loads(kept.read_text())
    return Traced(took_s, {file: {int(line): set(names) for line, names in lines.items()} for file, lines in through.items()})


def survives(copy: Path, traced: Traced, file: str, lines: range) -> bool:
    """True if the room's tests pass in the copy as it is now: first those through the lines, then as many of the others."""
    for tests in (traced.on(file, lines), traced.others(file, lines)):
        chosen, took_s = [], 0.0
        for test in tests:
            if took_s + traced.took_s[test] > _MOST_S and chosen:
                break
            chosen.append(test)
            took_s += traced.took_s[test]
        if chosen and not passes(copy, chosen, 3 * took_s + 10):
            return False
    return True


def passes(copy: Path, tests: list[str], processor_s: float) -> bool:
    """True if these tests pass in the copy as it is now, in this order."""

    def work() -> int:
        import pytest

        paths = dict.fromkeys(test.split("::")[0] for test in tests)
        return int(pytest.main([*_QUIET, *paths], plugins=[_Chosen(tests)] if "::" in tests[0] else []))

    return _in_a_fork(copy, work, processor_s) == 0


def statement(source: str, line: int) -> range:
    """The lines of the innermost statement at a line; of a compound one its head."""
    found = range(line, line + 1)
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.stmt) and node.lineno <= line <= node.end_lineno:
            inner = getattr(node, "body", None)
            end = inner[0].lineno - 1 if inner else node.end_lineno
            if line <= max(end, node.lineno):
                found = range(node.lineno, max(end, node.lineno) + 1)
    return found


def copy_of_committed(root: Path, folder: Path) -> Path:
    """The commit's tree, compiled so that only a changed file is compiled again."""
    copy = folder / "hotfuel"
    copy.mkdir()
    archive = subprocess.run(["git", "archive", "HEAD"], cwd=root, check=True, capture_output=True).stdout
    subprocess.run(["tar", "-x", "-C", str(copy)], input=archive, check=True)
    if (root / "node_modules").exists():
        (copy / "node_modules").symlink_to(root / "node_modules")
    compiled = [sys.executable, "-m", "compileall", "-q", "--invalidation-mode", "checked-hash"]
    subprocess.run([*compiled, *(str(copy / part) for part in ("host", "protocol", "firmware"))], check=False)
    return copy


def load_libraries(copy: Path) -> None:
    """Called once, before the forks: imports everything slow that is never mutated."""
    import _pytest.assertion.rewrite  # noqa: F401
    import construct  # noqa: F401
    import coverage  # noqa: F401
    import hypothesis.extra.numpy  # noqa: F401
    import numpy  # noqa: F401
    import pandas  # noqa: F401
    import pydantic  # noqa: F401
    import pytest  # noqa: F401
    import scipy.interpolate
    import scipy.optimize
    import scipy.special
    import scipy.stats  # noqa: F401

    sys.path[:0] = [str(copy / "host"), str(copy / "protocol")]
    os.environ["PYTHONPATH"] = f"{copy / 'host'}{os.pathsep}{copy / 'protocol'}"
    os.environ["HYPOTHESIS_PROFILE"] = "quick"
    assert "hotfuel" not in sys.modules
    assert "hotfuel_wire" not in sys.modules
    gc.freeze()

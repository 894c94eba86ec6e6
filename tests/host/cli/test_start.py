"""Commands import only what they need: the program starts quickly, and each command finds its modules."""

import ast
import contextlib
import importlib.util
import subprocess
import sys
from pathlib import Path

import hotfuel.cli

COMMANDS = sorted(Path(hotfuel.cli.__path__[0]).glob("*.py"))
# Each imported as the first of our modules. The libraries are loaded already, and what was compiled once is kept (a module's file, the methods of a
# dataclass), which saves more than half of the time: every import still runs all of its modules.
IMPORT_EACH = """
import dataclasses, functools, importlib.machinery, sys
compiled = functools.cache(functools.partial(compile, filename="<dataclass>", mode="exec"))
dataclasses.exec = lambda text, *spaces: exec(compiled(text), *spaces)
importlib.machinery.SourceFileLoader.get_code = functools.cache(importlib.machinery.SourceFileLoader.get_code)
import bokeh.plotting, jinja2, numpy, pandas, pyarrow.parquet, pydantic, scipy.interpolate, scipy.optimize, scipy.stats
for module in {modules!r}:
    for loaded in [name for name in sys.modules if name.partition(".")[0] in ("hotfuel", "hotfuel_wire")]:
        del sys.modules[loaded]
    import hotfuel.cli
    exec("import " + module)
    print(module)
for statement in {statements!r}:  # and each finds its names
    exec(statement)
"""


HEAVY = {
    "numpy",
    "pandas",
    "scipy",
    "bokeh",
    "pyarrow",
    "jinja2",
    "duckdb",
    "serial",
    "tornado",
    "rich",
}  # typer brings pydantic itself


def test_help_of_the_program_and_of_every_command_loads_no_heavy_library():
    script = (
        "import sys, typer\n"
        "from hotfuel.cli.app import COMMANDS, app\n"
        f"heavy = lambda: sorted({{name.partition('.')[0] for name in sys.modules}} & {HEAVY})\n"
        "group = typer.main.get_command(app)\n"
        "context = group.make_context('hotfuel', ['demo'])\n"
        "group.get_help(context), print('list', heavy(), 'hotfuel.cli.review' in sys.modules)\n"
        "assert list(group.commands.keys()) == [name for name, command in group.commands.items() if command.get_help(context)]\n"
        "print('all', heavy(), 'hotfuel.cli.review' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.stdout.splitlines() == ["list [] False", "all [] True"], done.stderr


def test_the_list_of_commands_begins_with_the_first_to_use_and_cuts_nothing_off(capsys, monkeypatch):
    from hotfuel.cli.app import run

    monkeypatch.setattr(sys, "argv", ["hotfuel", "--help"])
    with contextlib.suppress(SystemExit):
        run()
    said = capsys.readouterr().out
    assert said.index("\n  demo ") < said.index("\n  record ") < said.index("\n  review ") < said.index("\n  archive ")
    assert "..." not in said.replace("[ARGS]...", "")


def imported_when_called():
    """Our modules that the functions of the command line import when they are called: modules, statements."""
    functions = [
        node for path in COMMANDS for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.FunctionDef)
    ]
    found = [node for function in functions for node in ast.walk(function) if isinstance(node, ast.ImportFrom)]
    ours = [node for node in found if node.module.startswith("hotfuel")]
    named = {f"{node.module}.{name.name}" for node in ours for name in node.names} | {node.module for node in ours}
    modules = {name for name in named if is_module(name)}
    return sorted(modules), sorted({ast.unparse(node) for node in ours})


def is_module(name):
    """True if a dotted name is a module, not a function or class in one."""
    try:
        return importlib.util.find_spec(name) is not None
    except ModuleNotFoundError:  # its parent is not a package
        return False


def test_every_import_inside_a_command_works_as_the_first_one():
    """The other tests call commands one after another in one process: here none can rely on what another has loaded."""
    modules, statements = imported_when_called()
    assert {"hotfuel.link.receive", "hotfuel.study.fixes.sessions", "hotfuel.report.comparison"} <= set(modules)
    assert "from hotfuel.study.fixes.sessions import compare_sessions" in statements
    code = IMPORT_EACH.format(modules=modules, statements=statements)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.splitlines() == modules

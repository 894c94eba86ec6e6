"""Which room may import which. Data flows up; imports point down; there are no cycles."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HOST = ROOT / "host" / "hotfuel"

# From the ground up. A room imports only rooms above it in this list (and itself).
FLOORS = [
    "errors",
    "text",
    "files",
    "units",
    "places",
    "fix_words",
    "stretches",
    "log",
    "link",
    "samples",
    "fuel",
    "wired",
    "car",
    "temperature",
    "risk",
    "record",
    "session",
    "live",
    "study",
    "report",
    "simulator",
    "install",
    "cli",
]
# Stricter than the order alone.
FORBIDDEN = {
    "fuel": {"log", "link", "samples"},  # formulas only: does not use samples
    "live": {"link"},  # follows the log
    "simulator": {
        "samples",
        "risk",
        "record",
        "session",
        "live",
        "study",
        "report",
    },  # off to the side: generates data, judges none
}
# The rooms of `study`, from the ground up, and the rooms each may import besides its own.
STUDY = {
    "evidence": set(),
    "drive": {"evidence"},
    "power": {"evidence"},
    "line": {"drive", "power", "evidence"},
    "story": {"line", "drive", "power", "evidence"},
    "fixes": {"story", "line", "drive", "power", "evidence"},
}
# Rooms of `study` whose results are numbers and named kinds: sentences in the reader's units are written in `report` and `live`.
WITHOUT_THE_READERS_UNITS = ("evidence", "drive", "line", "power", "story", "fixes")
# Of these, the rooms that hold no sentence at all.
WITHOUT_SENTENCES = ("evidence", "drive", "line", "power", "story", "fixes")
A_SENTENCE = 5  # words, from which a string counts as one
PANDAS_FROM = "session"
LIBRARY_ROOMS = {
    "serial": {"link"},
    "construct": {"link"},
    "bokeh": {"live"},
    "drawsvg": {"report"},
    "PIL": {"report"},
    "rich": {"live", "cli"},
    "typer": {"cli"},
    "jinja2": {"report", "live"},
    "openpyxl": {"study"},
    "pynmea2": {"session"},
    "pyarrow": {"session"},
    "duckdb": {"session"},
    "dask": {"session"},
    "distributed": {"session"},
    "asammdf": {"session"},
}


def modules():
    return sorted(p for p in HOST.rglob("*.py") if "machine" not in p.relative_to(HOST).parts and "_firmware" not in p.parts)


def room_of(path):
    first = path.relative_to(HOST).parts[0]
    return first.removesuffix(".py")


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                # the board's process imports these as the package `simulator`, without the package around it
                assert path.is_relative_to(HOST / "simulator"), f"{path}: relative import"
                continue
            yield node.module or ""
            if node.module in ("hotfuel",):
                yield from (f"hotfuel.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("room", WITHOUT_THE_READERS_UNITS)
def test_numbers_are_worked_out_without_the_readers_units(room):
    alone = HOST / "study" / f"{room}.py"
    files = [alone] if alone.is_file() else sorted((HOST / "study" / room).glob("*.py"))
    assert alone.is_file() or len(files) > 5
    for path in files:
        names = {node.id for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Name)}
        imported = {
            alias.name
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        assert "Shown" not in names | imported, f"{path.name} of study/{room} must not know the reader's units"


def sentences(source):
    """[(line, text)] of strings of A_SENTENCE words or more, but for docstrings, what is raised or given to an error, and patterns."""
    tree = ast.parse(source)
    left_out, found = set(), []
    for node in ast.walk(tree):  # an outer node comes before those in it
        called = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
        if isinstance(node, ast.Raise | ast.Assert) or called.endswith("Error") or called.startswith("re."):
            left_out |= {id(inner) for inner in ast.walk(node)}
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            left_out.add(id(node.value))
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
            left_out |= {id(part) for part in node.values}
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if len(text.split()) >= A_SENTENCE:
            found.append((node.lineno, text))
    return found


@pytest.mark.parametrize("room", WITHOUT_SENTENCES)
def test_a_study_holds_no_sentence(room):
    alone = HOST / "study" / f"{room}.py"
    files = [alone] if alone.is_file() else sorted((HOST / "study" / room).glob("*.py"))
    assert files
    for path in files:
        found = sentences(path.read_text(encoding="utf-8"))
        assert not found, f"{path.name} of study/{room}: a kind here, its words in report"


def test_a_planted_sentence_is_found():
    assert sentences('words = "how fast the tank follows the air"\n') == [(1, "how fast the tank follows the air")]
    assert sentences('def f(place):\n    return draw(f"what the probe at {place} is wrong by")\n') == [
        (2, "what the probe at {} is wrong by")
    ]
    assert sentences("x = f\"{y} {'how much fuel is in it'}\"\n") == [(1, "how much fuel is in it")]
    assert sentences("x = ('how much fuel '\n     'is in the tank',)\n") == [(1, "how much fuel is in the tank")]
    assert not sentences('"""This is the module\'s own docstring."""\nKIND = "three short words"\n')
    assert not sentences(
        'def f():\n    """What it does in a sentence."""\n    raise InputError(f"{x} was given, allowed are five words")\n'
    )
    assert not sentences('_STOP = re.compile(r"(one two|three four|five six)")\n')


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(HOST)))
def test_a_room_imports_only_rooms_below_it(path):
    room = room_of(path)
    if room == "__init__":
        return
    if room == "__main__":
        assert list(imports(path)) == ["hotfuel.cli"]  # the package's public entry
        return
    assert room in FLOORS, f"{room} is not in the list of rooms"
    height = FLOORS.index(room)
    for name in imports(path):
        parts = name.split(".")
        if parts[0] == "hotfuel" and len(parts) > 1:
            other = parts[1]
            if other.startswith("__"):
                continue
            assert other in FLOORS, f"{path.name} imports {name}, which is not in the list of rooms"
            assert FLOORS.index(other) <= height, f"{path.name} ({room}) imports {name}, which is above it"
            assert other not in FORBIDDEN.get(room, set()), f"{path.name} ({room}) must not know {other}"
        elif parts[0] == "pandas":
            assert height >= FLOORS.index(PANDAS_FROM) or room == "simulator", f"{path.name}: pandas enters at {PANDAS_FROM}"
        elif parts[0] in LIBRARY_ROOMS:
            assert room in LIBRARY_ROOMS[parts[0]], f"{path.name} ({room}) imports {parts[0]}"


@pytest.mark.parametrize("path", sorted((HOST / "study").rglob("*.py")), ids=lambda p: str(p.relative_to(HOST)))
def test_a_room_of_study_imports_only_rooms_below_it(path):
    room = path.relative_to(HOST / "study").parts[0].removesuffix(".py")
    if room == "__init__":
        assert not list(imports(path))
        return
    for name in imports(path):
        if name.startswith("hotfuel.study"):
            assert name.count(".") >= 2, f"{path.name}: import a room of study, not study itself"
            assert name.split(".")[2] in STUDY[room] | {room}, f"study/{room}/{path.name} imports {name}, which is above it"


def test_statistics_know_no_fuel():
    for path in (HOST / "study" / "evidence").glob("*.py"):
        assert {n for n in imports(path) if n.startswith("hotfuel.")} <= {"hotfuel.errors"} | {
            n for n in imports(path) if n.startswith("hotfuel.study.evidence")
        }, path


def test_no_room_imports_the_command_line():
    for path in modules():
        if room_of(path) not in ("cli", "__main__"):  # the latter is `python -m hotfuel`
            assert not [n for n in imports(path) if n.startswith("hotfuel.cli")], path


@pytest.mark.parametrize("path", sorted((HOST / "cli").glob("*.py")), ids=lambda p: p.name)
def test_a_command_imports_no_other_command(path):
    """What commands share is in files named shared*; only the application imports all commands."""
    if path.name in ("__init__.py", "app.py"):
        return
    own = [name for name in imports(path) if name.startswith("hotfuel.cli")]
    assert all(name.startswith("hotfuel.cli.shared") for name in own), own


BOARD_MODULES = {"struct", "binascii", "hotfuel_wire"}


@pytest.mark.parametrize("path", sorted((ROOT / "protocol" / "hotfuel_wire").glob("*.py")), ids=lambda p: p.name)
def test_the_wire_needs_struct_and_binascii_only(path):
    assert {name.split(".")[0] for name in imports(path)} <= BOARD_MODULES


@pytest.mark.parametrize("path", sorted((ROOT / "firmware").glob("*.py")), ids=lambda p: p.name)
def test_one_firmware_file_touches_the_machine(path):
    if path.name != "board.py":
        assert not {"machine", "rp2"} & {name.split(".")[0] for name in imports(path)}


@pytest.mark.parametrize("path", sorted((ROOT / "firmware" / "chips").glob("*_map.py")), ids=lambda p: p.name)
def test_register_maps_contain_no_code(path):
    for node in ast.parse(path.read_text()).body:
        assert isinstance(node, ast.Assign | ast.Expr), f"{path.name}:{node.lineno} is more than a table"
        assert not [n for n in ast.walk(node) if isinstance(n, ast.Call) and getattr(n.func, "id", "") != "const"], (
            f"{path.name}:{node.lineno}"
        )


def test_the_simulators_chips_do_not_reuse_the_firmwares_maps():
    for path in (HOST / "simulator").rglob("*.py"):
        assert "_map" not in " ".join(imports(path)), path


def test_every_module_is_short_enough_to_read():
    """350 lines is the rule; 420 the hard limit."""
    long = {}
    for folder in ("host", "protocol", "firmware"):
        for path in (ROOT / folder).rglob("*.py"):
            lines = len(path.read_text(encoding="utf-8").splitlines())
            if lines > 420:
                long[str(path.relative_to(ROOT))] = lines
    assert not long


def test_the_top_level_is_fixed():
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "firmware", "host", "protocol", "tests", "hardware"}
    ignored = {"build", "dist", "node_modules", "venv"}
    seen = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.startswith("hotfuel-demo")} - ignored
    assert seen <= allowed, seen - allowed

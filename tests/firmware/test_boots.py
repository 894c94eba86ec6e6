"""Several boots of one board whose firmware and data share one file system, as on a Pico: real MicroPython, real littlefs."""

import ast
import json
import subprocess
from pathlib import Path

import pytest
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import EVENTS

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


class Life:
    """One boot: `found` is the script's final output, `messages` came out of the port."""

    def __init__(self, found, messages):
        self.found = found
        self.messages = messages

    def events(self, name):
        return [values for kind, values in self.messages if kind == "event" and values["code"] == EVENTS[name]]

    def fetched(self):
        """Segment number -> its bytes, assembled from the data frames."""
        pieces: dict[int, dict[int, bytes]] = {}
        for kind, values in self.messages:
            if kind == "data":
                pieces.setdefault(values["segment"], {})[values["offset"]] = values["data"]
        return {number: b"".join(parts[at] for at in sorted(parts)) for number, parts in pieces.items()}

    def files(self):
        return {int(name[:5]): bytes.fromhex(data) for name, data in self.found["files"].items()}


@pytest.fixture
def boot(micropython, tmp_path):
    """boot(seconds, stop_after=0, prepare="") -> Life; each call is one power-on of the same board."""

    def boot(seconds, stop_after=0, prepare=""):
        command = [micropython.program, "-X", "heapsize=4M", str(HERE / "board_boots.py"), str(ROOT), str(tmp_path / "flash.img")]
        done = subprocess.run(
            [*command, str(seconds), str(stop_after), prepare],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stdout[-1500:] + done.stderr[-1500:]
        messages = [codec.unpack(payload) for payload in framing.FrameReader().feed(done.stdout + b"\0")]
        return Life(json.loads(done.stderr.splitlines()[-1]), messages)

    return boot


def readings(segment):
    return [
        codec.unpack(payload)[1]["time_ms"] for payload in framing.FrameReader().feed(b"\0" + segment) if payload[0] & 0x7F == 2
    ]


def test_three_boots_with_a_power_cut_in_a_flash_write_keep_every_drive(boot):
    lives = [boot(25)]
    assert boot(60, stop_after=20).found["cut"]
    lives += [boot(25), boot(25)]
    before: dict[int, bytes] = {}
    for life in lives:
        assert life.found["attached"] == ["limits", "store", "power"]
        assert life.events("exception") == []
        fetched = life.fetched()
        assert fetched == life.files()
        assert {number: fetched[number] for number in before} == before, "what was stored before is still there, byte for byte"
        newest = readings(fetched[max(fetched)])
        assert newest[0] < 1000
        assert newest[-1] > 20_000
        before = fetched
    assert len(before) == 4, "one segment a boot, the cut one's too"


@pytest.mark.parametrize("prepare", ["old", "both"])
def test_segments_of_an_older_version_are_moved_and_can_be_fetched(boot, prepare):
    """Version 0.1's folder: two segments before and two after the wrap of their numbers, and a file of the owner's."""
    life = boot(15, prepare=prepare)
    assert life.events("exception") == []
    left = life.found["left"]
    assert not any(name.startswith("store/") for name in left)
    assert "drives/notes.txt" in left
    old = [(b"segment %d " % number) * 40 for number in range(65534, 65538)]
    fetched = list(life.fetched().items())
    assert life.fetched() == life.files()
    if prepare == "old":
        assert [fetched_of(life, number & 0xFFFF) for number in range(65534, 65538)] == old
        assert max(number for number, data in fetched if readings(data)) == 2, "and numbering continues after them"
    else:
        assert [fetched_of(life, number) for number in range(10, 14)] == old, "after what was there"
        assert [fetched_of(life, number) for number in range(7, 10)] == [(b"segment %d " % n) * 40 for n in range(7, 10)]
    assert boot(15).fetched().items() >= {n: d for n, d in fetched if not readings(d)}.items()


def fetched_of(life, number):
    return life.fetched()[number]


@pytest.mark.parametrize("prepare", ["old", "both"])
def test_power_cut_at_every_write_of_the_move_loses_nothing(boot, prepare, tmp_path):
    expected = sorted((b"segment %d " % n) * 40 for n in [*range(65534, 65538), *(range(7, 10) if prepare == "both" else [])])
    boot(-1, prepare=prepare)
    image = bytearray((tmp_path / "flash.img").read_bytes())
    written = boot(0, -1).found["written"]  # the same in every first boot, so that only the boot after a cut is driven for each
    cuts = 0
    for number, (at, data) in enumerate(written[:39], 1):
        new = bytes.fromhex(data)
        if prepare == "old" or number % 3 == 1:
            half = bytes(image[:at]) + new[: len(new) // 2] + bytes(image[at + len(new) // 2 :])
            (tmp_path / "flash.img").write_bytes(half)
            cuts += 1
            held = sorted(data for data in boot(0.2).fetched().values() if data.startswith(b"segment"))
            assert held == expected, number
        image[at : at + len(new)] = new
    assert cuts >= 6


def test_nothing_on_the_file_system_has_a_modules_name(boot):
    """A folder or file that is found before the module of the same name would hide it."""
    life = boot(15)
    sources = {path: ROOT / "protocol" if path.startswith("lib/") else ROOT / "firmware" for path in life.found["installed"]}
    imported = set()
    for path, folder in sources.items():
        source = folder / path.removeprefix("lib/")
        if path.endswith(".py"):
            for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    imported |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom):
                    imported.add(node.module.split(".")[0])
    imported |= {name.split(".")[0] for name in life.found["modules"]} | {"store", "limits", "power"}
    made = {path.rstrip("/").split("/")[0] for path in life.found["left"]} - {p.split("/")[0] for p in life.found["installed"]}
    assert {"drives", "settings_a", "boots_a"} <= made, "it created its own files"
    assert {name.split(".")[0] for name in made} & imported == set()

"""A recording that breaks off between two messages, and a place that was not read: what each command says of them, on a drive and on its copy cut in two."""

import re
import shutil

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.log import identity
from hotfuel.log.ending import mark
from hotfuel_wire import framing
from written import write

BREAKS_OFF = "The recording breaks off without the end that its recorder writes: what followed is missing"
NOT_READ = "There was no reading at the pump for 5 of 10 minutes, and nothing is known of the fuel there then."


@pytest.fixture(scope="module")
def drives(tmp_path_factory):
    """{name: folder}: a drive that was ended, and a copy of it cut at the beginning of a message; its pump's probe is open in the second half."""
    degc = np.tile([30.0, 40.0, 45.0], (1200, 1)) + np.random.default_rng(1).normal(0, 0.1, (1200, 3))
    degc[600:, 1] = np.nan
    folder = tmp_path_factory.mktemp("drives")
    whole = write(folder / "whole", car_file.EXAMPLE, ("tank", "pump", "carb_inlet"), degc, [2000.0] * 1200)
    log = whole / "wire.log"
    data = identity.frame(identity.new(), 1_780_000_000.0, marks_end=True) + log.read_bytes()
    log.write_bytes(data + framing.encode(mark(1200, 600_000, 1_780_000_600_000_000)))
    cut = folder / "cut"
    shutil.copytree(whole, cut)
    (cut / "wire.log").write_bytes(data[: data.index(b"\0\0", len(data) - 2000) + 1])
    return {"whole": whole, "cut": cut}


COMMANDS = [
    ("review", "{session}", "--out", "{out}.html"),
    ("decode", "{session}", "--out", "{out}.csv"),
    ("rescue", "{session}"),
    ("inspect", "{session}", "--count", "1"),
    ("archive", "add", "{session}", "--archive", "{out}"),
]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_every_command_says_once_that_a_drive_breaks_off_and_never_of_a_whole_one(hotfuel, drives, tmp_path, words):
    said = {
        name: hotfuel(*(word.format(session=folder, out=tmp_path / name) for word in words)) for name, folder in drives.items()
    }
    assert said["cut"].count(BREAKS_OFF) == 1
    assert "breaks off" not in said["whole"]
    if words[0] == "archive":
        listed = {name: hotfuel("archive", "list", "--archive", tmp_path / name) for name in drives}
        assert BREAKS_OFF in listed["cut"] and "breaks off" not in listed["whole"]


def test_the_first_sentence_of_rescue_says_that_a_drive_breaks_off(hotfuel, drives):
    cut, whole = (hotfuel("rescue", drives[name]).splitlines()[0] for name in ("cut", "whole"))
    assert re.match(
        r"cut: \d+ readings, from .* in all, the recording breaks off there and what followed is missing; none is missing before that",
        cut,
    )
    assert "breaks off" not in whole and "none is missing between them" in whole


def test_decode_and_rescue_say_what_was_not_read(hotfuel, drives, tmp_path):
    decoded = ("decode", drives["whole"], "--out", tmp_path / "out.csv")
    assert hotfuel(*decoded).count(NOT_READ) == 1
    assert hotfuel(*decoded, as_json=True)["files"][0]["notes"].count(NOT_READ) == 1
    assert NOT_READ.rstrip(".") in hotfuel("rescue", drives["whole"])
    assert hotfuel("rescue", drives["whole"], as_json=True)["drive"]["unread_s"] == {"pump": pytest.approx(300, abs=1)}


def test_a_copy_of_a_drive_that_breaks_off_is_not_called_whole(hotfuel, drives, tmp_path):
    for name, whole in (("whole", True), ("cut", False)):
        into = tmp_path / name
        assert ("the whole drive" in hotfuel("rescue", drives[name], "--into", into)) is whole
        assert hotfuel("rescue", into, as_json=True)["whole"] is whole

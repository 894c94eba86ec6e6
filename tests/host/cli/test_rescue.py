"""A disk that fills, a folder that is deleted: the messages to the user, and the commands that bring the drive back."""

import errno
import fcntl
import os
import re
import shutil
import signal
import subprocess
import sys
import time

import pytest
from hotfuel import car as car_file
from hotfuel import session as sessions
from hotfuel.log import identity, reserve, spill
from hotfuel.log.append import LogWriter
from hotfuel.log.ending import mark
from hotfuel.samples import decode
from hotfuel_wire import framing
from written import write

END = framing.encode(mark(1200, 600_000, 1_780_000_600_000_000))  # of a recording that was ended


@pytest.fixture(autouse=True)
def _home_of_its_own(tmp_path_factory, monkeypatch):
    """Whoever runs the tests may keep drives of their own in hotfuel-fallback at home, which `rescue` lists too."""
    monkeypatch.setenv("HOME", str(tmp_path_factory.mktemp("home")))


@pytest.fixture
def car_path(tmp_path):
    path = tmp_path / "car.toml"
    path.write_text(car_file.EXAMPLE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A session of twenty minutes that is whole on its disk."""
    places = [place.name for place in car_file.load(car_file.EXAMPLE).places]
    rows = [[30 + n / 100, 45 + n / 50, 44 + n / 50] for n in range(1200)]
    return write(tmp_path_factory.mktemp("drives") / "whole", car_file.EXAMPLE, places, rows, [2000.0] * 1200)


@pytest.fixture(scope="module")
def another(tmp_path_factory):
    """Another session of that car, whole on its disk."""
    places = [place.name for place in car_file.load(car_file.EXAMPLE).places]
    rows = [[29 + n / 100, 44 + n / 50, 43 + n / 50] for n in range(1200)]
    return write(tmp_path_factory.mktemp("drives") / "another", car_file.EXAMPLE, places, rows, [2000.0] * 1200, boot=2)


@pytest.fixture
def drive_log(whole):
    return (whole / "wire.log").read_bytes()


@pytest.fixture
def half(tmp_path, drive_log, car_path):
    """A session of which only the first part is on the disk."""
    folder = tmp_path / "half"
    folder.mkdir()
    shutil.copyfile(car_path, folder / "car.toml")
    room = [len(drive_log) // 2]

    def write(fd, data):
        room[0] -= len(data)
        if room[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return os.write(fd, data)

    with LogWriter(folder / "wire.log", write=write) as writer:
        for at in range(0, len(drive_log), 500):
            writer.received(drive_log[at : at + 500])
        writer.host_frame(framing.decode(END[1:-1]))
    yield folder
    for piece in spill.everything():
        spill.discard(piece.path)


COMMANDS = [
    ("review", "{half}"),
    ("decode", "{half}", "--out", "{out}.csv"),
    ("cooler", "{half}", "--before", "carb_inlet", "--at-flow", "60 L/h"),
    ("forecast", "{half}", "--cooler", "carb_inlet=0.6"),
    ("compare", "before={half}", "after={another}"),
    ("archive", "add", "{half}", "--archive", "{out}"),
    ("inspect", "{half}", "--count", "1"),
]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_every_command_says_that_a_drive_is_incomplete_on_its_disk(hotfuel, half, another, tmp_path, words):
    said = hotfuel(*(word.format(half=half, another=another, out=tmp_path / "out") for word in words), code=None)
    assert f"are not on its disk, only in {next(spill.everything()).path}" in said
    assert f"hotfuel rescue {half}" in said


def test_rescue_puts_it_back(hotfuel, half, drive_log):
    assert str(half) in hotfuel("rescue")
    assert "put back into" in hotfuel("rescue", half)
    assert (half / "wire.log").read_bytes().endswith(drive_log + END)
    assert sorted(file.name for file in half.iterdir()) == ["car.toml", "wire.log"]
    assert "nothing is kept elsewhere" in hotfuel("rescue")
    assert "nothing of" in hotfuel("rescue", half)
    assert "not on its disk" not in hotfuel("review", half)


def test_a_kept_file_given_from_its_own_folder_is_answered_with_the_command_that_works(hotfuel, half, monkeypatch):
    piece = next(spill.everything()).path
    monkeypatch.chdir(piece.parent)
    assert f"make room and type: hotfuel rescue {half}" in hotfuel("rescue", piece.name, code=1)


def test_rescue_into_another_folder(hotfuel, half, drive_log, tmp_path):
    told = hotfuel("rescue", half, "--into", tmp_path / "stick" / "half", as_json=True)
    assert told["whole"]
    assert (tmp_path / "stick" / "half" / "wire.log").read_bytes().endswith(drive_log + END)
    assert (tmp_path / "stick" / "half" / "car.toml").exists()
    assert "nothing is overwritten" in hotfuel("rescue", half, "--into", tmp_path / "stick" / "half", code=1)


def test_after_a_restart_the_missing_span_is_named_and_nothing_else_is_refused(hotfuel, half):
    for piece in spill.everything():
        spill.discard(piece.path)
    assert "are missing, from 20" in hotfuel("review", half)
    assert "are missing, from 20" in hotfuel("rescue", half, code=1)


MIXED = [
    ("review", "{mixed}"),
    ("decode", "{mixed}", "--out", "{out}.csv"),
    ("archive", "add", "{mixed}", "--archive", "{out}"),
    ("rescue", "{mixed}"),
]


def test_another_recording_after_a_drive_is_named_left_out_and_given_its_own_folder(
    hotfuel, whole, drive_log, car_path, tmp_path
):
    mixed, theirs = tmp_path / "mixed", identity.frame(b"theirlog", 1_780_100_000.0) + drive_log[: len(drive_log) // 2]
    mixed.mkdir()
    shutil.copyfile(car_path, mixed / "car.toml")
    data = (identity.frame(b"ourslog1", 1_780_000_000.0) + drive_log, theirs)
    (mixed / "wire.log").write_bytes(b"".join(data))
    for words in MIXED:
        said = hotfuel(*(word.format(mixed=mixed, out=tmp_path / "out") for word in words))
        assert (
            f"From byte {len(data[0])} of {mixed / 'wire.log'} on there is another recording, begun 2026-05-30 00:13:20 UTC"
            in said
        )
        assert f"hotfuel rescue {mixed} --into FOLDER" in said
    hotfuel("decode", whole, "--out", tmp_path / "alone.csv")
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "alone.csv").read_bytes()
    (archived,) = (tmp_path / "out" / "sessions").glob("*/wire.log")
    assert archived.read_bytes() == data[0]
    said = hotfuel("rescue", mixed, "--into", tmp_path / "apart")
    assert f"{len(theirs)} bytes of another recording, in {tmp_path / 'apart-2'}" in said
    assert [(tmp_path / name / "wire.log").read_bytes() for name in ("apart", "apart-2")] == list(data)
    with open(archived, "ab") as file:  # later, in the archive
        file.write(theirs)
    assert "its log has grown by" in hotfuel("archive", "list", "--archive", tmp_path / "out", code=1)


@pytest.mark.parametrize("name", ["..", "\udcff\x1b[2J", "...", "д" * 200, "a\u202eb", "plain"])
def test_a_drive_whose_folder_disappears_has_a_fallback_whatever_its_name(tmp_path, monkeypatch, name):
    from hotfuel.cli.record import _elsewhere

    monkeypatch.setenv(spill.FALLBACK_VARIABLE, str(tmp_path / "fallback"))
    make = _elsewhere(tmp_path / "gone" / name, None, {"title": f"{name}\x07", "note": "a\ud800b"})
    for _ in range(2):
        log = make()
        assert log.parent.parent == tmp_path / "fallback"
        assert log.parent.name.isprintable()
        assert not log.exists() or not log.read_bytes()
        assert "Begun in" in sessions.metadata.read(log.parent / "session.json")[0]["note"]
    assert len(list((tmp_path / "fallback").iterdir())) == 2


def test_remains_of_a_folder_that_has_disappeared(hotfuel, half, tmp_path):
    shutil.rmtree(half)
    listed = hotfuel("rescue")
    assert str(half) in listed
    piece = next(spill.everything()).path
    assert f"hotfuel rescue {piece} --into FOLDER" in hotfuel("rescue", piece, code=1)
    assert f"hotfuel rescue {piece} --into FOLDER" in listed
    hotfuel("rescue", piece, "--into", tmp_path / "found")
    assert len(decode(tmp_path / "found").readings)


def test_a_log_cut_before_the_kept_part_is_refused_and_the_part_stays(hotfuel, half, drive_log, tmp_path):
    piece = next(spill.everything())
    kept = piece.path.read_bytes()
    os.truncate(half / "wire.log", piece.base - 1234)
    cut = (half / "wire.log").read_bytes()
    for words in (
        ("rescue", half),
        ("rescue", half, "--into", tmp_path / "stick"),
        ("review", half),
        ("archive", "add", half, "--archive", tmp_path / "a"),
    ):
        said = hotfuel(*words, code=1 if words[0] == "rescue" else None)
        assert f"1234 bytes of this drive are missing, from byte {len(cut)} on" in said
        assert "whole drive" not in said
        assert (half / "wire.log").read_bytes() == cut
        assert piece.path.read_bytes() == kept
    assert (tmp_path / "stick" / "wire.log").read_bytes() == cut
    hotfuel("rescue", piece.path, "--into", tmp_path / "rest")
    assert (tmp_path / "rest" / "wire.log").read_bytes().endswith((drive_log + END)[-piece.size :])
    assert piece.path.read_bytes() == kept
    (half / "wire.log").write_bytes(cut + b"x" * 1234)  # the log is put back from a copy
    hotfuel("rescue", half)
    assert (half / "wire.log").read_bytes().endswith((drive_log + END)[-piece.size :])
    assert not piece.path.exists()


def test_a_copy_does_not_take_the_kept_part_from_an_original_that_is_not_mounted(hotfuel, half, tmp_path):
    shutil.copytree(half, tmp_path / "copy")
    half.rename(tmp_path / "unmounted")
    said = hotfuel("rescue", tmp_path / "copy")
    piece = next(spill.everything())
    assert "put back into" in said
    assert f"this is a copy of {half}" in said
    assert f"{piece.path} stays" in said
    assert str(half) in hotfuel("rescue")
    (tmp_path / "unmounted").rename(half)
    assert "put back into" in hotfuel("rescue", half)
    assert (half / "wire.log").read_bytes() == (tmp_path / "copy" / "wire.log").read_bytes()
    assert not piece.path.exists()


def test_during_recording_rescue_says_so_at_once(hotfuel, half, tmp_path):
    before = b"".join(piece.path.read_bytes() for piece in spill.everything())
    with open(half / "wire.log", "rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        assert "is being recorded" in hotfuel("rescue", half, code=1)
        assert "is being recorded" in hotfuel("rescue", half, "--into", tmp_path / "stick", code=1)
    assert not (tmp_path / "stick").exists()
    assert b"".join(piece.path.read_bytes() for piece in spill.everything()) == before


@pytest.mark.parametrize("what", ["deleted", "renamed"])
def test_a_folder_that_disappears_during_recording(hotfuel, board_at, tmp_path, car_path, what, monkeypatch):
    """Reported within a second or so; the drive is whole in the fallback folder, with its car file; the last lines say where it is."""
    board = board_at(30, 45, 44)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    out = tmp_path / "n1"
    command = [sys.executable, "-m", "hotfuel", "record", "--port", board.device, "--car", str(car_path), "--out", str(out)]
    command += ["--fallback", str(tmp_path / "fallback")]  # later commands do not report it again
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as recorder:
        _until(lambda: (out / "wire.log").exists() and (out / "wire.log").stat().st_size > 3000)
        if what == "deleted":
            shutil.rmtree(out)
            new = tmp_path / "fallback" / "n1"
        else:
            new = tmp_path / "renamed"
            out.rename(new)
        _until(lambda: (new / "wire.log").exists() and (new / "wire.log").stat().st_size > 6000)
        recorder.send_signal(signal.SIGINT)
        said, errors = recorder.communicate(timeout=60)
    assert recorder.returncode == 0, errors
    assert f"recording continues in {tmp_path / 'fallback'}" in errors.split("\n")[0]  # named before anything happened
    assert ("HAS GONE" if what == "deleted" else "was moved") in errors
    assert f"look at it with: hotfuel review {new}" in said
    assert not out.exists()
    if what == "deleted":
        assert f"{new}: the whole session was continued here; Begun in {out}, which went away." in hotfuel("rescue")
        assert f"its drive was continued in {new}" in hotfuel("rescue", out, code=1)
    opened = sessions.open(new)
    assert opened.losses.ticks_missing == 0
    assert opened.losses.pieces_damaged == 0
    assert opened.car is not None
    assert not reserve.path_for(new / "wire.log").exists()
    assert (what == "renamed") == ("went away" not in str(opened.metadata.get("note")))


def test_the_page_ends_when_its_recorder_is_killed(board_at, tmp_path):
    board = board_at(30, 45, 44)
    command = [sys.executable, "-m", "hotfuel", "record", "--port", board.device, "--out", str(tmp_path / "n1"), "--page"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as recorder:
        said = ""
        while "http" not in said:
            said = recorder.stderr.readline()
        children = [int(pid) for pid in os.listdir("/proc") if pid.isdecimal() and _parent(pid) == recorder.pid]
        assert children
        recorder.kill()
        recorder.wait()
        _until(lambda: not any(os.path.exists(f"/proc/{pid}") and _state(pid) != "Z" for pid in children))


def _parent(pid):
    try:
        with open(f"/proc/{pid}/stat") as file:
            return int(file.read().rpartition(")")[2].split()[1])
    except OSError:
        return 0


def _state(pid):
    try:
        with open(f"/proc/{pid}/stat") as file:
            return file.read().rpartition(")")[2].split()[0]
    except OSError:
        return "Z"


def _until(what, seconds=60):
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.05)


def test_rescue_says_first_what_there_is_of_the_drive(hotfuel, whole, tmp_path):
    said = hotfuel("rescue", whole).splitlines()
    assert (
        said[0]
        == "whole: 1200 readings, from 28 May 2026, 20:26 to 20:36 (UTC), 10 min 00 s in all; none is missing between them"
    )
    damaged = tmp_path / "damaged"
    shutil.copytree(whole, damaged)
    log = bytearray((whole / "wire.log").read_bytes())
    log[len(log) // 2 : len(log) // 2 + 300] = b"\x55" * 300
    (damaged / "wire.log").write_bytes(log)
    said = hotfuel("rescue", damaged).splitlines()
    assert re.search(
        r"; \d readings are missing between them \(\d.\d s in all\), 1 damaged piece left out. The rest can be used as it is$",
        said[0],
    )
    told = hotfuel("rescue", damaged, as_json=True)["drive"]
    assert told["readings"] + told["missing_readings"] == 1200
    assert told["missing_s"] > 0
    (damaged / "wire.log").write_bytes(b"\x55" * 400)
    assert hotfuel("rescue", damaged).startswith("damaged: no reading can be read in its log")


def test_a_log_whose_beginning_was_cut_off_says_so(hotfuel, whole, tmp_path):
    cut = tmp_path / "cut"
    shutil.copytree(whole, cut)
    log = (whole / "wire.log").read_bytes()
    (cut / "wire.log").write_bytes(log[len(log) // 3 :])
    for command in (("rescue", cut), ("review", cut), ("decode", cut, "--out", tmp_path / "cut.csv")):
        said = hotfuel(*command)
        assert re.search(
            r"its first reading came \d{3} s after the board's start. If the log was cut, all that is counted from", said
        )
        assert "simulated" not in said
    assert "its first reading came" not in hotfuel("review", whole)


def test_bytes_without_a_reading_are_not_called_the_whole_drive(hotfuel, tmp_path):
    folder = tmp_path / "noise"
    folder.mkdir()
    (folder / "wire.log").write_bytes(bytes(range(1, 251)) * 20)
    said = hotfuel("rescue", folder, "--into", tmp_path / "out")
    assert "5000 bytes, what there is of the drive" in said and "the whole drive" not in said

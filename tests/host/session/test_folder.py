"""The session folder: created once, never overwritten, opened from whatever is left of it."""

import os
from pathlib import Path

import pytest
from hotfuel import car, samples, session
from hotfuel.errors import InputError
from hotfuel.session import folder, metadata


def test_create_keeps_car_text_and_metadata(tmp_path):
    made = folder.create(tmp_path / "a" / "b", car.EXAMPLE, {"fix": "heat shield"})
    assert made.car_path.read_text(encoding="utf-8") == car.EXAMPLE
    values, notes = metadata.read(made.metadata_path)
    assert notes == []
    assert values["fix"] == "heat shield"
    assert values["car"] == car.load(car.EXAMPLE).name
    assert made.log_path.read_bytes() == b""


@pytest.mark.parametrize("name", [folder.LOG, folder.CAR, folder.METADATA, folder.CALIBRATION])
def test_nothing_is_overwritten(tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(InputError, match="already holds a session"):
        folder.create(tmp_path, car.EXAMPLE)
    assert [entry.name for entry in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


@pytest.mark.parametrize(("text", "values"), [("name = 5", {}), (car.EXAMPLE, {"ambient_degc": 999})])
def test_a_mistake_makes_no_folder(tmp_path, text, values):
    with pytest.raises(InputError):
        folder.create(tmp_path / "new", text, values)
    assert not (tmp_path / "new").exists()


def test_a_file_in_the_way(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="is a file"):
        folder.create(tmp_path / "file")


def test_find_by_folder_or_any_of_its_files(drive_folder):
    found = folder.find(drive_folder)
    for path in (found.log_path, found.car_path, found.metadata_path):
        assert folder.find(path) == found
    assert found.calibration_path is None


def test_a_lone_log_takes_no_other_sessions_car(drive_folder, tmp_path, drive_log):
    """A log of another name beside a session's files does not belong to it."""
    (tmp_path / "pulled from the card.bin").write_bytes(drive_log)
    (tmp_path / folder.CAR).write_text(car.EXAMPLE)
    opened = session.open(tmp_path / "pulled from the card.bin")
    assert opened.car is None
    assert opened.name == "pulled from the card"
    assert len(opened.temperatures()) == len(session.open(drive_folder).temperatures())


@pytest.mark.parametrize("missing", ["nothing here", "empty"])
def test_a_missing_recording_is_one_sentence(tmp_path, missing):
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as caught:
        session.open(tmp_path / missing)
    assert missing in str(caught.value)
    assert "\n" not in str(caught.value)


def test_update_keeps_what_was_there(tmp_path):
    made = folder.create(tmp_path / "s", car.EXAMPLE, {"fix": "none"})
    folder.update(made, {"work_done": "hose rerouted"})
    values, _ = metadata.read(made.metadata_path)
    assert (values["fix"], values["work_done"]) == ("none", "hose rerouted")
    with pytest.raises(InputError):
        folder.update(made, {"humidity_percent": -1})
    assert metadata.read(made.metadata_path)[0] == values


@pytest.mark.parametrize("name", [folder.CAR, folder.METADATA, folder.CALIBRATION])
def test_a_damaged_file_beside_the_log_costs_no_reading(drive_folder, drive_log, tmp_path, name):
    for source in drive_folder.iterdir():
        (tmp_path / source.name).write_bytes(source.read_bytes())
    (tmp_path / name).write_bytes(b"\xff\x00{")
    opened = session.open(tmp_path)
    assert len(opened.temperatures()) == len(session.open(drive_folder).temperatures())
    assert len([note for note in opened.notes if "left out" in note]) == 1
    if name == folder.CAR:
        with pytest.raises(InputError, match="no usable car file"):
            opened.margins()


def test_a_folder_of_sessions_is_not_a_session_and_lists_them(tmp_path):
    folder.create(tmp_path / "trip" / "sunday")
    with pytest.raises(InputError, match="trip holds no wire.log: give one of those in it, .*trip/sunday, or a log file"):
        folder.find(tmp_path / "trip")
    with pytest.raises(InputError, match="give a folder that `hotfuel record` or `download` made"):
        folder.find(tmp_path)


@pytest.mark.parametrize("full", ["car.toml", "session.json", "wire.log"])
def test_a_disk_that_is_full_at_the_start_leaves_no_half_session(tmp_path, monkeypatch, full):
    """An empty car.toml would take the session's name, and be read as its car file."""

    def refused(*_, **__):
        raise OSError(28, "No space left on device")

    def written(path, *rest, **how):
        if path.name == full:
            path.touch()
            refused()
        return write_text(path, *rest, **how)

    write_text = Path.write_text
    monkeypatch.setattr(Path, "write_text", written)
    monkeypatch.setattr(metadata.os, "fsync", refused if full == "session.json" else os.fsync)
    monkeypatch.setattr(Path, "touch", refused if full == "wire.log" else Path.touch)
    with pytest.raises(InputError, match=r"cannot be written \(No space left on device\)"):
        folder.create(tmp_path / "new" / "sunday", car.EXAMPLE)
    assert not (tmp_path / "new" / "sunday").exists()
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "notes.txt").write_bytes(b"")
    with pytest.raises(InputError, match="cannot be written"):
        folder.create(tmp_path / "there", car.EXAMPLE)
    assert [path.name for path in (tmp_path / "there").iterdir()] == ["notes.txt"]
    monkeypatch.undo()
    folder.create(tmp_path / "new" / "sunday", car.EXAMPLE)


def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    pipe = tmp_path / "wire.log"
    os.mkfifo(pipe)
    for opened in (session.open, folder.find, samples.decode):
        with pytest.raises(InputError, match="is a pipe: only a regular file is read; write what it gives into one"):
            opened(pipe)
    with pytest.raises(InputError, match="holds no wire.log"):
        folder.find(tmp_path)

"""A file is written whole or not at all, however the writing ends."""

import os
from pathlib import Path

import pytest
from hotfuel import car
from hotfuel.errors import InputError
from hotfuel.files import refuse_anothers, refuse_pipe, whole
from hotfuel.session import by_hand
from hotfuel.study.fixes import day_plan
from hotfuel.study.power import delimited, workbook
from hotfuel.temperature.calibration import Calibration


@pytest.mark.parametrize("end", [KeyboardInterrupt, OSError(28, "No space left on device"), ValueError])
@pytest.mark.parametrize("before", [None, "the older one"])
def test_a_failed_write_leaves_nothing(tmp_path, end, before):
    target = tmp_path / "sunday.csv"
    if before:
        target.write_text(before)
    with pytest.raises((KeyboardInterrupt, ValueError)) as told, whole(target) as part:
        part.write_text("half")
        raise end
    if isinstance(end, OSError):
        assert told.type is InputError
        assert str(told.value).startswith(f"{target} cannot be written (No space left on device)")
    assert [path.name for path in tmp_path.iterdir()] == (["sunday.csv"] if before else [])
    if before:
        assert target.read_text() == before


def test_a_complete_file_replaces_the_old_one(tmp_path):
    target = tmp_path / "new folder" / "sunday.csv"
    for text in ("first", "second"):
        with whole(target) as part:
            assert part.suffix == ".csv"  # some writers go by the file's ending
            part.write_text(text)
        assert target.read_text() == text
    assert list(target.parent.iterdir()) == [target]


def test_a_links_target_is_replaced_and_the_link_stays(tmp_path):
    (tmp_path / "disk").mkdir()
    (tmp_path / "disk" / "real.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to(tmp_path / "disk" / "real.csv")
    with whole(tmp_path / "link.csv") as part:
        part.write_text("new")
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "disk" / "real.csv").read_text() == "new"
    assert len(list((tmp_path / "disk").iterdir())) == 1


def test_a_file_of_another_program_is_not_overwritten_and_ours_is(tmp_path):
    refuse_anothers(tmp_path / "not there")
    refuse_anothers(tmp_path / "no folder" / "not there")
    path = tmp_path / "sunday.pdf"
    for ours in (b"", b"hotfuel first", b"x" * 300_000 + b"%hotfuel\n"):
        path.write_bytes(ours)
        refuse_anothers(path)
    for anothers in (b"%PDF-1.7 an invoice %%EOF", b"x" * 200_000 + b"hotfuel" + b"x" * 200_000):
        path.write_bytes(anothers)
        with pytest.raises(InputError, match="not from this program"):
            refuse_anothers(path)


@pytest.mark.parametrize(
    "read",
    [refuse_pipe, car.load, Calibration.load, delimited.read, workbook.is_workbook, by_hand.text_of, day_plan.load],
    ids=lambda read: read.__qualname__,
)
def test_what_is_no_regular_file_is_refused_at_once(tmp_path, read):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path, kind in ((pipe, "pipe"), (Path("/dev/null"), "device")):
        with pytest.raises(InputError, match=f"^{path} is a {kind}: only a regular file is read; write what it gives into one"):
            read(path)


def test_files_folders_and_what_is_not_there_are_left_to_their_readers(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "link").symlink_to("file")
    for path in ("", "file", "link", "missing"):
        refuse_pipe(tmp_path / path)

"""An archive some of whose files are damaged, cut short, missing or of an older version: reported, and recomputed where possible."""

import os
import shutil

import pandas as pd
import pytest
from hotfuel import session
from hotfuel.errors import InputError
from hotfuel.report.session_notes import all_notes
from hotfuel.session import archive

pytest.importorskip("duckdb")


@pytest.fixture(scope="module")
def undamaged(tmp_path_factory, sessions):
    """An archive of three sessions, to be copied; (its folder, the ids)."""
    root = tmp_path_factory.mktemp("undamaged") / "a"
    return root, [archive.add(root, path) for path in sessions[:3]]


@pytest.fixture
def three(tmp_path, undamaged, one_process):
    """A copy of it, to be damaged."""
    root, ids = undamaged
    shutil.copytree(root, tmp_path / "a")
    return tmp_path / "a", list(ids)


def find_in(root, **more):
    said, bad = [], []
    table = archive.find(root, say=said.append, bad=bad.append, **more)
    return table["session"].tolist(), said, list(map(str, bad))


def summary_of(root, identity):
    (file,) = (root / "summary").glob(f"*/*/{identity}.parquet")
    return file


@pytest.mark.parametrize("damage", ["cut", "empty", "inside", "not ours", "gone"])
def test_a_damaged_summary_is_recomputed_and_reported(three, damage):
    root, ids = three
    before = archive.listed(root)
    file = summary_of(root, ids[1])
    data = file.read_bytes()
    if damage == "gone":
        file.unlink()
    else:
        middle = len(data) // 2
        file.write_bytes(
            {"cut": data[:-9], "empty": b"", "inside": data[:4] + os.urandom(middle) + data[4 + middle :], "not ours": b"PK"}[
                damage
            ]
        )
    listed, said, bad = find_in(root)
    assert (listed, bad) == (ids, [])
    assert len(said) == 1
    assert ids[1] in said[0]
    pd.testing.assert_frame_equal(archive.listed(root), before)
    assert find_in(root) == (ids, [], [])


def test_a_log_cut_after_its_first_reading_is_named_and_its_results_stay(three):
    root, ids = three
    before = archive.listed(root)
    log = root / "sessions" / ids[1] / "wire.log"
    whole = log.read_bytes()
    for left in (len(whole) - 1, len(whole) // 2):
        log.write_bytes(whole[:left])
        listed, said, bad = find_in(root)
        assert (listed, said) == (ids, [])
        assert bad == [
            f"{ids[1]}: its log was cut ({left:,} of {len(whole):,} bytes are left); the listed results are earlier ones: put the log back from a copy"
        ]
    pd.testing.assert_frame_equal(archive.listed(root), before)
    log.write_bytes(whole)
    assert find_in(root) == (ids, [], [])


def test_summaries_of_an_older_version_are_listed_with_newer_ones(three):
    """They do not hold the length of the log, so a cut one is not noticed; all else is as before."""
    import duckdb

    root, ids = three
    before = archive.listed(root)
    for identity in (ids[0], ids[2]):
        file = summary_of(root, identity)
        with duckdb.connect() as database:
            table = database.execute("SELECT * EXCLUDE (log_bytes) FROM read_parquet($file)", {"file": str(file)}).df()
            database.register("older", table)
            database.execute(f"COPY older TO '{file}' (FORMAT parquet)")
        pd.testing.assert_frame_equal(archive.listed(root), before, check_dtype=False)
    log = root / "sessions" / ids[1] / "wire.log"
    log.write_bytes(log.read_bytes()[:-1])
    assert len(find_in(root)[2]) == 1


def test_older_summaries_are_listed_without_what_they_do_not_hold(three):
    import duckdb

    root, ids = three
    before = archive.listed(root)
    for identity in ids:
        file = summary_of(root, identity)
        with duckdb.connect() as database:
            table = database.execute(
                "SELECT * EXCLUDE (unread_s, suspected, suspected_s) FROM read_parquet($file)", {"file": str(file)}
            ).df()
            database.register("older", table)
            database.execute(f"COPY older TO '{file}' (FORMAT parquet)")
    listed = archive.listed(root)
    missing = ["unread_s", "unread_places", "suspected_s", "suspected_places"]
    assert listed[missing].isna().all().all()
    rest = [name for name in before if name not in missing]
    pd.testing.assert_frame_equal(listed[rest], before[rest], check_dtype=False)


def test_a_session_that_cannot_be_computed_is_named_and_the_others_are_listed(three):
    root, ids = three
    summary_of(root, ids[1]).write_bytes(b"")
    (root / "sessions" / ids[1] / "wire.log").write_bytes(b"")
    listed, said, bad = find_in(root)
    assert listed == [ids[0], ids[2]]
    assert said == []
    assert len(bad) == 1
    assert f"{ids[1]}: its summary could not be read, and recomputing it failed: there is no reading in its log" in bad[0]


def test_recompute_reports_that_a_damaged_session_file_costs_the_title(three):
    root, names = three
    (root / "sessions" / names[0] / "session.json").write_text("{")
    said = []
    assert archive.recompute(root, say=said.append) == 3
    assert len(said) == 1
    assert said[0].startswith(f"{names[0]}: session.json is damaged")
    assert "title" in said[0]


@pytest.mark.parametrize("log", [b"", b"\0" * 9, None], ids=["emptied", "zeros", "a folder"])
def test_an_emptied_log_is_named_by_list_and_recompute_and_the_others_are_done(three, log):
    root, ids = three
    path = root / "sessions" / ids[1] / "wire.log"
    path.unlink()
    if log is None:
        path.mkdir()
    else:
        path.write_bytes(log)
    with pytest.raises(InputError, match=f"1 of 3 sessions could not be recomputed: {ids[1]}: "):
        archive.recompute(root)
    listed, said, bad = find_in(root)
    assert listed == ids  # with its last good results
    assert said == []
    assert len(bad) == 1
    assert f"{ids[1]}: no reading is left in its log; the listed results are earlier ones" in bad[0]


def test_a_cut_log_does_not_replace_results_of_the_whole_one(three):
    root, ids = three
    path, before = root / "sessions" / ids[1] / "wire.log", archive.listed(root)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(
        InputError, match=f"1 of 3 sessions could not be recomputed: {ids[1]}: its log is not the one that was added"
    ):
        archive.recompute(root)
    pd.testing.assert_frame_equal(archive.listed(root), before)
    summary_of(root, ids[1]).unlink()  # then the results of what is left of it are stored
    assert find_in(root)[0] == ids
    assert archive.listed(root)["duration_s"][1] < before["duration_s"][1]


def test_a_session_removed_from_disk_leaves_the_list_with_a_message(three):
    root, ids = three
    shutil.rmtree(root / "sessions" / ids[0])
    listed, said, bad = find_in(root)
    assert (listed, bad) == (ids[1:], [])
    assert said == [f"{ids[0]} is not listed any more: its folder in {root / 'sessions'} no longer exists"]
    said = []
    archive.recompute(root, say=said.append)
    assert len(said) == 1
    assert find_in(root) == (ids[1:], [], [])


def test_after_a_kill_between_copy_and_results_list_and_add_agree(sessions, tmp_path, monkeypatch):
    """The copy is there, but none of its results. Both commands then compute them; neither refuses it."""
    for command in ("list", "add"):
        root = tmp_path / command
        identity = archive.add(root, sessions[0])
        for kind in ("samples", "summary"):
            shutil.rmtree(root / kind)
        if command == "add":
            assert archive.add(root, sessions[0]) == identity
        assert find_in(root)[0] == [identity]
        assert len(list((root / "samples").rglob("*.parquet"))) == 1
        with pytest.raises(InputError, match="in the archive already"):
            archive.add(root, sessions[0])


def test_bytes_that_a_full_disk_left_elsewhere_are_added_to_the_archive(sessions, tmp_path):
    """A drive half of which is in memory: all of it is added, and added once."""
    from hotfuel.log import rescue, spill
    from hotfuel.log.append import LogWriter

    whole = (sessions[0] / "wire.log").read_bytes()
    half = tmp_path / "half"
    shutil.copytree(sessions[0], half)
    (half / "wire.log").unlink()
    taken = [0]

    def write(fd, data):
        taken[0] += 1
        if taken[0] > 5:
            raise OSError(28, "No space left on device")
        return os.write(fd, data)

    with LogWriter(half / "wire.log", write=write) as writer:
        for at in range(0, len(whole), 1000):
            writer.received(whole[at : at + 1000])
    try:
        opened = session.open(half)
        assert len(opened.temperatures()) == 150
        assert "are not on its disk" in all_notes(opened)[0]
        identity = archive.add(tmp_path / "a", half)
        copied = tmp_path / "a" / "sessions" / identity
        assert (copied / "wire.log").stat().st_size == len(whole) + 35  # and the frame that says which log it is
        assert session.open(copied).standing is None
        rescue.put_back(half / "wire.log")
        with pytest.raises(InputError, match="in the archive already"):
            archive.add(tmp_path / "a", half)
    finally:
        for piece in spill.everything():
            spill.discard(piece.path)


def test_a_missing_span_stays_reported_in_the_archive(sessions, tmp_path):
    from hotfuel.log import identity, reserve

    half = tmp_path / "half"
    shutil.copytree(sessions[0], half)
    log = half / "wire.log"
    kept = reserve.Kept(log.stat().st_size, 5000, 1_780_000_000.0, 1_780_000_060.0, (tmp_path / "x.spill",), "garage")
    reserve.Reserve(log, identity.of(log)).kept(kept)
    assert "5000 bytes of this drive are missing" in all_notes(session.open(half))[0]
    assert not any("5000 bytes" in note for note in all_notes(session.open(half), with_standing=False))
    added = archive.add(tmp_path / "a", half)
    assert "5000 bytes of this drive are missing" in all_notes(session.open(tmp_path / "a" / "sessions" / added))[0]
    archive.add(tmp_path / "a", sessions[1])
    rows = archive.listed(tmp_path / "a").set_index("session")["not_whole"]
    assert "5000 bytes of this drive are missing" in rows.pop(added)
    assert rows.tolist() == [""]

"""Many sessions: found by what happened in them, readable without this program, worked out again with the same results."""

import datetime
import json
import os
import shutil
import signal
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest
from hotfuel import car, session
from hotfuel.errors import InputError
from hotfuel.session import archive, folder
from hotfuel.temperature.calibration import Calibration, ChannelCalibration

duckdb = pytest.importorskip("duckdb")

DAY_S = 86400.0


@pytest.fixture(scope="module")
def sessions(tmp_path_factory, synthetic):
    """Six sessions of two cars on three days, each 2 degC hotter at the pump than the one before."""
    root = tmp_path_factory.mktemp("recorded")
    paths = []
    for number in range(6):
        made = synthetic.Recording()
        for tick in range(150):
            if tick % 50 == 1:
                made.anchor(tick * 0.2, synthetic.START_WALL_S + tick * 0.2 + number // 2 * DAY_S + number % 2 * 3600)
            made.reading(tick * 0.2, (30, 45 + 2 * number + tick / 500, 44))
        text = car.EXAMPLE.replace("Blue saloon, road and sprint", "Heron / 2 Litre") if number % 2 else car.EXAMPLE
        target = folder.create(
            root / f"run {number}", text, {"fix": "Heat_shield" if number >= 4 else "none", "utc_offset_min": 0}
        )
        target.log_path.write_bytes(made.data)
        paths.append(target.path)
    return paths


@pytest.fixture(scope="module")
def filled(tmp_path_factory, sessions):
    root = tmp_path_factory.mktemp("archive")
    for path in sessions:
        archive.add(root, path)
    return root


def results(root):
    """Everything worked out, as one frame each."""
    return [
        duckdb.sql(f"SELECT * FROM read_parquet('{root}/{kind}/*/*/*.parquet', hive_partitioning = true) ORDER BY ALL").df()
        for kind in ("samples", "summary")
    ]


def test_list_holds_what_the_sessions_hold(filled, sessions):
    table = archive.listed(filled)
    assert len(table) == 6
    assert table["started_utc"].is_monotonic_increasing
    for row, path in zip(table.itertuples(), sessions, strict=True):
        summary = session.open(path).summary()
        assert row.hottest_place == summary.hottest.place == "pump"
        assert row.hottest_degc == pytest.approx(summary.hottest.hottest_degc)
        assert row.smallest_margin_degc == pytest.approx(summary.smallest.smallest_margin_degc)
        assert row.smallest_margin_place == summary.smallest.place
        assert pd.Timestamp(row.started_utc) == summary.started
    assert table["car"].tolist() == ["Blue saloon, road and sprint", "Heron / 2 Litre"] * 3
    assert table["places"][0].split() == ["carb_inlet", "carb_inlet_needle", "pump", "tank"]


FOUND = [
    ({"car": "heron"}, [1, 3, 5]),
    ({"fix": "heat_shield"}, [4, 5]),
    ({"fix": "t_s"}, [4, 5]),
    ({"fix": "%"}, []),
    ({"place": "pump"}, [0, 1, 2, 3, 4, 5]),
    ({"place": "pum"}, []),
    ({"hotter_than_degc": 51.0}, [3, 4, 5]),
    ({"margin_below_degc": 4.0, "car": "blue saloon"}, [4]),
]


@pytest.mark.parametrize(("wanted", "numbers"), FOUND)
def test_find(filled, wanted, numbers):
    every = archive.listed(filled)["session"].tolist()
    assert archive.find(filled, **wanted)["session"].tolist() == [every[number] for number in numbers]


def test_find_by_day(filled, synthetic):
    first = datetime.datetime.fromtimestamp(synthetic.START_WALL_S, datetime.UTC).date()
    second = first + datetime.timedelta(days=1)
    assert len(archive.find(filled, since=str(second))) == 4
    assert len(archive.find(filled, since=str(first), until=str(first))) == 2
    with pytest.raises(InputError, match="is no day"):
        archive.find(filled, since="tomorrow-ish")


def test_readable_by_pandas_and_duckdb_without_us(filled, sessions):
    samples = pd.read_parquet(filled / "samples")
    assert len(samples) == 6 * 4 * 150
    first = session.open(sessions[0])
    mine = samples[(samples["session"] == archive.listed(filled)["session"][0]) & (samples["place"] == "pump")]
    np.testing.assert_allclose(mine["temperature_degc"], first.temperatures()["pump_degc"], atol=0.004)
    np.testing.assert_allclose(mine["margin_degc"], first.margins()["pump_margin_degc"], atol=0.004)
    assert (pd.DatetimeIndex(mine["time_utc"]) == first.temperatures().index).all()
    hottest = duckdb.sql(
        f"SELECT car, max(temperature_degc) m FROM read_parquet('{filled}/samples/*/*/*.parquet', hive_partitioning = true) GROUP BY car"
    )
    assert dict(hottest.fetchall())["heron-2-litre"] == pytest.approx(55.3, abs=0.02)


def test_readable_by_polars_without_us(filled):
    polars = pytest.importorskip("polars")
    samples = polars.scan_parquet(filled / "samples", hive_partitioning=True)
    by_car = dict(samples.group_by("car").agg(polars.col("temperature_degc").max()).collect().rows())
    assert by_car["blue-saloon-road-and-sprint"] == pytest.approx(53.3, abs=0.02)


def test_a_session_is_added_once_and_nothing_is_overwritten(filled, sessions):
    before = sorted(filled.rglob("*"))
    with pytest.raises(InputError, match="in the archive already"):
        archive.add(filled, sessions[2])
    assert sorted(filled.rglob("*")) == before


def test_recompute_on_all_cores_gives_the_same(filled):
    before = results(filled)
    shares = []
    assert archive.recompute(filled, progress=shares.append) == 6
    assert shares == pytest.approx([1 / 6, 2 / 6, 3 / 6, 4 / 6, 5 / 6, 1])
    for old, new in zip(before, results(filled), strict=True):
        pd.testing.assert_frame_equal(old, new)


def test_recompute_with_a_new_calibration(tmp_path, sessions, synthetic, monkeypatch, one_process):
    for path in sessions[:2]:
        archive.add(tmp_path / "a", path)
    line = ChannelCalibration(place="pump", gain=1.0, offset_degc=-1.0, uncertainty_degc=0.2, made_on=datetime.date(2026, 6, 1))
    before = archive.listed(tmp_path / "a")
    Calibration(board_id=synthetic.BOARD_ID.hex(), channels={1: line}).save(tmp_path / "mine.json")
    archive.recompute(tmp_path / "a", calibration=tmp_path / "mine.json")
    after = archive.listed(tmp_path / "a")
    np.testing.assert_allclose(after["hottest_degc"] - before["hottest_degc"], -1.0)
    Calibration(board_id="a" * 16, channels={1: line}).save(tmp_path / "other.json")
    monkeypatch.setattr(os, "cpu_count", lambda: 1)  # and so without a process for every core
    archive.recompute(tmp_path / "a", calibration=tmp_path / "other.json")
    pd.testing.assert_frame_equal(archive.listed(tmp_path / "a"), after)


def test_a_car_renamed_moves_its_results(tmp_path, sessions):
    identity = archive.add(tmp_path, sessions[0])
    text = tmp_path / "sessions" / identity / "car.toml"
    text.write_text(text.read_text().replace("Blue saloon", "Green saloon"))
    archive.recompute(tmp_path)
    assert [p.parts[-3] for p in (tmp_path / "samples").rglob("*.parquet")] == ["car=green-saloon-road-and-sprint"]
    assert len(archive.listed(tmp_path)) == 1


def test_one_bad_session_does_not_stop_the_others(tmp_path, sessions):
    first, second = (archive.add(tmp_path, path) for path in sessions[:2])
    (tmp_path / "sessions" / first / "wire.log").unlink()
    with pytest.raises(InputError, match=f"1 of 2 sessions could not be worked out again: {first}"):
        archive.recompute(tmp_path)
    assert second in set(archive.listed(tmp_path)["session"])


@pytest.mark.parametrize("task", [archive.listed, archive.recompute])
def test_no_archive_is_one_sentence(tmp_path, task):
    with pytest.raises(InputError, match="is no archive"):
        task(tmp_path / "nowhere")


def test_an_empty_recording_is_refused(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"")
    with pytest.raises(InputError, match="no reading"):
        archive.add(tmp_path / "archive", tmp_path)
    assert not (tmp_path / "archive").exists()


def test_a_cluster_that_does_not_answer(filled, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(archive, "_CONNECT_S", 1)
    with pytest.raises(InputError, match="no Dask scheduler answers"):
        archive.recompute(filled, cluster="tcp://127.0.0.1:9")


def test_on_a_cluster_with_a_worker_killed_in_mid_run(filled, tmp_path):
    """A scheduler and two workers as processes of their own; one worker is killed after the first result: the same results all the same."""
    pytest.importorskip("distributed")
    before = results(filled)
    address_file = tmp_path / "scheduler.json"
    common = ["--scheduler-file", str(address_file)]
    processes = []

    def start(module, *options):
        command = [sys.executable, "-m", f"distributed.cli.{module}", *options, *common]
        processes.append(subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
        return processes[-1]

    try:
        start("dask_scheduler", "--port", "0", "--no-dashboard")
        workers = [start("dask_worker", "--no-nanny", "--nthreads", "1", "--no-dashboard") for _ in range(2)]
        address = _wait_for_workers(address_file, 2)
        killed = []

        def progress(share):
            if not killed:
                killed.append(share)
                os.kill(workers[0].pid, signal.SIGKILL)

        assert archive.recompute(filled, cluster=address, progress=progress) == 6
        assert killed == [pytest.approx(1 / 6)]
        assert workers[0].wait(10) == -signal.SIGKILL
        for old, new in zip(before, results(filled), strict=True):
            pd.testing.assert_frame_equal(old, new)
    finally:
        for process in processes:
            process.kill()
            process.wait()


def _wait_for_workers(address_file, count):
    import json

    from distributed import Client

    end = time.monotonic() + 60
    while not address_file.exists() or not address_file.read_text():
        assert time.monotonic() < end, "the scheduler did not start"
        time.sleep(0.1)
    address = json.loads(address_file.read_text())["address"]
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=60)
    return address


def test_an_add_that_was_interrupted_can_be_done_again(sessions, tmp_path, monkeypatch):
    def interrupt(*arguments, **options):
        raise KeyboardInterrupt

    for step in ("shutil.copyfile", "hotfuel.session.results._write"):
        with monkeypatch.context() as once, pytest.raises(KeyboardInterrupt):
            once.setattr(step, interrupt)
            archive.add(tmp_path, sessions[0])
        assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    archive.add(tmp_path, sessions[0])
    assert len(archive.listed(tmp_path)) == 1


@pytest.fixture
def one_process(monkeypatch):
    """Worked out in this process: starting others costs most of such a test's time, and they have tests of their own."""
    monkeypatch.setattr(os, "cpu_count", lambda: 1)


@pytest.fixture
def three(tmp_path, sessions, one_process):
    """An archive of three sessions, to be damaged; (its folder, the ids)."""
    return tmp_path / "a", [archive.add(tmp_path / "a", path) for path in sessions[:3]]


def told(root, **more):
    said, bad = [], []
    table = archive.find(root, say=said.append, bad=bad.append, **more)
    return table["session"].tolist(), said, bad


def summary_of(root, identity):
    (file,) = (root / "summary").glob(f"*/*/{identity}.parquet")
    return file


@pytest.mark.parametrize("damage", ["cut", "empty", "inside", "not ours", "gone"])
def test_a_damaged_summary_is_worked_out_again_and_named(three, damage):
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
    listed, said, bad = told(root)
    assert (listed, bad) == (ids, [])
    assert len(said) == 1
    assert ids[1] in said[0]
    pd.testing.assert_frame_equal(archive.listed(root), before)
    assert told(root) == (ids, [], [])


def test_a_log_that_was_cut_behind_its_first_reading_is_named_and_its_results_stay(three):
    root, ids = three
    before = archive.listed(root)
    log = root / "sessions" / ids[1] / "wire.log"
    whole = log.read_bytes()
    for left in (len(whole) - 1, len(whole) // 2):
        log.write_bytes(whole[:left])
        listed, said, bad = told(root)
        assert (listed, said) == (ids, [])
        assert bad == [
            f"{ids[1]}: its log was cut ({left:,} of {len(whole):,} bytes are left); what is listed was worked out earlier: put the log back from a copy"
        ]
    pd.testing.assert_frame_equal(archive.listed(root), before)
    log.write_bytes(whole)
    assert told(root) == (ids, [], [])


def test_summaries_of_an_older_version_are_listed_with_newer_ones(three):
    """They do not say how long the log was, so a cut one is not noticed; all else is as before."""
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
    assert len(told(root)[2]) == 1


def test_a_session_that_cannot_be_worked_out_is_named_and_the_others_are_listed(three):
    root, ids = three
    summary_of(root, ids[1]).write_bytes(b"")
    (root / "sessions" / ids[1] / "wire.log").write_bytes(b"")
    listed, said, bad = told(root)
    assert listed == [ids[0], ids[2]]
    assert said == []
    assert len(bad) == 1
    assert f"{ids[1]}: its summary could not be read, and working it out again failed: there is no reading in its log" in bad[0]


def test_recompute_says_that_a_damaged_session_file_costs_the_title(three):
    root, names = three
    (root / "sessions" / names[0] / "session.json").write_text("{")
    said = []
    assert archive.recompute(root, say=said.append) == 3
    assert len(said) == 1
    assert said[0].startswith(f"{names[0]}: session.json is damaged")
    assert "title" in said[0]


@pytest.mark.parametrize("log", [b"", b"\0" * 9, None], ids=["emptied", "zeros", "a folder"])
def test_an_emptied_log_is_named_by_list_and_recompute_and_the_others_go_on(three, log):
    root, ids = three
    path = root / "sessions" / ids[1] / "wire.log"
    path.unlink()
    if log is None:
        path.mkdir()
    else:
        path.write_bytes(log)
    with pytest.raises(InputError, match=f"1 of 3 sessions could not be worked out again: {ids[1]}: "):
        archive.recompute(root)
    listed, said, bad = told(root)
    assert listed == ids  # with its last good results
    assert said == []
    assert len(bad) == 1
    assert f"{ids[1]}: no reading is left in its log; what is listed was worked out earlier" in bad[0]


def test_a_cut_log_does_not_replace_results_of_the_whole_one(three):
    root, ids = three
    path, before = root / "sessions" / ids[1] / "wire.log", archive.listed(root)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(
        InputError, match=f"1 of 3 sessions could not be worked out again: {ids[1]}: its log is not the one that was added"
    ):
        archive.recompute(root)
    pd.testing.assert_frame_equal(archive.listed(root), before)
    summary_of(root, ids[1]).unlink()  # then what is left of it is what there is
    assert told(root)[0] == ids
    assert archive.listed(root)["duration_s"][1] < before["duration_s"][1]


def test_a_session_removed_from_disk_leaves_the_list_with_a_word(three):
    root, ids = three
    shutil.rmtree(root / "sessions" / ids[0])
    listed, said, bad = told(root)
    assert (listed, bad) == (ids[1:], [])
    assert said == [f"{ids[0]} is not listed any more: its folder in {root / 'sessions'} has gone"]
    said = []
    archive.recompute(root, say=said.append)
    assert len(said) == 1
    assert told(root) == (ids[1:], [], [])


def test_killed_between_copy_and_results_list_and_add_agree(sessions, tmp_path, monkeypatch):
    """As after a kill: the copy is there, no result of it. Both commands then give it its results; neither refuses it."""
    for command in ("list", "add"):
        root = tmp_path / command
        identity = archive.add(root, sessions[0])
        for kind in ("samples", "summary"):
            shutil.rmtree(root / kind)
        if command == "add":
            assert archive.add(root, sessions[0]) == identity
        assert told(root)[0] == [identity]
        assert len(list((root / "samples").rglob("*.parquet"))) == 1
        with pytest.raises(InputError, match="in the archive already"):
            archive.add(root, sessions[0])


def test_what_a_full_disk_left_elsewhere_goes_into_the_archive(sessions, tmp_path):
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
        assert "are not on its disk" in opened.all_notes()[0]
        identity = archive.add(tmp_path / "a", half)
        copied = tmp_path / "a" / "sessions" / identity
        assert (copied / "wire.log").stat().st_size == len(whole) + 34  # and the frame that says which log it is
        assert session.open(copied).standing is None
        rescue.put_back(half / "wire.log")
        with pytest.raises(InputError, match="in the archive already"):
            archive.add(tmp_path / "a", half)
    finally:
        for piece in spill.everything():
            spill.discard(piece.path)


def test_a_missing_span_stays_named_in_the_archive(sessions, tmp_path):
    from hotfuel.log import identity, reserve

    half = tmp_path / "half"
    shutil.copytree(sessions[0], half)
    log = half / "wire.log"
    kept = reserve.Kept(log.stat().st_size, 5000, 1_780_000_000.0, 1_780_000_060.0, (tmp_path / "x.spill",), "garage")
    reserve.Reserve(log, identity.of(log)).kept(kept)
    assert "5000 bytes of this drive are missing" in session.open(half).all_notes()[0]
    added = archive.add(tmp_path / "a", half)
    assert "5000 bytes of this drive are missing" in session.open(tmp_path / "a" / "sessions" / added).all_notes()[0]
    archive.add(tmp_path / "a", sessions[1])
    rows = archive.listed(tmp_path / "a").set_index("session")["not_whole"]
    assert "5000 bytes of this drive are missing" in rows.pop(added)
    assert rows.tolist() == [""]


RECOMPUTE = """
import sys
from hotfuel.session import archive
if __name__ == "__main__":
    print(archive.recompute(sys.argv[1]))
"""


def test_recompute_ends_without_a_word_from_its_processes(filled, tmp_path):
    (tmp_path / "run.py").write_text(RECOMPUTE)
    done = subprocess.run([sys.executable, tmp_path / "run.py", filled], capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "6\n", "")


def test_review_compare_and_archive_do_without_pyarrow(sessions, tmp_path):
    """As after a plain installation with `hotfuel[archive]`; each command in turn, in a process that cannot import it."""
    script = (
        "import json, sys\n"
        "sys.modules['pyarrow'] = None\n"
        "from hotfuel.cli.app import app\n"
        "for words in json.loads(sys.argv[1]):\n"
        "    app(words, standalone_mode=False)\n"
    )
    one, two = sessions[0], tmp_path / "the same again"
    shutil.copytree(one, two)
    commands = [
        ["archive", "add", str(one), "--archive", str(tmp_path / "a")],
        ["archive", "list", "--archive", str(tmp_path / "a"), "--json"],
        ["review", str(one), "--out", str(tmp_path / "r.html")],
        ["compare", f"a={one}", f"b={two}", "--out", str(tmp_path / "c.html")],
    ]
    done = subprocess.run([sys.executable, "-c", script, json.dumps(commands)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-600:]
    assert (tmp_path / "r.html").stat().st_size > 10_000
    assert (tmp_path / "c.html").stat().st_size > 10_000
    assert '"smallest_margin_degc"' in done.stdout

"""An archive recomputed: on all cores, on a cluster, with another calibration, with the same results."""

import datetime
import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest
from hotfuel.errors import InputError
from hotfuel.session import archive
from hotfuel.temperature.calibration import Calibration, ChannelCalibration

duckdb = pytest.importorskip("duckdb")


def results(root):
    """All results, as one frame each."""
    return [
        duckdb.sql(f"SELECT * FROM read_parquet('{root}/{kind}/*/*/*.parquet', hive_partitioning = true) ORDER BY ALL").df()
        for kind in ("samples", "summary")
    ]


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
    monkeypatch.setattr(os, "cpu_count", lambda: 1)  # and so without one process for every core
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
    with pytest.raises(InputError, match=f"1 of 2 sessions could not be recomputed: {first}"):
        archive.recompute(tmp_path)
    assert second in set(archive.listed(tmp_path)["session"])


def test_a_cluster_that_does_not_answer(filled, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(archive, "_CONNECT_S", 1)
    with pytest.raises(InputError, match="no Dask scheduler answers"):
        archive.recompute(filled, cluster="tcp://127.0.0.1:9")


@pytest.mark.slow
def test_on_a_cluster_with_a_worker_killed_in_mid_run(filled, tmp_path):
    """A scheduler and two workers as separate processes; one worker is killed after the first result: the results are the same all the same."""
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
        scheduler = start("dask_scheduler", "--port", "0", "--no-dashboard")
        workers = [start("dask_worker", "--no-nanny", "--nthreads", "1", "--no-dashboard") for _ in range(2)]
        address = _wait_for_workers(scheduler, address_file, 2)
        killed = []

        def progress(share):
            if not killed:
                killed.append(share)
                os.kill(workers[0].pid, signal.SIGKILL)

        assert archive.recompute(filled, cluster=address, progress=progress) == 6
        assert killed == [pytest.approx(1 / 6)]
        assert workers[0].wait(600) == -signal.SIGKILL
        for old, new in zip(before, results(filled), strict=True):
            pd.testing.assert_frame_equal(old, new)
    finally:
        for process in processes:
            process.kill()
            process.wait()


def _wait_for_workers(scheduler, address_file, count):
    from distributed import Client

    while not address_file.exists() or not address_file.read_text():
        assert scheduler.poll() is None, "the scheduler ended before it was ready"
        time.sleep(0.1)
    address = json.loads(address_file.read_text())["address"]
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=600)  # only ends a hang; no result depends on it
    return address


RECOMPUTE = """
import sys
from hotfuel.session import archive
if __name__ == "__main__":
    print(archive.recompute(sys.argv[1]))
"""


def test_recompute_ends_without_output_from_its_processes(filled, tmp_path):
    (tmp_path / "run.py").write_text(RECOMPUTE)
    done = subprocess.run([sys.executable, tmp_path / "run.py", filled], capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "6\n", "")

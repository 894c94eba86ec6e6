"""Disk calls that fail, the process killed after one of them, and the surroundings of a recording. tests/bench/bench_faults.py does every call."""

import os
import sys
from pathlib import Path

import pytest

if not hasattr(os, "fork") or not Path("/proc/self/fd").is_dir():
    pytest.skip("the trials fork and look up the files they write under /proc, so they need Linux", allow_module_level=True)
sys.path.insert(0, str(Path(__file__).parent.parent / "bench"))
import bench_faults
import bench_surroundings


@pytest.mark.parametrize(("job", "every"), [("recorder", 9), ("download", 5), ("archive add", 23), ("export", 5)])
def test_a_failing_call_loses_nothing_without_saying_so(job, every):
    (chosen,) = (one for one in bench_faults.JOBS if one.name == job)
    rows = bench_faults.table(every, [chosen], ("ENOSPC", "kill"))
    assert sum(row.tried for row in rows.values()) >= 4
    assert {title: row.wrong for title, row in rows.items() if row.lost} == {}


def test_the_trials_would_detect_a_loss(monkeypatch):
    """The check itself: a recorder that drops what the disk refuses is caught."""
    from hotfuel.log.append import LogWriter

    monkeypatch.setattr(LogWriter, "_to_spill", lambda self, data: None)
    (recorder,) = (one for one in bench_faults.JOBS if one.name == "recorder")
    rows = bench_faults.table(4, [recorder], ("ENOSPC",))
    assert sum(row.lost for row in rows.values()) > 0


@pytest.mark.parametrize("row", bench_surroundings.ROWS, ids=lambda row: row.__name__)
def test_surroundings(row):
    tried, held = bench_surroundings.run(row)
    assert tried == held > 0

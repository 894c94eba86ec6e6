"""Some of the disk's calls failing or the process killed after them, and what surrounds a recording. tests/bench/bench_faults.py does every call."""

import os
import sys
from pathlib import Path

import pytest

if not hasattr(os, "fork") or not Path("/proc/self/fd").is_dir():
    pytest.skip("the trials are forked processes, and see which files they write under /proc: Linux", allow_module_level=True)
sys.path.insert(0, str(Path(__file__).parent.parent / "bench"))
import bench_faults
import bench_surroundings


@pytest.mark.parametrize(("job", "every"), [("recorder", 9), ("download", 5), ("archive add", 23), ("export", 5)])
def test_a_call_that_fails_costs_nothing_that_is_not_said(job, every):
    (chosen,) = (one for one in bench_faults.JOBS if one.name == job)
    rows = bench_faults.table(every, [chosen], ("ENOSPC", "kill"))
    assert sum(row.tried for row in rows.values()) >= 4
    assert {title: row.wrong for title, row in rows.items() if row.lost} == {}


def test_the_trials_would_see_a_loss(monkeypatch):
    """The check itself: a recorder that throws away what the disk refuses is caught."""
    from hotfuel.log.append import LogWriter

    monkeypatch.setattr(LogWriter, "_to_spill", lambda self, data: None)
    (recorder,) = (one for one in bench_faults.JOBS if one.name == "recorder")
    rows = bench_faults.table(4, [recorder], ("ENOSPC",))
    assert sum(row.lost for row in rows.values()) > 0


@pytest.mark.parametrize("row", bench_surroundings.ROWS, ids=lambda row: row.__name__)
def test_surroundings(row):
    tried, held = bench_surroundings.run(row)
    assert tried == held > 0

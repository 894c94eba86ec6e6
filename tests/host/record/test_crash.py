"""The crash trials of tests/bench/bench_crash.py, shortened: killed recorders, a log cut at every byte, each disk call failing once."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
import bench_crash


@pytest.mark.skipif(not hasattr(os, "fork"), reason="recorders are forked")
def test_killed_recorders_leave_sessions_with_everything_older_than_a_second(tmp_path):
    done = bench_crash.kills(12, tmp_path, lives_s=(1.2, 3.0))
    assert len(done) == 12
    assert [trial.verdict() for trial in done] == [""] * 12
    assert min(len(trial.sent) for trial in done) > 40  # there was data to lose


def test_the_verdict_detects_a_lost_an_invented_and_a_swapped_frame(tmp_path):
    """The check can fail: a log damaged by hand is detected."""
    trial = bench_crash.kills(1, tmp_path, lives_s=(1.5, 1.6))[0]
    log = trial.path / "wire.log"
    whole, three, four = log.read_bytes(), bench_crash.frame(3), bench_crash.frame(4)
    assert trial.verdict() == ""
    log.write_bytes(whole.replace(three, b"\0"))
    assert "lost" in trial.verdict()
    log.write_bytes(whole.replace(three + four, four + three))
    assert "order" in trial.verdict()
    log.write_bytes(whole + bench_crash.frame(len(trial.sent)))
    assert trial.verdict() != ""
    log.write_bytes(whole[: whole.index(bench_crash.frame(10))])
    assert "older than 1 s" in trial.verdict()


def test_a_log_cut_at_any_byte_opens_with_every_whole_frame_and_recording_continues(tmp_path):
    counts = bench_crash.cut_at_every_byte(tmp_path)
    assert counts["tried"] > 1900
    assert counts["lost"] == 0


def test_each_call_to_the_disk_failing_once_leaves_the_same_log(tmp_path):
    table = bench_crash.each_call_fails_once(tmp_path, readings=12)
    assert {title.split(":")[0] for title in table} == {"write", "fsync"}
    assert all(row["lost"] == 0 and row["survived"] == row["tried"] for row in table.values()), table

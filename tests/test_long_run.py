"""Half an hour of recording, faster than real time, with all faults at once: every tick the board sent is stored or reported lost, exactly.

tests/bench/bench_long_run.py does a day. The count itself is checked against logs with something removed.
"""

import copy
import sys
from collections import Counter
from pathlib import Path

import pytest
from hotfuel.simulator.port import HAVE_PTY
from hotfuel_wire import codec, framing

sys.path.insert(0, str(Path(__file__).parent / "bench"))
import bench_long_run

pytestmark = [pytest.mark.skipif(not HAVE_PTY, reason="this system has no pseudo-terminals"), pytest.mark.slow]
HOURS, SPEED = 0.45, 400.0


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """(folder of the session, outcome, arguments of its count)."""
    folder = tmp_path_factory.mktemp("long") / "session"
    counted = []
    count = bench_long_run.count

    def kept(outcome, *rest):
        counted.append((copy.copy(outcome), *rest))
        count(outcome, *rest)

    bench_long_run.count = kept
    try:
        outcome = bench_long_run.run(folder, HOURS, SPEED, seed=3, every=0.2)
    finally:
        bench_long_run.count = count
    return folder, outcome, counted[0]


def test_every_tick_sent_is_stored_or_reported(ran):
    _, outcome, _ = ran
    assert outcome.wrong == []
    assert outcome.sent == outcome.stored + outcome.between + outcome.starts + outcome.ends
    assert outcome.sent > 0.9 * HOURS * 3600 * 5
    assert outcome.live == outcome.stored
    # faults did occur: otherwise the run shows nothing
    assert outcome.unplugged >= 2
    assert outcome.boots >= 2
    assert outcome.between > 0
    assert 0.002 < outcome.pieces_damaged / outcome.sent < 0.03
    assert outcome.board_dropped == 0, "the board waits for its reader, so it must not have dropped anything"


def again(ran, log):
    """The count over another log of the same run: the errors it finds."""
    folder, _, (outcome, _, sent, live) = ran
    outcome = copy.deepcopy(outcome)
    original = (folder / "wire.log").read_bytes()
    try:
        (folder / "wire.log").write_bytes(log)
        bench_long_run.count(outcome, folder, sent, Counter(live))
    finally:
        (folder / "wire.log").write_bytes(original)
    return outcome.wrong


def test_the_count_sees_a_reading_too_many_one_changed_and_one_gone(ran):
    """The check can fail: each of these causes a mismatch, the untouched log none."""
    folder, _, _ = ran
    log = (folder / "wire.log").read_bytes()
    assert again(ran, log) == []
    pieces = [piece for piece in log.split(b"\x00") if piece]
    readings = []
    for at, piece in enumerate(pieces):
        try:
            payload = framing.decode(piece)
        except framing.FrameError:
            continue
        if payload[0] == 2:
            readings.append((at, payload))
    at, payload = readings[len(readings) // 3]

    def joined(changed):
        return b"\x00" + b"\x00".join(changed) + b"\x00"

    assert any("twice" in sentence for sentence in again(ran, joined([*pieces[: at + 1], *pieces[at:]])))
    values = codec.unpack(payload)[1]
    values["channels"][0]["hot"] += 1
    invented = framing.encode(codec.pack("reading", values))[1:-1]
    assert any("never sent" in sentence for sentence in again(ran, joined([*pieces[:at], invented, *pieces[at + 1 :]])))
    assert any("live state" in sentence for sentence in again(ran, joined([*pieces[:at], *pieces[at + 1 :]])))
    # the last reading removed without a trace: no later number, no damage, no gap
    last, _ = readings[-1]
    assert any("without a damaged piece or gap" in sentence for sentence in again(ran, joined(pieces[:last])))

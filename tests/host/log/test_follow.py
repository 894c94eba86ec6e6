"""Followers: of live or finished logs, waiting or not, from the start or from the middle."""

import random
import threading
import time

import pytest
import wire_logs
from hotfuel.errors import InputError
from hotfuel.log import index
from hotfuel.log.append import LogWriter
from hotfuel.log.follow import Follower, blocks
from hotfuel_wire import codec, framing
from hypothesis import given
from hypothesis import strategies as st


def test_a_follower_ends_with_the_recording(tmp_path):
    """It gets every payload while the log grows, and stops when the writer closes."""
    path = tmp_path / "wire.log"
    payloads = [wire_logs.reading(100 * n, 5, [(n, 2, 3)]) for n in range(40)]
    writer = LogWriter(path)

    def write():
        for payload in payloads:
            writer.received(framing.encode(payload))
            time.sleep(0.002)
        writer.close()

    thread = threading.Thread(target=write)
    with Follower(path) as follower:
        assert follower.live
        thread.start()
        assert list(follower.payloads())[1:] == payloads  # the first says which log it is
        assert not follower.live
    thread.join()


def test_checking_whether_a_log_is_live_never_locks_a_writer_out(tmp_path):
    path = tmp_path / "wire.log"
    path.touch()
    stop = threading.Event()

    def look():
        with Follower(path) as follower:
            while not stop.is_set():
                _ = follower.live

    thread = threading.Thread(target=look)
    thread.start()
    try:
        for _ in range(50):
            LogWriter(path).close()
    finally:
        stop.set()
        thread.join()


def test_waiting_returns_as_soon_as_bytes_come(tmp_path):
    with LogWriter(tmp_path / "wire.log") as writer, Follower(tmp_path / "wire.log") as follower:
        follower.read()  # which log it is
        threading.Timer(0.05, writer.received, [b"\0a\0"]).start()
        got = []
        waiting = threading.Thread(target=lambda: got.append(follower.wait(3600)), daemon=True)
        waiting.start()
        waiting.join(120)  # it would wait an hour if it did not notice; two minutes are more than any busy machine needs
        assert got == [b"\0a\0"]
        assert follower.wait(0) == b""


@given(st.binary(max_size=500), st.integers(1, 100))
def test_blocks_are_the_log(tmp_path_factory, data, size):
    path = tmp_path_factory.mktemp("log") / "wire.log"
    path.write_bytes(data)
    assert b"".join(blocks(path, size)) == data


def test_a_missing_log_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match=r"nothing cannot be read \(No such file"):
        Follower(tmp_path / "nothing")


def wall_us(payload):
    name, values = codec.unpack(payload)
    return values["wall_us"] if name == "wall_anchor" else None


@pytest.fixture(scope="module")
def long_log(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "wire.log"
    path.write_bytes(wire_logs.damage(wire_logs.drive(4000), 0.0005))
    return path


def anchors(path):
    """[(position, wall_us)] of every whole anchor, by a plain search."""
    found, at = [], 0
    for piece in path.read_bytes().split(b"\0"):
        if piece:
            try:
                value = wall_us(framing.decode(piece))
            except (framing.FrameError, codec.WireError):
                value = None
            if value is not None:
                found.append((at, value))
        at += len(piece) + 1
    return found


def test_seeking_finds_the_last_anchor_before_a_time(long_log):
    found = anchors(long_log)
    assert len(found) > 50
    chance = random.Random(3)
    for _ in range(40):
        wanted = chance.uniform(found[0][1] - 1e6, found[-1][1] + 1e6)
        before = [position for position, value in found if value <= wanted]
        assert index.seek(long_log, wanted, wall_us) == (before[-1] if before else 0)


def test_seeking_reads_little_of_a_long_log(tmp_path, monkeypatch):
    path = tmp_path / "wire.log"
    path.write_bytes(wire_logs.drive(2000) * 20)  # the key goes back 19 times: any position that fits is accepted
    read = []
    plain = Follower.read
    monkeypatch.setattr(Follower, "read", lambda self, most=0: read.append(most) or plain(self, most))
    position = index.seek(path, 1_780_000_100_000_000, wall_us)
    assert 0 <= position < path.stat().st_size
    assert sum(read) < 60 * 65536


def test_a_log_without_anchors_is_followed_from_the_start(tmp_path):
    (tmp_path / "wire.log").write_bytes(framing.encode(wire_logs.mark("x")) * 30)
    assert index.seek(tmp_path / "wire.log", 5, wall_us) == 0
    assert index.tail(tmp_path / "wire.log", 100) == (tmp_path / "wire.log").stat().st_size - 100
    assert index.tail(tmp_path / "wire.log", 10**9) == 0

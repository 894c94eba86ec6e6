"""Hostile bytes at every entry point: the kept corpus and several hundred changed copies of it. tests/bench/bench_fuzz.py does it a million times."""

import gc
import json
import random
import signal
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest
from hotfuel import samples
from hotfuel.errors import InputError
from hotfuel.samples.stream import Stream
from hotfuel.study.power import pulls
from hotfuel_wire import framing

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "bench"))
import fuzz_targets  # noqa: E402

HANGS_S = 10
CHANGED = {
    "reader": 400,
    "payload": 400,
    "stream": 200,
    "payloads": 150,
    "car_file": 200,
    "pulls_csv": 200,
    "kept_elsewhere": 100,
    "session_folder": 30,
    "requests": 200,
    "browser": 100,
    "view": 100,
    "session_data": 100,
    "calibration": 100,
    "quantity": 300,
    "words": 200,
    "fetched": 60,
    "log_on_disk": 20,
    "kept_piece": 100,
    "archived": 2,
    "plan_file": 100,
    "workbook": 60,
    "several_pulls": 100,
    "sentences": 100,
    "hand_table": 40,
    "ground_line": 200,
    "mixed": 60,
    "board": 200,
}


def changed(data: bytes, others: list[bytes], draw: random.Random) -> bytes:
    """A copy with a few bits, bytes or runs of bytes changed, or the end of another input appended."""
    copy = bytearray(data)
    for _ in range(draw.randint(1, 4)):
        at = draw.randrange(len(copy) + 1)
        kind = draw.randrange(5)
        if kind == 0 and at < len(copy):
            copy[at] ^= 1 << draw.randrange(8)
        elif kind == 1:
            copy[at : at + draw.randint(1, 8)] = draw.randbytes(draw.randint(0, 8))
        elif kind == 2:
            del copy[at : at + draw.randint(1, 64)]
        elif kind == 3:
            copy[at:at] = copy[at : at + draw.randint(1, 64)] * draw.randint(1, 3)
        else:
            other = draw.choice(others)
            copy[at:] = other[draw.randrange(len(other) + 1) :]
    return bytes(copy)


def inputs(name: str) -> list[bytes]:
    """The kept inputs of a target, the empty one, and changed copies: the same at every run."""
    kept = fuzz_targets.corpus(name)
    draw = random.Random(name)
    longest = fuzz_targets.TARGETS[name][1]
    return [b"", *kept, *(changed(draw.choice(kept), kept, draw)[:longest] for _ in range(CHANGED[name]))]


def attack(name: str) -> str:
    """The first failure, with the bytes that caused it; "" if there was none. An input that takes 10 s of processor time counts
    as hanging; one that waits for ever ends at the suite's own time limit for a test."""

    def hangs(*_: object) -> None:
        raise TimeoutError(f"no end after {HANGS_S} s of processor time")

    signal.signal(signal.SIGPROF, hangs)
    target = fuzz_targets.TARGETS[name][0]()
    for data in inputs(name):
        signal.setitimer(signal.ITIMER_PROF, HANGS_S)
        try:
            target(data)
        except BaseException as error:
            return f"{type(error).__name__}: {error} from {data!r}"
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    return ""


pytestmark = pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="this system has no timer to interrupt a hang")


def test_every_target_has_kept_inputs_and_is_tried():
    assert set(CHANGED) == set(fuzz_targets.TARGETS) == {path.name for path in fuzz_targets.CORPUS.iterdir()}
    assert sum(path.stat().st_size for path in fuzz_targets.CORPUS.rglob("*") if path.is_file()) < 40_000


@pytest.mark.parametrize("name", [name for name in fuzz_targets.TARGETS if name != "board"])
def test_nothing_escapes_the_one_error_type(name):
    assert attack(name) == ""


def test_the_board_answers_and_keeps_running():
    """In its own process, where the board's modules replace Python's."""
    code = "import json, sys; sys.path.insert(0, sys.argv[1]); import test_hostile_input as t; sys.stderr.write(json.dumps(t.attack('board')))"
    done = subprocess.run([sys.executable, "-c", code, str(HERE)], capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert json.loads(done.stderr) == ""


def test_the_attack_finds_a_planted_defect(monkeypatch):
    """The check can fail: a reader that raises at one type of message is caught."""

    def trips(data: bytes) -> None:
        for payload in framing.FrameReader().feed(fuzz_targets.frames_of(data)):
            if payload[0] == 66:
                raise KeyError(payload[0])

    monkeypatch.setitem(fuzz_targets.TARGETS, "payloads", (lambda: trips, 1024))
    assert attack("payloads").startswith("KeyError: 66 from ")


def test_what_cannot_be_opened_raises_the_one_error_type(tmp_path):
    """A file name that does not exist: the error type is the one a person gets."""
    with pytest.raises(InputError):
        samples.decode(tmp_path / "no such log")


def test_a_power_unit_outside_the_usual_pairs_is_refused_in_one_sentence(tmp_path):
    """Found by fuzzing: watts beside a torque without a unit. Read with the unit that fits, refused where none does."""
    file = tmp_path / "pull.csv"
    rows = "\n".join(f"{rpm};400;{400 * rpm / 9549.3 * 1000:.0f}" for rpm in range(2500, 6600, 500))
    file.write_text(f"rpm;Torque;Power (W)\n{rows}", encoding="utf-8")
    (pull,) = pulls.read(file)
    assert pull.power_kw[-1] == pytest.approx(400 * 6500 / 9549.3, rel=1e-4)
    assert pull.torque_nm[-1] == pytest.approx(400, rel=1e-4)
    file.write_text("rpm;Torque;Power (W)\n" + "\n".join(f"{rpm};400;120" for rpm in range(2500, 6600, 500)), encoding="utf-8")
    with pytest.raises(InputError, match="power in W is"):
        pulls.read(file)


HALF_MEGABYTE = 1 << 19
WALLS = {
    "zeros": b"\x00" * HALF_MEGABYTE,
    "no zero": b"\x01" * HALF_MEGABYTE,
    "shortest pieces": b"\x01\x00" * (HALF_MEGABYTE // 2),
    "pieces of a frame's length": (b"\xff" * 48 + b"\x00") * (HALF_MEGABYTE // 49),
    "a frame that never ends": b"\x00\xf5" + b"\xaa" * HALF_MEGABYTE,
    "smallest frames": (framing.encode(b"\x7f")[1:] * HALF_MEGABYTE)[:HALF_MEGABYTE],
    "descriptions, all different": b"",
}


def _descriptions(count: int) -> bytes:
    """Descriptions of one board that differ in every boot count."""
    description = bytearray(fuzz_targets.good_payloads()[0])
    log = bytearray()
    for number in range(count):
        description[21:25] = number.to_bytes(4, "little")
        log += framing.encode(bytes(description))
    return bytes(log)


@pytest.mark.parametrize("name", WALLS)
def test_memory_stays_within_a_multiple_of_the_log(name):
    """At most half a megabyte of the worst log: the tables take no more than 48 bytes for each of its bytes, the stream almost none."""
    log = WALLS[name] or _descriptions(3000)
    tracemalloc.start()
    try:
        decoded = samples.decode(log)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.reset_peak()
        before, _ = tracemalloc.get_traced_memory()
        following = Stream()
        frames = sum(1 for at in range(0, len(log), 4096) for _ in following.feed(log[at : at + 4096]))
        _, most_stream = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 48 * len(log), f"{most / len(log):.1f} bytes for each byte of the log"
    assert most_stream - before < HALF_MEGABYTE
    assert frames <= decoded.losses.frames == following.frames.frames


@pytest.mark.parametrize("name", ["stream", "pulls_csv", "car_file"])
def test_earlier_inputs_leave_nothing_in_memory(name):
    """The same hostile inputs three times: the third pass keeps no more memory than the second. The first fills the caches; it is
    not traced, because tracing multiplies the time."""
    target = fuzz_targets.TARGETS[name][0]()
    tried = inputs(name)[:80]

    def kept():
        for data in tried:
            target(data)
        gc.collect()
        return tracemalloc.get_traced_memory()[0]

    kept()
    tracemalloc.start()
    try:
        second, third = kept(), kept()
    finally:
        tracemalloc.stop()
    assert third - second < 100_000, (second, third)

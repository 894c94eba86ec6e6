"""The on-board store on the real littlefs: power lost at every write and erase, hours kept, what is protected."""

import importlib.util
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

ROOT = Path(__file__).parent.parent.parent
SCRIPT = Path(__file__).parent / "board_ring.py"
spec = importlib.util.spec_from_file_location("ring", ROOT / "firmware" / "ring.py")
ring = importlib.util.module_from_spec(spec)
spec.loader.exec_module(ring)


def board(micropython, *arguments):
    # the last line: when files of a board that lost power are collected, messages are printed before it
    return micropython(SCRIPT, ROOT / "firmware", *arguments, heap="16M", timeout=280).splitlines()[-1]


def test_power_lost_at_every_write_and_erase(micropython):
    """Every n of a scripted run of five minutes with three events: nothing flushed is lost, at most 10 s are not flushed, and the
    store keeps recording."""
    tried, lost, broken, went_on = map(int, board(micropython, "trial", 0, 1).split())
    print(
        f"power cuts tried {tried}, frames lost beyond the limit {lost}, stores with a damaged piece {broken}, opened again and kept recording {went_on}"
    )
    assert tried > 500
    assert (lost, broken, went_on) == (0, 0, tried)


def test_three_hours_of_three_channels_fit_on_a_pico(micropython):
    """The figure in the README: 352 blocks of 4 KB, default rates, 64 KB left free, at the moment when least is kept."""
    hours, erases_per_hour, kept_bytes, free_bytes = board(micropython, "capacity").split()
    print(f"kept {hours} h in {kept_bytes} bytes, {erases_per_hour} erases an hour, {free_bytes} bytes free")
    assert float(hours) >= 3.0
    assert int(free_bytes) >= ring.KEEP_FREE_BYTES
    # W25Q16JV datasheet: 100,000 cycles a sector; spread over 352 blocks by littlefs. The Pico's own flash chip (from memory).
    years_of_continuous_use = 352 * 100_000 / int(erases_per_hour) / 8766
    assert years_of_continuous_use > 5


def test_hours_that_fit_beside_the_firmware(micropython, shipped):
    """The same with the firmware on the flash, as on a board: its files take 45 blocks."""
    hours, _, kept_bytes, _ = board(micropython, "capacity", shipped / "firmware").split()
    print(f"kept {hours} h in {kept_bytes} bytes beside the firmware")
    assert float(hours) >= 2.35


@pytest.mark.slow
def test_three_channels_with_position_fit_for_three_hours_beside_the_firmware(micropython, shipped):
    hours, _, kept_bytes, _ = board(micropython, "positions", shipped / "firmware").split()
    print(f"kept {hours} h with positions in {kept_bytes} bytes beside the firmware")
    assert float(hours) >= 3.0


def test_the_tow_home_does_not_erase_the_run(micropython):
    first, last, damaged, headless, protected, segments, kept_free, happened = board(micropython, "tow_home").split(maxsplit=7)
    assert int(first) == 0, "the run before the first mark is still there after six hours"
    assert int(last) > 6 * 3600e3 - 20000
    assert (damaged, headless, kept_free, happened.strip()) == ("0", "0", "True", "[]")
    assert int(protected) <= int(segments) / 2


@given(st.integers(0, 0xFFFF), st.integers(1, 300), st.sets(st.integers(0, 299), max_size=250))
def test_segments_keep_their_order_across_the_wrap(start, count, deleted):
    numbers = [(start + i) & 0xFFFF for i in range(count) if i not in deleted]
    assert ring.order(list(reversed(numbers))) == numbers


class Disk:
    """A folder whose file system says how much is free."""

    def __init__(self, folder, monkeypatch, total):
        self.folder, self.total = folder, total
        monkeypatch.setattr(ring.os, "statvfs", lambda _: (1, 1, total, max(0, total - self.used())), raising=False)

    def used(self):
        return sum(path.stat().st_size for path in self.folder.glob("*")) if self.folder.exists() else 0


FRAME = bytes(1) + b"\x07" * 40 + bytes(1)


def new(folder):
    return ring.Ring(str(folder), lambda: [FRAME], bytearray(4096))


def offer(one, name, time_ms):
    one.offer(name, FRAME, len(FRAME), time_ms)


def event_names(one):
    return [name for name, _ in one.happened]


def test_replies_are_never_stored_and_rates_are_kept(tmp_path):
    one = new(tmp_path / "s")
    for time_ms in range(0, 10000, 100):
        offer(one, "reply", time_ms)
        offer(one, "data", time_ms)
        offer(one, "reading", time_ms)
        offer(one, "auxiliary", time_ms)
    one.flush(10000)
    assert one.stored == 20 + 10
    assert one.segments() == [(0, (1 + 30) * 41, False)]


def test_full_of_protected_segments_it_reports_that_and_resumes_when_one_is_fetched(tmp_path, monkeypatch):
    Disk(tmp_path / "s", monkeypatch, ring.KEEP_FREE_BYTES + 4 * ring.SEGMENT_BLOCKS_BYTES)
    one = new(tmp_path / "s")
    one._may_protect = lambda: True  # the worst case: everything is worth keeping
    for step in range(6000):
        offer(one, "event", step)
        if step % 500 == 0:
            one.protect(step)
    assert one.full
    assert event_names(one).count("store_full") == 1
    oldest = one.segments()[0][0]
    assert one.read(oldest, 0, 41, 6000) == FRAME[1:]
    one.downloaded(oldest)
    offer(one, "event", 7000)
    offer(one, "event", 7001)
    assert not one.full
    assert one.segments()[-1][0] > oldest + 2


def test_a_segment_being_fetched_is_not_deleted(tmp_path, monkeypatch):
    Disk(tmp_path / "s", monkeypatch, ring.KEEP_FREE_BYTES + 3 * ring.SEGMENT_BLOCKS_BYTES)
    one = new(tmp_path / "s")
    for step in range(4000):
        offer(one, "event", step)
        one.read(0, 0, 224, step)
    kept = [number for number, _, _ in one.segments()]
    assert all(32000 - 4096 < size <= 32000 for _, size, _ in one.segments()[:-1]), "each is filled and none takes a ninth block"
    assert 0 in kept
    assert 1 not in kept, "something had to be deleted, and it was the next one"
    one.unpin(4000 + ring.PINNED_MS + 1)
    for step in range(4000, 6000):
        offer(one, "event", step)
    assert 0 not in [number for number, _, _ in one.segments()]


def test_a_failing_file_system_is_counted_and_never_raises(tmp_path, monkeypatch):
    one = new(tmp_path / "s")
    offer(one, "event", 0)
    monkeypatch.setattr(one, "_write", lambda data: (_ for _ in ()).throw(OSError(28, "no space")))
    offer(one, "event", 1)
    assert (one.stored, one.lost, event_names(one)) == (1, 1, ["exception"])
    monkeypatch.undo()
    offer(one, "event", 2)
    assert one.stored == 2


@pytest.mark.parametrize("name", ["notes.txt", "x.seg", "12.tmp"])
def test_other_files_in_the_folder_are_left_alone(tmp_path, name):
    (tmp_path / "s").mkdir()
    (tmp_path / "s" / name).write_text("mine")
    one = new(tmp_path / "s")
    offer(one, "event", 0)
    assert one.segments() == [(0, 82, False)]
    assert (tmp_path / "s" / name).read_text() == "mine"


def test_a_flash_without_a_block_for_the_folder_is_reported_full(tmp_path):
    one = new(tmp_path / "nowhere" / "s")
    assert (one.full, event_names(one)) == (True, ["store_full"])
    offer(one, "event", 0)
    one.poll(20_000)
    one.protect(20_000)
    assert (one.stored, one.segments(), one.read(0, 0, 10, 0)) == (0, [], None)

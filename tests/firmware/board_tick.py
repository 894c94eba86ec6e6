# Run on MicroPython: the timer callback with the heap locked, in every state a chip can be in. Prints what was tried, or the traceback.
# Any allocation raises MemoryError while the heap is locked; the callback would keep it in `error`.

import gc
import micropython
import sys

from clock import Clock
from chips.max31856 import Chip
from chips.max31855 import Chip as Max31855
from chips.mcp9601 import Chip as Mcp9601
from fake_board import SETTINGS, FakeBoard, PointerChip, WordChip, converted
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER, NOT_READY
from sampler import DEPTH, Sampler

CHANNELS = 3
# Near the wrap of ticks_ms, where a number one too large would no longer be a small integer.
board = FakeBoard(CHANNELS, start_ms=0x3FFFFFFF - 20000)
settings = dict(SETTINGS)
done = []


def ticks(mode, rate_hz, prepare, count, expected):
    settings["mode"] = mode
    settings["rate_hz"] = rate_hz
    sampler = Sampler(board, [Chip(board, channel, settings) for channel in range(CHANNELS)], 1000 // rate_hz)
    sampler.start(Clock(board.ticks_ms))
    callback = board.timer[1]
    while count:
        count -= 1
        board.advance(sampler.period_ms)
        for index in range(CHANNELS):
            prepare(board.chips[index])
        gc.collect()
        gc.disable()
        before = gc.mem_alloc()
        callback(None)
        after = gc.mem_alloc()
        gc.enable()
        micropython.heap_lock()
        callback(None)  # in the same window: skipped
        micropython.heap_unlock()
        board.advance(sampler.period_ms)
        for index in range(CHANNELS):
            prepare(board.chips[index])
        micropython.heap_lock()
        callback(None)
        micropython.heap_unlock()
        if sampler.error:
            raise sampler.error
        assert after == before, (after, before)
    last = None
    while sampler.take():
        last = sampler.hot[0], sampler.hot[1], sampler.hot[2]
    assert last == (expected,) * 3, last
    return sampler


def good(chip):
    converted(chip, -131072, -14080, 0)


def pending(chip):
    chip.bytes[0] |= 0x40


def brown_out(chip):
    for index in range(16):
        chip.bytes[index] = 0
    chip.bytes[1] = 0x03
    chip.bytes[2] = 0xFF


def gone(chip):
    chip.silent = 0xFF


def dead(chip):
    chip.silent = 0x00


good_run = ticks("one_shot", 5, good, 40, -131072)
assert good_run.dropped == 80 - DEPTH, good_run.dropped
assert good_run.skipped == 40, good_run.skipped
ticks("automatic", 10, good, 5, -131072)
ticks("one_shot", 5, pending, 5, NOT_READY)
ticks("one_shot", 5, brown_out, 5, CONFIGURATION_LOST)
ticks("one_shot", 5, gone, 5, NO_ANSWER)
ticks("automatic", 5, dead, 5, NO_ANSWER)

# A mixed board: the two other drivers, with and without a new conversion, and after a loss of power.
mixed = FakeBoard(0, start_ms=5000)
mixed.chips = [WordChip(b"\x01\x90\x19\x00")]
pointer = PointerChip()
mixed.i2c = lambda: pointer
settings["i2c_addresses"] = ("0", "96")
settings["resolution_bits"] = 16
sampler = Sampler(mixed, [Max31855(mixed, 0, settings), Mcp9601(mixed, 1, settings)], 200)
sampler.start(Clock(mixed.ticks_ms))
callback = mixed.timer[1]
expected = []
for state in (0x40, 0x00, 0x40, -1, 0x50):
    mixed.advance(200)
    if state < 0:
        pointer.registers[6][0] = 0
    else:
        pointer.registers[4][0] = state
        pointer.registers[3][0] = 0xFF
    expected.append(CONFIGURATION_LOST if state < 0 else -0x10000 if state & 0x40 else NOT_READY)
    micropython.heap_lock()
    callback(None)
    micropython.heap_unlock()
    if sampler.error:
        raise sampler.error
hots = []
while sampler.take():
    assert (sampler.hot[0], sampler.cold[0]) == (100, 400), (sampler.hot[0], sampler.cold[0])
    hots.append(sampler.hot[1])
assert hots == expected, hots

print(
    "135 ticks, 0 bytes;", "small integers of", 31 if sys.maxsize < 1 << 32 else 63, "bits; wrapped:", board.now_ms < 0x20000000
)

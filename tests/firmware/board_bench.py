# Run on MicroPython: board_bench.py ROOT FOLDER speed|hour. Frames on standard output, the measurements as JSON on standard error.
# Times are the host's own, so they are taken from the real clock beside the simulated one.

import gc
import json
import sys
import time as real_time

root, folder, part = sys.argv[1:4]
sys.path.insert(0, root + "/tests/firmware")
import rig

rig.arrange(root)
ticks_us = real_time.ticks_us  # before the stand-in replaces it
measured = {}


def us_each(function, count):
    begun = ticks_us()
    for _ in range(count):
        function()
    return (ticks_us() - begun) / count


def drivers_alone():
    """One tick of three amplifiers on a board that answers at once: the firmware's own time, and what it allocates."""
    from chips.max31856 import Chip
    from clock import Clock
    from fake_board import SETTINGS, FakeBoard, converted
    from sampler import Sampler

    board = FakeBoard(3)
    sampler = Sampler(board, [Chip(board, channel, SETTINGS) for channel in range(3)], 200)
    sampler.start(Clock(board.ticks_ms))
    total_us = 0
    most = 0
    for _ in range(2000):
        board.advance(200)
        for chip in board.chips:
            converted(chip, 6711, 6400)
        gc.collect()
        gc.disable()
        before = gc.mem_alloc()
        begun = ticks_us()
        board.timer[1](None)
        total_us += ticks_us() - begun
        most = max(most, gc.mem_alloc() - before)
        gc.enable()
        sampler.take()
    measured["tick_us"] = total_us / 2000
    measured["tick_allocates_bytes"] = most


def framing_alone():
    """One reading of three channels: pack, CRC, COBS; against the minimum of touching each of its bytes once."""
    from hotfuel_wire import codec, framing

    channel = {"hot": 6711, "cold": 6400, "status": 0}
    values = {"tick": 1, "time_ms": 200, "description_id": 0xCBF43926, "channels": [channel] * 3}
    payload, frame = bytearray(240), bytearray(framing.FRAME_MAX)
    length = codec.pack_into(payload, "reading", values, True)
    measured["frame_bytes"] = framing.encode_into(frame, payload, length)
    measured["pack_us"] = us_each(lambda: codec.pack_into(payload, "reading", values, True), 5000)
    measured["frame_us"] = us_each(lambda: framing.encode_into(frame, payload, length), 5000)

    def floor():
        for index in range(length):
            frame[index] = payload[index]

    measured["floor_us"] = us_each(floor, 5000)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    codec.pack_into(payload, "reading", values, True)
    framing.encode_into(frame, payload, length)
    measured["frame_allocates_bytes"] = gc.mem_alloc() - before
    gc.enable()


def an_hour():
    """An hour of board time, the second half without a host that reads."""
    made = rig.Rig()
    gc.collect()
    before = gc.mem_alloc()
    measured["stand_in_bytes"] = before
    import application
    import board

    app = application.Application(folder)
    gc.collect()
    measured["firmware_bytes"] = gc.mem_alloc() - before
    longest = [0]
    collect = gc.collect

    def watched():
        begun = ticks_us()
        collect()
        longest[0] = max(longest[0], ticks_us() - begun)

    application.gc = type("watched", (), {"collect": staticmethod(watched)})
    begun = ticks_us()
    made.run(app.step, 1800)
    measured["late_while_read"] = app.sampler.late
    board.room = lambda: False
    made.run(app.step, 1800)
    measured["real_time_ratio"] = 3600e6 / (ticks_us() - begun)
    collect()
    measured["after_an_hour_bytes"] = gc.mem_alloc() - before
    measured["longest_collect_us"] = longest[0]
    measured["late_while_not_read"] = app.sampler.late - measured["late_while_read"]
    measured["skipped"] = app.sampler.skipped
    measured["dropped_frames"] = app.sender.dropped
    measured["attached"] = app.attached


if part == "hour":
    an_hour()
else:
    drivers_alone()
    framing_alone()
sys.stderr.write(json.dumps(measured))

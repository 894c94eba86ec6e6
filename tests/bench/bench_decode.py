"""Decoding a whole log: `hotfuel.samples.decode` beside libraries for the same job, all in one process.

Run: python tests/bench/bench_decode.py [--frames 1000000] [--slow 1000000] [--day] [--mixed LOG]
With --mixed only that: a log as it is recorded (`wire.log` of the session `hotfuel demo` leaves), lengthened to as many frames.
The log: reading frames of four channels (49 bytes each, a zero on both sides), codes that drift with noise, a description every 10 s, anchors every 5 s.
Every peer decodes the same samples from its own format, in memory; with --slow the slow ones take fewer frames and are scaled by frames, which
flatters those that keep every message: their time for one grows with how many there are.
Medians of five runs, taken in turn so that a busy machine slows all alike.
"""

import argparse
import io
import statistics
import struct
import subprocess
import sys
import time
import zlib
from pathlib import Path

import numpy as np
from hotfuel.link import inspect
from hotfuel.samples import bulk, decode
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import TYPES

sys.path.insert(0, str(Path(__file__).parent.parent / "host" / "samples"))
import mixed_log
import wire_logs

RUNS = 5
CHANNELS = 4


def pymavlink_peer(frames):
    from pymavlink.dialects.v20 import common as mavlink

    sender = mavlink.MAVLink(io.BytesIO(), srcSystem=1, srcComponent=1)
    chance = np.random.default_rng(1)
    values = chance.integers(1, 2**16, (frames, 18)).tolist()
    # rc_channels: 21 numbers in 42 bytes of payload, as many bytes as a reading of four channels has (15 numbers)
    data = b"".join(sender.rc_channels_encode(n, 18, *row, 200).pack(sender) for n, row in enumerate(values))

    def run():
        got = mavlink.MAVLink(None).parse_buffer(data)
        assert len(got) == frames

    return run


def construct_peer(frames, payloads):
    compiled = inspect.PAYLOADS[TYPES["reading"]].compile()
    return lambda: [compiled.parse(payload) for payload in payloads[:frames]]


def cantools_peer(frames, payloads):
    import cantools

    signals = [("tick", 0, 32), ("time_ms", 32, 32), ("description_id", 64, 32)]
    for channel in range(CHANNELS):
        at = 96 + channel * 56
        signals += [(f"hot{channel}", at, 32), (f"cold{channel}", at + 32, 16), (f"status{channel}", at + 48, 8)]
    lines = "".join(f' SG_ {name} : {start}|{size}@1- (1,0) [0|0] "" V\n' for name, start, size in signals)
    dbc = f'VERSION ""\nBS_:\nBU_: V\nBO_ 100 reading: 64 V\n{lines}'
    message = cantools.database.load_string(dbc, "dbc").get_message_by_name("reading")
    bodies = [(payload[1:13] + payload[14:]).ljust(64, b"\0") for payload in payloads[:frames]]
    return lambda: [message.decode(body) for body in bodies]


def asammdf_peer(readings, path):
    from asammdf import MDF, Signal

    first = readings[readings["channel"] == 0]
    time_s = np.arange(len(first)) * 0.1
    signals = [
        Signal(first["tick"].copy(), time_s, name="tick"),
        Signal(first["description_id"].copy(), time_s, name="description_id"),
    ]
    for channel in range(CHANNELS):
        mine = readings[readings["channel"] == channel]
        signals += [Signal(mine[name].copy(), time_s, name=f"{name}{channel}") for name in ("hot", "cold", "status")]
    with MDF(version="4.10") as file:
        file.append(signals)
        file.save(path, overwrite=True, compression=0)
    names = [signal.name for signal in signals]

    def run():
        with MDF(path) as file:
            got = [file.get(name, raw=True) for name in names]
            assert len(got[2].samples) == len(first)

    return run


def loop_peer(data):
    """What one would write by hand: split, cobs (C extension), zlib, struct; the values are not kept, which favours it."""
    from cobs import cobs

    layout = codec.LAYOUTS[TYPES["reading"]]
    unpack = struct.Struct(layout.format + layout.group_format.strip("<") * CHANNELS).unpack_from
    size = layout.size + CHANNELS * layout.group_size

    def run():
        good = 0
        for piece in data.split(b"\0"):
            if not piece:
                continue
            try:
                body = cobs.decode(piece)
            except cobs.DecodeError:
                continue
            if len(body) == size + 4 and zlib.crc32(body[:-4]) == int.from_bytes(body[-4:], "little"):
                unpack(body)
                good += 1
        return good

    return run


def bare_loop(data):
    """The same without a layout to unpack, so for a log of messages of any type: every frame checked, none kept."""
    from cobs import cobs

    good = 0
    for piece in data.split(b"\0"):
        if not piece:
            continue
        try:
            body = cobs.decode(piece)
        except cobs.DecodeError:
            continue
        good += zlib.crc32(body[:-4]) == int.from_bytes(body[-4:], "little")
    return good


def mixed(log, frames):
    """A log as it is recorded, lengthened: tables of everything in it, timed in turn with the bare loop."""
    data = mixed_log.lengthened(log.read_bytes(), frames)
    spent = [(timed(lambda: decode(data)), timed(lambda: bare_loop(data))) for _ in range(RUNS)]
    assert bare_loop(data) == decode(data).losses.frames
    ours, theirs = (statistics.median(each) for each in zip(*spent, strict=True))
    share = statistics.median(bare / table for table, bare in spent)
    print(
        f"{log}, lengthened to {len(data) / 1e6:.0f} MB: tables {ours:.3f} s, bare cobs and zlib loop {theirs:.3f} s: {share:.2f} x (aim 3)"
    )


def bulk_only(data):
    """Frames found and checked, their bytes as columns: no tables, no board time."""
    frames = 0
    for block in bulk.blocks(data[at : at + bulk.BLOCK] for at in range(0, len(data), bulk.BLOCK)):
        frames += block.frames
    return frames


def timed(function):
    began = time.process_time()
    function()
    return time.process_time() - began


def expected_survivors(clean, damaged):
    """The number of payloads that a plain reader finds in the damaged log, and whether all of them were sent."""
    sent = set(clean.split(b"\0"))
    reader = framing.FrameReader()
    found = list(reader.feed(damaged))
    whole = sum(1 for payload in found if framing.encode(payload)[1:-1] in sent)
    return len(found), whole


def day(folder):
    """Memory for 24 h of eight channels at 10 Hz, read from a file by a separate process."""
    path = Path(folder) / "bench_decode.log"
    try:
        path.write_bytes(wire_logs.drive(864_000, 8))  # not a part repeated: parts that name one start of the board are joined
        # VmHWM begins anew with each program; getrusage would give this process's peak if that is greater
        code = (
            "import sys; from pathlib import Path; from hotfuel.samples import decode; scans = decode(sys.argv[1]).scans; "
            "peak_kb = Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]; "
            "print(len(scans), scans.nbytes / 1e6, int(peak_kb) * 1024 / 1e6)"
        )
        done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True)
        scans, table_mb, peak_mb = map(float, done.stdout.split())
        print(
            f"24 h, 8 channels, 10 Hz: log {path.stat().st_size / 1e6:.0f} MB, {scans:.0f} scans, table {table_mb:.0f} MB, peak {peak_mb:.0f} MB"
        )
    finally:
        path.unlink(missing_ok=True)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--day", action="store_true", help="only the memory for a day's log")
    options.add_argument("--frames", type=int, default=1_000_000)
    options.add_argument("--slow", type=int, default=1_000_000)
    options.add_argument("--folder", default=".")
    options.add_argument("--mixed", type=Path, metavar="LOG", help="only a log of many kinds of messages, as it is recorded")
    chosen = options.parse_args()
    if chosen.day:
        day(chosen.folder)
        return
    if chosen.mixed:
        mixed(chosen.mixed, chosen.frames)
        return
    data = wire_logs.drive(chosen.frames, CHANNELS)
    damaged = wire_logs.damage(data, 0.01)
    decoded = decode(data)
    frames = decoded.losses.readings
    slow = min(chosen.slow, frames)
    payloads = [payload for payload in framing.FrameReader().feed(data[: 60 * slow + 10_000]) if payload[0] == TYPES["reading"]][
        :slow
    ]
    mdf_path = Path(chosen.folder) / "bench_decode.mf4"
    # name -> (frames of one run, function)
    peers = {
        "hotfuel.samples.decode": (frames, lambda: decode(data)),
        "the same, 1 % of bytes damaged": (frames, lambda: decode(damaged)),
        "the same, as a row per channel": (frames, lambda: decode(data).readings),
        "hotfuel.samples.bulk alone": (frames, lambda: bulk_only(data)),
        "pymavlink, MAVLink 2": (slow, pymavlink_peer(slow)),
        "construct, compiled": (slow, construct_peer(slow, payloads)),
        "cantools, CAN FD": (slow, cantools_peer(slow, payloads)),
        "asammdf, MDF4": (frames, asammdf_peer(decoded.readings, mdf_path)),
        "cobs + zlib + struct loop": (frames, loop_peer(data)),
        "floor: zlib.crc32": (frames, lambda: zlib.crc32(data)),
        "floor: frombuffer + copy": (frames, lambda: np.frombuffer(data, np.uint8).copy()),
    }
    del decoded
    try:
        spent = {name: [] for name in peers}
        for _ in range(RUNS):
            for name, (_, function) in peers.items():
                spent[name].append(timed(function))
    finally:
        mdf_path.unlink(missing_ok=True)
    ours = statistics.median(spent["hotfuel.samples.decode"]) / frames
    print(
        f"{frames} reading frames of {CHANNELS} channels, {len(data) / 1e6:.0f} MB; medians of {RUNS}; slow peers on {slow} frames"
    )
    print(f"{'':34} {'s per million':>14} {'frames/s':>12} {'x ours':>8}")
    for name, (count, _) in peers.items():
        each = statistics.median(spent[name]) / count
        print(f"{name:34} {each * 1e6:14.3f} {1 / each:12,.0f} {each / ours:8.2f}")
    found, whole = expected_survivors(data, damaged)
    got = decode(damaged).losses.frames
    print(f"damaged: a plain reader finds {found} frames, {whole} of them as sent; decode finds {got} ({got / found:.4%})")


if __name__ == "__main__":
    main()

"""Decoding a whole log: `hotfuel.samples.decode` beside libraries for the same job, all in one process.

Run: python tests/bench/bench_decode.py [--frames 1000000] [--slow 20000]
The log: reading frames of four channels (49 bytes each, a zero on both sides), codes that drift with noise, a description every 10 s, anchors every 5 s.
Every peer decodes the same samples from its own format, in memory; the slow ones take fewer frames (--slow) and are scaled by frames.
Medians of five runs, taken in turn so that a busy machine slows all alike.
"""

import argparse
import io
import statistics
import struct
import sys
import time
import zlib
from pathlib import Path

import numpy as np
from hotfuel.link import inspect
from hotfuel.samples import decode
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import TYPES

sys.path.insert(0, str(Path(__file__).parent.parent / "host" / "samples"))
import wire_logs

RUNS = 5
CHANNELS = 4


def long_log(frames):
    """A drive of `frames` readings, made from one of at most 200,000 by moving its times on."""
    part = wire_logs.drive(min(frames, 200_000), CHANNELS)
    return part * (frames // 200_000) + (part if frames < 200_000 else b"")


def pymavlink_peer(frames):
    from pymavlink.dialects.v20 import common as mavlink

    sender = mavlink.MAVLink(io.BytesIO(), srcSystem=1, srcComponent=1)
    chance = np.random.default_rng(1)
    values = chance.integers(1, 2**15, (frames, 8)).astype(float)
    # 8 numbers, 32 bytes of payload, 44 of frame: the nearest standard message to a reading of four channels
    data = b"".join(sender.attitude_quaternion_encode(n, *row[1:]).pack(sender) for n, row in enumerate(values.tolist()))

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
    """What one writes by hand: split, cobs (C extension), zlib, struct."""
    from cobs import cobs

    fixed = struct.Struct(codec.LAYOUTS[TYPES["reading"]].format)
    group = struct.Struct(codec.LAYOUTS[TYPES["reading"]].group_format)

    def run():
        rows = []
        for piece in data.split(b"\0"):
            if not piece:
                continue
            try:
                body = cobs.decode(piece)
            except cobs.DecodeError:
                continue
            payload = body[:-4]
            if zlib.crc32(payload) != int.from_bytes(body[-4:], "little") or payload[0] != TYPES["reading"]:
                continue
            rows.append((fixed.unpack_from(payload), list(group.iter_unpack(payload[fixed.size :]))))
        return rows

    return run


def timed(function):
    began = time.process_time()
    function()
    return time.process_time() - began


def expected_survivors(clean, damaged):
    """Payloads that a plain reader finds in the damaged log, as a count, and whether all of them were sent."""
    sent = set(clean.split(b"\0"))
    reader = framing.FrameReader()
    found = list(reader.feed(damaged))
    whole = sum(1 for payload in found if framing.encode(payload)[1:-1] in sent)
    return len(found), whole


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--frames", type=int, default=1_000_000)
    options.add_argument("--slow", type=int, default=20_000)
    options.add_argument("--folder", default=".")
    chosen = options.parse_args()
    data = long_log(chosen.frames)
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

"""Logs made with the wire's own codec, for the tests and benches of log, link, samples and record."""

import math
import random

from hotfuel_wire import codec, framing
from hotfuel_wire.kinds import KINDS
from hotfuel_wire.messages import CHIPS, EVENTS, NO_CHANNEL, TYPES
from hypothesis import strategies as st

BOARD_ID = b"\x01board\x00\x00"


def description(channels=4, *, boot_count=1, period_ms=100, time_ms=0, version=1, simulated=0, speed=0, gain=32):
    """A description payload."""
    return codec.pack(
        "description",
        {
            "tick": time_ms // period_ms,
            "time_ms": time_ms,
            "protocol_version": version,
            "firmware_major": 0,
            "firmware_minor": 1,
            "firmware_patch": 0,
            "board_id": BOARD_ID,
            "boot_count": boot_count,
            "reset_cause": 1,
            "period_ms": period_ms,
            "simulated": simulated,
            "simulated_speed": speed,
            "channels": [
                {
                    "place": b"place%d" % number,
                    "chip": CHIPS["MAX31856"],
                    "thermocouple": ord("K"),
                    "gain": gain,
                    "mains_hz": 60,
                    "averages": 1,
                    "mode": 1,
                    "resolution_bits": 19,
                }
                for number in range(channels)
            ],
        },
    )


def reading(time_ms, description_id, codes, *, period_ms=100):
    """A reading payload; codes: one (hot, cold, status) a channel."""
    return codec.pack(
        "reading",
        {
            "tick": (time_ms % 2**32) // period_ms,
            "time_ms": time_ms % 2**32,
            "description_id": description_id,
            "channels": [{"hot": hot, "cold": cold, "status": status} for hot, cold, status in codes],
        },
    )


def anchor(time_ms, wall_us, monotonic_us, flags=0, tick=1):
    return codec.pack(
        "wall_anchor",
        {"tick": tick, "time_ms": time_ms % 2**32, "wall_us": wall_us, "monotonic_us": monotonic_us, "flags": flags},
    )


def mark(text, wall_us=0, time_ms=0):
    return codec.pack("mark", {"tick": 0, "time_ms": time_ms, "wall_us": wall_us, "text": text.encode()})


def gap(wall_us, length_ms, reason, time_ms=0):
    return codec.pack(
        "link_gap",
        {"tick": 0, "time_ms": time_ms, "wall_us": wall_us, "length_ms": length_ms, "bytes_damaged": 0, "reason": reason},
    )


def health(time_ms, frames_dropped=0, readings_dropped=0):
    values = dict.fromkeys([row[0] for row in codec.LAYOUTS[TYPES["health"]].fixed], 0)
    values |= {"tick": 0, "time_ms": time_ms, "frames_dropped": frames_dropped, "readings_dropped": readings_dropped}
    return codec.pack("health", values)


def auxiliary(time_ms, barometer=b"\x01" * 6, **later):
    values = {
        "tick": 1,
        "time_ms": time_ms,
        "fitted": 1,
        "inputs": 0,
        "battery": 0,
        "fuel_pressure": 0,
        "pulses": 0,
        "barometer": barometer,
    }
    return codec.pack("auxiliary", values | later)


def event(time_ms, code="mark", detail=b"", value=0):
    values = {"tick": 0, "time_ms": time_ms, "code": EVENTS[code], "channel": NO_CHANNEL, "value": value, "detail": detail}
    return codec.pack("event", values)


def one_of_each():
    """One payload of every message, with non-empty bytes where it has some."""
    payloads = []
    for number, layout in sorted(codec.LAYOUTS.items()):
        values = {row[0]: b"w%d" % number if KINDS[row[1]][2] is None else number for row in layout.fixed}
        if layout.tail:
            values[layout.tail[0]] = b"bytes" if layout.group is None else []
        if layout.name == "reading":
            values["channels"] = [{"hot": 5, "cold": 6, "status": 7}] * 2
        if layout.name != "description":
            payloads.append(codec.pack(layout.name, values))
    return payloads


def drive(frames, channels=4, *, period_ms=100, seed=1, every_description=100):
    """A log of slowly moving codes with noise, a description every 10 s, anchors every 5 s: like an intact recording."""
    chance = random.Random(seed)
    told = description(channels, period_ms=period_ms)
    number = codec.description_id(told)
    pieces = []
    for tick in range(frames):
        time_ms = (tick + 1) * period_ms + chance.randint(0, 2)
        if tick % every_description == 0:
            pieces.append(framing.encode(description(channels, period_ms=period_ms, time_ms=time_ms)))
        codes = [
            (
                8000 + int(3000 * math.sin(tick / 3000 + channel)) + chance.randint(-20, 20),
                6400 + chance.randint(-8, 8) + tick // 500 % 900,
                0,
            )
            for channel in range(channels)
        ]
        pieces.append(framing.encode(reading(time_ms, number, codes, period_ms=period_ms)))
        if tick % (every_description // 2) == 1:
            pieces.append(framing.encode(anchor(time_ms, 1_780_000_000_000_000 + time_ms * 1000, time_ms * 1000)))
    return b"".join(pieces)


def damage(data, share, seed=2):
    """Every byte replaced by a random one with probability `share`."""
    chance = random.Random(seed)
    damaged = bytearray(data)
    for at in chance.sample(range(len(damaged)), round(share * len(damaged))):
        damaged[at] = chance.randrange(256)
    return bytes(damaged)


u32 = st.integers(0, 2**32 - 1)
times_ms = st.one_of(st.integers(0, 200_000), st.integers(2**32 - 50_000, 2**32 - 1), u32)
codes = st.lists(st.tuples(st.integers(-(2**31), 2**31 - 1), st.integers(-(2**15), 2**15 - 1), st.integers(0, 255)), max_size=8)
_TOLD = [description(2), description(3, boot_count=2), description(2, gain=8), description(1, version=2, boot_count=3)]
_IDS = [codec.description_id(payload) for payload in _TOLD]


@st.composite
def payloads(draw):
    """One payload of any kind: intact, of a newer or older version, unknown, or of the wrong length with a right CRC."""
    payload = draw(_payloads_of_now())
    return (payload + draw(st.sampled_from([b""] * 6 + [b"\0", b"\x01\x02", bytes(7), bytes(range(30))])))[:240]


@st.composite
def _payloads_of_now(draw):
    kinds = ["reading"] * 6 + ["description", "anchor", "mark", "gap", "health", "event", "auxiliary", "junk", "cut"]
    kind = draw(st.sampled_from(kinds))
    time_ms = draw(times_ms)
    if kind == "description":
        told = draw(st.sampled_from(_TOLD))
        return told[:5] + time_ms.to_bytes(4, "little") + told[9:]
    if kind == "anchor":
        return anchor(time_ms, draw(st.integers(0, 2**60)), draw(st.integers(0, 2**60)), tick=draw(st.integers(0, 1)))
    if kind == "mark":
        return mark(draw(st.text(max_size=20)), 5, time_ms)
    if kind == "gap":
        return gap(draw(st.integers(0, 2**60)), draw(u32), draw(st.integers(0, 9)), time_ms)
    if kind == "health":
        return health(time_ms, draw(u32), draw(u32))
    if kind == "auxiliary":
        later = draw(st.sampled_from([{}, {"fitted_high": 0x1234}]))
        return auxiliary(time_ms, draw(st.binary(max_size=6)), **later)
    if kind == "event":
        return event(time_ms, "mark", draw(st.binary(max_size=40)))
    if kind == "junk":
        return draw(st.binary(min_size=1, max_size=240))
    payload = reading(time_ms, draw(st.sampled_from([*_IDS, 7])), draw(codes))
    if kind == "cut":
        return payload[: draw(st.integers(1, len(payload)))]
    if draw(st.booleans()):
        payload = bytes([payload[0] | 0x80]) + payload[1:]
    return payload


@st.composite
def streams(draw, longest=60):
    """Bytes as a log may hold them: frames with text in between, flipped, cut and doubled ones."""
    pieces = []
    for payload in draw(st.lists(payloads(), max_size=longest)):
        frame = bytearray(framing.encode(payload))
        what = draw(st.sampled_from(["sound"] * 8 + ["flip", "cut", "twice", "text", "one zero", "many"]))
        if what == "flip":
            frame[draw(st.integers(0, len(frame) - 1))] ^= 1 << draw(st.integers(0, 7))
        elif what == "cut":
            frame = frame[draw(st.integers(0, len(frame))) :]
        elif what == "twice":
            frame *= 2
        elif what == "many":
            frame *= 70  # enough frames of one length for the method that decodes many together
        elif what == "text":
            pieces.append(draw(st.binary(max_size=300)))
        elif what == "one zero":
            frame = frame[1:]
        pieces.append(bytes(frame))
    whole = b"".join(pieces)
    return whole[: len(whole) - draw(st.integers(0, 3))]

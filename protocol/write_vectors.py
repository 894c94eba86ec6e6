"""Writes vectors.jsonl, the golden frames: `python protocol/write_vectors.py`. Run it only when a message is added; existing lines must not change.

A line: {"message", "values" (byte fields as hex under "hex:" names), "fits" (False: the host refuses, the board saturates), "frame" (hex)}.
"""

import json
from pathlib import Path

from hotfuel_wire import codec, framing

HEADER = {"tick": 4711, "time_ms": 942_200}
CHANNEL = {
    "place": b"tank",
    "chip": 1,
    "thermocouple": 75,
    "gain": 32,
    "mains_hz": 60,
    "averages": 1,
    "mode": 0,
    "resolution_bits": 19,
}
DESCRIPTION = {
    "protocol_version": 1,
    "firmware_major": 0,
    "firmware_minor": 1,
    "firmware_patch": 0,
    "board_id": bytes(range(1, 9)),
    "boot_count": 12,
    "reset_cause": 1,
    "period_ms": 200,
    "simulated": 0,
    "simulated_speed": 0,
    "channels": [
        CHANNEL,
        {**CHANNEL, "place": b"pump"},
        {**CHANNEL, "place": b"carb_inlet", "chip": 3, "gain": 1, "resolution_bits": 18},
    ],
}
READING = {
    "description_id": 0xCBF43926,
    "channels": [
        {"hot": 6708, "cold": 8704, "status": 0},
        {"hot": -1, "cold": -64, "status": 1},
        {"hot": 0, "cold": 0, "status": 0},
    ],
}
HEALTH = {
    "late_ticks": 1,
    "skipped_ticks": 0,
    "longest_tick_us": 3120,
    "frames_sent": 70000,
    "frames_dropped": 3,
    "frames_stored": 28000,
    "readings_dropped": 0,
    "memory_free": 91_000,
    "store_free_kb": 900,
    "lamp": 1,
    "alarm_unseen": 0,
    "limits_age_days": 2,
}
WALL_US = 1_750_000_000_000_000

ROWS = [
    ("description", DESCRIPTION),
    ("reading", READING),
    ("reading", {**READING, "channels": [{"hot": -0x3FFFFFFE, "cold": 0x7FFF, "status": 255}] * 8}),
    ("reading", {**READING, "description_id": 0, "channels": []}),
    (
        "auxiliary",
        {
            "fitted": 31,
            "inputs": 1,
            "battery": 40210,
            "fuel_pressure": 9120,
            "pulses": 0xFFFFFFFF,
            "barometer": bytes.fromhex("6546a0803a00"),
        },
    ),
    ("event", {"code": 8, "channel": 255, "value": -40000, "detail": b"pump"}),
    ("health", HEALTH),
    ("command", {"sequence": 65535, "code": 5, "argument": bytes(8)}),
    ("reply", {"sequence": 65535, "code": 5, "outcome": 2, "answer": b"8 bytes expected"}),
    ("data", {"segment": 3, "offset": 31808, "data": bytes(range(224))}),
    ("barometer", {"chip": 1, "words": bytes(range(24))}),
    ("wall_anchor", {"wall_us": WALL_US, "monotonic_us": 1 << 40, "flags": 0}),
    ("mark", {"wall_us": WALL_US, "text": "stumbled at the top of the pass, 21 °C".encode()}),
    ("link_gap", {"wall_us": WALL_US, "length_ms": 3600, "bytes_damaged": 17, "reason": 1}),
    # What does not fit: the host refuses these, the board saturates and marks them.
    ("reading", {**READING, "channels": [{"hot": 0x80000000, "cold": -32769, "status": 256}]}),
    ("reading", {**READING, "channels": [{"hot": -0x80000001, "cold": 40000, "status": -1}]}),
    ("health", {**HEALTH, "longest_tick_us": 1 << 40, "limits_age_days": 70000}),
    ("event", {"code": 300, "channel": -1, "value": 1 << 35, "detail": b""}),
    ("event", {"code": 5, "channel": 255, "value": 0, "detail": b"x" * 300}),
    ("description", {**DESCRIPTION, "channels": [{**CHANNEL, "place": b"a place too long"}]}),
]


def _json(value):
    if isinstance(value, bytes):
        return "hex:" + value.hex()
    if isinstance(value, list):
        return [_json(entry) for entry in value]
    if isinstance(value, dict):
        return {key: _json(entry) for key, entry in value.items()}
    return value


def lines():
    """The file's lines, one golden frame each."""
    for name, values in ROWS:
        values = {**HEADER, **values}
        try:
            payload, fits = codec.pack(name, values), True
        except codec.WireError:
            payload, fits = codec.pack(name, values, saturate=True), False
        yield json.dumps({"message": name, "values": _json(values), "fits": fits, "frame": framing.encode(payload).hex()})


if __name__ == "__main__":
    (Path(__file__).parent / "vectors.jsonl").write_text("\n".join(lines()) + "\n", encoding="utf-8")

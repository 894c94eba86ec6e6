"""Writes vectors.jsonl, the golden frames: `python protocol/write_vectors.py`. Run it only when a message is added; existing lines must not change.

A line: {"message", "values" (byte fields as hex under "hex:" names), "fits" (False: the host refuses, the board saturates), "frame" (hex)}. Where a
writer and this reader are of different versions also "more": bytes that a newer one wrote after the last field, ignored; "defaults": fields that an
older one did not write, with the values read for them; "description_id": of a description received like this. "cut": so many bytes are missing at the
payload's end, so that it ends inside a field and every reader rejects it.
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

# Writer and reader of different versions.
AUXILIARY = {"fitted": 127, "inputs": 3, "battery": 1, "fuel_pressure": 2, "pulses": 3, "barometer": bytes(6)}
TRACK = {"age_ms": 9870, "time_cs": 8639999, "latitude": -283_026_760, "longitude": 1_079_999_999, "speed": 4321}
STEP = {"later_cs": 100, "north": 1500, "east": -1, "speed": 4300}
GROWN = [
    ("description", DESCRIPTION, {"more": b"\0\0\x07"}),
    ("description", {**DESCRIPTION, "channels": []}, {"more": b"\x01" * 200}),
    ("reading", READING, {"more": b"\xff\x00\x80"}),
    ("reading", {**READING, "channels": []}, {"more": bytes(7)}),  # as long as a channel, and is none
    ("reading", {**READING, "channels": READING["channels"] * 2}, {"more": bytes(range(100))}),
    ("auxiliary", {**AUXILIARY, "fitted_high": 0xABCD}, {}),
    ("auxiliary", {**AUXILIARY, "fitted_high": 1}, {"more": b"\x02\x00\x00\x00"}),
    ("auxiliary", {**AUXILIARY, "barometer": b"", "fitted_high": 0x8000}, {"more": b"\x05"}),
    ("auxiliary", AUXILIARY, {"defaults": {"fitted_high": 0}}),
    ("auxiliary", {**AUXILIARY, "fitted_high": 0x0101}, {"cut": 1}),
    ("event", {"code": 5, "channel": 255, "value": -1, "detail": b"why"}, {"more": b"\x09\x00"}),
    ("health", HEALTH, {"more": bytes(8)}),
    ("health", HEALTH, {"cut": 1}),
    ("command", {"sequence": 1, "code": 6, "argument": b"mark"}, {"more": b"\x11"}),
    ("reply", {"sequence": 1, "code": 6, "outcome": 0, "answer": b""}, {"more": b"\x11\x12"}),
    ("barometer", {"chip": 2, "words": bytes(21)}, {"more": b"\x01"}),
    ("wall_anchor", {"wall_us": WALL_US, "monotonic_us": 5, "flags": 1}, {"more": b"\x01\x02"}),
    ("mark", {"wall_us": WALL_US, "text": b"lap"}, {"more": b"block 183 degF"}),
    ("link_gap", {"wall_us": WALL_US, "length_ms": 1, "bytes_damaged": 0, "reason": 2}, {"more": b"\x00"}),
    ("log_start", {"log_id": bytes(range(8)), "wall_us": WALL_US, "part": 1}, {}),
    ("log_start", {"log_id": bytes(range(8)), "wall_us": WALL_US, "part": 0, "marks_end": 7}, {}),
    ("health", {**HEALTH, "bit_errors": 0x01020304, "failed": 7}, {"more": b"\x55"}),
    ("health", HEALTH, {"defaults": {"bit_errors": 0, "failed": 0}}),
    ("health", {**HEALTH, "bit_errors": 5}, {"defaults": {"failed": 0}}),
    ("health", {**HEALTH, "bit_errors": 0xFFFFFFFF}, {"cut": 2}),
    ("sentence", {"wall_us": WALL_US, "monotonic_us": 1 << 40, "text": b"$GPRMC,,V,,,,,,,,,,N*53"}, {}),
    ("sentence", {"wall_us": WALL_US, "monotonic_us": 5, "text": b""}, {"more": b"\x09"}),
    (
        "more_inputs",
        {"inputs": [{"input": 1, "value": 25600}, {"input": 2, "value": -3}, {"input": 17, "value": 0x3FFFFFFF}]},
        {},
    ),
    ("receiver_sentence", {"text": b"$GPRMC,,V,,,,,,,,,,N*53"}, {}),
    ("receiver_sentence", {"text": b""}, {"more": b"\x01"}),
    ("track", {**TRACK, "steps": []}, {}),
    ("track", {**TRACK, "steps": [STEP, {"later_cs": 65535, "north": -32768, "east": 32767, "speed": 65535}]}, {"more": b"\x07"}),
    ("track", {**TRACK, "steps": [STEP] * 9}, {"cut": 3}),
    ("more_inputs", {"inputs": []}, {"more": b"\x01\x00"}),
    ("more_inputs", {"inputs": [{"input": 255, "value": -0x80000000}] * 8}, {"cut": 1}),
    ("log_start", {"log_id": bytes(range(8)), "wall_us": WALL_US, "part": 0, "marks_end": 1}, {"more": b"\x07"}),
    ("log_start", {"log_id": bytes(range(8)), "wall_us": WALL_US, "part": 0}, {"defaults": {"marks_end": 0}}),
    ("link_gap", {"wall_us": WALL_US, "length_ms": 0, "bytes_damaged": 0, "reason": 4}, {}),
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
    for name, values, of_another_version in GROWN:
        values = {**HEADER, **values}
        payload = codec.pack(name, values) + of_another_version.get("more", b"")
        payload = payload[: len(payload) - of_another_version.get("cut", 0)]
        line = {"message": name, "values": _json(values), "fits": True, "frame": framing.encode(payload).hex()}
        line |= {key: _json(value) for key, value in of_another_version.items()}
        if name == "description":
            line["description_id"] = codec.description_id(payload)
        yield json.dumps(line)


if __name__ == "__main__":
    (Path(__file__).parent / "vectors.jsonl").write_text("\n".join(lines()) + "\n", encoding="utf-8")

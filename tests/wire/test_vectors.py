"""The golden frames: identical bytes on CPython, 64-bit MicroPython and 32-bit MicroPython."""

import binascii
import hashlib
import json
import os
import runpy
import struct
from pathlib import Path

import cobs.cobs
import pytest
from hotfuel_wire import codec, framing

HERE = Path(__file__).parent
VECTORS = HERE.parent.parent / "protocol" / "vectors.jsonl"
ROWS = [json.loads(line) for line in VECTORS.read_text(encoding="utf-8").splitlines()]
EXPECTED = f"packed {len(ROWS)}, read back {len(ROWS)}, damaged 0\n"


def plain(value):
    if isinstance(value, str):
        return bytes.fromhex(value.removeprefix("hex:"))
    if isinstance(value, list):
        return [plain(entry) for entry in value]
    return {key: plain(entry) for key, entry in value.items()} if isinstance(value, dict) else value


def test_every_message_has_a_vector():
    assert {row["message"] for row in ROWS} == {layout.name for layout in codec.LAYOUTS.values()}
    assert sum(not row["fits"] for row in ROWS) >= 6


OWN = [row for row in ROWS if not {"more", "defaults", "cut"} & set(row)]
OTHER_VERSIONS = [row for row in ROWS if row not in OWN]


@pytest.mark.parametrize("row", OWN, ids=lambda row: row["message"])
def test_golden_frame(row):
    values = plain(row["values"])
    if row["fits"]:
        payload = codec.pack(row["message"], values)
    else:
        with pytest.raises(codec.WireError, match="holds|fit"):
            codec.pack(row["message"], values)
        payload = codec.pack(row["message"], values, saturate=True)
    assert framing.encode(payload).hex() == row["frame"]
    name, back = codec.unpack(payload)
    assert name == row["message"]
    assert back["saturated"] is (not row["fits"])


def test_the_frames_of_version_1_are_as_they_were():
    """The file's first 20 lines, written before messages could grow: a log of version 1 must decode for ever."""
    first = b"".join(VECTORS.read_bytes().splitlines(keepends=True)[:20])
    assert hashlib.sha256(first).hexdigest() == "15a69d0a5c71d0138d8888106c6ad82aa7ecce16980bfedf4d0420c955c97500"
    told = plain(ROWS[0]["values"])
    assert (
        told["protocol_version"],
        codec.unpack(framing.decode(bytes.fromhex(ROWS[0]["frame"])[1:-1]))[1]["channels"][2]["chip"],
    ) == (1, 3)


@pytest.mark.parametrize("row", OTHER_VERSIONS, ids=lambda row: row["message"])
def test_a_frame_of_another_version(row):
    payload = framing.decode(bytes.fromhex(row["frame"])[1:-1])
    if "cut" in row:
        with pytest.raises(codec.WireError, match="ends inside|at least"):
            codec.unpack(payload)
        return
    own = codec.pack(row["message"], plain(row["values"]))
    assert payload == own + plain(row.get("more", ""))
    name, values = codec.unpack(payload)
    assert name == row["message"]
    assert values == codec.unpack(own)[1]
    assert row.get("defaults", {}).items() <= values.items()
    if name == "description":
        assert codec.description_id(payload) == row["description_id"] == binascii.crc32(payload[9:]) != codec.description_id(own)


def test_there_are_vectors_for_both_directions():
    assert {row["message"] for row in OTHER_VERSIONS if "more" in row} >= {
        "description",
        "reading",
        "auxiliary",
        "event",
        "health",
        "mark",
    }
    later = {(layout.name, row[0]) for layout in codec.LAYOUTS.values() for row in layout.later}
    assert later == {(row["message"], field) for row in OTHER_VERSIONS for field in row.get("defaults", {})}
    assert any("cut" in row for row in OTHER_VERSIONS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["message"])
def test_golden_frame_against_the_cobs_library_and_zlib(row):
    """The frame taken apart by independent code: COBS by the `cobs` library, CRC-32 by binascii."""
    frame = bytes.fromhex(row["frame"])
    assert frame[0] == frame[-1] == 0
    assert 0 not in frame[1:-1]
    body = cobs.cobs.decode(frame[1:-1])
    assert binascii.crc32(body[:-4]) == int.from_bytes(body[-4:], "little")


def test_one_reading_by_hand():
    """A reading typed byte by byte from the document, not from the declaration."""
    payload = (
        struct.pack("<BIIIB", 2, 4711, 942_200, 0xCBF43926, 3)
        + struct.pack("<ihB", 6708, 8704, 0)
        + struct.pack("<ihB", -1, -64, 1)
        + bytes(7)
    )
    row = next(row for row in ROWS if row["message"] == "reading" and row["fits"])
    assert framing.encode(payload).hex() == row["frame"]


def test_cpython_runs_the_boards_script(capsys, monkeypatch):
    monkeypatch.chdir(VECTORS.parent)
    runpy.run_path(str(HERE / "board_vectors.py"))
    assert capsys.readouterr().out == EXPECTED


def test_unix_port(micropython):
    here = os.getcwd()
    os.chdir(VECTORS.parent)
    try:
        assert micropython(HERE / "board_vectors.py") == EXPECTED
    finally:
        os.chdir(here)


def test_webassembly(webassembly, wire_sources):
    assert webassembly(HERE / "board_vectors.py", {**wire_sources, "vectors.jsonl": VECTORS}) == EXPECTED

"""Logs written by a program of another version: a separate process whose declaration has more fields in every message."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import wire_logs
from hotfuel.link import inspect
from hotfuel.samples import decode
from hotfuel.samples.stream import Stream
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import TYPES

PROGRAM = Path(__file__).parent / "grown_wire.py"


def later_version(what, path):
    done = subprocess.run([sys.executable, PROGRAM, what, path], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def newer_log(tmp_path_factory):
    path = tmp_path_factory.mktemp("newer") / "wire.log"
    later_version("write", path)
    return path


def test_a_newer_log_reads_as_if_it_were_of_this_version(newer_log):
    """Everything that this version knows is equal in every table; only bytes, and the id of the grown description, differ."""
    now = decode(wire_logs.drive(400) + b"".join(map(framing.encode, wire_logs.one_of_each())))
    newer = decode(newer_log)
    assert newer.losses.payloads_misfit == 0
    assert newer.losses.readings_without_description == 1  # as in this version's log: the one reading of another board
    for name in now.scans.dtype.names:
        if name not in ("description_id", "known"):
            assert (newer.scans[name] == now.scans[name]).all(), name
    assert newer.scans["known"].sum() == now.scans["known"].sum() == 400
    for name, rows in now.messages.items():
        for column in rows.dtype.names:
            if column != "description_id":
                np.testing.assert_array_equal(newer.messages[name][column], rows[column], err_msg=f"{name}.{column}")
    assert {len(part) for part in newer_log.read_bytes().split(b"\0") if part and part[1] == TYPES["reading"]} != {47}


def test_the_table_the_stream_and_the_view_agree_on_a_newer_log(newer_log):
    decoded, stream = decode(newer_log), Stream()
    messages = list(stream.feed(newer_log.read_bytes()))
    assert stream.payloads_misfit == 0
    assert len(messages) == decoded.losses.frames
    names = [message.name for message in messages]
    assert names.count("reading") == len(decoded.scans)
    for payload, message in zip(framing.FrameReader().feed(newer_log.read_bytes()), messages, strict=True):
        seen = inspect.view(payload)
        assert (seen.message, seen.tick) == (message.name, message.values["tick"])
    grown = next(message for message in messages if message.name == "description")
    assert list(decoded.descriptions) == [grown.description_id]


def test_an_older_log_has_the_declared_defaults_in_a_newer_program(tmp_path):
    payloads = [wire_logs.description(4), *wire_logs.one_of_each()]
    (tmp_path / "wire.log").write_bytes(b"".join(map(framing.encode, payloads)))
    got = json.loads(later_version("read", tmp_path / "wire.log"))
    assert got["misfit"] == 0
    expected = {name: [] for name in TYPES}
    for payload in payloads:
        expected[codec.unpack(payload)[0]].append([515, "unknown"])
    assert all(expected.values()), "every message is in the log"
    assert got["table"] == got["stream"] == got["view"] == expected


def test_a_program_reads_its_own_later_fields_back(newer_log):
    """Both fields, one and none, in turn: a missing one has its default."""
    got = json.loads(later_version("read", newer_log))
    assert got["table"] == got["stream"] == got["view"]
    readings = got["table"]["reading"]
    assert {count % 3 for count, word in readings if word == str(count)} == {0}
    assert {count % 3 for count, word in readings if word == "unknown" and count != 515} == {1}
    assert sum(row == [515, "unknown"] for row in readings) > 100

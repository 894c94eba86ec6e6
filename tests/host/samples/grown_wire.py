"""A program of a later version: every message has two more fields, one of them a byte string. Run as a script; see test_growth.py."""

import json
import sys

from hotfuel_wire import messages

LATER = (("later_count", "u16", None, 1, 515), ("later_word", "id8", None, 1, b"unknown"))
messages.MESSAGES = {number: (name, rows + LATER) for number, (name, rows) in messages.MESSAGES.items()}

import wire_logs  # noqa: E402 - what follows derives from the declaration above
from hotfuel.link import inspect  # noqa: E402
from hotfuel.samples import decode  # noqa: E402
from hotfuel.samples.stream import Stream  # noqa: E402
from hotfuel_wire import codec, framing  # noqa: E402


def later_payload(payload, number):
    """The payload with later fields added: both, the first alone, or none, in turn."""
    name, values = codec.unpack(payload)
    values = {key: value for key, value in values.items() if key not in ("type", "saturated", "later_count", "later_word")}
    values |= [{"later_count": number, "later_word": b"%d" % number}, {"later_count": number}, {}][number % 3]
    return codec.pack(name, values)


def write(path):
    """Write a log of the later version, with a description that has grown too."""
    payloads = list(framing.FrameReader().feed(wire_logs.drive(400) + b"".join(map(framing.encode, wire_logs.one_of_each()))))
    told = later_payload(wire_logs.description(4, boot_count=1), 3)
    number = codec.description_id(told)
    before = codec.description_id(wire_logs.description(4)).to_bytes(4, "little")
    with open(path, "wb") as file:
        for at, payload in enumerate(payloads):
            if payload[0] == messages.TYPES["reading"] and payload[9:13] == before:
                payload = payload[:9] + number.to_bytes(4, "little") + payload[13:]
            grown = later_payload(payload, at)
            if payload[0] == messages.TYPES["description"]:
                grown = told[:1] + payload[1:9] + told[9:]
            file.write(framing.encode(grown))


def read(path):
    """What the later version reads from a log: columns of later fields, by message, from the table, the stream and the view."""
    decoded = decode(path)
    tables = decoded.messages | {"reading": decoded.readings[decoded.readings["channel"] == 0]}
    columns = {
        name: [[int(row["later_count"]), bytes(row["later_word"]).rstrip(b"\0").decode()] for row in rows]
        for name, rows in tables.items()
    }
    stream, streamed, viewed = Stream(), {name: [] for name in columns}, {name: [] for name in columns}
    with open(path, "rb") as file:
        data = file.read()
    for message in stream.feed(data):
        values = message.values
        streamed[message.name].append([values["later_count"], values["later_word"].rstrip(b"\0").decode()])
    for payload in framing.FrameReader().feed(data):
        seen = inspect.view(payload)
        viewed[seen.message].append([seen.later_count, seen.later_word.rstrip(b"\0").decode()])
    json.dump({"table": columns, "stream": streamed, "view": viewed, "misfit": decoded.losses.payloads_misfit}, sys.stdout)


if __name__ == "__main__":
    {"write": write, "read": read}[sys.argv[1]](sys.argv[2])

# Runs on every interpreter: packs every line of vectors.jsonl with the board's code, compares the frame and the values read back
# from it, and prints every difference, then the count.
import binascii
import json

from hotfuel_wire import messages, hosts_own  # noqa: F401 - some of the lines are the host's own; joined before the codec takes the rows
from hotfuel_wire import codec, framing


def plain(value):
    if isinstance(value, str):
        assert value.startswith("hex:")
        return binascii.unhexlify(value[4:])
    if isinstance(value, list):
        return [plain(entry) for entry in value]
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    return value


def same(read, written):
    """True if written values and group entries equal what was read back; byte strings of fixed length come back padded with zeros."""
    if isinstance(written, dict):
        return all([same(read[key], value) for key, value in written.items()])
    if isinstance(written, list):
        return len(read) == len(written) and all([same(*pair) for pair in zip(read, written)])
    return read == written or (isinstance(written, bytes) and read == written + bytes(len(read) - len(written)))


def read_back(payload, row):
    """True if this interpreter's reader decodes the payload as the line says."""
    try:
        name, values = codec.unpack(payload)
    except codec.WireError:
        return "cut" in row
    written = plain(row["values"])
    written.update(row.get("defaults", {}))
    good = "cut" not in row and name == row["message"] and values["saturated"] is not row["fits"]
    if "description_id" in row:
        good = good and codec.description_id(payload) == row["description_id"]
    return good and (not row["fits"] or same(values, written))


count = 0
stream = b""
lines = []
with open("vectors.jsonl") as file:
    for line in file:
        row = json.loads(line)
        payload = codec.pack(row["message"], plain(row["values"]), saturate=True) + plain(row.get("more", "hex:"))
        frame = framing.encode(payload[: len(payload) - row.get("cut", 0)])
        text = "".join(["%02x" % byte for byte in frame])
        if text != row["frame"]:
            print("differs:", line)
        stream += frame
        lines.append(line)  # a row takes several times the memory of its line, and a board's is small
        count += 1
reader = framing.FrameReader()
read = [payload for byte in stream for payload in reader.feed(bytes([byte]))]
for payload, line in zip(read, lines):
    row = json.loads(line)
    if not read_back(payload, row):
        print("reads differently:", row)
print("packed %d, read back %d, damaged %d" % (count, len(read), reader.pieces_damaged))

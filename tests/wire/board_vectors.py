# Runs on every interpreter: packs every line of vectors.jsonl the board's way and compares the frame; prints what differs, then the count.
import json

from hotfuel_wire import codec, framing


def plain(value):
    if isinstance(value, str):
        assert value.startswith("hex:")
        return bytes([int(value[i : i + 2], 16) for i in range(4, len(value), 2)])
    if isinstance(value, list):
        return [plain(entry) for entry in value]
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    return value


count = 0
stream = b""
with open("vectors.jsonl") as file:
    for line in file:
        row = json.loads(line)
        frame = framing.encode(codec.pack(row["message"], plain(row["values"]), saturate=True))
        text = "".join(["%02x" % byte for byte in frame])
        if text != row["frame"]:
            print("differs:", line)
        stream += frame
        count += 1
reader = framing.FrameReader()
names = [codec.unpack(payload)[0] for byte in stream for payload in reader.feed(bytes([byte]))]
print("packed %d, read back %d, damaged %d" % (count, len(names), reader.pieces_damaged))

"""A small content kept in two files that are written in turn: power may go at any moment, one of the two is whole."""

import binascii
import os
import struct

_HEAD = "<II"  # sequence, length: 8 bytes; behind the content the CRC-32 of all before it


class TwinFile:
    """Two files `name`_a and `name`_b. load() and save() are each other's inverse."""

    def __init__(self, name, folder=""):
        self._paths = (folder + name + "_a", folder + name + "_b")

    def load(self):
        """The newest intact content as bytes, None if there is none."""
        newest = self._newest()
        return newest[2] if newest else None

    def spoiled(self):
        """True where something was kept and nothing of it is intact."""
        return any([_there(path) for path in self._paths]) and self._newest() is None

    def save(self, content):
        """Write over the older file. Raises OSError if it cannot be read back as written; the newer one is untouched then."""
        newest = self._newest()
        sequence, path = (newest[0] + 1, self._paths[1 - newest[1]]) if newest else (1, self._paths[0])
        newest = None  # its content is large, and memory is short: no copy is kept or made that is not needed
        head = struct.pack(_HEAD, sequence, len(content))
        with open(path, "wb") as file:
            for part in (head, content, struct.pack("<I", binascii.crc32(content, binascii.crc32(head)))):
                file.write(part)
        if _read(path) != (sequence, content):
            raise OSError("%s does not read back as it was written" % path)

    def _newest(self):
        """(sequence, which of the two, content)"""
        found = None
        for index in (0, 1):
            entry = _read(self._paths[index])
            if entry and (found is None or entry[0] > found[0]):
                found = (entry[0], index, entry[1])
        return found


def _there(path):
    try:
        return os.stat(path)
    except OSError:
        return None


def _read(path):
    try:
        with open(path, "rb") as file:
            length = file.seek(0, 2)
            file.seek(0)
            data = file.read(length)  # in one piece: reading to the end grows its memory step by step
    except OSError:
        return None
    if len(data) < 12:
        return None
    sequence, length = struct.unpack_from(_HEAD, data)
    if len(data) != length + 12 or binascii.crc32(memoryview(data)[:-4]) != struct.unpack_from("<I", data, len(data) - 4)[0]:
        return None
    return sequence, data[8:-4]

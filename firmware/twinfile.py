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
        if newest is None:
            return None
        with open(self._paths[newest[1]], "rb") as file:
            file.seek(8)
            return file.read(newest[2])  # in one piece: reading to the end grows its memory step by step

    def spoiled(self):
        """True where something was kept and nothing of it is intact."""
        return any([_there(path) for path in self._paths]) and self._newest() is None

    def save(self, content):
        """Write over the older file. Raises OSError if it cannot be read back as written; the newer one is untouched then."""
        newest = self._newest()
        sequence, path = (newest[0] + 1, self._paths[1 - newest[1]]) if newest else (1, self._paths[0])
        head = struct.pack(_HEAD, sequence, len(content))
        crc = binascii.crc32(content, binascii.crc32(head))
        with open(path, "wb") as file:
            for part in (head, content, struct.pack("<I", crc)):
                file.write(part)
        if _check(path) != (sequence, len(content), crc):
            raise OSError("%s does not read back as it was written" % path)

    def _newest(self):
        """(sequence, which of the two, length)"""
        found = None
        for index in (0, 1):
            entry = _check(self._paths[index])
            if entry and (found is None or entry[0] > found[0]):
                found = (entry[0], index, entry[1])
        return found


def _there(path):
    try:
        return os.stat(path)
    except OSError:
        return None


def _check(path):
    """(sequence, length, CRC) of an intact file, else None. Piece by piece: a heap with holes has no room for a whole one to be thrown away again."""
    try:
        with open(path, "rb") as file:
            piece = file.read(8)
            if len(piece) < 8:
                return None
            sequence, length = struct.unpack(_HEAD, piece)
            crc, left = binascii.crc32(piece), length
            while left:
                piece = file.read(min(left, 256))
                if not piece:
                    return None
                crc = binascii.crc32(piece, crc)
                left -= len(piece)
            return (sequence, length, crc) if file.read(5) == struct.pack("<I", crc) else None
    except OSError:
        return None

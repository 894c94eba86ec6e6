"""A small content kept in two files, written alternately: whenever the power fails, one of them is whole."""

import binascii
import os
import struct

_HEAD = "<II"  # sequence, length: 8 bytes; after the content the CRC-32 of everything before it


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
            return file.read(newest[2])  # with its length: reading to the end would reallocate step by step

    def spoiled(self):
        """True if a file exists and none is intact."""
        return any([_there(path) for path in self._paths]) and self._newest() is None

    def save(self, content):
        """Overwrite the older file. Raises OSError if it does not read back as written; the newer one is unchanged then."""
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
    """(sequence, length, CRC) of an intact file, else None. Reads in pieces: a fragmented heap may have no room for a whole file."""
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

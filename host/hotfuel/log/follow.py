"""Reads a log while it grows or after it has ended, in the same way."""

import os
import time
from collections.abc import Iterator
from pathlib import Path

from hotfuel_wire.framing import FrameReader

from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.log import joined, others
from hotfuel.log.lock import is_being_written

BLOCK = 1 << 20
_LOOK_EVERY_S = 0.02


class Follower:
    """Reads the log at `path` from byte `position` on. `position` grows as it reads. Raises InputError if there is no such log.

    Skips another recording's bytes in the same file (`log.others`); everything=True reads them too.
    """

    def __init__(self, path: str | os.PathLike[str], position: int = 0, *, everything: bool = False) -> None:
        self.path = Path(path)
        self.position = position
        self._everything = everything
        self._log_id: bytes | None = None
        refuse_pipe(self.path)
        try:
            self._file = open(self.path, "rb", buffering=0)  # noqa: SIM115 - closed in close()
        except OSError as error:
            raise InputError(
                f"{self.path} cannot be read ({error.strerror}); give the wire.log of a session, or its folder"
            ) from None
        self._finder = others.Finder(others.reading(self._file))

    def __enter__(self) -> "Follower":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the log."""
        self._file.close()

    @property
    def live(self) -> bool:
        """True while a recorder has this log open."""
        return is_being_written(self._file.fileno())

    def read(self, most: int = BLOCK) -> bytes:
        """The next bytes, at most `most`; b"" if there are none at the moment. Does not wait."""
        data = self._in_file(most) or self._kept_elsewhere(most)
        if not data:
            # The writer may have moved the spill into the log between the two looks.
            data = self._in_file(most)
        self.position += len(data)
        return data

    def _in_file(self, most: int) -> bytes:
        """The file's next bytes, of this recording only."""
        while True:
            self._file.seek(self.position)
            data = self._file.read(most)
            if not data or self._everything:
                return data
            size = max(os.fstat(self._file.fileno()).st_size, self.position + len(data))
            for other in self._finder.others(size):
                if other.begin > self.position:
                    return data[: other.begin - self.position]
                if other.end >= size > other.begin:
                    return b""
                if other.end > self.position:
                    self.position = other.end
                    break
            else:
                return data

    def _kept_elsewhere(self, most: int) -> bytes:
        size = os.fstat(self._file.fileno()).st_size
        if self._log_id is None:
            self._log_id = joined.whose(self.path)
        own = size if self._everything else others.end_of(self._finder.others(size), size)
        return joined.join(self.path, own, self._log_id).read(self.position, most)

    def wait(self, timeout_s: float) -> bytes:
        """The next bytes, waiting for them at most `timeout_s`; b"" if none came."""
        end = time.monotonic() + timeout_s
        while True:
            data = self.read()
            left = end - time.monotonic()
            if data or left <= 0:
                return data
            time.sleep(min(_LOOK_EVERY_S, left))

    def payloads(self) -> Iterator[bytes]:
        """Every whole payload until the log's end; waits for more while a recorder has it open."""
        reader = FrameReader()
        while True:
            was_live = self.live  # before the read: bytes written between the last read and the end must still be read
            data = self.wait(0.25)
            yield from reader.feed(data)
            if not data and not was_live:
                return


def blocks(path: str | os.PathLike[str], size: int = BLOCK, *, everything: bool = False) -> Iterator[bytes]:
    """The whole log as it is now, in blocks of `size` bytes; everything: with another recording's bytes in the file. Raises InputError if there is none."""
    with Follower(path, everything=everything) as follower:
        while data := follower.read(size):
            yield data

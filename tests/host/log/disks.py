"""A disk that fails as planned, a clock that stands still, and where each part of a log is."""

import errno
import os

import wire_logs
from hotfuel.log import follow, identity
from hotfuel.samples.stream import Stream

MARK = wire_logs.mark("here", 1)


class Disk:
    """Replaces os.write and os.fsync; `plan` gives the results of the next calls: an errno, the most bytes taken, None: success."""

    def __init__(self, plan=()):
        self.plan = list(plan)
        self.calls = 0
        self.failed = None

    def write(self, fd, data):
        self.calls += 1
        what = self.plan.pop(0) if self.plan else None
        self.failed = ("write", what) if what is not None else self.failed
        if isinstance(what, errno_of):
            raise OSError(what.number, os.strerror(what.number))
        return os.write(fd, data if what is None else data[:what])

    def fsync(self, fd):
        self.calls += 1
        what = self.plan.pop(0) if self.plan else None
        self.failed = ("fsync", what) if what is not None else self.failed
        if isinstance(what, errno_of):
            raise OSError(what.number, os.strerror(what.number))
        os.fsync(fd)

    def read(self, fd, size, offset):
        self.write(fd, b"")
        raise AssertionError("a planned failure was to come")


class errno_of:
    def __init__(self, number):
        self.number = number

    def __repr__(self):
        return errno.errorcode[self.number]


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


START = len(identity.frame(identity.new()))


def whole(path):
    """The stream after the frame that says which log it is."""
    return b"".join(follow.blocks(path))[START:]


def on_disk(path):
    return path.read_bytes()[START:]


def board_only(data):
    """The payloads of board frames in a log, in order."""
    stream = Stream()
    return [m for m in stream.feed(data + b"\0") if m.name not in ("mark", "wall_anchor", "link_gap", "log_start")]

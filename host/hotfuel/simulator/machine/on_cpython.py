"""What differs under CPython: sockets for the port and the line to the host, a folder for the flash, and the modules only MicroPython has."""

import builtins
import gc
import linecache  # noqa: F401 - with tokenize, before `open` becomes the board's
import os
import socket
import sys
import traceback
import types

from .flash import BLOCK_BYTES, BLOCKS

FREE_BYTES = 150000  # what gc.mem_free() says: CPython has no such heap


class Port:
    """stdin.buffer or stdout.buffer of the board, unbuffered, so that poll is right."""

    def __init__(self, number, receive, send):
        self._number = number
        self._receive = receive
        self._send = send

    def fileno(self):
        return self._number

    def read(self, count=1):
        got = b""
        while len(got) < count:
            piece = self._receive(count - len(got))
            if not piece:
                raise SystemExit(0)
            got += piece
        return got

    def readinto(self, into):
        into[:] = self.read(len(into))
        return len(into)

    def write(self, data):
        rest = memoryview(data)
        while len(rest):
            rest = rest[self._send(rest) :]
        return len(data)

    def flush(self):
        pass


class Text:
    def __init__(self, buffer):
        self.buffer = buffer
        self.fileno = buffer.fileno
        self.encoding = "utf-8"
        self.errors = "strict"

    def write(self, text):
        return self.buffer.write(text.encode()) if isinstance(text, str) else self.buffer.write(text)

    def read(self, count=1):
        return self.buffer.read(count).decode()

    def flush(self):
        pass


def control(port):
    if ":" in port:
        host, data_port, control_port = port.split(":")
        data = socket.create_connection((host, int(data_port)))
        line = socket.create_connection((host, int(control_port)))
        coming = going = Port(data.fileno(), data.recv, data.send)
    else:
        line = socket.socket(fileno=int(port))
        read, write = os.read, os.write
        coming = Port(0, lambda count: read(0, count), None)
        going = Port(1, None, lambda data: write(1, data))
    sys.stdin = Text(coming)
    sys.stdout = Text(going)
    return line.makefile("rb"), line.makefile("wb", buffering=0)


def file_system(how):
    """A folder stands in for the flash: power cuts and erase times cannot be had here. Returns None."""
    root = how["flash"]
    os.makedirs(root, exist_ok=True)
    places = {name: folder for folder, name in how["rom"]}

    def on_host(path):
        if isinstance(path, int):
            return path
        for name, folder in places.items():
            if path.startswith(name + "/"):
                return folder + path[len(name) :]
        return os.path.join(root, path.lstrip("/"))

    host_open = builtins.open
    builtins.open = lambda path, mode="r", *rest, **how: host_open(on_host(path), mode, *rest, **how)
    (firmware, _), (wire, _) = how["rom"]
    sys.path[:] = [firmware, *sys.path[1:], os.path.dirname(wire)]  # without the stand-in's own folder
    sys.modules["os"] = _board_os(root, on_host)
    sys.modules["gc"] = _board_gc()
    sys.print_exception = lambda error, file=None: traceback.print_exception(error, file=file or sys.stdout)
    return None


def _board_os(root, on_host):
    module = types.ModuleType("os")
    for name in ("listdir", "mkdir", "remove", "rmdir", "stat", "unlink"):
        setattr(module, name, _translated(getattr(os, name), on_host))
    module.listdir = lambda path="/": os.listdir(on_host(path))
    module.ilistdir = lambda path="/": (
        (e.name, 0x4000 if e.is_dir() else 0x8000, 0, e.stat().st_size) for e in os.scandir(on_host(path))
    )
    module.rename = lambda old, new: os.replace(on_host(old), on_host(new))
    module.getcwd = lambda: "/"
    module.sync = lambda: None
    module.urandom = os.urandom
    module.sep = "/"
    module.fspath = os.fspath
    module.path = os.path

    def statvfs(path):
        used = sum(
            -(-os.path.getsize(os.path.join(folder, file)) // BLOCK_BYTES) for folder, _, files in os.walk(root) for file in files
        )
        free = BLOCKS - 2 - used
        return (BLOCK_BYTES, BLOCK_BYTES, BLOCKS, free, free, 0, 0, 0, 0, 255)

    module.statvfs = statvfs
    return module


def _translated(function, on_host):
    return lambda path: function(on_host(path))


def _board_gc():
    module = types.ModuleType("gc")
    module.collect = lambda: None
    module.mem_free = lambda: FREE_BYTES
    module.mem_alloc = lambda: 0
    module.threshold = lambda *amount: -1
    module.enable, module.disable, module.isenabled = gc.enable, gc.disable, gc.isenabled
    return module

"""What differs under MicroPython's unix port: files by number, and the board's own littlefs in place of the host's file system."""

import sys

import vfs

from .flash import PAGE_BYTES, FlashFile


def control(port):
    stream = open(int(port), "r+b")
    return stream, stream


def file_system(how):
    """The flash at /, the sources to run in read-only places beside it. Returns the flash."""
    device = FlashFile(how["flash"], erase_ms=how["erase_ms"])
    for folder, name in how["rom"]:
        vfs.mount(vfs.VfsPosix(folder), name, readonly=True)
    vfs.umount("/")
    try:
        files = vfs.VfsLfs2(device, progsize=PAGE_BYTES)
    except OSError:  # a new flash
        vfs.VfsLfs2.mkfs(device, progsize=PAGE_BYTES)
        files = vfs.VfsLfs2(device, progsize=PAGE_BYTES)
    vfs.mount(files, "/")
    sys.path[:] = ["", how["rom"][0][1], "/lib"]
    return device

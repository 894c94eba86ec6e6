"""Runs under MicroPython: the real littlefs on the stand-in's flash, power failing at the n-th write or erase, for every n of a scripted run."""

import sys

sys.path.insert(0, sys.argv[1])
import vfs
from simulator.machine.clock import clock
from simulator.machine.flash import Flash, PowerLost

BLOCKS = 24
PAGE = 256


def mounted(flash):
    vfs.mount(vfs.VfsLfs2(flash, progsize=PAGE), "/f")


def run(flash, done):
    """Appends 40 records to a file, every one flushed; done[0] counts the flushes that were completed."""
    mounted(flash)
    with open("/f/log", "ab") as file:
        for number in range(40):
            file.write(bytes([number]) * 300)
            file.flush()
            done[0] = number + 1
    vfs.umount("/f")


blank = Flash(blocks=BLOCKS)
vfs.VfsLfs2.mkfs(blank, progsize=PAGE)
pristine = bytes(blank.image)
blank.changes = blank.erases = 0
done = [0]
run(blank, done)
changes = blank.changes
print("changes", changes, "erases", blank.erases, "flushes", done[0])
lost = 0
for n in range(1, changes + 1):
    flash = Flash(bytearray(pristine), blocks=BLOCKS, stop_after=n)
    done = [0]
    try:
        run(flash, done)
        print("no cut at", n)
    except PowerLost:
        pass
    try:
        vfs.umount("/f")
    except OSError:
        pass
    again = Flash(flash.image, blocks=BLOCKS)
    mounted(again)
    try:
        with open("/f/log", "rb") as file:
            content = file.read()
    except OSError:
        content = b""
    want = b"".join([bytes([number]) * 300 for number in range(done[0])])
    if content[: len(want)] != want:
        lost += 1
    with open("/f/log", "ab") as file:  # and it keeps running
        file.write(b"on")
    vfs.umount("/f")
print("trials", changes, "lost", lost)

slow = Flash(blocks=BLOCKS, erase_ms=100)
before = clock.now_us
slow.ioctl(6, 3)
slow.writeblocks(3, bytes(512), 0)
print("took", clock.now_us - before)

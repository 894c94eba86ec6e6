# Run on MicroPython: settings on its real littlefs, on a RAM device that loses power at its n-th write or erase, every n of a scripted run.

import vfs

import settings as configuration
from twinfile import TwinFile

BLOCK, BLOCKS = 4096, 16
CHANGES = (
    "rate_hz=2",
    "mode=automatic\nmains_hz=60\naverages=1\nrate_hz=10",
    "places=a,b,c",
    "gain=8",
    "rate_hz=1\naverages=16",
    "buzzer=1",
    "mains_hz=50",
    "buzzer=0",
)


class PowerCut(Exception):
    pass


class Flash:
    """Erases and writes only half at the cut, and nothing afterwards."""

    data = bytearray(BLOCK * BLOCKS)

    def __init__(self):
        for at in range(0, BLOCK * BLOCKS, BLOCK):
            self.data[at : at + BLOCK] = b"\xff" * BLOCK
        self.left = -1

    def _cut(self):
        if self.left == 0:
            raise PowerCut()
        if self.left > 0:
            self.left -= 1
        return self.left == 0

    def readblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, number, buffer, offset=0):
        cut = self._cut()
        length = len(buffer) // 2 if cut else len(buffer)
        at = number * BLOCK + offset
        self.data[at : at + length] = buffer[:length]
        if cut:
            raise PowerCut()

    def ioctl(self, what, argument):
        if what == 4:
            return BLOCKS
        if what == 5:
            return BLOCK
        if what == 6:
            length = BLOCK // 2 if self._cut() else BLOCK
            self.data[argument * BLOCK : argument * BLOCK + length] = b"\xff" * length
            if length < BLOCK:
                raise PowerCut()
        return 0


def run(cut_at):
    """Settings before and after the one that was being stored when power failed; how many writes and erases there were."""
    flash = Flash()
    vfs.VfsLfs2.mkfs(flash)
    vfs.mount(vfs.VfsLfs2(flash), "/f")
    twin = TwinFile("settings", "/f/")
    configuration.save(twin, configuration.changed(configuration.defaults(), "buzzer=1"))
    flash.left = cut_at
    now, _ = configuration.load(twin)
    new = now
    try:
        for change in CHANGES * 8:  # enough for the file system to reclaim blocks in between
            new = configuration.changed(now, change)
            configuration.save(twin, new)
            now = new
        cut = False
    except (PowerCut, OSError):
        cut = True
    vfs.umount("/f")
    flash.left = -1
    vfs.mount(vfs.VfsLfs2(flash), "/f")
    found, reason = configuration.load(TwinFile("settings", "/f/"))
    assert reason == "", reason
    assert found in (now, new), (cut_at, found)
    configuration.save(TwinFile("settings", "/f/"), now)  # and it can be written again
    assert configuration.load(TwinFile("settings", "/f/"))[0] == now
    vfs.umount("/f")
    return cut


trials = 0
while run(trials):
    trials += 1
print("power cut at each of", trials, "writes and erases, settings lost: 0")

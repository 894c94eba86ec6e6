# Runs under the MicroPython unix port: board_install.py ROOT STAGED PROGRAMS IMAGE STOP_AFTER OLD. An installation on a board's
# littlefs, power failing at its n-th write or erase (0: never). PROGRAMS: folder with the installer's own programs look, begin
# and finish. OLD: a folder with the contents of a new image. What the programs print goes to standard output; the last line says
# "cut" or "done"; then what the file system holds, name and digest.
import hashlib
import os
import sys
from binascii import hexlify

root, staged, programs, image, stop_after, old = sys.argv[1:7]
import vfs

vfs.mount(vfs.VfsPosix(root), "/source", readonly=True)
vfs.mount(vfs.VfsPosix(staged), "/staged", readonly=True)
vfs.mount(vfs.VfsPosix(programs), "/programs", readonly=True)
vfs.mount(vfs.VfsPosix(old), "/old", readonly=True)
sys.path[:] = ["/source/host/hotfuel"]
from simulator.machine.flash import PAGE_BYTES, FlashFile, PowerLost

try:
    os.stat(image)
    new = False
except OSError:
    new = True
device = FlashFile(image)
if new:
    vfs.VfsLfs2.mkfs(device, progsize=PAGE_BYTES)
vfs.umount("/")
vfs.mount(vfs.VfsLfs2(device, progsize=PAGE_BYTES), "/")
MOUNTS = ("source", "staged", "programs", "old")


def walk(folder, inside=""):
    for entry in os.ilistdir(folder + inside):
        name, kind = inside + "/" + entry[0], entry[1]
        if not folder and name[1:] in MOUNTS:
            continue
        if kind & 0x4000:
            for inner in walk(folder, name):
                yield inner
        else:
            yield name


def copy(source, target):
    """As mpremote does: into the file itself, in pieces."""
    parts = target.split("/")[1:-1]
    for count in range(1, len(parts) + 1):
        try:
            os.mkdir("/" + "/".join(parts[:count]))
        except OSError:
            pass
    with open(source, "rb") as reading, open(target, "wb") as writing:
        while True:
            piece = reading.read(512)
            if not piece:
                return
            writing.write(piece)


def run(name):
    with open("/programs/" + name) as file:
        exec(file.read(), {})


if new:
    for name in walk("/old"):
        copy("/old" + name, name)
if int(stop_after):
    device.stop_after = device.changes + int(stop_after)
try:
    if int(stop_after) >= 0:
        run("look")
        run("begin")
        first = ["/board.py", "/main.py"]
        for name in first + [name for name in walk("/staged") if name not in first]:
            copy("/staged" + name, name)
        run("finish")
    print("done")
except PowerLost:
    print("cut")
    sys.exit(0)
for name in sorted(walk("")):
    with open(name, "rb") as file:
        print(name[1:], hexlify(hashlib.sha256(file.read()).digest()).decode())

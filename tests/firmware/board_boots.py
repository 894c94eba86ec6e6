# Runs under the MicroPython unix port: board_boots.py ROOT IMAGE SECONDS [STOP_AFTER [PREPARE]]. One life of a board whose
# firmware and data share one littlefs, as on a Pico. IMAGE: the flash, kept in a file; a new one is installed first, and PREPARE
# names its further contents. STOP_AFTER: power fails at this write or erase; 0: never; -1: never, and each is told (address, its
# new bytes). SECONDS below 0: installed but not started. Frames on standard output, one JSON object on standard error.

import json
import os
import struct
import sys

root, image, seconds = sys.argv[1], sys.argv[2], float(sys.argv[3])
stop_after = int(sys.argv[4]) if len(sys.argv) > 4 else 0
prepare = sys.argv[5] if len(sys.argv) > 5 else ""

import vfs

vfs.mount(vfs.VfsPosix(root), "/host", readonly=True)
sys.path[:] = ["", "/lib", "/host/tests/firmware", "/host/host/hotfuel"]
from simulator.machine.flash import PAGE_BYTES, FlashFile, PowerLost

try:
    os.stat(image)
    new = False
except OSError:
    new = True
written = []


class Noting(FlashFile):
    def _write(self, at, data):
        if stop_after < 0:
            written.append((at, bytes(data).hex()))
        super()._write(at, data)


device = Noting(image)
if new:
    vfs.VfsLfs2.mkfs(device, progsize=PAGE_BYTES)
vfs.umount("/")
vfs.mount(vfs.VfsLfs2(device, progsize=PAGE_BYTES), "/")


def walk(folder):
    for entry in os.ilistdir(folder or "/"):
        name, kind = entry[0], entry[1]
        if folder + name == "host":  # where the sources and the simulator are read from
            continue
        if kind & 0x4000:
            yield folder + name + "/"
            for inner in walk(folder + name + "/"):
                yield inner
        else:
            yield folder + name


def copy(source, target):
    for entry in os.ilistdir(source):
        name, kind = entry[0], entry[1]
        if kind & 0x4000 and name != "__pycache__":
            os.mkdir(target + "/" + name)
            copy(source + "/" + name, target + "/" + name)
        elif name.endswith(".py") and name != "meanings.py":
            write(target + "/" + name, read(source + "/" + name))


def read(path):
    with open(path, "rb") as file:
        return file.read()


def write(path, data):
    with open(path, "wb") as file:
        file.write(data)


def old_store(folder, first, count):
    """The store that version 0.1 left: segments under its names, and a file of the owner's."""
    os.mkdir(folder)
    for number in range(first, first + count):
        write("%s/%05d.%s" % (folder, number & 0xFFFF, "key" if number % 2 else "seg"), (b"segment %d " % number) * 40)
    write(folder + "/notes.txt", b"mine")


if new:
    os.mkdir("/lib")
    os.mkdir("/lib/hotfuel_wire")
    copy("/host/firmware", "")
    copy("/host/protocol/hotfuel_wire", "/lib/hotfuel_wire")
    if prepare:
        old_store("/store", 65534, 4)
    if prepare == "both":
        old_store("/drives", 7, 3)

found = {"installed": sorted(walk(""))} if new else {}
if seconds < 0:  # only made, to be copied for many first boots
    vfs.umount("/")
    sys.stderr.write(json.dumps(found))
    sys.exit(0)
device.stop_after = device.changes + stop_after if stop_after > 0 else None
import rig


def command(sequence, name, argument=b""):
    from hotfuel_wire import codec, framing
    from hotfuel_wire.messages import COMMANDS

    values = {"tick": 0, "time_ms": 0, "sequence": sequence, "code": COMMANDS[name], "argument": argument}
    app.commands.receive(framing.encode(codec.pack("command", values)))


def fetch_all():
    """Every segment in pieces, as a host fetches them, and the contents of the files besides."""
    sequence = 1000
    found["files"] = {}
    for name in sorted(os.listdir("drives")):
        if not name[:5].isdigit():
            continue
        found["files"][name] = read("drives/" + name).hex()
        number, size = int(name[:5]), os.stat("drives/" + name)[6]
        for offset in range(0, size + 224, 224):
            command(sequence, "fetch", struct.pack("<HI", number, offset))
            made.run(app.step, 0.05)
            sequence += 1


made = rig.Rig()
try:
    import application

    app = application.Application()
    found["attached"] = app.attached
    command(1, "settings_set", b"buzzer=1")
    command(2, "mark", b"here")
    made.run(app.step, seconds)
    if "store" in app.attached:
        command(3, "segments")
        made.run(app.step, 1)
        fetch_all()
    command(4, "service")
    try:
        made.run(app.step, 3)
    except SystemExit:
        pass
    found["left"] = sorted(walk(""))
    found["modules"] = sorted(sys.modules)
    found["written"] = written
except PowerLost:
    found["cut"] = True
sys.stderr.write(json.dumps(found))

# Runs under the MicroPython unix port, on its real littlefs over a RAM device that can lose power at its n-th write or erase.
# Usage: board_ring.py FIRMWARE_FOLDER trial FIRST STEP | capacity [FILES_TOO] | positions FILES_TOO | tow_home
import os
import struct
import sys
import vfs

sys.path.insert(0, sys.argv[1])
import ring

from hotfuel_wire import codec, framing, more

BLOCK, BLOCKS = 4096, 352
ERASED = b"\xff" * BLOCK


class Flash:
    """A NOR flash of 4 KB blocks; `changed`, where it is given, is told of each write and erase before it happens: (address, its new bytes)."""

    def __init__(self, data=None, changed=None):
        self.data = data or bytearray(b"\xff" * (BLOCK * BLOCKS))
        self._view = memoryview(self.data)
        self._changed = changed
        self.erases = 0

    def readblocks(self, number, buffer, offset=0):
        at = number * BLOCK + offset
        buffer[:] = self._view[at : at + len(buffer)]

    def writeblocks(self, number, buffer, offset=None):
        at = number * BLOCK + (offset or 0)
        if self._changed:
            self._changed(at, bytes(buffer))
        self.data[at : at + len(buffer)] = buffer

    def ioctl(self, op, argument):
        if op == 4:
            return BLOCKS
        if op == 5:
            return BLOCK
        if op == 6:
            at = argument * BLOCK
            if self._changed:
                self._changed(at, ERASED)
            self.erases += 1
            self.data[at : at + BLOCK] = ERASED
        return 0


def packed(name, time_ms=0, **values):
    values["tick"], values["time_ms"] = time_ms // 200, time_ms
    return codec.pack(name, values, saturate=True)


CHANNEL = dict(place=b"pump", chip=1, thermocouple=75, gain=32, mains_hz=60, averages=1, mode=0, resolution_bits=19)
DESCRIPTION = packed(
    "description",
    protocol_version=1,
    firmware_major=0,
    firmware_minor=1,
    firmware_patch=0,
    board_id=b"12345678",
    boot_count=1,
    reset_cause=1,
    period_ms=200,
    simulated=1,
    simulated_speed=1,
    channels=[CHANNEL] * 3,
)


SCRIPT = dict(step_ms=500, event_ms=(31000, 62000, 140000))
LENGTH_MS = 300000


def kept(make):
    """make(number below 97) gives a message; its frame at a time. Packing would take most of the time of hours of drive: a payload is packed once and
    only its tick and time are written anew, and the frames of the minutes that a trial repeats again and again are kept."""
    payloads, made = {}, {}

    def frame_at(time_ms):
        if time_ms in made:
            return made[time_ms]
        number = time_ms % 97
        if number not in payloads:
            payloads[number] = bytearray(make(number))
        struct.pack_into("<II", payloads[number], 1, time_ms // 200, time_ms)
        one = framing.encode(payloads[number])
        if time_ms < LENGTH_MS:
            made[time_ms] = one
        return one

    return frame_at


@kept
def reading(number):
    return packed("reading", description_id=0xCBF43926, channels=[dict(hot=5000 + number, cold=7000, status=0)] * 3)


@kept
def auxiliary(number):
    return packed(
        "auxiliary",
        fitted=31,
        inputs=1,
        battery=40000,
        fuel_pressure=9000,
        pulses=number,
        barometer=b"\x65\x46\xa0\x80\x3a\x00",
    )


@kept
def health(number):
    return packed(
        "health",
        late_ticks=0,
        skipped_ticks=0,
        longest_tick_us=0,
        frames_sent=number,
        frames_dropped=0,
        frames_stored=0,
        readings_dropped=0,
        memory_free=0,
        store_free_kb=0,
        lamp=0,
        alarm_unseen=0,
        limits_age_days=0,
    )


@kept
def track(number):
    return packed(
        "track",
        age_ms=9020,
        time_cs=number,
        latitude=239992863,
        longitude=-239975842,
        speed=3800,
        steps=[dict(later_cs=100, north=1234 + number, east=-987, speed=3801)] * 9,
    )


class Run:
    tracks = False  # a receiver at the board: ten positions every ten seconds

    def __init__(self, flash, fresh):
        if fresh:
            vfs.VfsLfs2.mkfs(flash)
        self.file_system = vfs.VfsLfs2(flash)
        vfs.mount(self.file_system, "/f")
        self.ring = ring.Ring("/f/store", lambda: [framing.encode(DESCRIPTION)], bytearray(4096))
        self.flushed_to = -1  # board time up to which everything offered has been flushed
        self.offered_to = -1

    def offer(self, name, one, time_ms):
        self.ring.offer(name, one, len(one), time_ms)

    def drive(self, start_ms, end_ms, step_ms=100, event_ms=()):
        for time_ms in range(start_ms, end_ms, step_ms):
            before = self.ring.stored
            if time_ms % 500 == 0:
                self.offer("reading", reading(time_ms), time_ms)
            if time_ms % 1000 == 0:
                self.offer("auxiliary", auxiliary(time_ms), time_ms)
            if time_ms % 10000 == 0:
                self.offer("health", health(time_ms), time_ms)
                if self.tracks:
                    self.offer("track", track(time_ms), time_ms)
            if time_ms in event_ms:
                event = packed("event", time_ms, code=7, channel=255, value=0, detail=b"")
                self.offer("event", framing.encode(event), time_ms)
                self.ring.protect(time_ms)
            self.offered_to = time_ms
            self.ring.poll(time_ms)
            if self.ring.stored != before and self.ring._filled == 0:
                self.flushed_to = time_ms

    def end(self):
        vfs.umount("/f")


KNOWN = {}  # bytes between two zeros -> their message, or None: trials read the same few hundred frames again and again


def message(piece):
    """(name, values) of a frame without its zeros, None if it is damaged."""
    if piece in KNOWN:
        return KNOWN[piece]
    payloads = list(framing.FrameReader().feed(b"\x00" + piece + b"\x00"))
    found = codec.unpack(payloads[0]) if payloads else None
    if len(KNOWN) < 2000:  # a trial's; hours of them would fill the heap
        KNOWN[piece] = found
    return found


READ = {}  # bytes of a segment -> what is in it: after most cuts the segments are the same as after the one before


def inside(data):
    """(readings' board times, damaged pieces, 1 if it does not begin with the description) of a segment's bytes."""
    if data in READ:
        return READ[data]
    times, damaged, headless, first = [], 0, 0, True
    pieces = data.split(b"\x00")
    damaged += bool(pieces.pop())  # an end without a closing zero
    for piece in pieces:
        found = message(piece) if piece else None
        if found is None:
            damaged += bool(piece)
            continue
        name, values = found
        if first and name != "description":
            headless += 1
        first = False
        if name == "reading":
            times.append(values["time_ms"])
    if len(READ) < 100:
        READ[data] = times, damaged, headless
    return times, damaged, headless


def contents():
    """All stored frames, oldest segment first: (readings' board times, damaged pieces, segments that do not begin with the description)."""
    times, damaged, headless = [], 0, 0
    names = {int(name[:5]): name for name in os.listdir("/f/store")}
    for number in ring.order(names):
        with open("/f/store/" + names[number], "rb") as file:
            found = inside(file.read())
        times += found[0]
        damaged += found[1]
        headless += found[2]
    return times, damaged, headless


def trial(first, step):
    """Power fails in the middle of write or erase number first, first + step, ...; afterwards the store opens, holds every flushed frame, and keeps
    recording. The run before is the same for every number: it is driven once, and what it does to the flash is kept."""
    changes = []  # address, new bytes, board times up to which everything was flushed and offered by then
    run = None

    def noted(at, data):
        if run:
            changes.append((at, data, run.flushed_to, run.offered_to))

    flash = Flash(changed=noted)
    run = Run(flash, True)
    image = bytearray(flash.data)
    run.drive(0, LENGTH_MS, **SCRIPT)
    made = len(changes)
    run.end()
    before = []  # what the boots after a cut overwrote: address, bytes

    def change(at, data):
        before.append((at, bytes(image[at : at + len(data)])))
        image[at : at + len(data)] = data

    tried = lost = broken = went_on = 0
    changes.insert(0, (0, b"", -1, -1))  # number 0: before the first
    for number in range(made + 1):
        at, data, flushed_to, offered_to = changes[number]
        if number >= first and (number - first) % step == 0:
            change(at, data[: len(data) // 2])  # half written; or half erased: the old content is gone
            tried += 1
            run = Run(Flash(image, changed=change), False)
            times, damaged, headless = contents()
            if damaged or headless:
                broken += 1
            held = set(times)
            missing = [t for t in range(0, flushed_to + 1, 500) if t not in held]
            lost += len(missing) + (1 if offered_to - flushed_to > ring.FLUSH_MS + 500 else 0)
            run.drive(0, 12000, step_ms=500)
            after, damaged, _ = contents()
            went_on += len(after) > len(times) and not damaged
            run.end()
            while before:
                there, old = before.pop()
                image[there : there + len(old)] = old
        image[at : at + len(data)] = data
    print(tried, lost, broken, went_on)


def capacity(installed="", positions=False):
    """Hours of three channels at the default rates on a Pico's file system, and its wear. installed: folder of firmware stored
    beside them. positions: with a receiver's, for which store.py keeps one reading a second."""
    flash = Flash()
    run = Run(flash, True)
    if positions:
        more.join()
        run.tracks = True
        run.ring.intervals_ms["reading"] = 1000
    if installed:
        copy(installed, "/f")
    time_ms = 0
    while True:
        run.drive(time_ms, time_ms + 60000, step_ms=500)
        time_ms += 60000
        segments = run.ring.segments()
        if segments[0][0] > 0:
            break
    times, _, _ = contents()
    kept_h = (times[-1] - times[0]) / 3600e3
    print(
        "%.2f %d %d %d" % (kept_h, flash.erases * 3600e3 / time_ms, sum([size for _, size, _ in segments]), run.ring.free_bytes())
    )


def copy(source, target):
    for entry in os.ilistdir(source):
        name, kind = entry[0], entry[1]
        if kind & 0x4000:
            os.mkdir(target + "/" + name)
            copy(source + "/" + name, target + "/" + name)
        else:
            with open(source + "/" + name, "rb") as reading, open(target + "/" + name, "wb") as writing:
                writing.write(reading.read())


def tow_home():
    """A run with a mark in its first minutes, then a long tow home: the run is still there."""
    flash = Flash()
    run = Run(flash, True)
    run.drive(0, 6 * 3600 * 1000, step_ms=500, event_ms=[600000] + list(range(2 * 3600 * 1000, 6 * 3600 * 1000, 600000)))
    free = run.ring.free_bytes()
    times, damaged, headless = contents()
    protected = sum([p for _, _, p in run.ring.segments()])
    print(
        times[0],
        times[-1],
        damaged,
        headless,
        protected,
        len(run.ring.segments()),
        free >= ring.KEEP_FREE_BYTES,
        run.ring.happened,
    )


if sys.argv[2] == "trial":
    trial(int(sys.argv[3]), int(sys.argv[4]))
elif sys.argv[2] == "capacity":
    capacity(*sys.argv[3:])
elif sys.argv[2] == "positions":
    capacity(sys.argv[3], True)
else:
    tow_home()

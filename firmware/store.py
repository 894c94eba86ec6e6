"""Connects the on-board store to the application: which frames it gets, what it protects, when it pauses, and how the host fetches segments."""

import struct

from commands import Refused
from hotfuel_wire import codec, const, framing
from hotfuel_wire.messages import EVENTS, NOT_A_CODE
from ring import FOLDER, Ring

_FETCH_MAX = const(224)  # bytes of a segment in one data frame
_QUEUE_BUSY = const(4096)  # bytes queued for the host: above this, live readings go first
_ROWS_MAX = const(32)  # segments listed in one reply
_ROW = "<HIB"

# A loose plug makes many of these: they wait for the next flush, to spare the flash.
_OFTEN = tuple([EVENTS[name] for name in ("chip_lost", "chip_found", "chip_unsteady", "configuration_lost")])

_QUIET_MS = const(30 * 60 * 1000)
_QUIET_DEGC = const(3)
_UV_PER_DEGC = 39.5  # type K at the cold end


def attach(application):
    """See application.py."""
    Store(application)


class Quiet:
    """Whether all channels have stayed near the amplifiers' own temperature (the cabin's, about the ambient's) for half an hour."""

    def __init__(self, chips, gain, resolution_bits):
        self._bounds = [_bound(chip, gain, resolution_bits) for chip in chips]
        self._since_ms = None

    def tick(self, time_ms, hot, cold):
        """True once it has been quiet for _QUIET_MS. Unreadable channels are ignored."""
        for channel in range(len(self._bounds)):
            if hot[channel] < NOT_A_CODE:
                continue
            hot_times, cold_times, most = self._bounds[channel]
            apart = hot[channel] * hot_times - cold[channel] * cold_times
            if not -most <= apart <= most:
                self._since_ms = None
                return False
        if self._since_ms is None:
            self._since_ms = time_ms
        return time_ms - self._since_ms >= _QUIET_MS


def _bound(chip, gain, resolution_bits):
    """(a, b, most): within _QUIET_DEGC of the amplifier while a * hot - b * cold is at most `most` in size. A hot code that is a temperature is compared
    with the cold one; one that is an EMF with zero (b is 0)."""
    from hotfuel_wire.amplifiers import ROWS, uv_per_code

    uv = uv_per_code(chip, gain, resolution_bits)
    if uv is None:
        return int(1024 * ROWS[chip]["line"][0]), 1024 // ROWS[chip]["cold"][0], 1024 * _QUIET_DEGC
    return 1, 0, int(_QUIET_DEGC * _UV_PER_DEGC / uv) + 1


class Store:
    """Adds itself to the application's lists and commands."""

    def __init__(self, application):
        self._application = application
        self._head = {}  # message name -> its latest frame
        folder = application.folder + FOLDER
        self.ring = Ring(folder, self._head_frames, application.store_buffer)
        self._settings_changed()
        application.sender.listeners.append(self._frame)
        application.on_tick.append(self._tick)
        application.on_loop.append(self._loop)
        application.on_change.append(self._settings_changed)
        application.commands.register("segments", self._segments, asks_only=True)
        application.commands.register("fetch", self._fetch, asks_only=True)
        application.commands.register("forget", self._forget)
        self._kept = -1

    def _settings_changed(self):
        settings = self._application.settings
        rate_hz = settings["stored_rate_hz"]
        self.ring.intervals_ms["reading"] = 1000 if rate_hz == 2 and "receiver" in settings["more_inputs"] else 1000 // rate_hz
        self._quiet = Quiet(settings["chips"], settings["gain"], settings["resolution_bits"])

    def _head_frames(self):
        return [self._head[name] for name in ("description", "barometer") if name in self._head]

    def _frame(self, name, frame, size):
        now_ms = self._application.clock.now()
        if name in ("description", "barometer"):
            # Once in each segment, at its head, and again only when changed: the ids in the readings refer to it.
            kept = self._head.get(name)
            self._head[name] = bytes(memoryview(frame)[:size])
            if kept is not None and _body(kept) == _body(self._head[name]):
                return
        if name != "event":
            self.ring.offer(name, frame, size, now_ms)
            return
        _, event = codec.unpack(framing.decode(memoryview(frame)[1 : size - 1]))
        self.ring.offer(name, frame, size, now_ms, event["code"] not in _OFTEN)
        if worth_keeping(event):
            self.ring.protect(now_ms)

    def _tick(self, time_ms, hot, cold, _status):
        paused = self._quiet.tick(time_ms, hot, cold)
        if paused != self.ring.paused:
            self.ring.paused = paused
            self._application.emit_event("store_paused", value=1 if paused else 0)

    def _loop(self, now_ms):
        ring = self.ring
        ring.poll(now_ms)
        ring.unpin(now_ms)
        while ring.happened:
            name, value = ring.happened.pop(0)
            self._application.emit_event(name, value=value)
        if ring.stored != self._kept:
            self._kept = ring.stored
            health = self._application.health
            health["frames_stored"] = ring.stored
            health["store_free_kb"] = 0 if ring.full else ring.free_bytes() // 1024

    def _segments(self, argument):
        """Rows of (number, bytes, protected), oldest first, from the index in the argument (u16; none: 0) on."""
        if len(argument) not in (0, 2):
            raise Refused("bad_argument", "an index of 2 bytes or nothing expected")
        start = struct.unpack("<H", argument)[0] if argument else 0
        if start == 0:
            self.ring.flush(self._application.clock.now())
        rows = self.ring.segments()[start : start + _ROWS_MAX]
        return b"".join([struct.pack(_ROW, number, size, protected) for number, size, protected in rows])

    def _fetch(self, argument):
        """Sends one data frame: the segment's bytes from an offset on; an empty frame at its end, which also ends its protection."""
        if len(argument) != 6:
            raise Refused("bad_argument", "a segment (2 bytes) and an offset (4 bytes) expected")
        if self._application.sender.waiting() > _QUEUE_BUSY:
            raise Refused("busy", "the live readings come first; ask again")
        number, offset = struct.unpack("<HI", argument)
        data = self.ring.read(number, offset, _FETCH_MAX, self._application.clock.now())
        if data is None:
            raise Refused("bad_argument", "there is no segment %d" % number)
        if not data and number != self.ring.writing():
            self.ring.downloaded(number)
        self._application.emit("data", {"segment": number, "offset": offset, "data": data})
        return b""

    def _forget(self, argument):
        """Deletes a segment (u16), but not the one being written."""
        if len(argument) != 2:
            raise Refused("bad_argument", "a segment of 2 bytes expected")
        number = struct.unpack("<H", argument)[0]
        if not self.ring.forget(number):
            raise Refused("bad_argument", "there is no segment %d, or it is being written" % number)
        return b""


def _body(frame):
    """A frame's payload without its header, which changes at every repetition."""
    return framing.decode(memoryview(frame)[1 : len(frame) - 1])[9:]


def worth_keeping(event):
    """True for a mark, a warning that turns on, a key-off."""
    if event["code"] == EVENTS["alarm"]:
        return event["value"] & 15 == 1  # the new state: unacknowledged
    return event["code"] in (EVENTS["mark"], EVENTS["ignition_off"])

"""A satellite receiver at UART0: passes NMEA 0183 sentences to the host unchanged, and a position a second to the store, ten in one message.

Loaded if more_inputs names it. Reading and parsing allocate nothing; only sending does, as everywhere.
"""

import board
from hotfuel_wire import const, more
from hotfuel_wire.messages import FAILED

_LIVE_MS = const(150)  # at most one sentence in this time: every other one of ten a second, each of five
_SILENT_MS = const(10000)
_STEPS = const(9)  # after a track's first position
_TRACK_MS = const(10000)
_LONGEST = const(96)  # NMEA 0183 allows 82 with $ and the line end; some receivers send more decimals
_DAY_CS = const(8640000)
_BUFFER = const(256)
_WAITING, _READING = const(0), const(1)
_FIELDS = const(8)  # the fields of an RMC sentence that are used


def attach(application):
    """See application.py."""
    Receiver(application)


class Receiver:
    """Adds itself to the application's lists. good, bad: counts of sentences with right and wrong checksum. `fixed`: the last position was valid."""

    def __init__(self, application):
        more.join()
        self._application = application
        self.good = self.bad = 0
        self.fixed = False
        self.length = 0  # of the sentence in `line`, from $ to its checksum
        self.line = bytearray(_LONGEST)
        self._in = bytearray(_BUFFER)
        self._count = self._next = self._seen = 0
        self._state = _WAITING
        self._fields = bytearray(_FIELDS)  # where each begins
        self._second = -1  # the receiver's second of the last position
        self._now_ms = self._taken_ms = 0
        self._heard_ms = application.clock.now()
        self._rmc_ms = None
        self._steps = [{"later_cs": 0, "north": 0, "east": 0, "speed": 0} for _ in range(_STEPS)]
        self._track = {"age_ms": 0, "time_cs": 0, "latitude": 0, "longitude": 0, "speed": 0, "steps": []}  # type: dict
        self._taken = -1  # steps of the track so far; -1: no track yet
        self._begun_ms = self._last_cs = self._last_north = self._last_east = 0
        self._settings_changed()
        application.on_loop.append(self._loop)
        application.on_change.append(self._settings_changed)
        application.on_selftest.append(self._told)

    def _settings_changed(self):
        settings = self._application.settings
        self._application.failed &= ~FAILED["receiver"]
        self._heard_ms = self._application.clock.now()
        self._uart = board.receiver(settings["receiver_baud"]) if more.RECEIVER in settings["more_inputs"] else None

    def _told(self):
        if self._uart is None:
            return []
        return [("receiver_good", self.good), ("receiver_bad", self.bad), ("receiver_fixed", 1 if self.fixed else 0)]

    def _loop(self, now_ms):
        if self._uart is None:
            return
        self._now_ms = now_ms
        waiting = self._uart.any()  # a read for more bytes than there are blocks for some milliseconds
        if waiting != self._seen and waiting < _BUFFER:
            self._seen = waiting  # still sending: a burst is parsed in one go once it has ended
            waiting = 0
        while waiting:
            self._seen = 0
            self._next, self._count = 0, self._uart.readinto(self._in, min(waiting, _BUFFER)) or 0
            while self.take():
                self._sentence(now_ms)
            waiting = 0 if self._count < _BUFFER else self._uart.any()
        if self._taken >= 0 and (now_ms - self._begun_ms) & 0xFFFFFFFF > _TRACK_MS + 1000:
            self._send_track(now_ms)
        if (now_ms - self._heard_ms) & 0xFFFFFFFF > _SILENT_MS:
            self._application.failed |= FAILED["receiver"]

    def take(self):
        """Bytes from the buffer until a sentence is whole and its checksum right; False when there are no more. Allocates nothing."""
        data, line = self._in, self.line
        at, count, length = self._next, self._count, self.length
        state = self._state
        while at < count:
            if state == _WAITING:
                at = data.find(b"$", at, count)
                if at < 0:
                    at = count
                    break
                state, length = _READING, 0
            byte = data[at]
            at += 1
            if byte == 0x24:  # $
                length = 0
            elif byte == 10 or byte == 13:
                state = _WAITING
                self._next, self.length, self._state = at, length, state
                if self._whole():
                    return True
                continue
            elif length == _LONGEST or (length == 5 and not self._wanted(byte)):
                state = _WAITING
                continue
            line[length] = byte
            length += 1
        self._next, self.length, self._state = at, length, state
        return False

    def _wanted(self, last):
        """RMC, or GGA of a receiver that sends no RMC (the same without speed), and at least _LIVE_MS after the last one."""
        line, now_ms = self.line, self._now_ms
        if line[4] == 0x4D and line[3] == 0x52 and last == 0x43:
            self._rmc_ms = now_ms
        elif not (line[3] == line[4] == 0x47 and last == 0x41):
            return False
        elif self._rmc_ms is not None and (now_ms - self._rmc_ms) & 0xFFFFFFFF < _SILENT_MS:
            return False
        return (now_ms - self._taken_ms) & 0xFFFFFFFF >= _LIVE_MS

    def _whole(self):
        """True for $...*hh with the right checksum."""
        line, end = self.line, self.length - 3
        if end < 7 or line[end] != 0x2A:
            return False
        total = 0
        for at in range(1, end):
            total ^= line[at]
        if total != _nibble(line[end + 1]) << 4 | _nibble(line[end + 2]):
            self.bad += 1
            return False
        return True

    def _sentence(self, now_ms):
        """Handles a good sentence: adds its position to the track, sends the sentence to the host."""
        application = self._application
        self._heard_ms = self._taken_ms = now_ms
        self.good = (self.good + 1) & 0x3FFFFFFF
        application.failed &= ~FAILED["receiver"]
        if self.line[3] == 0x52:
            self._position(now_ms)
        application.emit("receiver_sentence", {"text": self.line[: self.length]})

    def _find_fields(self):
        """False if there are fewer than needed."""
        line, fields, number = self.line, self._fields, 0
        for at in range(self.length):
            if line[at] == 0x2C:  # ,
                number += 1
                if number == _FIELDS:
                    return True
                fields[number] = at + 1
        return False

    def _number(self, field, places):
        """A field's number times 10 to the power of `places`, truncated; -1 if it is not a number."""
        line, at = self.line, self._fields[field]
        value, left = 0, -1
        if not 0x30 <= line[at] <= 0x39:
            return -1
        while True:
            byte = line[at]
            at += 1
            if 0x30 <= byte <= 0x39:
                if left:
                    value = value * 10 + byte - 0x30
                    left -= 1 if left > 0 else 0
            elif byte == 0x2E and left < 0:  # .
                left = places
            else:
                break
        for _ in range(places if left < 0 else left):
            value *= 10
        return value if byte == 0x2C else -1

    def _angle(self, field, negative):
        """1e-5 minutes of arc of a field [d]ddmm.mmmm and the hemisphere field after it; None if it is not an angle."""
        value = self._number(field, 5)
        if value < 0:
            return None
        value = value // 10000000 * 6000000 + value % 10000000
        return -value if self.line[self._fields[field + 1]] == negative else value

    def _position(self, now_ms):
        """Adds the fix of an RMC sentence, the first in each of the receiver's seconds, to the track."""
        second = self.line[11] << 8 | self.line[12]  # the last digits of $--RMC,hhmmss
        if second == self._second or not self._find_fields():
            return
        time_cs = self._number(1, 2)
        self.fixed = self.line[self._fields[2]] == 0x41  # A: valid
        if time_cs < 0 or not self.fixed:
            return
        time_cs = (time_cs // 1000000 * 3600 + time_cs // 10000 % 100 * 60) * 100 + time_cs % 10000
        north, east = self._angle(3, 0x53), self._angle(5, 0x57)  # S, W
        if north is None or east is None:
            return
        speed = max(0, min(self._number(7, 2), 65535))
        if self._taken >= 0:
            later_cs = (time_cs - self._last_cs) % _DAY_CS
            steps = north - self._last_north, east - self._last_east
            if later_cs > 1000 or max(steps) > 32767 or min(steps) < -32768:
                self._send_track(now_ms)
        if self._taken < 0:
            track = self._track
            track["time_cs"], track["latitude"], track["longitude"], track["speed"] = time_cs, north, east, speed
            self._begun_ms = now_ms
        else:
            step = self._steps[self._taken]
            step["later_cs"], step["speed"] = later_cs, speed
            step["north"], step["east"] = steps
        self._taken += 1
        self._second = second
        self._last_cs, self._last_north, self._last_east = time_cs, north, east
        if self._taken == _STEPS:
            self._send_track(now_ms)

    def _send_track(self, now_ms):
        self._track["age_ms"] = (now_ms - self._begun_ms) & 0xFFFFFFFF
        self._track["steps"] = self._steps[: self._taken]
        self._taken = -1
        self._application.emit("track", self._track)


def _nibble(byte):
    """The value of a hexadecimal digit; 16 for any other byte, which matches no checksum."""
    if 0x30 <= byte <= 0x39:
        return byte - 0x30
    return byte - 0x37 if 0x41 <= byte <= 0x46 else byte - 0x57 if 0x61 <= byte <= 0x66 else 256

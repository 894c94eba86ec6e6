"""Limits, alarms, lamp and buzzer: from the host's tables to the margins of every tick and what the lamp shows.

Tables and their reading: hotfuel_wire/limit_tables.py. State machine: hotfuel_wire/alarm.py. Patterns: lamp.py.
"""

import board
from commands import Refused
from hotfuel_wire import barometer, const, limit_tables, status
from hotfuel_wire.alarm import NO_NUMBER, UNREADABLE, WAIT_MS, Alarms, event_value
from hotfuel_wire.messages import BAROMETER_CHIPS, CHIPS, NO_CHANNEL, NOT_A_CODE, NOT_READY
from hotfuel_wire.probe import LAG_MS, Probe, ahead
from lamp import TEST_MS, Lamp, blink_code, buzzer, choose
from twinfile import TwinFile

_LIMITS_GOOD_DAYS = const(30)  # after a tankful or into another season the fuel may differ
_UNKNOWN_DAYS = const(0xFFFF)
_LOWEST_OF = const(5)  # air-pressure readings, one a second
_RUNNING_MS = const(2000)  # engine pulses within this time: it runs
# A ratiometric sender gives 10 % of its supply without pressure, 6554 of 65535; 1446 above that are 2.8 % of the sender's span, well over the
# converter's error and below the pressure of any pump.
_FUEL_PRESSURE_CODE = const(8000)
_SENDER_CODE = const(3277)  # 5 % of its supply: less means no sender or a broken wire
_LONG_PRESS_MS = const(1500)
IDENTIFY = [300, 300] * 10
QUIET = 30000  # hundredths of a degC: the margin of a readable place without a limit
_STANDING = (limit_tables.STANDING,)
_RUNNING = (limit_tables.RUNNING,)


def attach(application):
    """See application.py."""
    Limits(application)


class Limits:
    """`rows`: one a place, (channel, where, reference, {state: limit}); a channel without limits is only checked for being readable."""

    def __init__(self, application):
        self.application = application
        self.head = None
        self.rows = []
        self.alarms = Alarms(0, self._changed)
        self._margins = []
        self._file = TwinFile("limits", application.folder)
        self._staged = None
        self._head_piece = b""
        self._lamp = Lamp()
        self._air = []  # the last air pressures, in the tables' unit
        self._read_ms = 0
        self._began_ms = application.clock.now()
        self._load()
        application.on_tick.append(self._tick)
        application.on_loop.append(self._loop)
        application.on_change.append(self._load)
        application.commands.register("warnings", self._warnings)
        application.commands.register("acknowledge", self._acknowledge)
        application.commands.register("identify", self._identify)

    # Loading

    def _load(self):
        """Apply the stored set, as far as it fits the board's channels."""
        if self._button not in self.application.inputs.on_button:  # a change of settings made new inputs
            self.application.inputs.on_button.append(self._button)
        self.head, references, limits = None, {}, []
        content = self._file.load()
        if content:
            try:
                self.head, references, limits = limit_tables.check(*split(content))
            except limit_tables.TableError as error:
                self.application.emit_event("exception", detail="limits: %s" % error)
        self._arrange(references, limits)

    def _arrange(self, references, limits):
        settings = self.application.settings
        self.rows = []
        self.fit = self.head is not None
        for limit in limits:
            channel = limit["channel"]
            reference = references[channel]
            if channel >= len(settings["chips"]) or not _same_chip(reference, settings, channel):
                self.fit = False
                continue
            for row in self.rows:
                if row[0] == channel and row[1] == limit["where"]:
                    row[3][limit["state"]] = limit
                    break
            else:
                self.rows.append((channel, limit["where"], reference, {limit["state"]: limit}))
        limited = [row[0] for row in self.rows]
        for channel in range(len(settings["chips"])):
            if channel not in limited:
                self.rows.append((channel, limit_tables.IN_LINE, None, None))
        self._fatal = [status.fatal_mask(CHIPS[name]) for name in settings["chips"]]
        self.alarms = Alarms(len(self.rows), self._changed)
        self._margins = [UNREADABLE] * len(self.rows)
        count = len(settings["chips"])
        self._probes = [None] * count  # type: list
        self._per_degc = [0] * count
        for channel, _, _, limits in self.rows:
            if limits and not self._probes[channel]:
                limit = next(iter(limits.values()))
                lag_ms = limit["lag_ms"]  # None: a set of version 1, which holds no lags
                self._probes[channel] = Probe(LAG_MS, 0) if lag_ms is None else Probe(lag_ms)
                self._per_degc[channel] = limit["per_degc"]
        self._references = references
        self._seen_ms = [self.application.clock.now()] * count
        self._elapsed_ms = [0] * count  # to this tick; -1: no new conversion yet, so nothing to judge
        self._readable = [False] * count

    def _warnings(self, argument):
        """One piece of a set, its head first; nothing: reports what is loaded. A set is applied once all its pieces have come and the set is valid."""
        if not argument:
            return self._loaded()
        try:
            row = limit_tables.unpack(argument)
            if row["kind"] == limit_tables.HEAD:
                self._head_piece, self._staged, self._expected = bytes(argument), [], row["pieces"]
                return b""
            if self._staged is None:
                raise limit_tables.TableError("a set begins with its head")
            self._staged.append(bytes(argument))
            if len(self._staged) < self._expected:
                return b""
            pieces, self._staged = self._staged, None
            limit_tables.check(self._head_piece, pieces)
        except limit_tables.TableError as error:
            self._staged = None
            raise Refused("bad_argument", str(error))
        try:
            self._file.save(join([self._head_piece] + pieces))
        except OSError as error:
            raise Refused("failed", "the limits could not be stored, the old ones stay: %s" % error)
        self._load()
        self.application.emit_event("limits_loaded", value=self.head["altitude_m"], detail="made=%d" % self.head["made"])
        return self._loaded()

    def _loaded(self):
        if not self.head:
            return b"made=none"
        values = (
            self.head["made"],
            self.head["altitude_m"],
            self.head["air_units"] * limit_tables.PRESSURE_UNIT_PA,
            self._age_days(),
            self.fit,
        )
        return ("made=%d\naltitude_m=%d\nair_pa=%d\nage_days=%d\nfit=%s" % values).encode()

    def _age_days(self):
        now_s = self.application.time_of_day.wall_s(self.application.clock.now())
        if now_s is None or not self.head:
            return _UNKNOWN_DAYS
        return min(max(0, now_s - self.head["made"]) // 86400, _UNKNOWN_DAYS - 1)

    # Margins

    def air_units(self):
        """Air pressure in the tables' unit: the barometer's lowest of the last seconds, else the host's assumption."""
        if self._air:
            return min(self._air)
        return self.head["air_units"] if self.head else 0

    def states(self, now_ms):
        """The engine states to judge by: running or standing; both, as the worst case, while that is unknown.

        An input that is not wired reads as off. So missing pulses count only once one was seen, and ignition off only once it was seen on.
        """
        fitted = self.application.settings["inputs"]
        inputs = self.application.inputs
        if inputs.pulses_ms is not None:
            running = inputs.turned_within(now_ms, _RUNNING_MS)
        elif "ignition" in fitted and inputs.ignition_seen and not inputs.ignition:
            running = False  # whatever pressure the line still holds
        elif "fuel_pressure" in fitted and inputs.values["fuel_pressure"] > _SENDER_CODE:
            running = inputs.values["fuel_pressure"] > _FUEL_PRESSURE_CODE
        else:  # with the ignition on it may have stalled
            return _STANDING + _RUNNING
        return _RUNNING if running else _STANDING

    def _tick(self, time_ms, hot, cold, status_bytes):
        for channel in range(len(self._seen_ms)):
            self._look(channel, time_ms, hot[channel], cold[channel], status_bytes[channel])
        air = self.air_units()
        states = self.states(time_ms)
        for place in range(len(self.rows)):
            channel, where, reference, limits = self.rows[place]
            if self._elapsed_ms[channel] < 0:
                continue
            margin, warn_below = UNREADABLE, 0
            if self._readable[channel]:
                margin, warn_below = QUIET, 0
                # boiling over after a hot stop is usual with today's fuel: no lamp for it; older sets have no flag for it
                if limits and not (where == limit_tables.BEHIND_NEEDLE and states == _STANDING):
                    for state in states:
                        limit = limits.get(state)
                        if limit and not (states == _STANDING and limit["flags"] & limit_tables.PERCOLATES):
                            here = limit_tables.margin_centi(reference, limit, hot[channel], cold[channel], air)
                            if here > NO_NUMBER:
                                here -= ahead(self._probes[channel].leading.lead)
                            if limit["flags"] & limit_tables.INDICATIVE and here > NO_NUMBER:
                                here = max(here, 0)
                            if here < margin:
                                margin, warn_below = here, limit["warn_centi"]
            self._margins[place] = margin
            self.alarms.update(place, margin, warn_below, self._elapsed_ms[channel])

    def _look(self, channel, time_ms, hot, cold, status_byte):
        """Whether the channel's reading can be judged."""
        elapsed_ms = (time_ms - self._seen_ms[channel]) & 0xFFFFFFFF
        if hot == NOT_READY and elapsed_ms <= WAIT_MS:
            self._elapsed_ms[channel] = -1
            return
        self._seen_ms[channel] = time_ms
        self._elapsed_ms[channel] = elapsed_ms
        readable = hot > NOT_A_CODE and not status_byte & self._fatal[channel]
        probe = self._probes[channel]
        if probe:
            reading = UNREADABLE
            if readable:
                reading = limit_tables.reading_centi(self._references[channel], self._per_degc[channel], hot, cold)
            readable = probe.take(reading, elapsed_ms)
            if probe.fell:
                self.application.emit_event("fall_believed", channel, probe.fell)
        self._readable[channel] = readable

    def smallest(self):
        """(channel, margin in hundredths of a degC) of the smallest margin; (NO_CHANNEL, UNREADABLE) without one."""
        least, at = UNREADABLE, NO_CHANNEL
        for place in range(len(self.rows)):
            margin = self._margins[place]
            if self.rows[place][3] and margin not in (UNREADABLE, QUIET) and (at == NO_CHANNEL or margin < least):
                least, at = margin, self.rows[place][0]
        return at, least

    def _changed(self, place, level, old, new):
        channel, where = self.rows[place][0], self.rows[place][1]
        detail = "needle" if where == limit_tables.BEHIND_NEEDLE else ""
        self.application.emit_event("alarm", channel, event_value(place, level, old, new), detail)

    # Lamp, buzzer, button

    def _loop(self, now_ms):
        if (now_ms - self._read_ms) & 0xFFFFFFFF >= 1000:
            self._read_ms = now_ms
            self._read_inputs(now_ms)
        application = self.application
        store_full = application.health["store_free_kb"] == 0
        age_days = self._age_days()
        good = self.fit and (age_days == _UNKNOWN_DAYS or age_days <= _LIMITS_GOOD_DAYS)
        if (now_ms - self._began_ms) & 0xFFFFFFFF >= TEST_MS:
            self._lamp.show(choose(self.alarms.shown(), self.alarms.unseen, good, store_full, application.failed), now_ms)
        board.lamp(self._lamp.on(now_ms))
        board.buzzer(buzzer(self.alarms.sounding(), application.settings["buzzer"], application.inputs.ignition))
        health = application.health
        health["lamp"] = self._lamp.pattern
        health["alarm_unseen"] = 1 if self.alarms.unseen else 0
        health["limits_age_days"] = age_days

    def _read_inputs(self, now_ms):
        values, chip = self.application.inputs.values, self.application.inputs.barometer
        if chip and chip.chip and values["barometer"]:
            try:
                pa = barometer.air_pressure_pa(BAROMETER_CHIPS[chip.chip], chip.words, values["barometer"])
            except barometer.BarometerError:
                return
            self._air.append(pa // limit_tables.PRESSURE_UNIT_PA)
            if len(self._air) > _LOWEST_OF:
                self._air.pop(0)
        elif self._air:
            self._air.pop(0)

    def _button(self, held_ms):
        """A press clears the wink; a long one also shows the smallest margin in blinks."""
        now_ms = self.application.clock.now()
        self.alarms.seen()
        if held_ms >= _LONG_PRESS_MS:
            channel, margin = self.smallest()
            if channel != NO_CHANNEL:
                margin = max(margin, -9900)
                if self.application.settings["units"] == "us":
                    margin = margin * 9 // 5
                self._lamp.tell(blink_code(channel + 1, margin // 100), now_ms)

    def _acknowledge(self, _argument):
        self.alarms.acknowledge()
        return b""

    def _identify(self, _argument):
        self._lamp.tell(IDENTIFY, self.application.clock.now())
        return b""


def _same_chip(reference, settings, channel):
    from hotfuel_wire.amplifiers import gain

    name = settings["chips"][channel]
    return reference["chip"] == CHIPS[name] and reference["gain"] == gain(name, settings["gain"])


def join(pieces):
    """Pieces as one byte string, each after its length."""
    return b"".join([bytes([len(piece)]) + piece for piece in pieces])


def split(content):
    """(head, pieces): the inverse of join."""
    pieces = []
    at = 0
    while at < len(content):
        pieces.append(content[at + 1 : at + 1 + content[at]])
        at += 1 + content[at]
    return pieces[0], pieces[1:]

"""The main loop: turns ticks from the ring into frames, and serves commands, inputs and optional modules.

Optional modules are found by name; each has attach(application), which adds itself to the lists below, registers its commands and updates its entries of
`health`. They may use: clock, settings, emit, emit_event, commands, inputs, sampler, sender, time_of_day.
"""

import gc
import sys

import board
import hotfuel_wire
from chips import driver
from clock import U32, Clock
from commands import Commands, Refused, reason, text_of
from hotfuel_wire import PROTOCOL_VERSION, codec, const
from hotfuel_wire.messages import CHIPS, CONFIGURATION_LOST, EVENTS, FAILED, NO_ANSWER, NO_CHANNEL, NOT_A_CODE, RESET_CAUSES
from inputs import KEY_OFF_MS, PERIOD_MS, Inputs
from sampler import Sampler
from sender import Sender
from timeofday import TimeOfDay
from twinfile import TwinFile
from watch import Watch

VERSION = (0, 1, 0)
OPTIONAL = ("limits", "store", "power")
FITTED_ONLY = ("more_inputs", "receiver")  # loaded only if the setting more_inputs names one of their inputs
_STORE_BUFFER = const(4096)
_TOLD_MS = const(10000)  # description and health
_COLLECT_MS = const(5000)
_IDLE_MS = const(20)
_SERVICE_MS = const(1000)
_ASTRAY_MOST = const(8)
_DETAIL_MAX = const(224)


class Application:
    """Lists of callbacks. `on_tick`: (time_ms, hot, cold, status) of every tick, in the main loop; the three are arrays, one entry a channel, reused for
    the next tick. `on_loop`: time_ms, in every pass of the main loop. `on_change`: after settings changed. `on_selftest`: returns lines (name, value).
    `sender.listeners`: every frame.
    """

    def __init__(self, folder=""):
        self.store_buffer = bytearray(_STORE_BUFFER)  # allocated now, while the heap still has a free block of that size
        self.folder = folder
        self.clock = Clock(board.ticks_ms)
        self.sender = Sender(board, self.clock)
        self.emit = self.sender.emit
        self.commands = Commands(self.emit)
        self.on_tick = []
        self.on_loop = []
        self.on_change = []
        self.on_selftest = []
        self.attached = []
        self._told = False  # the kept failure has been reported to a host
        self.failed = 0  # bits of FAILED: settings that cannot be used, optional modules that could not start
        self.health = {
            "frames_stored": 0,
            "store_free_kb": 0xFFFF,
            "lamp": 0,
            "memory_free": board.memory_free(),
            "alarm_unseen": 0,
            "limits_age_days": 0xFFFF,
        }
        self.description_id = 0
        self._last_ms = 0
        boots = TwinFile("boots", folder)
        self._settings_file = TwinFile("settings", folder)
        self._configuration = None
        count = boots.load()
        self.settings, trouble = self._settings_module().load(self._settings_file, count is not None)
        self.boot_count = int(count.decode()) + 1 if count and count.isdigit() else 1
        self._received = bytearray(64)
        # The first description may go out before the host's USB is up, so it is repeated soon.
        self._due = {"description": _TOLD_MS // 10, "auxiliary": 0, "health": _TOLD_MS, "collect": _COLLECT_MS}
        self._service_ms = None
        self._losses_before = [0, 0, 0, 0, 0]  # of samplers replaced since: late, skipped, dropped, longest_us, bit errors
        self.sampler = self.inputs = None
        self.time_of_day = TimeOfDay(board, self)
        board.sensor_rail(True)
        self._apply()
        self._register()
        self._take_over()
        if trouble:
            self._failed("settings", trouble)
        for name in OPTIONAL:
            gc.collect()  # garbage from starting up fragments the heap: without this no free block of 4 kB is left later
            self._attach(name)
            if name == "store":
                self._first_ticks()
        self._attach_fitted()
        # After the settings, so that a first boot cut short counts as a first boot again; after the first ticks, because a flash write is slow.
        try:
            boots.save(str(self.boot_count).encode())
        except OSError:  # a full or worn flash must not stop the board from measuring
            pass
        self._let_go()
        self.emit_event("boot", value=self.boot_count, detail=trouble)

    def _first_ticks(self):
        """Sends the ticks taken so far before the boot event is written to flash: once the store is attached, ticks are judged and stored too."""
        while self.sampler is not None and self.sampler.take():
            self._tick()
        self.sender.pump()

    def _settings_module(self):
        """The tables of allowed values and of the amplifiers take 9 kB: they are loaded while settings are being changed, and for a while after."""
        if self._configuration is None:
            import settings

            self._configuration = settings
        self._configured_ms = self._last_ms
        return self._configuration

    def _let_go(self):
        self._configuration = None
        sys.modules.pop("settings", None)
        for name in ("amplifiers", "more"):
            sys.modules.pop("hotfuel_wire." + name, None)
            if hasattr(hotfuel_wire, name):
                delattr(hotfuel_wire, name)

    def _take_over(self):
        """Migrates an earlier version's files before the store is opened. The module is unloaded afterwards."""
        import migrate

        try:
            migrate.folder(self.folder)
        except OSError as error:
            self.emit_event("exception", detail="what an earlier version stored is still in its folder: " + reason(error))
        del sys.modules["migrate"]

    def _attach(self, name):
        """Ignores a module that is not installed; reports one that fails, and the board measures without it."""
        try:
            __import__(name).attach(self)
            self.attached.append(name)
        except Exception as error:
            if not (isinstance(error, ImportError) and name in str(error)):
                failures = self._failed(name, reason(error))
                if name == "limits":
                    self.health["lamp"] = failures.LAMP
                    self.on_loop.append(failures.blink)

    def _attach_fitted(self):
        for name in FITTED_ONLY:
            if name not in self.attached and any(
                [(word == "receiver") == (name == "receiver") for word in self.settings["more_inputs"]]
            ):
                self._attach(name)

    def _failed(self, name, why):
        """Shows a failure on the lamp and in every health message, and keeps it in flash for the next host."""
        import failures

        self.failed |= FAILED[name]
        text = "%s: %s" % (name, why)
        failures.Failures(self.folder).keep(text, self.boot_count)
        self.emit_event("exception", detail=text)
        return failures

    def _apply(self):
        """Applies the settings: new chips, new description."""
        old = self.sampler
        if old:
            old.stop()
            while old.take():
                self._tick()
            before = self._losses_before
            self._losses_before = [
                before[0] + old.late,
                before[1] + old.skipped,
                before[2] + old.dropped,
                max(before[3], old.longest_us),
                before[4] + sum([chip.bit_errors for chip in old.chips]),
            ]
        names = self.settings["chips"]
        chips = tuple([driver(name)(board, channel, self.settings) for channel, name in enumerate(names)])
        period_ms = 1000 // self.settings["rate_hz"]
        self.sampler = Sampler(board, chips, period_ms)
        self.sender.period_ms = period_ms
        inputs = Inputs(board, self.settings, self.folder)
        if self.inputs:
            inputs.goes_on_from(self.inputs)
        else:
            inputs.on_button.append(self._mark_button)
            inputs.on_ignition.append(self._ignition)
        self.inputs = inputs
        self.watch = Watch(len(chips), self.emit_event)
        self._reading = {"channels": [{"hot": 0, "cold": 0, "status": 0} for _ in chips]}  # type: dict
        channels = []
        for name, place, chip in zip(names, self.settings["places"], chips):
            row = {"place": place.encode(), "chip": CHIPS[name], "thermocouple": 0x4B}  # K
            row.update(chip.description)
            channels.append(row)
        self._description = {
            "protocol_version": PROTOCOL_VERSION,
            "firmware_major": VERSION[0],
            "firmware_minor": VERSION[1],
            "firmware_patch": VERSION[2],
            "board_id": board.board_id(),
            "boot_count": self.boot_count,
            "reset_cause": RESET_CAUSES[board.reset_cause()],
            "period_ms": period_ms,
            "simulated": 1 if board.simulated_speed else 0,
            "simulated_speed": board.simulated_speed,
            "channels": channels,
        }
        self.sampler.start(self.clock, not old)
        self.describe()

    def describe(self):
        """Send the board description and the barometer's calibration."""
        payload, length = self.emit("description", self._description)
        self.description_id = codec.description_id(memoryview(payload)[:length])
        words = self.inputs.barometer_values()
        if words:
            self.emit("barometer", words)

    def emit_event(self, name, channel=NO_CHANNEL, value=0, detail=""):
        """Send an event; `detail` is cut to what fits."""
        self.emit("event", {"code": EVENTS[name], "channel": channel, "value": value, "detail": detail.encode()[:_DETAIL_MAX]})

    def run(self):
        """Never returns. A step that fails becomes an event and sampling restarts; if it keeps failing, the watchdog resets the board."""
        while True:
            try:
                self.step()
            except Exception as error:
                self.recover(error)
            else:
                board.feed()

    def recover(self, error):
        """Report an exception and restart sampling."""
        try:
            self.emit_event("exception", detail=reason(error))
            self.sampler.error = None
            self.sampler.start(self.clock)
            self.sender.pump()
        except Exception:  # without memory even the report may fail; then the watchdog resets the board
            pass
        board.sleep_ms(500)

    def step(self):
        """One pass of the main loop."""
        now = self.clock.now()
        if now < self._last_ms:  # the board's time wrapped after 49.7 days: ticks are numbered from it
            self.sampler.start(self.clock)
        elif self.sampler.astray > _ASTRAY_MOST:
            self.sampler.align(self.clock)
        self._last_ms = now
        if self.sampler.error:
            error, self.sampler.error = self.sampler.error, None
            raise error
        busy = False
        count = board.receive(self._received)
        if count:
            busy = True
            self.commands.receive(memoryview(self._received)[:count])
        while self.sampler.take():
            self._tick()
        self.inputs.step(now)
        self._periodic(now)
        for call in self.on_loop:
            call(now)
        if self._service_ms is not None and (not self.sender.waiting() or (now - self._service_ms) & U32 > _SERVICE_MS):
            board.leave_for_prompt()
        if not (self.sender.pump() or busy):
            board.sleep_ms(_IDLE_MS)

    def _tick(self):
        sampler = self.sampler
        time_ms = self.clock.at(sampler.raw_ms)
        reading = self._reading
        reading["description_id"] = self.description_id
        for index in range(len(sampler.chips)):
            row = reading["channels"][index]
            hot = sampler.hot[index]
            row["hot"] = hot
            row["cold"] = sampler.cold[index]
            row["status"] = sampler.status[index]
            if hot in (NO_ANSWER, CONFIGURATION_LOST) or hot > NOT_A_CODE:
                self.watch.see(index, hot if hot < NOT_A_CODE else 0, time_ms)
        self.emit("reading", reading, time_ms)
        for call in self.on_tick:
            call(time_ms, sampler.hot, sampler.cold, sampler.status)

    def _is_due(self, what, now, every_ms):
        if (now - self._due[what]) & U32 > 0x7FFFFFFF:
            return False
        self._due[what] = (now + every_ms) & U32
        return True

    def _periodic(self, now):
        if self._is_due("auxiliary", now, PERIOD_MS):
            if self.inputs.read():
                self.describe()
            self.emit("auxiliary", self.inputs.values)
        if self._is_due("description", now, _TOLD_MS):
            self.describe()
        if self._is_due("health", now, _TOLD_MS):
            self.emit("health", self._health())
        if self._is_due("collect", now, _COLLECT_MS):
            if self._configuration and (now - self._configured_ms) & U32 > _COLLECT_MS:
                self._let_go()
            gc.collect()
            self.health["memory_free"] = board.memory_free()  # after a collection, so garbage does not count as used
            self.watch.step(now)
        self.time_of_day.step(now)

    def _health(self):
        values, sampler, before = self.health, self.sampler, self._losses_before
        values["late_ticks"] = before[0] + sampler.late
        values["skipped_ticks"] = before[1] + sampler.skipped
        values["readings_dropped"] = before[2] + sampler.dropped
        values["longest_tick_us"] = max(before[3], sampler.longest_us)
        values["bit_errors"] = before[4] + sum([chip.bit_errors for chip in sampler.chips])
        values["failed"] = self.failed
        values["frames_sent"] = self.sender.sent
        values["frames_dropped"] = self.sender.dropped
        return values

    def _mark_button(self, held_ms):
        self.emit_event("mark", value=held_ms)

    def _ignition(self, on):
        self.emit_event("ignition_on" if on else "ignition_off", value=0 if on else KEY_OFF_MS)

    def _register(self):
        register = self.commands.register
        register("version", self._version, asks_only=True)
        register("info", self._info, asks_only=True)
        register("settings_get", self._settings_get, asks_only=True)
        register("settings_set", self._settings_set)
        register("clock", self.time_of_day.command)
        register("mark", self._mark)
        register("service", self._service)
        register("selftest", self._selftest)

    def _failures(self):
        """Rarely asked for, so loaded on demand."""
        import failures

        del sys.modules["failures"]
        return failures.Failures(self.folder)

    def _version(self, _argument):
        if not self._told:  # every host sends this command first
            self._told = True
            self._failures().tell(self.emit_event, self.failed)
        last = self.commands.last_sequence
        values = (PROTOCOL_VERSION,) + VERSION + ("none" if last is None else last,)
        return ("protocol=%d\nfirmware=%d.%d.%d\nlast_sequence=%s" % values).encode()

    def _info(self, _argument):
        self.describe()  # a host that asks may have just connected and needs the description to decode readings
        lost = [self.settings["places"][index] for index, state in enumerate(self.watch.states) if state]
        lines = (
            "board_id=" + "".join(["%02x" % byte for byte in board.board_id()]),
            "boot_count=%d" % self.boot_count,
            "reset_cause=" + board.reset_cause(),
            "uptime_ms=%d" % self.clock.now(),
            "memory_free=%d" % self.health["memory_free"],
            "barometer=%s" % (self.inputs.barometer.chip if self.inputs.barometer else None),
            "attached=" + ",".join(self.attached),
            "lost=" + ",".join(lost),
            "failed=" + ",".join([name for name in sorted(FAILED) if self.failed & FAILED[name]]),
        )
        text = "\n".join(lines)
        last = self._failures().last
        if last:
            text += "\nfailure=boot %d, %s" % last
        return text.encode()

    def _settings_get(self, argument):
        name = text_of(argument)
        if not name:
            return ",".join(sorted(self.settings)).encode()
        if name not in self.settings:
            raise Refused("bad_argument", "no setting %s; there are %s" % (name[:20], ", ".join(sorted(self.settings))))
        return self._settings_module().show(name, self.settings[name]).encode()

    def _settings_set(self, argument):
        text = text_of(argument)
        configuration = self._settings_module()
        try:
            new = configuration.changed(self.settings, text)
        except configuration.SettingsError as error:
            raise Refused("bad_argument", str(error))
        try:
            configuration.save(self._settings_file, new)
        except OSError as error:
            raise Refused("failed", "the settings could not be stored, the old ones stay: %s" % error)
        self.settings = new
        self.failed &= ~FAILED["settings"]
        self._apply()
        self._attach_fitted()
        for call in self.on_change:
            call()
        self.emit_event("settings_changed", detail=text)
        return b""

    def _mark(self, argument):
        self.emit_event("mark", detail=text_of(argument))
        return b""

    def _selftest(self, argument):
        import selftest  # in memory only while it is needed

        try:
            return selftest.run(self, text_of(argument))
        finally:
            del sys.modules["selftest"]

    def _service(self, argument):
        if argument:
            raise Refused("bad_argument", "service takes no argument")
        self._service_ms = self._last_ms  # this pass's time: a later one would wrap to long ago in this pass's comparison
        return b"the board restarts and ends at its prompt"

"""The other inputs, each optional: barometer, battery, fuel-pressure sender, engine speed, ignition, button. All raw."""

import os

from hotfuel_wire import const
from hotfuel_wire.messages import BAROMETER_CHIPS, FITTED, INPUTS

PERIOD_MS = 1000
_DEBOUNCE_MS = const(40)
# Cranking may pull the supply, and so the divider, below the pin's high level for as long as the starter turns.
KEY_OFF_MS = const(5000)
SEEN_FILE = "ignition.seen"  # exists once the ignition was seen on: from then on, off means off and not "not wired"
_BACK_OFF_MAX = const(64)  # periods


class Barometer:
    """Finds the chip and reads its raw data; retries one that does not answer after 1, 2, 4 ... 64 s. `chip`: its name or None."""

    def __init__(self, board, wanted):
        self.chip = None
        self.words = b""  # its calibration registers
        self.data = b""  # its data registers, last read; empty while it does not answer
        self._i2c = board.i2c()
        self._wanted = wanted
        self._device = None
        self._wait = 0
        self._back_off = 1

    def read(self):
        """Read once. True if a chip has been found or lost."""
        if self._wait:
            self._wait -= 1
            return False
        before = self.chip
        try:
            if self._device is None:
                self._find()  # its first conversion is ready for the next call
            else:
                self.data = self._device.read_raw()
            self._back_off = 1
        except OSError:
            self._device = None
            self.chip = None
            self.data = b""
            self._wait = self._back_off
            self._back_off = min(2 * self._back_off, _BACK_OFF_MAX)
        return self.chip != before

    def _find(self):
        for name in ("BMP280", "BMP390"):
            if self._wanted not in ("auto", name):
                continue
            if name == "BMP280":
                from chips import bmp280

                chip = bmp280.Chip
            else:
                from chips import bmp390

                chip = bmp390.Chip
            for address in (0x76, 0x77):
                device = chip(self._i2c, address)
                if device.found():
                    device.configure()
                    self.words = device.words()
                    self._device = device
                    self.chip = name
                    return
        raise OSError("no barometer")


class Inputs:
    """`on_button`: called with the held time in ms when the button is released. `on_ignition`: called with True or False at each change.

    `ignition_seen`: it has been on in this boot or an earlier one. `pulses_ms`: when the count of engine pulses last rose; None: not yet.
    """

    def __init__(self, board, settings, folder=""):
        self.on_button = []
        self.on_ignition = []
        self.ignition = board.ignition()
        self.held = False
        self.pulses_ms = None
        self._seen_path = folder + SEEN_FILE
        self.ignition_seen = _exists(self._seen_path)
        self._now_ms = 0
        self._board = board
        self._fitted = settings["inputs"]
        self.barometer = Barometer(board, settings["barometer"]) if "barometer" in self._fitted else None
        self.counter = board.pulse_counter() if "engine_pulses" in self._fitted else None
        self._button_ms = 0
        self._ignition_ms = 0
        self.values = {"fitted": 0, "inputs": 0, "battery": 0, "fuel_pressure": 0, "pulses": 0, "barometer": b""}

    def goes_on_from(self, before):
        """After a change of settings: takes over listeners, and whether pulses were seen."""
        self.on_button, self.on_ignition = before.on_button, before.on_ignition
        self.pulses_ms, self.values["pulses"] = before.pulses_ms, before.values["pulses"]

    def step(self, now_ms):
        """Watch button and ignition; called in every pass of the main loop."""
        self._now_ms = now_ms
        held = self._board.button()
        if held != self.held and (now_ms - self._button_ms) & 0xFFFFFFFF >= _DEBOUNCE_MS:
            length_ms = (now_ms - self._button_ms) & 0xFFFFFFFF
            self.held = held
            self._button_ms = now_ms
            if not held and "mark_button" in self._fitted:
                for call in self.on_button:
                    call(length_ms)
        ignition = self._board.ignition()
        if ignition == self.ignition:
            self._ignition_ms = now_ms
        elif (now_ms - self._ignition_ms) & 0xFFFFFFFF >= (KEY_OFF_MS if self.ignition else _DEBOUNCE_MS):
            self.ignition = ignition
            if "ignition" in self._fitted:
                for call in self.on_ignition:
                    call(ignition)
        if self.ignition and not self.ignition_seen and "ignition" in self._fitted:
            self._remember()

    def _remember(self):
        self.ignition_seen = True
        try:
            with open(self._seen_path, "w") as file:
                file.write("1")
        except OSError:  # still known in this boot
            pass

    def turned_within(self, now_ms, ms):
        """True if the engine's pulses were seen in the last `ms`."""
        return self.pulses_ms is not None and (now_ms - self.pulses_ms) & 0xFFFFFFFF < ms

    def read(self):
        """(values of one auxiliary frame, True if the barometer has changed)."""
        values = self.values
        fitted = 0
        for name in self._fitted:
            if name != "barometer":
                fitted |= FITTED[name]
        changed = False
        values["barometer"] = b""
        if self.barometer:
            changed = self.barometer.read()
            values["barometer"] = self.barometer.data
            if self.barometer.chip:
                fitted |= FITTED["barometer"]
        if self.counter:
            pulses = self.counter.count()
            if pulses != values["pulses"]:
                values["pulses"] = pulses
                self.pulses_ms = self._now_ms
            if self.counter.by_interrupt:
                fitted |= FITTED["engine_pulses_irq"]
        for name in ("battery", "fuel_pressure"):
            values[name] = self._board.analogue(name) if name in self._fitted else 0
        values["fitted"] = fitted
        values["inputs"] = (
            (INPUTS["ignition"] if self.ignition else 0)
            | (INPUTS["mark_button"] if self.held else 0)
            | (INPUTS["ignition_unseen"] if "ignition" in self._fitted and not (self.ignition_seen or self.ignition) else 0)
        )
        return changed

    def barometer_values(self):
        """The values of a barometer frame; None without a barometer."""
        if not (self.barometer and self.barometer.chip):
            return None
        return {"chip": BAROMETER_CHIPS[self.barometer.chip], "words": self.barometer.words}


def _exists(path):
    try:
        os.stat(path)
        return True
    except OSError:
        return False

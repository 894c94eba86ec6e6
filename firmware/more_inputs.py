"""Inputs that only some boards have: voltages behind an ADS1115, and flow meters' pulses. Loaded if the setting more_inputs names one of them.

An input without a value is left out of the message, so that a broken wire gives no number.
"""

import board
from hotfuel_wire import const, more
from hotfuel_wire.messages import FAILED

_PERIOD_MS = const(1000)
_BACK_OFF_MAX = const(64)  # periods
_TOLD_MS = const(60000)  # a loose plug is reported once a minute
_CONVERSION_MS = const(70)  # 62.5 and 10 % tolerance (datasheet)
_COUNT_MASK = const(0x3FFFFFFF)  # a small integer on the board


def attach(application):
    """See application.py."""
    MoreInputs(application)


class MoreInputs:
    """Adds itself to the application's lists; follows changes of settings."""

    def __init__(self, application):
        more.join()
        self._application = application
        self._chip = None
        self._due_ms = 0
        self._told_ms = None
        self._begun_ms = 0
        self._settings_changed()
        application.on_loop.append(self._loop)
        application.on_change.append(self._settings_changed)
        application.on_selftest.append(self._told)

    def _settings_changed(self):
        settings = self._application.settings
        fitted = settings["more_inputs"]
        self._channels = [int(name[-1]) - 1 for name in fitted if name.startswith("analogue")]
        self._counters = [(more.INPUTS[name], board.pulse_counter(name)) for name in fitted if name.startswith("flow")]
        self._codes = {}
        self._sent = {}
        self._at = 0
        self._begun = False
        self._wait = 0
        self._back_off = 1
        self._application.failed &= ~FAILED["more_inputs"]
        if self._channels:
            from chips import ads1115

            self._chip = ads1115.Chip(board.i2c(), settings["converter_address"])

    def _loop(self, now_ms):
        if self._channels and not self._wait:
            try:
                self._convert(now_ms)
            except OSError:
                self._silent(now_ms)
        if (now_ms - self._due_ms) & 0xFFFFFFFF > 0x7FFFFFFF:
            return
        self._due_ms = (now_ms + _PERIOD_MS) & 0xFFFFFFFF
        if self._wait:
            self._wait -= 1
        inputs = [{"input": channel + 1, "value": self._codes[channel]} for channel in sorted(self._codes)]
        inputs += [{"input": number, "value": counter.count() & _COUNT_MASK} for number, counter in self._counters]
        self._sent, self._codes = self._codes, {}
        if inputs:
            self._application.emit("more_inputs", {"inputs": inputs})

    def _told(self):
        """Lines for the self-test: the last second's codes, the counters' present counts."""
        lines = [("analogue_%d" % (channel + 1), self._sent.get(channel, "silent")) for channel in self._channels]
        return lines + [("flow_%d" % (number - 16), counter.count()) for number, counter in self._counters]

    def _convert(self, now_ms):
        """One step: start a conversion, or fetch it once it is done."""
        channel = self._channels[self._at]
        if not self._begun:
            if channel not in self._codes:
                self._chip.begin(channel)
                self._begun = True
                self._begun_ms = now_ms
        elif (now_ms - self._begun_ms) & 0xFFFFFFFF >= _CONVERSION_MS and self._chip.done():
            self._codes[channel] = self._chip.code()
            self._begun = False
            self._at = (self._at + 1) % len(self._channels)
            self._back_off = 1
            if self._application.failed & FAILED["more_inputs"]:
                self._application.failed &= ~FAILED["more_inputs"]
                self._application.emit_event("chip_found", detail="ADS1115")

    def _silent(self, now_ms):
        self._begun = False
        self._wait = self._back_off
        self._back_off = min(2 * self._back_off, _BACK_OFF_MAX)
        application = self._application
        if not application.failed & FAILED["more_inputs"]:
            application.failed |= FAILED["more_inputs"]
            if self._told_ms is None or (now_ms - self._told_ms) & 0xFFFFFFFF > _TOLD_MS:
                self._told_ms = now_ms
                application.emit_event("chip_lost", detail="ADS1115")

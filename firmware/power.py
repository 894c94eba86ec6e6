"""Power management: after key-off the board runs for an hour to record the hot soak, then sleeps; it sleeps earlier if the battery is weak.

The supply is permanent, through its own fuse; ignition is sensed. The board never sleeps without a battery reading (on a bench, powered by USB), without
an ignition input to wake it, or while engine pulses come. Ignition off counts as key-off only once the ignition was seen on.
"""

import board
from hotfuel_wire import const

_LOW_MS = const(30000)  # cranking dips are shorter
_FED_MV = const(6000)  # below that the supply is not a car's battery
_TURNED_MS = const(60000)  # pulses within this time: a driving car, whatever the ignition input says
_DOZE_MS = const(2000)  # shorter than the watchdog's time
_DIVIDER = const(11)  # 100k over 10k, see pins.py
_REFERENCE_MV = const(3300)


def attach(application):
    """See application.py."""
    Power(application)


def battery_mv(code):
    """Supply voltage from the ADC code."""
    return code * _REFERENCE_MV * _DIVIDER // 65535


class Power:
    """Adds itself to the application's lists; see the module."""

    def __init__(self, application):
        self._application = application
        self._off_since_ms = None
        self._low_since_ms = None
        application.on_loop.append(self._loop)

    def _loop(self, now_ms):
        application = self._application
        fitted = application.settings["inputs"]
        if "battery" not in fitted or "ignition" not in fitted:
            return
        supply_mv = battery_mv(application.inputs.values["battery"])
        inputs = application.inputs
        if inputs.ignition or supply_mv < _FED_MV or inputs.turned_within(now_ms, _TURNED_MS):
            self._off_since_ms = self._low_since_ms = None
            return
        if self._off_since_ms is None:
            self._off_since_ms = now_ms
        low = supply_mv < application.settings["low_voltage_mv"]
        if not low:
            self._low_since_ms = None
        elif self._low_since_ms is None:
            self._low_since_ms = now_ms
        if low and (now_ms - self._low_since_ms) & 0xFFFFFFFF >= _LOW_MS:
            application.emit_event("low_voltage", value=supply_mv)
            self._sleep(supply_mv)
        elif (
            inputs.ignition_seen
            and (now_ms - self._off_since_ms) & 0xFFFFFFFF >= application.settings["after_key_off_min"] * 60000
        ):
            self._sleep(supply_mv)

    def _sleep(self, supply_mv):
        """Sleeps until the ignition comes on; then resets the board."""
        application = self._application
        application.emit_event("sleep", value=supply_mv)  # the store flushes an event at once
        for _ in range(100):
            if not application.sender.pump():
                break
        board.stop_timer()
        board.sensor_rail(False)
        board.lamp(False)
        board.buzzer(False)
        while not board.ignition():
            board.feed()
            board.doze(_DOZE_MS)
        board.reset("wake")

"""The self-test: what the hardware can check by itself, one step a command. Loaded on demand and unloaded again; touches no stored drive.

Answers are lines name=value. For what the board cannot see (a reversed probe, whether the lamp is lit) the host asks the builder.
"""

import os

import board
from commands import Refused
from hotfuel_wire import const
from hotfuel_wire.amplifiers import ROWS
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER, NOT_A_CODE, NOT_READY

_ENGINE_MS = const(60000)  # pulses within this time: it runs or has just stopped
_CHARGING_MV = const(13200)  # more than a resting 12 V battery has: the engine turns the generator (common practice, no source)
_SETTLE_MS = const(100)
_READ_MOST = const(10)
_LIT_MS = const(800)
FILE = "selftest.tmp"
_REASONS = {NO_ANSWER: "silent", CONFIGURATION_LOST: "configuration_lost", NOT_READY: "not_ready"}


def run(application, step):
    """The answer to one step: "chip N", "rail", "inputs", "more", "store", "lamp" or "buzzer". Raises Refused."""
    name, _, number = step.partition(" ")
    if name not in _STEPS or (name == "chip") != number.isdigit():
        raise Refused("bad_argument", "selftest %s; there are chip N, %s" % (step[:20], ", ".join(sorted(_STEPS)[1:])))
    if engine_runs(application):
        raise Refused("busy", "the engine runs: a self-test stops the readings and the warnings; stop the engine first")
    lines = _STEPS[name](application, int(number or 0))
    return "\n".join(["%s=%s" % line for line in lines]).encode()


def engine_runs(application):
    """True if pulses or the battery's voltage show it; False if neither input is fitted."""
    inputs = application.inputs
    inputs.read()
    if inputs.turned_within(application.clock.now(), _ENGINE_MS):
        return True
    fitted = application.settings["inputs"]
    return "battery" in fitted and inputs.ignition and _millivolt(inputs.values["battery"]) * 11 > _CHARGING_MV


def _millivolt(code):
    return code * 3300 // 65535


def _chip(application, channel):
    sampler = application.sampler
    if channel >= len(sampler.chips):
        raise Refused("bad_argument", "chip %d; there are 0 to %d" % (channel, len(sampler.chips) - 1))
    name = application.settings["chips"][channel]
    lines = [("name", name)]
    sampler.stop()
    try:
        if ROWS[name]["bus"] == "spi":
            lines.append(("pulled_up", 1 if _pulled_up(board.select(channel)) else 0))
            lines.append(("others_quiet", 1 if _quiet() else 0))
        chip = sampler.chips[channel]
        lines.append(("answer", _answer(chip)))
        if lines[-1][1] == "ok":
            lines += [("hot", chip.hot), ("cold", chip.cold), ("status", chip.status)]
    finally:
        sampler.start(application.clock)
    return lines


def _pulled_up(pin):
    """True if the module at this select pin pulls it up: as an input with the weak pull-down, the line stays high. Idle high again afterwards."""
    pin.init(pin.IN, pin.PULL_DOWN)
    board.sleep_ms(1)
    high = pin() == 1
    pin.init(pin.OUT, value=1)
    return high


def _answer(chip):
    """Configure the chip and wait for a reading: "ok", or why there is none."""
    chip.configure()
    for _ in range(_READ_MOST):
        board.sleep_ms(_SETTLE_MS)
        chip.read_raw()
        if chip.hot != NOT_READY:
            break
    return _REASONS.get(chip.hot, "ok" if chip.hot > NOT_A_CODE else "fault")


def _quiet():
    """With no chip selected the data line must be high, else an unselected module drives it."""
    got = bytearray(4)
    board.spi().transfer(lambda level: None, 1, bytes(4), got)
    return got == b"\xff\xff\xff\xff"


def _rail(application, _number):
    """With the rail off no amplifier may answer; with it on, those that answered before must answer again."""
    sampler = application.sampler
    sampler.stop()
    off = []
    try:
        before = [_answer(chip) for chip in sampler.chips]
        try:
            board.sensor_rail(False)
            board.sleep_ms(_SETTLE_MS)
            for chip in sampler.chips:
                chip.read_raw()
                off.append(_REASONS.get(chip.hot, "answers"))
        finally:
            board.sensor_rail(True)
            for channel in range(len(sampler.chips)):
                board.select(channel)(1)
        board.sleep_ms(_SETTLE_MS)
        after = [_answer(chip) for chip in sampler.chips]  # the timer does not read in between
    finally:
        sampler.start(application.clock)
    return [("vsys_mv", board.vsys_mv()), ("before", ",".join(before)), ("off", ",".join(off)), ("after", ",".join(after))]


def _inputs(application, _number):
    from chips.ds3231 import Chip

    inputs = application.inputs
    inputs.read()
    try:
        clock = "stopped" if Chip(board.i2c()).seconds() is None else "ok"
    except OSError:
        clock = "silent"
    return [
        ("fitted", ",".join(application.settings["inputs"])),
        ("battery_mv", _millivolt(board.analogue("battery")) * 11),
        ("fuel_pressure_code", board.analogue("fuel_pressure")),
        ("ignition", 1 if board.ignition() else 0),
        ("button", 1 if board.button() else 0),
        ("pulses", inputs.values["pulses"]),
        ("barometer", inputs.barometer.chip if inputs.barometer else "not_fitted"),
        ("clock", clock),
    ]


def _more(application, _number):
    """The further inputs; run it twice to see counts rise."""
    lines = [("fitted", ",".join(application.settings["more_inputs"]))]
    for call in application.on_selftest:
        lines += call()
    return lines


def _store(application, _number):
    """Write, read back and delete a test file; stored drives are not opened."""
    path, pattern = application.folder + FILE, bytes([byte ^ 0xA5 for byte in range(256)])
    try:
        with open(path, "wb") as file:
            file.write(pattern)
        with open(path, "rb") as file:
            same = file.read() == pattern
        os.remove(path)
    except OSError as error:
        return [("store", "failed"), ("why", error)]
    return [("store", "ok" if same else "differs"), ("free_kb", application.health["store_free_kb"])]


def _lit(switch):
    switch(True)
    board.sleep_ms(_LIT_MS)
    switch(False)
    return [("on_ms", _LIT_MS)]


_STEPS = {  # type: dict
    "chip": _chip,
    "rail": _rail,
    "inputs": _inputs,
    "more": _more,
    "store": _store,
    "lamp": lambda _application, _number: _lit(board.lamp),
    "buzzer": lambda _application, _number: _lit(board.buzzer),
}

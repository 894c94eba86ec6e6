# Run on MicroPython or CPython: board_run.py ROOT FOLDER SCENARIO. Frames on standard output, one JSON object of other findings on standard error.

import json
import sys

root, folder, scenario = sys.argv[1:4]
sys.path.insert(0, root + "/tests/firmware")
import rig

rig.arrange(root)
found = {}


def application(made):
    import application

    return application.Application(folder)


def turn(app):
    """One turn of Application.run's loop."""
    try:
        app.step()
    except Exception as error:
        app.recover(error)


def plain():
    made = rig.Rig()
    app = application(made)
    made.run(app.step, 21)


def lost():
    made = rig.Rig()
    app = application(made)
    made.at(3, lambda: made.chips[1].set_fault("gone", True))
    made.at(6, lambda: made.chips[1].set_fault("gone", False))
    made.run(app.step, 10)


def broken():
    """A store that cannot start, as when a folder hides its module."""
    made = rig.Rig()
    import store

    store.attach = None
    app = application(made)
    rig.command(app, 1, "version")
    rig.command(app, 2, "info")
    made.run(app.step, 12)
    found["lamp"] = [app.health["lamp"], app.failed]


def mended():
    """The boot after it."""
    made = rig.Rig()
    app = application(made)
    rig.command(app, 1, "version")
    rig.command(app, 2, "info")
    made.run(app.step, 2)
    found["lamp"] = [app.health["lamp"], app.failed]


def storm():
    """Five minutes with a plug that goes in and out every second, and five without: the store's writes."""
    made = rig.Rig()
    app = application(made)
    import ring as ring_module

    flushes = [0]
    flush = ring_module.Ring.flush

    def counted(self, time_ms):
        flushes[0] += 1 if self._filled else 0
        flush(self, time_ms)

    ring_module.Ring.flush = counted
    made.run(app.step, 300)
    found["quiet"] = flushes[0]
    flushes[0] = 0

    def plug(second):
        made.chips[1].set_fault("gone", second % 2 == 0)
        if second < 299:
            made.at(1, lambda: plug(second + 1))

    made.at(0.05, lambda: plug(0))
    made.run(app.step, 300)
    found["storm"] = flushes[0]


def brown_out():
    made = rig.Rig()
    app = application(made)
    made.at(3.05, lambda: [chip.power_on() for chip in made.chips])
    made.run(app.step, 6)


def absent():
    made = rig.Rig(chips=("MAX31856", None, "MAX31856"))
    app = application(made)
    made.run(app.step, 5)


def exception():
    made = rig.Rig()
    app = application(made)
    turns = []

    def breaks(time_ms):
        turns.append(time_ms)
        if len(turns) == 100:
            raise ValueError("planted in the main loop")

    app.on_loop.append(breaks)

    def breaks_the_tick():
        app.sampler.chips[0].read_raw = None  # the next tick calls None

    def mended():
        del app.sampler.chips[0].read_raw

    made.at(6, breaks_the_tick)
    made.at(6.3, mended)
    made.run(lambda: turn(app), 10)


def settings():
    made = rig.Rig()
    app = application(made)
    made.run(app.step, 2)
    rig.command(app, 1, "settings_set", b"rate_hz=10")
    rig.command(app, 2, "settings_set", b"mode=automatic\nrate_hz=10")
    made.run(app.step, 3)
    rig.command(app, 3, "settings_get", b"rate_hz")
    rig.command(app, 4, "settings_get")
    rig.command(app, 5, "version")
    rig.command(app, 6, "info")
    rig.command(app, 7, "mark", "hot at the pump".encode())
    rig.command(app, 8, "acknowledge")
    made.run(app.step, 1)


def again():
    made = rig.Rig()
    app = application(made)
    found["rate_hz"] = app.settings["rate_hz"]
    made.run(app.step, 2)


def wrap():
    made = rig.Rig(start_ms=(1 << 30) - 5000)
    app = application(made)
    made.run(app.step, 10)


def deaf_host():
    made = rig.Rig()
    app = application(made)
    import board

    room, board.room = board.room, lambda: False
    made.run(app.step, 60)
    found["late"], found["dropped"], found["waiting"] = app.sampler.late, app.sender.dropped, app.sender.waiting()
    board.room = room
    made.run(app.step, 5)


def erases():
    """A flash erase of 400 ms, interrupts off, at odd moments."""
    made = rig.Rig()
    app = application(made)

    last = [0]

    def erase(time_ms):
        if time_ms // 1130 != last[0]:
            last[0] = time_ms // 1130
            made.clock.stop_world(400000)

    app.on_loop.append(erase)
    made.run(app.step, 30)
    found["erases"], found["late"], found["skipped"] = last[0], app.sampler.late, app.sampler.skipped


def mixed():
    made = rig.Rig(chips=("MAX31856", "MAX31855", "MCP9601"))
    app = application(made)
    rig.command(app, 1, "settings_set", b"chips=MAX31856,MAX31855,MCP9601\ni2c_addresses=0,0,98")
    made.run(app.step, 5)


def inputs():
    made = rig.Rig()
    from simulator.machine import boot, pins, standin_rp2, world

    boot.wire("i2c", 0, 0x76, "BMP280")
    pins.ADC.sources[26], pins.ADC.sources[27] = world.BATTERY_CODE, world.FUEL_PRESSURE_CODE
    standin_rp2.pulse_pins[made.gpio["engine_pulses"]] = 4
    resting = made.world.resting
    resting[6 + world.BATTERY_CODE], resting[6 + world.FUEL_PRESSURE_CODE] = 24000, 30000
    resting[6 + world.AMBIENT_PRESSURE_PA], resting[6 + world.AMBIENT_1024] = 84000, 30 * 1024

    def run_the_engine():
        resting[6 + world.PULSES] = 1234

    app = application(made)
    rig.command(app, 1, "settings_set", b"inputs=barometer,battery,fuel_pressure,engine_pulses,ignition,mark_button")
    made.at(2, lambda: made.hold("ignition", 1))
    made.at(3, lambda: made.hold("button", 0))
    made.at(3.5, lambda: made.hold("button", None))
    made.at(4, run_the_engine)
    made.run(app.step, 6)


def service():
    made = rig.Rig()
    app = application(made)
    made.run(app.step, 1)
    rig.command(app, 1, "service")
    import board
    import os

    board.SERVICE_FLAG, board.REASON_FILE = folder + board.SERVICE_FLAG, folder + board.REASON_FILE
    try:
        made.run(app.step, 3)
    except SystemExit as ended:
        found["reset"] = ended.args[0]
    found["took_ms"] = app.clock.now()
    found["flag"] = "service.flag" in os.listdir(folder)
    found["prompt"] = [board.prompt_wanted(), board.prompt_wanted()]
    made.hold("button", 0)
    found["button"] = board.prompt_wanted()


def fuzz():
    """Junk, damaged frames and valid frames with senseless arguments, for every command but the restart."""
    import random

    from hotfuel_wire import codec, framing
    from hotfuel_wire.messages import COMMANDS

    made = rig.Rig()
    app = application(made)
    made.run(app.step, 1)
    random.seed(1)
    before = dict(app.settings)

    def junk(length):
        return bytes([random.getrandbits(8) for _ in range(length)])

    for _ in range(600):
        app.commands.receive(junk(random.getrandbits(7)))
    found["unchanged_by_junk"] = app.settings == before and app.commands.last_sequence is None
    app.commands.receive(b"\x00")
    codes = [code for name, code in COMMANDS.items() if name != "service"] + [0, 99, 255]
    answered = 0
    for number in range(400):
        code = codes[random.getrandbits(8) % len(codes)]
        values = {"tick": 0, "time_ms": 0, "sequence": number, "code": code, "argument": junk(random.getrandbits(5))}
        waiting = app.sender.waiting()
        app.commands.receive(framing.encode(codec.pack("command", values)))
        if app.sender.waiting() > waiting:
            answered += 1
        made.run(app.step, 0.1)
    found["answered"] = answered
    found["unchanged"] = app.settings == before
    made.run(app.step, 2)


globals()[scenario]()
sys.stderr.write(json.dumps(found))

# Further inputs on MicroPython or CPython: board_more.py ROOT FOLDER SCENARIO, as board_run.py; a separate file, because sources
# take up the board's heap.

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


def check(app, name):
    import selftest

    found[name] = selftest.run(app, "more").decode()


def more_inputs():
    """Two voltages and two flow meters; the converter is away from 4 to 7 s, one read of it is corrupted at 9 s; then one voltage
    and one meter remain."""
    made = rig.Rig()
    from simulator.machine import boot, standin_rp2, world

    chip = boot.wire("i2c", 0, 0x49, "ADS1115")
    for name, column in (("flow_1", 10), ("flow_2", 11)):
        standin_rp2.pulse_pins[made.gpio[name]] = column
    resting = made.world.resting
    resting[6 + world.ANALOGUE_UV], resting[6 + world.ANALOGUE_UV + 3] = 1000000, 3200000
    app = application(made)
    found["default"] = [list(app.settings["more_inputs"]), "more_inputs" in sys.modules, "hotfuel_wire.more" in sys.modules]
    made.run(app.step, 6)
    found["let_go"] = ["hotfuel_wire.more" in sys.modules]
    rig.command(app, 1, "settings_set", b"more_inputs=analogue_1,analogue_4,flow_1,flow_2\nconverter_address=73")

    def flow():
        resting[6 + world.FLOW_PULSES] += 37
        resting[6 + world.FLOW_PULSES + 1] += 5

    for second in range(20):
        made.at(second + 0.25, flow)
    made.at(4, lambda: chip.set_fault("gone", True))
    made.at(5, lambda: found.update({"gone": app.failed}))
    made.at(6, lambda: check(app, "check_gone"))
    made.at(7, lambda: chip.set_fault("gone", False))
    made.at(12, lambda: setattr(chip, "flip", 0x4000))
    made.run(app.step, 14)
    found["mended"] = app.failed
    check(app, "check")
    app.emit_event("mark", detail="less")
    rig.command(app, 2, "settings_set", b"more_inputs=analogue_4,flow_2")
    made.run(app.step, 3)
    app.emit_event("mark", detail="none")
    rig.command(app, 3, "settings_set", b"more_inputs=")
    made.run(app.step, 3)
    for number, text in enumerate(
        (b"more_inputs=analogue_5", b"more_inputs=flow_1,flow_1", b"converter_address=80", b"more_inputs=analogue_1 ")
    ):
        rig.command(app, 10 + number, "settings_set", text)
    made.run(app.step, 0.5)
    found["still"] = list(app.settings["more_inputs"])


def receiver():
    """12 s of a receiver that sends RMC and GGA ten times a second, with noise in between; then silence, sentences again, and the setting removed."""
    made = rig.Rig()
    from simulator.machine.buses import UART

    app = application(made)
    rig.command(app, 1, "settings_set", b"more_inputs=receiver\nreceiver_baud=115200")

    def closed(body):
        total = 0
        for byte in body.encode():
            total ^= byte
        return "$%s*%02X" % (body, total)

    def say(tenth):
        north, east = 2835.5 + tenth * 0.00123, 1330.25 - tenth * 0.00081
        second = tenth / 10
        rmc = closed("GPRMC,1530%05.2f,A,%09.4f,S,%010.4f,W,38.%d,12.5,280526,,,A" % (second, north, 10000 + east, tenth % 10))
        gga = closed("GPGGA,1530%05.2f,%09.4f,S,%010.4f,W,1,09,0.9,12.0,M,0.0,M,," % (second, north, 10000 + east))
        UART.received[0] += (
            rmc + "\r\n" + gga + "\r\n" + "\x00\xff$GPRMC,damaged*00\r\n" + closed("GPGSV,3,1,11") + "\r\n"
        ).encode("latin-1" if sys.implementation.name == "cpython" else "utf-8")

    for tenth in range(120):
        made.at(0.5 + tenth / 10, lambda tenth=tenth: say(tenth))
    made.run(app.step, 13)
    check(app, "check")
    made.run(app.step, 12)
    found["silent"] = app.failed
    say(300)
    made.run(app.step, 1)
    found["heard"] = app.failed
    rig.command(app, 2, "settings_set", b"more_inputs=")
    made.run(app.step, 1)
    app.emit_event("mark", detail="off")
    before = len(UART.received[0])
    say(400)
    made.run(app.step, 12)
    found["off"] = [app.failed, before]


globals()[scenario]()
sys.stderr.write(json.dumps(found))

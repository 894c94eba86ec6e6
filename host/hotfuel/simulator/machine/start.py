"""What the host starts, under MicroPython or CPython: start.py FOLDER PORT. FOLDER holds the package simulator; PORT names the line to the host:
a file number, or HOST:DATA:CONTROL where the two channels are TCP ports."""

import sys


def main():
    folder, port = sys.argv[1], sys.argv[2]
    sys.path[:] = [folder] + sys.path[1:]
    if sys.implementation.name == "micropython":
        from simulator.machine import on_micropython as platform
    else:
        from simulator.machine import on_cpython as platform
    from simulator import machine
    from simulator.machine import boot, pins, standin_rp2, standin_select
    from simulator.machine.clock import Reset
    from simulator.machine.outside import Outside
    from simulator.machine.world import world

    reading, writing = platform.control(port)
    outside = Outside(reading, writing)
    how = outside.configuration()
    boot.power_on(how["channels"], how["boot_us"])
    world.wall_s = how["wall_s"]
    machine.simulated_speed = how["speed"]
    machine.board_id = how["board_id"].encode()
    machine.cause = how["reset_cause"]
    standin_select.hold_for_reader = how["hold_for_reader"]
    models = []
    for row in how["chips"]:
        model = boot.wire(row["bus"], row["number"], row["where"], row["chip"], row.get("channel", 0))
        models.append(model)
    if how.get("rail_pin") is not None:
        pins.lines[how["rail_pin"]].listener = boot.rail(
            [model for model, row in zip(models, how["chips"]) if row.get("on_rail")]
        )
    for number, column in how["analogue"]:
        pins.ADC.sources[number] = column
    for number, column in how["pulses"]:
        standin_rp2.pulse_pins[number] = column
    flash = platform.file_system(how)
    outside.attach(models, flash, how.get("ignition_pin"), how.get("pulse_pin"))
    for change in how["changes"]:
        outside.change(change)
    boot.install()
    if how["settings"]:
        boot.store_settings(how["settings"])
    try:
        code = boot.run(how["main"])
    except Reset as reset:  # during the prompt, or while the reset was on its way
        code = reset.args[0]
    except SystemExit as ended:
        code = ended.args[0] if ended.args else 0
    outside.stopped()
    return code


sys.exit(main())

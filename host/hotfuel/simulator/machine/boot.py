"""Starts a firmware on the stand-in: gives it its modules, its wiring and its file system, and runs its main.py as the board would."""

import sys

from .. import chips, machine
from . import buses, pins, rtc, standin_micropython, standin_rp2, standin_select, standin_time, timers, world
from .clock import Reset, clock

MICROPYTHON = sys.implementation.name == "micropython"


def install():
    """Make the program's `import machine`, `time`, `select`, `rp2`, `micropython` load the stand-ins."""
    sys.modules["machine"] = machine
    sys.modules["time"] = standin_time
    sys.modules["select"] = standin_select
    sys.modules["rp2"] = standin_rp2
    sys.modules["micropython"] = standin_micropython
    clock.on_exception = print_exception


def power_on(channels, boot_us=0):
    """Reset everything to power-on: time 0, no wiring, an empty world of `channels` thermocouples."""
    clock.start()
    rtc.start()
    for line in pins.lines:
        line.start()
    buses.spi_chips.clear()
    buses.i2c_chips.clear()
    buses.stuck.clear()
    buses.UART.received.update({0: b"", 1: b""})
    pins.ADC.sources.clear()
    world.world.start(channels, boot_us)


def wire(bus, number, where, chip, channel=0):
    """Put a chip on the board. bus "spi": `where` is its select pin; "i2c": its address. Returns the model."""
    model = chips.model(chip)(world.world, channel, clock)
    if bus == "spi":
        buses.spi_chips[(number, where)] = model
        pins.lines[where].listener = model.select
    else:
        buses.i2c_chips[(number, where)] = model
    return model


def rail(models):
    """A listener for the pin that feeds these chips: without power they are gone, with it they start from their reset values."""

    def switched(level):
        for model in models:
            if level and model.has("gone"):
                model.power_on()
            model.set_fault("gone", not level)

    switched(0)
    return switched


def store_settings(text):
    """Store settings as if set earlier, through the firmware's own code: lines of name=value."""
    import settings
    import twinfile

    settings.save(twinfile.TwinFile("settings"), settings.changed(settings.defaults(), text))


def print_exception(error):
    """Print it on the serial port, between the frames, as the port does."""
    if MICROPYTHON:
        sys.print_exception(error, sys.stdout)
    else:
        import traceback

        sys.stdout.write("".join(traceback.format_exception(error)))
        sys.stdout.flush()


def run(path):
    """Run a main.py as the board does after power on; returns how it ended: an exit code of timers.py."""
    with open(path) as source:
        program = compile(source.read(), path, "exec")
    try:
        exec(program, {"__name__": "__main__"})
    except Reset as reset:
        return reset.args[0]
    except Exception as error:
        print_exception(error)
    try:
        return prompt()
    except Reset as reset:
        return reset.args[0]


def prompt():
    """The program has ended: the board shows its prompt, and does nothing until Ctrl-D."""
    print("MicroPython on a simulated board; nothing can be typed here but Ctrl-D\n>>> ", end="")
    poller = standin_select.poll()
    poller.register(sys.stdin, standin_select.POLLIN)
    while True:
        if poller.poll(1000) and sys.stdin.buffer.read(1) in (b"\x04", b""):
            return timers.RESET_SOFT

"""A board inside one interpreter: the firmware on the simulator's stand-in for `machine`, with its time and chips controlled by the script.

Runs under MicroPython's unix port and under CPython. Frames go to standard output.
"""

import sys


def arrange(root):
    """sys.path for the sources of a checkout."""
    sys.path[:0] = [root + "/firmware", root + "/protocol", root + "/host/hotfuel"]


def command(app, sequence, name, argument=b""):
    """The effect of a host's command on the application, without a port in between."""
    from hotfuel_wire import codec, framing
    from hotfuel_wire.messages import COMMANDS

    values = {"tick": 0, "time_ms": 0, "sequence": sequence, "code": COMMANDS[name], "argument": argument}
    app.commands.receive(framing.encode(codec.pack("command", values)))


class Done(SystemExit):
    """Ends the firmware's main loop from within the simulated clock."""


class Rig:
    """`chips`: the models, in channel order (None: not fitted). `bench`: the simulated clock."""

    def __init__(self, chips=("MAX31856",) * 3, start_ms=0):
        from simulator.machine import boot, world
        from simulator.machine.clock import Alarm, clock

        channels = len(chips)
        self.clock = clock
        self.world = world.world
        boot.power_on(channels)
        clock.now_us = start_ms * 1000
        boot.install()
        if not hasattr(sys, "print_exception"):  # CPython
            import traceback

            sys.print_exception = lambda error, file: traceback.print_exception(error, file=file)
        import pins
        from hotfuel_wire.amplifiers import ROWS

        self.gpio = {name: number for name, number, _ in pins.PINS}
        self.chips = []
        for channel, name in enumerate(chips):
            model = None
            if name and ROWS[name]["bus"] == "spi":
                model = boot.wire("spi", pins.SPI_ID, self.gpio["select_%d" % channel], name, channel)
            elif name:
                model = boot.wire("i2c", pins.I2C_ID, 96 + channel, name, channel)
            self.chips.append(model)
            self.world.resting[channel] = 1_000_000 * (channel + 1)  # nV
            self.world.resting[channels + channel] = 25 * 1024

        class Later(Alarm):
            def __init__(self, at_us, action):
                self.due_us = at_us
                self._action = action
                clock.add(self)

            def fire(self):
                clock.remove(self)
                self._action()

        self._later = Later
        self._ends = False
        self._end = None

    def hold(self, name, level):
        """Drive a pin to a level from outside; None releases it."""
        from simulator.machine import pins

        pins.lines[self.gpio[name]].hold(level)

    def at(self, seconds, action):
        """Call `action` so many seconds after now, wherever the firmware is then."""
        self._later(self.clock.now_us + int(seconds * 1000000), action)

    def run(self, step, seconds):
        """Call `step` repeatedly for so many simulated seconds; exceptions pass through."""
        until_us = self.clock.now_us + int(seconds * 1000000)
        while self.clock.now_us < until_us:
            step()

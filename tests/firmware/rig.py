"""A board inside one interpreter: the firmware on the simulator's stand-in for `machine`, with its time and its chips in the script's hands.

Runs under MicroPython's unix port and under CPython. Frames go to standard output, or, with capture(), into a list.
"""

import sys


class Done(SystemExit):
    """Ends the firmware's main loop from within the simulated clock."""


class Rig:
    def __init__(self, channels=3, chips=None):
        from simulator.machine import boot, world
        from simulator.machine.clock import Alarm, clock

        self.clock = clock
        self.world = world.world
        boot.power_on(channels)
        boot.install()
        import pins

        gpio = {name: number for name, number, _ in pins.PINS}
        self.gpio = gpio
        self.chips = []
        for channel, name in enumerate(chips or ["MAX31856"] * channels):
            if name and name.startswith("MAX"):
                self.chips.append(boot.wire("spi", pins.SPI_ID, gpio["select_%d" % channel], name, channel))
            elif name:
                self.chips.append(boot.wire("i2c", pins.I2C_ID, 96 + channel, name, channel))
        for channel in range(channels):
            self.world.resting[channel] = 1_000_000 * (channel + 1)  # nV
            self.world.resting[channels + channel] = 25 * 1024

        class End(Alarm):
            def fire(self):
                raise Done(0)

        self._end = End()

    def run(self, step, seconds):
        """Call `step` over and over for so many simulated seconds."""
        self._end.due_us = self.clock.now_us + int(seconds * 1000000)
        self.clock.add(self._end)
        try:
            while True:
                step()
        except Done:
            self.clock.remove(self._end)
            self.clock._running = False


def arrange(root):
    """sys.path for the sources of a checkout."""
    sys.path[:0] = [root + "/firmware", root + "/protocol", root + "/host/hotfuel"]

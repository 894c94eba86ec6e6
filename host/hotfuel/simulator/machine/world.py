"""What is outside the board: voltages at the thermocouple terminals, temperatures, pressures, pins held from outside.

The host hands it over in blocks of samples; each holds from its own moment to the next one's. Whole numbers only.
"""

from array import array

KEPT_US = 2000000  # a chip's conversion may have begun this long ago

# Columns of a block behind the two groups (voltage in nV, then cold temperature in 1/1024 degC, of every channel).
BATTERY_CODE = 0  # what ADC.read_u16 gives
FUEL_PRESSURE_CODE = 1
AMBIENT_PRESSURE_PA = 2
AMBIENT_1024 = 3  # degC * 1024, at the barometer
PULSES = 4  # of the engine, running total
IGNITION = 5
ANALOGUE_UV = 6  # four columns: voltages at the external converter's inputs
FLOW_PULSES = 10  # two columns: flow meters, running totals
INPUTS = 12  # number of such columns


class World:
    def __init__(self):
        self.start(0)

    def start(self, channels, boot_us=0):
        """`boot_us`: the host's time at which this board was powered."""
        self.channels = channels
        self.boot_us = boot_us
        self.resting = [0] * (2 * channels + INPUTS)  # what holds where no block has been handed over
        self.wall_s = 0  # wall time at the host's time 0, seconds since 1970
        self._blocks = []

    def take(self, start_us, step_us, count, samples):
        """A block: `samples` is bytes of i32, column after column. Raises ValueError when its size does not fit."""
        values = array("i", samples)
        if len(values) != count * len(self.resting):
            raise ValueError(
                "a block of %d samples has %d numbers; expected %d" % (count, len(values), count * len(self.resting))
            )
        while len(self._blocks) > 1 and self._blocks[1][0] < start_us - KEPT_US:
            self._blocks.pop(0)
        self._blocks.append((start_us, step_us, count, values))

    def emf_nv(self, channel, at_us):
        return self._value(channel, at_us)

    def cold_1024(self, channel, at_us):
        return self._value(self.channels + channel, at_us)

    def input(self, column, at_us):
        return self._value(2 * self.channels + column, at_us)

    def _value(self, column, at_us):
        at_us += self.boot_us
        index = len(self._blocks) - 1
        while index >= 0:
            start_us, step_us, count, values = self._blocks[index]
            if at_us >= start_us or index == 0:
                sample = (at_us - start_us) // step_us
                if sample < 0:
                    sample = 0
                elif sample >= count:
                    sample = count - 1
                return values[column * count + sample]
            index -= 1
        return self.resting[column]


world = World()  # the one world around this board

"""A board on the bench: the stand-in's clock, world and buses in this process, freshly powered."""

import pytest
from hotfuel.simulator.machine import boot
from hotfuel.simulator.machine.clock import clock
from hotfuel.simulator.machine.world import world


class Bench:
    """wire() puts a chip on the board; emf and cold set what its terminals see."""

    clock = clock
    world = world

    def __init__(self, channels=3):
        boot.power_on(channels)
        self.channels = channels

    def wire(self, chip, where=17, bus="spi", channel=0):
        return boot.wire(bus, 0, where, chip, channel)

    def emf_uv(self, microvolts, channel=0):
        world.resting[channel] = round(microvolts * 1000)

    def cold_degc(self, degc, channel=0):
        world.resting[self.channels + channel] = round(degc * 1024)

    def ambient(self, pressure_pa, degc):
        world.resting[2 * self.channels + 2] = pressure_pa
        world.resting[2 * self.channels + 3] = round(degc * 1024)


@pytest.fixture
def bench():
    yield Bench()
    boot.power_on(0)

"""A MAX31856 that answers and no longer converts is found, and nothing else is taken for one: the driver on the simulator's chip."""

from types import SimpleNamespace

import pytest
from chips import driver
from fake_board import SETTINGS
from hotfuel.simulator.chips import max31856
from hotfuel_wire.messages import CONFIGURATION_LOST, NOT_READY
from hotfuel_wire.status import faults


class Bench:
    """A MAX31856 of the simulator on the driver's bus, with a voltage that never changes and no noise: `tick` is one of the board's."""

    def __init__(self, **changes):
        self.clock = SimpleNamespace(now_us=0)
        world = SimpleNamespace(emf_nv=lambda channel, at_us: 1_000_000, cold_1024=lambda channel, at_us: 25 * 1024)
        self.model = max31856.MAX31856(world, 0, self.clock)
        settings = {**SETTINGS, **changes}
        self.period_us = 1000000 // settings["rate_hz"]
        self.chip = driver("MAX31856")(self, 0, settings)
        self.chip.configure()

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        self.model.select(0)
        self.model.transfer(out, into, phase, 1000000)
        self.model.select(1)

    def tick(self):
        self.clock.now_us += self.period_us
        self.chip.read_raw()
        return self.chip.hot

    def ticks(self, seconds):
        return [self.tick() for _ in range(round(seconds * 1000000 / self.period_us))]


WAYS = [
    {},
    {"mode": "automatic", "rate_hz": 10},
    {"mode": "automatic", "averages": 4},
    {"mode": "automatic", "averages": 16, "rate_hz": 1},
    {"averages": 16, "rate_hz": 1, "mains_hz": 50},
]


@pytest.mark.parametrize("changes", WAYS)
def test_a_chip_that_stops_converting_is_found_within_seconds_and_read_again_when_it_converts(changes):
    bench = Bench(**changes)
    bench.ticks(20)
    bench.model.set_fault("frozen")
    found = bench.ticks(20)
    late_s = found.index(NOT_READY) * bench.period_us / 1e6
    assert 2 <= late_s <= 5
    assert set(found[found.index(NOT_READY) :]) == {NOT_READY}, "the old value does not come back"
    bench.model.set_fault("frozen", False)
    after = bench.ticks(10)
    assert after[-1] == 6711
    assert after.index(6711) * bench.period_us / 1e6 <= 5


@pytest.mark.parametrize("changes", WAYS)
def test_a_chip_with_a_truly_steady_reading_is_never_taken_for_one_that_stopped(changes):
    bench = Bench(**changes)
    bench.ticks(5)
    codes, status = set(), set()
    for _ in range(3000):
        codes.add(bench.tick())
        status.add(bench.chip.status)
    assert codes == {6711}
    assert status == {0}, "the bit that proves it is not the reading's"


def test_a_chip_whose_input_touches_the_supply_is_told_as_that_though_it_rests():
    bench = Bench()
    bench.ticks(20)
    bench.model.set_fault("supply_short")
    assert set(bench.ticks(30)) == {6711}
    assert faults(1, bench.chip.status) == ["input_out_of_range"]
    bench.model.set_fault("supply_short", False)
    assert set(bench.ticks(30)) == {6711}
    assert bench.chip.status == 0


def test_a_chip_that_never_answers_to_its_threshold_is_read_as_before():
    """A copy without that bit: its conversions are not proved, and not refused either."""
    bench = Bench()
    bench.model._cold_status = lambda cold: 0
    bench.ticks(5)
    assert set(bench.ticks(60)) == {6711}
    bench = Bench()
    bench.model._cold_status = lambda cold: 0x20
    bench.ticks(5)
    assert set(bench.ticks(60)) == {6711}


@pytest.mark.parametrize("changes", WAYS)
def test_a_chip_switched_off_by_a_glitch_converts_again_at_once_and_shows_nothing_old(changes):
    """Its conversion mode cleared, all else kept: the read of its settings finds it at the next tick."""
    bench = Bench(**changes)
    bench.ticks(20)
    bench.model.catch_up()
    bench.model._write(0, bench.model.registers[0] & 0x3F & ~0x10)
    assert bench.tick() == CONFIGURATION_LOST
    after = bench.ticks(4)
    assert after[-1] == 6711
    assert set(after) <= {NOT_READY, 6711}

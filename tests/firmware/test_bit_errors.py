"""Flipped bits on the way from the amplifiers: caught, counted, and never a temperature that is wrong by more than half a degC.

The chips are small models of the result registers, typed from the datasheets; every bit of every byte they send flips with a
given probability.
"""

import random
from math import log

import pytest
from chips import driver
from fake_board import SETTINGS
from hotfuel_wire.messages import BIT_ERRORS, CHIPS, CONFIGURATION_LOST, NOT_A_CODE, NOT_READY
from hotfuel_wire.status import fatal_mask

RATES = (0.0, 0.001, 0.02)
OFF_DEGC = 0.5


class Noise:
    """Flips bits, each with probability p."""

    def __init__(self, seed, p):
        self.seed, self.random = seed, random.Random(seed)
        self.p = p
        self.left = int(-log(1 - self.random.random()) / p) if p else 1 << 62
        self.flipped = 0

    def spoil(self, data):
        bits, left = 8 * len(data), self.left
        while left < bits:
            data[left >> 3] ^= 1 << (left & 7)
            self.flipped += 1
            left += 1 + int(-log(1 - self.random.random()) / self.p)  # random.expovariate, without the call
        self.left = left - bits


class Converter:
    """A probe between 20 and 80 degC that moves at most 1.5 degC/s, its amplifier between 20 and 40; open for 3 s of every 100.
    `truths`: the results that may be read at this tick: (hot code, cold code, open)."""

    def __init__(self, noise, codes_per_degc, cold_per_degc):
        self.noise, self.codes, self.cold_codes = noise, codes_per_degc, cold_per_degc
        self.hot_degc, self.cold_degc, self.aim, self.tick = 30.0, 25.0, 50.0, 0
        self.fresh = True
        self.convert()

    def convert(self):
        rnd = self.noise.random
        if rnd.random() < 0.01:
            self.aim = rnd.uniform(20, 80)
        self.hot_degc += max(-0.3, min(0.3, self.aim - self.hot_degc)) + rnd.gauss(0, 0.02)
        self.cold_degc = min(max(self.cold_degc + rnd.gauss(0, 0.01), 20), 40)
        self.open = self.tick % 500 >= 485
        self.tick += 1
        self.now = (round((self.hot_degc - self.cold_degc) * self.codes), round(self.cold_degc * self.cold_codes), self.open)
        self.truths = [*getattr(self, "truths", [])[-1:], self.now]

    def off_degc(self, hot, cold):
        """Distance of what was read from the nearest true result, degC."""
        return min(abs((hot - h) / self.codes + (cold - c) / self.cold_codes) for h, c, _ in self.truths)


class Max31856(Converter):
    def __init__(self, noise, averaging):
        self.registers = bytearray.fromhex("00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00")
        self.automatic = averaging
        self.answers = noise.seed % 2 == 0  # to its threshold: every second chip, because none was tried
        super().__init__(noise, 32 * 1.6 * 2**17 * 41e-6, 256)

    def convert(self):
        super().convert()
        hot, cold, is_open = self.now
        cold &= 0xFFFC
        self.registers[10:12] = cold.to_bytes(2, "big")
        self.registers[12:15] = ((hot & 0x7FFFF) << 5).to_bytes(3, "big")
        threshold = self.registers[3] - 256 * (self.registers[3] >> 7)
        self.registers[15] = (1 if is_open else 0) | (0x20 if self.answers and cold / 256 > threshold else 0)
        self.registers[0] &= 0xBF

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        address = out[0] & 0x7F
        if out[0] & 0x80:
            self.registers[address] = out[1]
            return
        if self.automatic and self.noise.random.random() < 0.0025:  # a conversion ends between two reads, or in the middle of one
            whole = bytes(self.registers)
            self.convert()
            cut = self.noise.random.randrange(16)
            into[1:] = (whole[:cut] + bytes(self.registers)[cut:])[address : address + len(out) - 1]
        else:
            into[1:] = self.registers[address : address + len(out) - 1]
        self.noise.spoil(into)


class Max31855(Converter):
    def __init__(self, noise, _automatic):
        super().__init__(noise, 4, 16)

    def convert(self):
        super().convert()
        hot, cold, is_open = self.now
        hot += round(self.cold_degc * 4)  # linearised
        self.word = (hot & 0x3FFF) << 18 | (cold & 0xFFF) << 4 | (0x10001 if is_open else 0)

    def off_degc(self, hot, cold):
        return min(max(abs((hot - h) / 4 - c / 16), abs(cold - c) / 16) for h, c, _ in self.truths)

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        into[:] = self.word.to_bytes(4, "big")
        self.noise.spoil(into)


class Mcp9601(Converter):
    def __init__(self, noise, _automatic):
        self.registers = {2: bytearray(2), 3: bytearray(3), 4: bytearray(1), 5: bytearray(1), 6: bytearray(1)}
        super().__init__(noise, 20, 16)

    def convert(self):
        super().convert()
        hot, cold, is_open = self.now
        self.registers[2][:] = (cold & 0xFFFF).to_bytes(2, "big")
        self.registers[3][:] = (hot & 0xFFFFFF).to_bytes(3, "big")
        self.registers[4][0] = 0x40 | (0x10 if is_open else 0)

    def i2c(self):
        return self

    def readfrom_mem_into(self, address, register, into):
        if self.noise.random.random() < 0.0005:
            self.convert()
        into[:] = self.registers[register]
        self.noise.spoil(into)

    def writeto(self, address, data):
        self.registers[data[0]][0] = data[1]


MODELS = {"MAX31856": Max31856, "MAX31855": Max31855, "MCP9601": Mcp9601}


def drive(name, mode, p, seed, ticks):
    """(share of good readings, their worst error in degC, readings taken for good with an open probe, bit errors counted, bits flipped)"""
    noise = Noise(seed, p)
    model = MODELS[name](noise, mode == "automatic")
    settings = {
        **SETTINGS,
        "mode": mode,
        "rate_hz": 10 if mode == "automatic" else 5,
        "i2c_addresses": ("96",),
        "resolution_bits": 18,
    }
    chip = driver(name)(model, 0, settings)
    chip.configure()
    fatal = fatal_mask(CHIPS[name])
    good, worst, missed, expected = 0, 0.0, 0, 0
    for _ in range(ticks):
        model.convert()
        chip.read_raw()
        expected += not model.open
        assert chip.hot > NOT_A_CODE or chip.hot in (BIT_ERRORS, NOT_READY, CONFIGURATION_LOST, -0x3FFFFFFF)
        if chip.hot > NOT_A_CODE and not chip.status & fatal:
            good += 1
            worst = max(worst, model.off_degc(chip.hot, chip.cold))
            missed += all(is_open for _, _, is_open in model.truths)
    return good / expected, worst, missed, chip.bit_errors, noise.flipped


CASES = [("MAX31856", "one_shot"), ("MAX31856", "automatic"), ("MAX31855", "one_shot"), ("MCP9601", "one_shot")]


def held(name, mode, p, seeds, ticks):
    for seed in range(seeds):
        good, worst, missed, caught, flipped = drive(name, mode, p, seed, ticks)
        assert worst <= OFF_DEGC, (name, p, seed)
        assert missed == 0, (name, p, seed)
        if p == 0:
            assert (good > 0.999, caught) == (True, 0), (name, seed, good, caught)
        if p == 0.001:
            assert good >= 0.8, (name, seed, good)
            assert caught > 0.05 * flipped
        print(f"{name} {mode} p={p} seed {seed}: good {good:.4f}, worst {worst:.2f} degC, caught {caught} reads, {flipped} bits")


@pytest.mark.parametrize("p", RATES)
@pytest.mark.parametrize(("name", "mode"), CASES)
def test_no_flipped_bit_becomes_a_temperature(name, mode, p):
    held(name, mode, p, 2, 3000)


@pytest.mark.slow
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("p", RATES)
@pytest.mark.parametrize(("name", "mode"), CASES)
def test_no_flipped_bit_becomes_a_temperature_in_200_000_ticks(name, mode, p):
    """About a minute a case."""
    held(name, mode, p, 20, 10_000)


def test_a_step_of_the_temperature_is_accepted_at_the_tick_it_comes():
    """A probe moved from ice into boiling water: the jump is read a third time, and goes out."""
    noise = Noise(1, 0)
    model = Max31856(noise, False)
    chip = driver("MAX31856")(model, 0, SETTINGS)
    chip.configure()
    for _ in range(5):
        model.convert()
        chip.read_raw()
    model.hot_degc = model.aim = 99.0
    model.convert()
    chip.read_raw()
    assert chip.hot == model.now[0]


def test_one_flipped_configuration_bit_costs_no_tick_and_no_reconfiguration():
    noise = Noise(1, 0)
    model = Max31856(noise, False)
    chip = driver("MAX31856")(model, 0, SETTINGS)
    chip.configure()
    model.convert()
    chip.read_raw()
    transfer = model.transfer
    bursts = [0]

    def once(select, phase, out, into):
        transfer(select, phase, out, into)
        if len(out) == 17:
            bursts[0] += 1
            if bursts[0] == 1:
                into[2] ^= 0x08

    model.transfer = once
    model.convert()
    chip.read_raw()
    assert (chip.hot, bursts[0], chip.bit_errors) == (model.now[0], 2, 1)

"""Flipped bits on the way from the amplifiers: caught, counted, and never a temperature that is wrong by more than half a degC.

The chips are small models of the result registers, typed from the datasheets; every bit of every byte they send flips with a
given probability.
"""

import random
from math import cos, log, pi, sin, sqrt

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
    `truths`: the two results that may be read at this tick: (hot code, cold code, open)."""

    def __init__(self, noise, codes_per_degc, cold_per_degc):
        self.noise, self.codes, self.cold_codes = noise, codes_per_degc, cold_per_degc
        self.random = noise.random.random
        self.hot_degc, self.cold_degc, self.aim, self.tick = 30.0, 25.0, 50.0, 0
        self.now = None
        self.convert()
        self.truths = (self.now, self.now)

    def convert(self):
        random = self.random
        if random() < 0.01:
            self.aim = 20 + 60 * random()
        angle, size = 2 * pi * random(), sqrt(-2 * log(1 - random()))  # random.gauss, which makes two numbers, without its calls
        hot_degc, cold_degc = self.hot_degc, self.cold_degc + 0.01 * (sin(angle) * size)
        way = self.aim - hot_degc
        self.hot_degc = hot_degc = hot_degc + ((-0.3 if way < -0.3 else 0.3 if way > 0.3 else way) + 0.02 * (cos(angle) * size))
        self.cold_degc = cold_degc = 20 if cold_degc < 20 else 40 if cold_degc > 40 else cold_degc
        self.open = self.tick % 500 >= 485
        self.tick += 1
        now = (round((hot_degc - cold_degc) * self.codes), round(cold_degc * self.cold_codes), self.open)
        self.truths = (self.now, now)
        self.now = now

    def off_degc(self, hot, cold):
        """Distance of what was read from the nearest true result, degC."""
        (hot_0, cold_0, _), (hot_1, cold_1, _) = self.truths
        return min(
            abs((hot - hot_0) / self.codes + (cold - cold_0) / self.cold_codes),
            abs((hot - hot_1) / self.codes + (cold - cold_1) / self.cold_codes),
        )


class Max31856(Converter):
    def __init__(self, noise, averaging):
        self.registers = bytearray.fromhex("00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00")
        self.automatic = averaging
        self.answers = noise.seed % 2 == 0  # to its threshold: every second chip, because none was tried
        super().__init__(noise, 32 * 1.6 * 2**17 * 41e-6, 256)

    def convert(self):
        super().convert()
        hot, cold, is_open = self.now
        registers = self.registers
        cold &= 0xFFFC
        threshold = registers[3] - 256 * (registers[3] >> 7)
        faults = (1 if is_open else 0) | (0x20 if self.answers and cold / 256 > threshold else 0)
        registers[10:] = (cold << 32 | (hot & 0x7FFFF) << 13 | faults).to_bytes(6, "big")
        registers[0] &= 0xBF

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        address = out[0] & 0x7F
        if out[0] & 0x80:
            self.registers[address] = out[1]
            return
        if self.automatic and self.random() < 0.0025:  # a conversion ends between two reads, or in the middle of one
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
        self.word = ((hot & 0x3FFF) << 18 | (cold & 0xFFF) << 4 | (0x10001 if is_open else 0)).to_bytes(4, "big")

    def off_degc(self, hot, cold):
        (hot_0, cold_0, _), (hot_1, cold_1, _) = self.truths
        return min(
            max(abs((hot - hot_0) / 4 - cold_0 / 16), abs(cold - cold_0) / 16),
            max(abs((hot - hot_1) / 4 - cold_1 / 16), abs(cold - cold_1) / 16),
        )

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        into[:] = self.word
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
        if self.random() < 0.0005:
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
        hot = chip.hot
        if hot <= NOT_A_CODE:
            assert hot in (BIT_ERRORS, NOT_READY, CONFIGURATION_LOST, -0x3FFFFFFF)
        elif not chip.status & fatal:
            good += 1
            off = model.off_degc(hot, chip.cold)
            worst = off if off > worst else worst
            before, now = model.truths
            missed += before[2] and now[2]
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

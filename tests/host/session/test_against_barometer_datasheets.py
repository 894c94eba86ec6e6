"""Barometer words against the makers' datasheets (BST-BMP280-DS001 3.12, worked example; BST-BMP390-DS002 8.4, scales; both from memory)."""

import struct

import numpy as np
import pytest
from hotfuel.session.barometer import Barometer
from hotfuel_wire.messages import BAROMETER_CHIPS
from hypothesis import given
from hypothesis import strategies as st

# The datasheet's example, in its own order.
DIG_T = (27504, 26435, -1000)
DIG_P = (36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
UT, UP = 519888, 415148
P_PA = 100653.27


def word20(value):
    """20 bits in three registers: msb, lsb, xlsb with the low bits left."""
    return bytes([value >> 12, value >> 4 & 255, (value & 15) << 4])


def test_bmp280_worked_example():
    words = struct.pack("<HhhHhhhhhhhh", *DIG_T, *DIG_P)
    chip = Barometer.of(BAROMETER_CHIPS["BMP280"], words)
    pressure = chip.pressure_kpa([word20(UP) + word20(UT)])
    assert pressure[0] * 1000 == pytest.approx(P_PA, abs=0.01)


def test_bmp390_scales():
    """With the slope alone, and with the offset alone: P1 = (NVM - 2^14) / 2^20 Pa per code, P5 = NVM * 2^3 Pa."""

    def words(p1=0, p5=0):
        return struct.pack("<HHbhhbbHHbbhbb", 0, 0, 0, p1 + 16384, 16384, 0, 0, p5, 0, 0, 0, 0, 0, 0)

    raw = (8_000_000).to_bytes(3, "little") + (0).to_bytes(3, "little")
    slope = Barometer.of(BAROMETER_CHIPS["BMP390"], words(p1=12500)).pressure_kpa([raw])
    assert slope[0] == pytest.approx(12500 / 2**20 * 8_000_000 / 1000)
    offset = Barometer.of(BAROMETER_CHIPS["BMP390"], words(p5=12600)).pressure_kpa([raw])
    assert offset[0] == pytest.approx(12600 * 8 / 1000)


@given(st.sampled_from([1, 2, 3]), st.binary(max_size=30), st.lists(st.binary(max_size=8), max_size=4))
def test_any_bytes_give_a_possible_pressure_or_none(chip, words, registers):
    found = Barometer.of(chip, words)
    assert (found is None) == (len(words) != {1: 24, 2: 21, 3: -1}[chip])
    if found is not None:
        pressure = found.pressure_kpa(registers)
        assert pressure.shape == (len(registers),)
        assert np.all(np.isnan(pressure) | ((pressure >= 30) & (pressure <= 110)))


@given(st.binary(min_size=24, max_size=24), st.lists(st.binary(min_size=6, max_size=6), min_size=1, max_size=4))
def test_any_words_of_the_right_length(words, registers):
    for chip, size in ((1, 24), (2, 21)):
        pressure = Barometer.of(chip, words[:size]).pressure_kpa(registers)
        assert np.all(np.isnan(pressure) | ((pressure >= 30) & (pressure <= 110)))

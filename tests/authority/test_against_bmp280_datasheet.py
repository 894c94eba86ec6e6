"""Air pressure from raw words: the worked example of the BMP280 datasheet (BST-BMP280-DS001, section 3.12), and bounds on anything else."""

import itertools
import struct

import pytest
from hotfuel_wire import barometer
from hypothesis import given
from hypothesis import strategies as st

# Typed in the page's own order: dig_T1 ... dig_P9; UT = 519888, UP = 415148; pressure 100653 Pa (from memory of the page).
WORDS = struct.pack("<HhhHhhhhhhhh", 27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)


def data280(up, ut):
    return bytes([up >> 12, up >> 4 & 255, (up & 15) << 4, ut >> 12, ut >> 4 & 255, (ut & 15) << 4])


def test_the_datasheets_example():
    assert barometer.air_pressure_pa(1, WORDS, data280(415148, 519888)) == pytest.approx(100653, abs=1)


def test_pressure_falls_as_the_code_rises():
    """The BMP280's code falls with pressure: about 7 codes a Pa at this calibration."""
    pressures = [barometer.air_pressure_pa(1, WORDS, data280(up, 519888)) for up in range(380000, 600000, 10000)]
    assert all(later < earlier for earlier, later in itertools.pairwise(pressures))


# words of a BMP390, made up but of the size that real chips have
WORDS390 = struct.pack("<HHbhhbbHHbbhbb", 27772, 18974, -10, 6000, 300, 10, 0, 24900, 29800, -13, -7, 16000, 20, -60)


def reference_390(words, up, ut):
    """The datasheet's steps one by one in double precision, with the coefficients scaled as it describes."""
    n = struct.unpack("<HHbhhbbHHbbhbb", words)
    par_t = (n[0] / 2**-8, n[1] / 2**30, n[2] / 2**48)
    par_p = (
        (n[3] - 2**14) / 2**20,
        (n[4] - 2**14) / 2**29,
        n[5] / 2**32,
        n[6] / 2**37,
        n[7] / 2**-3,
        n[8] / 2**6,
        n[9] / 2**8,
        n[10] / 2**15,
    )
    par_p += (n[11] / 2**48, n[12] / 2**48, n[13] / 2**65)
    partial1 = ut - par_t[0]
    t_lin = partial1 * par_t[1] + (partial1 * partial1) * par_t[2]
    out1 = par_p[4] + par_p[5] * t_lin + par_p[6] * t_lin**2 + par_p[7] * t_lin**3
    out2 = up * (par_p[0] + par_p[1] * t_lin + par_p[2] * t_lin**2 + par_p[3] * t_lin**3)
    return out1 + out2 + up**2 * (par_p[8] + par_p[9] * t_lin) + up**3 * par_p[10]


@given(st.integers(4_000_000, 12_000_000), st.integers(7_500_000, 9_000_000))
def test_bmp390_follows_the_datasheets_steps(up, ut):
    expected = reference_390(WORDS390, up, ut)
    data = up.to_bytes(3, "little") + ut.to_bytes(3, "little")
    if barometer.LEAST_PA + 1 <= expected <= barometer.GREATEST_PA:
        assert barometer.air_pressure_pa(2, WORDS390, data) == pytest.approx(expected, abs=1.0)
    elif not barometer.LEAST_PA - 1 <= expected <= barometer.GREATEST_PA + 1:
        with pytest.raises(barometer.BarometerError):
            barometer.air_pressure_pa(2, WORDS390, data)


@given(st.integers(0, 255), st.binary(max_size=30), st.binary(max_size=8))
def test_any_bytes_give_a_pressure_in_range_or_the_one_error(chip, words, data):
    try:
        pa = barometer.air_pressure_pa(chip, words, data)
    except barometer.BarometerError:
        return
    assert barometer.LEAST_PA <= pa <= barometer.GREATEST_PA


@given(st.sampled_from([(1, 24), (2, 21)]), st.data())
def test_any_words_of_the_right_length_too(chip_size, data):
    chip, size = chip_size
    words, raw = data.draw(st.binary(min_size=size, max_size=size)), data.draw(st.binary(min_size=6, max_size=6))
    try:
        assert barometer.LEAST_PA <= barometer.air_pressure_pa(chip, words, raw) <= barometer.GREATEST_PA
    except barometer.BarometerError as error:
        assert "outside" in str(error)

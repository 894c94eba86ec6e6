"""Barometers and clock chip: BMP280 (BST-BMP280-DS001), BMP390 (BST-BMP390-DS002), DS3231 (19-5170)."""

import datetime
import struct

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.chips import bmp280, bmp390
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.pins import Pin
from hypothesis import given
from hypothesis import strategies as st

BAROMETER, CLOCK = 0x76, 0x68


@pytest.fixture
def i2c(bench):
    return machine.I2C(0, scl=Pin(5), sda=Pin(4), freq=100_000)


def test_bmp280_worked_example():
    """Datasheet 3.12: raw temperature 519888 and pressure 415148 give 25.08 degC and 100653 Pa (t_fine 128422)."""
    fine = bmp280.fine_temperature(519888)
    assert fine == pytest.approx(128422, abs=1)
    assert fine / 5120 == pytest.approx(25.08, abs=0.005)
    assert bmp280.pressure_pa(415148, fine) == pytest.approx(100653.27, abs=0.5)


@given(pressure_pa=st.integers(30_000, 110_000), degc=st.floats(-30, 75))
def test_raw_words_invert_the_compensation(pressure_pa, degc):
    raw = bmp280.solve(lambda word: bmp280.fine_temperature(word) / 5120, degc, 20)
    fine = bmp280.fine_temperature(raw)
    assert fine / 5120 == pytest.approx(degc, abs=0.001)
    raw = bmp280.solve(lambda word: bmp280.pressure_pa(word, fine), pressure_pa, 20)
    assert bmp280.pressure_pa(raw, fine) == pytest.approx(pressure_pa, abs=0.2)
    raw = bmp390.solve(bmp390.temperature_degc, degc, 24)
    assert bmp390.temperature_degc(raw) == pytest.approx(degc, abs=0.0001)
    raw = bmp390.solve(lambda word: bmp390.pressure_pa(word, degc), pressure_pa, 24)
    assert bmp390.pressure_pa(raw, degc) == pytest.approx(pressure_pa, abs=0.02)


def test_a_bmp280_measures_when_commanded(bench, i2c):
    bench.wire("BMP280", BAROMETER, "i2c")
    bench.ambient(83_500, 31.5)
    assert i2c.readfrom_mem(BAROMETER, 0xD0, 1) == b"\x58"
    assert i2c.readfrom_mem(BAROMETER, 0xF7, 6) == b"\x80\x00\x00\x80\x00\x00"  # asleep after reset
    i2c.writeto_mem(BAROMETER, 0xF4, b"\x57")
    data = i2c.readfrom_mem(BAROMETER, 0xF7, 6)
    words = struct.unpack("<HhhHhhhhhhhh", i2c.readfrom_mem(BAROMETER, 0x88, 24))
    assert words == (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
    fine = bmp280.fine_temperature(int.from_bytes(data[3:6], "big") >> 4)
    assert fine / 5120 == pytest.approx(31.5, abs=0.001)
    assert bmp280.pressure_pa(int.from_bytes(data[:3], "big") >> 4, fine) == pytest.approx(83_500, abs=0.2)
    i2c.writeto_mem(BAROMETER, 0xE0, b"\xb6")
    assert i2c.readfrom_mem(BAROMETER, 0xF4, 1) == b"\x00"


def test_a_bmp390_measures_when_commanded(bench, i2c):
    chip = bench.wire("BMP390", BAROMETER, "i2c")
    bench.ambient(101_325, -5.0)
    assert i2c.readfrom_mem(BAROMETER, 0x00, 1) == b"\x60"
    i2c.writeto_mem(BAROMETER, 0x1B, b"\x33")
    assert i2c.readfrom_mem(BAROMETER, 0x03, 1)[0] & 0x60 == 0x60
    data = i2c.readfrom_mem(BAROMETER, 0x04, 6)
    degc = bmp390.temperature_degc(int.from_bytes(data[3:], "little"))
    assert degc == pytest.approx(-5.0, abs=0.001)
    assert bmp390.pressure_pa(int.from_bytes(data[:3], "little"), degc) == pytest.approx(101_325, abs=0.05)
    chip.set_fault("brown_out")
    assert i2c.readfrom_mem(BAROMETER, 0x1B, 1) == b"\x00"
    chip.set_fault("gone")
    with pytest.raises(OSError):  # noqa: PT011 - the next test module looks at the number
        i2c.readfrom_mem(BAROMETER, 0x00, 1)


def bcd(values):
    return bytes(value // 10 << 4 | value % 10 for value in values)


def test_a_ds3231_keeps_the_time_it_is_set_to(bench, i2c):
    """Registers 00h to 06h: seconds, minutes, hours, day 1 to 7, date, month, year, in BCD."""
    chip = bench.wire("DS3231", CLOCK, "i2c")
    bench.world.wall_s = round(datetime.datetime(2026, 2, 28, 23, 59, 50, tzinfo=datetime.UTC).timestamp())
    time.sleep(15)
    assert i2c.readfrom_mem(CLOCK, 0x00, 7) == bcd((5, 0, 0, 7, 1, 3, 26))  # a Sunday, Monday being 1
    i2c.writeto_mem(CLOCK, 0x00, bcd((58, 59, 23, 4, 29, 2, 28)))
    time.sleep(3)
    assert i2c.readfrom_mem(CLOCK, 0x00, 7) == bcd((1, 0, 0, 3, 1, 3, 28))
    assert i2c.readfrom_mem(CLOCK, 0x0F, 1)[0] & 0x80 == 0
    chip.set_fault("stopped")
    assert i2c.readfrom_mem(CLOCK, 0x0F, 1)[0] & 0x80
    assert i2c.readfrom_mem(CLOCK, 0x06, 1) == b"\x00"
    i2c.writeto_mem(CLOCK, 0x0F, b"\x00")
    assert i2c.readfrom_mem(CLOCK, 0x0F, 1)[0] & 0x80 == 0

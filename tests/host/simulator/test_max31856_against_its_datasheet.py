"""The MAX31856 model against the datasheet's tables (Maxim 19-7534), through the stand-in's SPI bus as a program would talk to it."""

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.chips.max31856 import RESET_VALUES
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.clock import clock
from hotfuel.simulator.machine.pins import Pin
from hotfuel.temperature.thermocouple import emf_mv
from hypothesis import given
from hypothesis import strategies as st

CMODE, ONE_SHOT, OC_BELOW_5K, HZ_50, FAULT_CLEAR = 0x80, 0x40, 0x10, 0x01, 0x02
TYPE_K, GAIN_8, GAIN_32 = 0x03, 0x08, 0x0C
SR_OPEN, SR_OVUV, SR_CJ_HIGH, SR_CJ_LOW, SR_CJ_RANGE = 0x01, 0x02, 0x20, 0x10, 0x80


class Amplifier:
    def __init__(self, bench, phase=1, polarity=0, baudrate=1_000_000):
        self.chip = bench.wire("MAX31856", 17)
        self.spi = machine.SPI(0, baudrate=baudrate, polarity=polarity, phase=phase, sck=Pin(18), mosi=Pin(19), miso=Pin(16))
        self.select = Pin(17, Pin.OUT, value=1)

    def write(self, register, *values):
        self.select(0)
        self.spi.write(bytes([0x80 | register, *values]))
        self.select(1)

    def read(self, register=0, count=16):
        out, into = bytearray(count + 1), bytearray(count + 1)
        out[0] = register
        self.select(0)
        self.spi.write_readinto(out, into)
        self.select(1)
        return bytes(into[1:])

    def convert(self, cr1, cr0=0):
        """One conversion; (hot code, cold code, status)."""
        self.write(1, cr1)
        self.write(0, cr0 | ONE_SHOT)
        time.sleep_ms(800)
        return self.codes()

    def codes(self):
        got = self.read()
        hot = int.from_bytes(got[12:15], "big", signed=True)
        return hot, int.from_bytes(got[10:12], "big", signed=True), got[15]

    def milliseconds_until_done(self, cr0):
        before_us = clock.now_us
        self.write(0, cr0 | ONE_SHOT)
        while self.read(0, 1)[0] & ONE_SHOT:
            time.sleep_us(100)
        return (clock.now_us - before_us) / 1000


@pytest.fixture
def amplifier(bench):
    return Amplifier(bench)


def test_registers_after_power_on(amplifier):
    """Table 6, factory default column."""
    expected = bytes.fromhex("00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00")
    assert amplifier.read() == RESET_VALUES == expected


def test_writes_autoincrement_and_leave_read_only_registers(amplifier):
    amplifier.write(0x03, 0x50, 0xF0, 0x10, 0x20)
    assert amplifier.read(0x03, 4) == b"\x50\xf0\x10\x20"
    amplifier.write(0x0C, 1, 2, 3, 4)
    amplifier.write(0x0A, 9, 9)  # the cold-junction pair may be written only while the internal sensor is off
    assert amplifier.read(0x0A, 6) == bytes(6)
    amplifier.write(0x00, 0x08)
    amplifier.write(0x0A, 0x19, 0x00)
    assert amplifier.read(0x0A, 2) == b"\x19\x00"


def test_reading_wraps_from_the_last_register_to_the_first(amplifier):
    assert amplifier.read(0x0E, 4) == b"\x00\x00\x00\x03"


@pytest.mark.parametrize(
    ("degc", "register"),
    [(125, "7D00"), (25, "1900"), (0.015625, "0004"), (0, "0000"), (-0.015625, "FFFC"), (-25, "E700"), (-55, "C900")],
)
def test_cold_junction_codes(bench, amplifier, degc, register):
    """Table 3, reference junction temperature data format (rows from memory, consistent with 2^-6 degC left-justified)."""
    bench.cold_degc(degc)
    amplifier.convert(GAIN_32)
    assert amplifier.read(0x0A, 2).hex().upper() == register


def test_the_cold_junction_offset_is_in_sixteenths(bench, amplifier):
    bench.cold_degc(25)
    amplifier.write(9, 0x10)
    assert amplifier.convert(GAIN_32)[1] == 26 * 256
    amplifier.write(9, 0xF8)
    assert amplifier.convert(GAIN_32)[1] == 24.5 * 256


@pytest.mark.parametrize(
    ("cr1", "millivolts", "code"),
    [
        (GAIN_8, 78.125, 131071),
        (GAIN_8, -78.125, -131072),
        (GAIN_32, 19.53125, 131071),
        (GAIN_32, -19.53125, -131072),
        (GAIN_8, 90.0, 131071),
        (GAIN_32, 0.0, 0),
        (GAIN_32, 0.000149, 1),
        (GAIN_32, -0.000149, -1),
        (GAIN_8, 0.000596, 1),
    ],
)
def test_voltage_mode_codes(bench, amplifier, cr1, millivolts, code):
    """CR1, voltage modes: code = gain * 1.6 * 2^17 * V_in; full scale (note 7) 78.125 mV at gain 8, 19.531 mV at gain 32."""
    bench.emf_uv(millivolts * 1000)
    hot = amplifier.convert(cr1)[0]
    assert hot & 0x1F == 0
    assert hot >> 5 == code


@given(nanovolts=st.integers(-19_500_000, 19_500_000))
def test_voltage_mode_is_right_within_half_a_code(nanovolts):
    from hotfuel.simulator.chips import model

    class World:
        def emf_nv(self, channel, at_us):
            return nanovolts

        def cold_1024(self, channel, at_us):
            return 0

    class Clock:
        now_us = 0

    clock_there = Clock()
    chip = model("MAX31856")(World(), 0, clock_there)
    into = bytearray(16)
    chip.transfer(b"\x80\x40\x0c", None, 1, 1_000_000)
    chip.select(1)
    clock_there.now_us = 200_000
    chip.transfer(bytes(16), into, 1, 1_000_000)
    hot = int.from_bytes(into[13:16], "big", signed=True) >> 5
    assert abs(hot - 32 * 1.6 * 2**17 * nanovolts * 1e-9) <= 0.5 + 1e-6


@pytest.mark.parametrize("degc", [-30, -0.0625, 0, 0.0625, 25, 60, 100.9375, 180])
def test_linearised_type_k(bench, amplifier, degc):
    """Register value / 4096 is degC; EMFs by NIST's function. The model's straight lines between table rows are good to 0.02 degC."""
    bench.cold_degc(30)
    bench.emf_uv(float(emf_mv(degc) - emf_mv(30.0)) * 1000)
    hot, _, status = amplifier.convert(TYPE_K)
    assert hot / 4096 == pytest.approx(degc, abs=0.03)
    assert status == 0


@pytest.mark.parametrize(
    ("cr0", "averages_field", "typical_ms", "most_ms"),
    [
        (0, 0, 143, 155),
        (HZ_50, 0, 169, 185),
        (0, 1, 143 + 33.33, 155 + 33.33),
        (0, 2, 143 + 3 * 33.33, 155 + 3 * 33.33),
        (HZ_50, 3, 169 + 7 * 40, 185 + 7 * 40),
        (0, 4, 143 + 15 * 33.33, 155 + 15 * 33.33),
    ],
)
def test_one_shot_conversion_times(amplifier, cr0, averages_field, typical_ms, most_ms):
    """Electrical Characteristics and the CR1 description."""
    amplifier.write(1, averages_field << 4 | GAIN_32)
    took_ms = amplifier.milliseconds_until_done(cr0)
    assert typical_ms <= took_ms <= most_ms


@pytest.mark.parametrize(("cr0", "typical_ms", "most_ms"), [(CMODE, 82, 90), (CMODE | HZ_50, 98, 110)])
def test_automatic_conversions_follow_each_other(amplifier, cr0, typical_ms, most_ms):
    amplifier.write(1, GAIN_32)
    amplifier.write(0, cr0)
    for _ in range(20):
        time.sleep_ms(1000)
        amplifier.read()
    assert 20_000 / most_ms - 2 <= amplifier.chip.conversions <= 20_000 / typical_ms


def test_a_one_shot_conversion_starts_when_the_select_pin_goes_high(bench, amplifier):
    amplifier.write(1, GAIN_32)
    bench.emf_uv(1000)
    amplifier.select(0)
    amplifier.spi.write(bytes([0x80, ONE_SHOT]))
    time.sleep_ms(500)
    assert amplifier.chip.conversions == 0
    amplifier.select(1)
    time.sleep_ms(200)
    amplifier.read()
    assert amplifier.chip.conversions == 1


def test_the_old_value_stays_until_the_conversion_is_done(bench, amplifier):
    bench.emf_uv(1000)
    first = amplifier.convert(GAIN_32)[0]
    bench.emf_uv(2000)
    amplifier.write(0, ONE_SHOT)
    time.sleep_ms(100)
    assert amplifier.codes()[0] == first
    time.sleep_ms(60)
    assert amplifier.codes()[0] == pytest.approx(2 * first, abs=64)


def test_an_open_circuit_shows_only_with_its_detection_on(bench, amplifier):
    bench.cold_degc(25)
    amplifier.chip.set_fault("open_circuit")
    hot, _, status = amplifier.convert(GAIN_32)
    assert (hot, status) == (0, 0)  # after reset detection is off: looks like a probe at the cold junction's temperature
    assert amplifier.convert(GAIN_32, OC_BELOW_5K)[2] == SR_OPEN
    amplifier.chip.set_fault("open_circuit", False)
    assert amplifier.convert(GAIN_32, OC_BELOW_5K)[2] == 0


def test_automatic_mode_looks_for_an_open_circuit_every_sixteenth_conversion(amplifier):
    amplifier.write(1, GAIN_32)
    amplifier.write(0, CMODE | OC_BELOW_5K)
    time.sleep_ms(300)
    amplifier.chip.set_fault("open_circuit")
    time.sleep_ms(300)
    assert amplifier.codes()[2] == 0
    time.sleep_ms(17 * 90)
    assert amplifier.codes()[2] == SR_OPEN


def test_an_input_beyond_the_rails_stops_conversions(bench, amplifier):
    bench.emf_uv(1000)
    before = amplifier.convert(GAIN_32)
    amplifier.chip.set_fault("ground_short")
    bench.emf_uv(5000)
    hot, _, status = amplifier.convert(GAIN_32)
    assert (hot, status) == (before[0], SR_OVUV)


@pytest.mark.parametrize(
    ("degc", "expected"),
    [(127.5, SR_CJ_HIGH | SR_CJ_RANGE), (126, SR_CJ_RANGE), (-60, SR_CJ_RANGE), (-65, SR_CJ_LOW | SR_CJ_RANGE)],
)
def test_cold_junction_faults(bench, amplifier, degc, expected):
    """Thresholds after reset are 127 and -64 degC; the sensor's range is -55 to 125 degC."""
    bench.cold_degc(degc)
    assert amplifier.convert(GAIN_32)[2] == expected


def test_after_a_brown_out_the_chip_is_off_and_in_another_mode(bench, amplifier):
    bench.emf_uv(1000)
    amplifier.convert(GAIN_32)
    amplifier.chip.set_fault("brown_out")
    time.sleep_ms(1000)
    assert amplifier.read() == RESET_VALUES


def test_reversed_and_frozen_and_gone(bench, amplifier):
    bench.emf_uv(1000)
    plain = amplifier.convert(GAIN_32)[0]
    amplifier.chip.set_fault("reversed")
    turned = amplifier.convert(GAIN_32)[0]
    assert turned == -plain
    amplifier.chip.set_fault("frozen")
    bench.emf_uv(3000)
    assert amplifier.convert(GAIN_32)[0] == turned
    amplifier.chip.set_fault("gone")
    assert amplifier.read() == bytes(16)
    with pytest.raises(ValueError, match="no fault called"):
        amplifier.chip.set_fault("melted")


def test_noise_stays_within_its_peak(bench, amplifier):
    amplifier.chip.set_fault("noise", 1490)  # ten codes at gain 32
    codes = {amplifier.convert(GAIN_32)[0] >> 5 for _ in range(40)}
    assert len(codes) > 5
    assert max(map(abs, codes)) <= 10


@pytest.mark.parametrize(("polarity", "phase", "baudrate"), [(0, 0, 1_000_000), (1, 0, 1_000_000), (0, 1, 6_000_000)])
def test_the_wrong_spi_mode_or_too_fast_a_clock_reads_wrong(bench, polarity, phase, baudrate):
    assert Amplifier(bench, phase, polarity, baudrate).read() != RESET_VALUES


@pytest.mark.parametrize(("polarity", "phase", "baudrate"), [(0, 1, 5_000_000), (1, 1, 1_000_000)])
def test_modes_1_and_3_up_to_5_mhz_read_right(bench, polarity, phase, baudrate):
    assert Amplifier(bench, phase, polarity, baudrate).read() == RESET_VALUES

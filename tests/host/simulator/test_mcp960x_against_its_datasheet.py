"""The MCP9600/MCP9601 models against Microchip's datasheets DS20005426 and DS20006173; what is from memory is marked in the model."""

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.pins import Pin
from hotfuel.temperature.thermocouple import emf_mv

T_HOT, T_DELTA, T_COLD, RAW_ADC, STATUS, SENSOR, DEVICE, ID = 0, 1, 2, 3, 4, 5, 6, 0x20
ADDRESS = 0x60


class Converter:
    def __init__(self, bench, name="MCP9601"):
        self.chip = bench.wire(name, ADDRESS, "i2c")
        self.i2c = machine.I2C(0, scl=Pin(5), sda=Pin(4), freq=100_000, timeout=2000)

    def read(self, register, count, signed=True):
        return int.from_bytes(self.i2c.readfrom_mem(ADDRESS, register, count), "big", signed=signed)

    def write(self, register, value):
        self.i2c.writeto_mem(ADDRESS, register, bytes([value]))


@pytest.mark.parametrize("hot", [-20.0, 0.0, 25.0, 60.0, 150.0])
@pytest.mark.parametrize("cold", [-10.0, 25.0, 60.0])
def test_hot_is_delta_compensated_by_cold(bench, hot, cold):
    """Equation for the hot junction: 0.0625 degC in the low bit, T_HOT = T_DELTA + T_COLD; EMFs by NIST's function."""
    converter = Converter(bench)
    bench.cold_degc(cold)
    bench.emf_uv(float(emf_mv(hot) - emf_mv(cold)) * 1000)
    time.sleep_ms(400)
    assert converter.read(T_COLD, 2) / 16 == cold
    assert converter.read(T_HOT, 2) / 16 == pytest.approx(hot, abs=0.15)
    assert converter.read(T_HOT, 2) == converter.read(T_DELTA, 2) + converter.read(T_COLD, 2)


@pytest.mark.parametrize(
    ("bits_field", "step_uv", "length_ms", "half"),
    [(0, 2, 320, 1 << 17), (1, 8, 80, 1 << 15), (2, 32, 20, 1 << 13), (3, 128, 5, 1 << 11)],
)
def test_raw_adc_codes_and_times(bench, bits_field, step_uv, length_ms, half):
    """18, 16, 14, 12 bit: 2, 8, 32, 128 uV a code, 320, 80, 20, 5 ms a conversion."""
    converter = Converter(bench)
    bench.emf_uv(-1600)
    converter.write(DEVICE, bits_field << 5)
    converter.write(STATUS, 0)
    time.sleep_ms(length_ms - 2)
    assert converter.read(STATUS, 1) & 0x40 == 0
    time.sleep_ms(3)
    assert converter.read(STATUS, 1) & 0x40 == 0x40
    assert converter.read(RAW_ADC, 3) == round(-1600 / step_uv)
    bench.emf_uv(step_uv * half + 5000)
    time.sleep_ms(2 * length_ms)
    assert converter.read(RAW_ADC, 3) == half - 1


def test_the_update_flag_stays_until_it_is_cleared(bench):
    converter = Converter(bench)
    time.sleep_ms(700)
    assert converter.read(STATUS, 1) & 0x40
    converter.write(STATUS, 0)
    assert converter.read(STATUS, 1) & 0x40 == 0
    time.sleep_ms(330)
    assert converter.read(STATUS, 1) & 0x40


def test_a_burst_of_conversions_ends_in_shutdown(bench):
    converter = Converter(bench)
    converter.write(STATUS, 0)
    converter.write(DEVICE, 0b0_11_010_10)  # 12 bit, 4 samples, burst
    time.sleep_ms(4 * 5 + 1)
    assert converter.read(STATUS, 1) & 0x80
    assert converter.read(DEVICE, 1, signed=False) & 3 == 1
    bench.emf_uv(5000)
    time.sleep_ms(1000)
    assert converter.read(RAW_ADC, 3) == 0


def test_the_filter_slows_hot_and_leaves_the_raw_code(bench):
    """k = 2 / (2^n + 1)"""
    converter = Converter(bench)
    bench.cold_degc(0)
    converter.write(SENSOR, 3)
    time.sleep_ms(330)
    assert converter.read(T_HOT, 2) == 0
    bench.emf_uv(4096)
    time.sleep_ms(320)
    assert converter.read(T_HOT, 2) / 16 == pytest.approx(100 * 2 / 9, abs=0.2)
    assert converter.read(RAW_ADC, 3) == 2048


@pytest.mark.parametrize(("name", "upper"), [("MCP9600", 0x40), ("MCP9601", 0x41)])
def test_device_id(bench, name, upper):
    assert Converter(bench, name).read(ID, 2, signed=False) >> 8 == upper


@pytest.mark.parametrize(("name", "on_open", "on_short"), [("MCP9601", 0x10, 0x20), ("MCP9600", 0, 0)])
def test_only_the_mcp9601_detects_open_and_short(bench, name, on_open, on_short):
    converter = Converter(bench, name)
    converter.chip.set_fault("open_circuit")
    time.sleep_ms(400)
    assert converter.read(STATUS, 1) & 0x30 == on_open
    converter.chip.set_fault("open_circuit", False)
    converter.chip.set_fault("ground_short")
    time.sleep_ms(400)
    assert converter.read(STATUS, 1) & 0x30 == on_short


def test_after_a_brown_out_it_converts_with_its_reset_values(bench):
    converter = Converter(bench)
    converter.write(SENSOR, 0x01)
    converter.write(DEVICE, 0x20)
    converter.chip.set_fault("brown_out")
    assert (converter.read(SENSOR, 1), converter.read(DEVICE, 1)) == (0, 0)


def test_it_accepts_at_most_100_khz(bench):
    converter = Converter(bench)
    fast = machine.I2C(0, scl=Pin(5), sda=Pin(4), freq=400_000)
    with pytest.raises(OSError):  # noqa: PT011 - the number is the same as without an answer
        fast.readfrom_mem(ADDRESS, STATUS, 1)
    assert converter.read(STATUS, 1) == 0

"""The MAX31855K model against the datasheet's tables (Maxim 19-5793)."""

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.pins import Pin

SLOPE_UV = 41.276  # microvolts per degree: V_OUT = (41.276 uV/degC) * (T_R - T_AMB)


def read(bench, phase=0):
    spi = machine.SPI(0, baudrate=1_000_000, polarity=0, phase=phase, sck=Pin(18), mosi=Pin(19), miso=Pin(16))
    select = Pin(17, Pin.OUT, value=1)
    time.sleep_ms(200)
    select(0)
    word = int.from_bytes(spi.read(4), "big")
    select(1)
    return word


@pytest.mark.parametrize(
    ("degc", "bits"),
    [
        (1600.00, "0110 0100 0000 00"),
        (1000.00, "0011 1110 1000 00"),
        (100.75, "0000 0110 0100 11"),
        (25.00, "0000 0001 1001 00"),
        (0.00, "0000 0000 0000 00"),
        (-0.25, "1111 1111 1111 11"),
        (-1.00, "1111 1111 1111 00"),
        (-250.00, "1111 0000 0110 00"),
    ],
)
def test_thermocouple_codes(bench, degc, bits):
    """Table 4, thermocouple temperature data format: D31 to D18."""
    bench.wire("MAX31855")
    bench.cold_degc(0)
    bench.emf_uv(degc * SLOPE_UV)
    assert f"{read(bench) >> 18:014b}" == bits.replace(" ", "")


@pytest.mark.parametrize(
    ("degc", "bits"),
    [
        (127.0000, "0111 1111 0000"),
        (100.5625, "0110 0100 1001"),
        (25.0000, "0001 1001 0000"),
        (0.0000, "0000 0000 0000"),
        (-0.0625, "1111 1111 1111"),
        (-1.0000, "1111 1111 0000"),
        (-20.0000, "1110 1100 0000"),
        (-55.0000, "1100 1001 0000"),
    ],
)
def test_reference_junction_codes(bench, degc, bits):
    """Table 5, reference junction temperature data format: D15 to D4."""
    bench.wire("MAX31855")
    bench.cold_degc(degc)
    word = read(bench)
    assert f"{word >> 4 & 0xFFF:012b}" == bits.replace(" ", "")
    # no EMF: the probe is as warm as the chip
    assert word >> 18 == round(degc * 4) & 0x3FFF or abs(degc * 4 - round(degc * 4)) == 0.25


@pytest.mark.parametrize(("fault", "low_bits"), [("open_circuit", 0b001), ("ground_short", 0b010), ("supply_short", 0b100)])
def test_fault_bits(bench, fault, low_bits):
    """Table 2: D16 any fault, D2 short to supply, D1 short to ground, D0 open; D17 and D3 always 0."""
    chip = bench.wire("MAX31855")
    bench.cold_degc(25)
    assert read(bench) & 0x0003000F == 0
    chip.set_fault(fault)
    assert read(bench) & 0x0003000F == 0x00010000 | low_bits
    chip.set_fault(fault, False)
    assert read(bench) & 0x0003000F == 0


def test_it_converts_by_itself_within_100_ms(bench):
    bench.wire("MAX31855")
    bench.cold_degc(0)
    read(bench)
    bench.emf_uv(50 * SLOPE_UV)
    time.sleep_ms(100)
    assert read(bench) >> 18 == 200


def test_a_frozen_chip_repeats_its_value_and_a_lost_one_is_silent(bench):
    chip = bench.wire("MAX31855")
    bench.cold_degc(25)
    before = read(bench)
    chip.set_fault("frozen")
    bench.cold_degc(35)
    assert read(bench) == before
    chip.set_fault("gone")
    assert read(bench) == 0


def test_read_in_spi_mode_1_its_bits_come_late(bench):
    bench.wire("MAX31855")
    bench.cold_degc(25)
    assert read(bench, phase=1) == read(bench) << 1 & 0xFFFFFFFF

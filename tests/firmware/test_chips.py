"""Drivers against recorded conversations: bytes out, bytes in, and the resulting numbers. Bytes typed from the datasheets."""

import pytest
from chips import driver, max31856_map
from fake_board import SETTINGS
from hotfuel_wire.amplifiers import ROWS
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER, NOT_READY
from hotfuel_wire.status import faults


class Spi:
    """Plays a conversation: lines of "out | in" in hex; the bytes sent must equal the line's exactly. No "in" means zeros."""

    def __init__(self):
        self.lines = []
        self.modes = set()
        self.burst, self.again = b"", 0

    def expect(self, text):
        for line in text.strip().splitlines():
            out, _, answer = line.partition("|")
            out = bytes.fromhex(out)
            self.lines.append((out, bytes.fromhex(answer) or bytes(len(out))))

    def spi(self):
        return self

    def select(self, channel):
        return channel

    def transfer(self, select, phase, out, into):
        if bytes(out) == b"\x0a" + bytes(6):  # a MAX31856's result read again: unchanged
            self.again += 1
            into[1:] = self.burst[11:]
            return
        expected, answer = self.lines.pop(0)
        if len(answer) == 17:
            self.burst, self.again = answer, 0
        assert bytes(out).hex(" ") == expected.hex(" ")
        into[:] = answer
        self.modes.add(phase)


READ_ALL = "00 " * 17 + "|"
ONE_SHOT_60HZ = """
80 10
81 0C
82 FF
83 7F
84 C0
85 7F
86 FF
87 80
88 00
89 00
80 50
"""


def max31856(**changes):
    bus = Spi()
    return bus, driver("MAX31856")(bus, 0, {**SETTINGS, **changes})


def configured(**changes):
    bus, chip = max31856(**changes)
    bus.expect(ONE_SHOT_60HZ)
    chip.configure()
    return bus, chip


def read(bus, chip, registers, *writes, bursts=1):
    """bursts: how often all registers are read; the result is read a second time by itself."""
    for _ in range(bursts):
        bus.expect(READ_ALL + "00 " + registers)
    for write in writes:
        bus.expect(write)
    chip.read_raw()
    assert not bus.lines
    return chip.hot, chip.cold, chip.status


def test_max31856_configures_every_register_while_off_and_starts_last():
    bus, chip = configured()
    assert not bus.lines
    assert bus.modes == {1}
    assert chip.description == {"gain": 32, "mains_hz": 60, "averages": 1, "mode": 0, "resolution_bits": 19}


@pytest.mark.parametrize(
    ("changes", "cr0", "cr1", "go"),
    [
        ({"mains_hz": 50}, "11", "0C", "51"),
        ({"gain": 8}, "10", "08", "50"),
        ({"averages": 2}, "10", "1C", "50"),
        ({"averages": 16, "rate_hz": 1}, "10", "4C", "50"),
        ({"mode": "automatic", "rate_hz": 10}, "10", "0C", "90"),
        ({"mode": "automatic", "mains_hz": 50, "averages": 4}, "11", "2C", "91"),
    ],
)
def test_max31856_settings_reach_the_bits(changes, cr0, cr1, go):
    bus, chip = max31856(**changes)
    lines = ONE_SHOT_60HZ.strip().splitlines()
    lines[0], lines[1], lines[-1] = f"80 {cr0}", f"81 {cr1}", f"80 {go}"
    bus.expect("\n".join(lines))
    chip.configure()
    assert not bus.lines


@pytest.mark.parametrize(
    ("registers", "hot", "cold", "status"),
    [
        # code = gain * 1.6 * 2^17 * V: 1 mV at gain 32 is 6710.9; left-justified in 24 bits; cold junction table of the datasheet
        ("19 00 03 46 E0 00", 6711, 6400, 0),
        ("FF FC FE 5C A0 00", -3355, -4, 0),  # -0.5 mV, cold junction -0.015625 degC
        ("C9 00 C0 00 00 00", -131072, -55 * 256, 0),  # full scale, -19.53 mV
        ("7D 00 3F FF E0 00", 131071, 125 * 256, 0),
        ("E7 00 FF FF E0 00", -1, -25 * 256, 0),
        ("19 00 00 00 00 01", 0, 6400, 0x01),
        ("19 00 00 00 00 02", 0, 6400, 0x02),
    ],
)
def test_max31856_numbers(registers, hot, cold, status):
    bus, chip = configured()
    assert read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 " + registers, "83 80", "80 50") == (hot, cold, status)
    assert ("open_circuit" in faults(1, status)) == (status == 1)


def test_max31856_proves_at_each_tick_that_the_chip_took_the_previous_write():
    bus, chip = configured()
    read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00", "83 80", "80 50")
    assert read(bus, chip, "10 0C FF 80 C0 7F FF 80 00 00 19 00 03 47 00 20", "83 7F", "80 50") == (6712, 6400, 0)
    # The write of 80 arrived, that of 7F did not: the same conversion would stay there for ever.
    assert read(bus, chip, "10 0C FF 80 C0 7F FF 80 00 00 19 00 03 47 00 20", ONE_SHOT_60HZ, bursts=2) == (
        CONFIGURATION_LOST,
        0,
        0,
    )


def test_max31856_still_converting_is_left_to_finish():
    bus, chip = configured()
    assert read(bus, chip, "50 0C FF 7F C0 7F FF 80 00 00 19 00 00 00 00 00", bursts=2) == (NOT_READY, 6400, 0)
    assert read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00", "83 80", "80 50")[0] == 6711


@pytest.mark.parametrize(
    "registers",
    [
        "00 03 FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00",  # reset values after a brown-out
        "10 03 FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00",  # linearising: these codes would read 52 degC
        "10 08 FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00",  # gain 8
        "10 0C FF 7F C0 7F FF 80 00 10 19 00 03 46 E0 00",  # a cold-junction offset of 1 degC
        "00 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00",  # open-circuit detection off
        "11 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00",  # the other mains filter
    ],
)
def test_max31856_that_lost_its_configuration_gives_no_temperature_and_is_configured_again(registers):
    bus, chip = configured()
    assert read(bus, chip, registers, ONE_SHOT_60HZ, bursts=2) == (CONFIGURATION_LOST, 0, 0)
    assert read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00", "83 80", "80 50")[0] == 6711


@pytest.mark.parametrize("byte", ["00 ", "FF "])
def test_max31856_absent_chip_and_its_return(byte):
    bus, chip = configured()
    for _ in range(3):
        assert read(bus, chip, byte * 16) == (NO_ANSWER, 0, 0)
    # Only the lead was loose: the chip kept its settings, and an old conversion in its register, which must not be used.
    assert read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 19 00 03 46 E0 00", "83 80", "80 50")[0] == NOT_READY
    assert read(bus, chip, "10 0C FF 80 C0 7F FF 80 00 00 19 00 03 47 00 20", "83 7F", "80 50")[0] == 6712


def test_max31856_automatic_waits_for_its_first_conversion():
    """155 ms at most at 10 Hz: the register still holds zero at the first tick, which would be taken for the cold junction's temperature."""
    bus, chip = max31856(mode="automatic", rate_hz=10)
    bus.expect(ONE_SHOT_60HZ.replace("80 50", "80 90"))
    chip.configure()
    assert read(bus, chip, "90 0C FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00", "83 80")[0] == NOT_READY
    assert read(bus, chip, "90 0C FF 80 C0 7F FF 80 00 00 00 00 00 00 00 00", "83 81")[0] == NOT_READY
    assert read(bus, chip, "90 0C FF 81 C0 7F FF 80 00 00 19 00 03 46 E0 20", "83 7E")[0] == 6711


def test_max31856_whose_registers_are_as_after_power_on_has_converted_nothing():
    """Read as a result, zeros are a probe and an amplifier at exactly 0 degC."""
    bus, chip = configured()
    assert read(bus, chip, "10 0C FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00", "83 80", "80 50")[0] == NOT_READY


def test_max31856_map_is_the_datasheets():
    names = [
        "CR0",
        "CR1",
        "MASK",
        "CJHF",
        "CJLF",
        "LTHFTH",
        "LTHFTL",
        "LTLFTH",
        "LTLFTL",
        "CJTO",
        "CJTH",
        "CJTL",
        "LTCBH",
        "LTCBM",
        "LTCBL",
        "SR",
    ]
    assert [getattr(max31856_map, name) for name in names] == list(range(16))


def test_settings_table_allows_for_the_conversion_times():
    """MOST_AVERAGES against the datasheet's longest conversion: first + (n - 1) * further within the period."""
    for (mode, mains_hz), (first_ms, further_ms) in max31856_map.CONVERSION_MS.items():
        for rate_hz in (1, 2, 5, 10):
            fitting = [n for n in (1, 2, 4, 8, 16) if first_ms + (n - 1) * further_ms <= 1000 / rate_hz]
            assert ROWS["MAX31856"]["most_averages"][(mode, mains_hz)].get(rate_hz, 0) == max(fitting, default=0), (
                mode,
                mains_hz,
                rate_hz,
            )


@pytest.mark.parametrize(
    ("bits", "hot", "cold", "status"),
    [
        # thermocouple and cold-junction tables of the datasheet; D17 = 0, D16 fault, D3 = 0
        ("0110 0100 0000 00 0 0 0111 1111 0000 0 000", 6400, 127 * 16, 0),
        ("0000 0110 0100 11 0 0 0110 0100 1001 0 000", 403, 1609, 0),  # +100.75, +100.5625
        ("0000 0001 1001 00 0 0 0001 1001 0000 0 000", 100, 400, 0),
        ("1111 1111 1111 11 0 0 1111 1111 1111 0 000", -1, -1, 0),  # -0.25, -0.0625
        ("1111 1111 1111 00 0 0 1110 1100 0000 0 000", -4, -320, 0),
        ("1111 0000 0110 00 0 0 1100 1001 0000 0 000", -1000, -880, 0),
        ("0000 0001 1001 00 0 1 0001 1001 0000 0 001", 100, 400, 0x81),
        ("0000 0001 1001 00 0 1 0001 1001 0000 0 010", 100, 400, 0x82),
        ("0000 0001 1001 00 0 1 0001 1001 0000 0 100", 100, 400, 0x84),
        ("0000 0001 1001 00 1 0 0001 1001 0000 0 000", NO_ANSWER, 0, 0),  # reserved bits set: not this chip
        ("0000 0001 1001 00 0 0 0001 1001 0000 1 000", NO_ANSWER, 0, 0),
        ("1" * 32, NO_ANSWER, 0, 0),
        ("0" * 32, NO_ANSWER, 0, 0),
    ],
)
def test_max31855_numbers(bits, hot, cold, status):
    bus = Spi()
    chip = driver("MAX31855")(bus, 0, SETTINGS)
    chip.configure()
    for _ in range(2 if hot == NO_ANSWER else 3):  # the first result of a boot is read three times
        bus.expect("00 00 00 00 |" + int(bits.replace(" ", ""), 2).to_bytes(4, "big").hex())
    chip.read_raw()
    assert not bus.lines
    assert (chip.hot, chip.cold, chip.status) == (hot, cold, status)
    assert bus.modes == {0}
    assert [name for name in faults(2, status) if name != "any_fault"] == {
        0x81: ["open_circuit"],
        0x82: ["short_to_ground"],
        0x84: ["short_to_supply"],
    }.get(status, [])

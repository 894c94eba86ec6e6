"""Drivers of chips on I2C against recorded conversations: bytes out, bytes in, and the resulting numbers. Bytes typed from the datasheets."""

import pytest
from chips import driver, mcp9601_map
from chips.bmp280 import Chip as Bmp280
from chips.bmp390 import Chip as Bmp390
from hotfuel_wire.messages import CONFIGURATION_LOST, NO_ANSWER, NOT_READY
from hotfuel_wire.status import faults


class I2c:
    """Plays a conversation: ("read", register, hex) or ("write", register, hex); "" as hex: no acknowledge."""

    def __init__(self, address):
        self.address = address
        self.lines = []

    def i2c(self):
        return self

    def _next(self, kind, address, register):
        expected_kind, expected_register, answer = self.lines.pop(0)
        assert (kind, address, register) == (expected_kind, self.address, expected_register)
        if not answer:
            raise OSError(5)
        return bytes.fromhex(answer)

    def readfrom_mem_into(self, address, register, into):
        into[:] = self._next("read", address, register)

    def readfrom_mem(self, address, register, count):
        answer = self._next("read", address, register)
        assert len(answer) == count
        return answer

    def writeto(self, address, data):
        assert bytes(data[1:]) == self._next("write", address, data[0])

    def writeto_mem(self, address, register, data):
        self.writeto(address, bytes([register]) + data)


CONFIGURED = [("read", 0x05, "01"), ("read", 0x06, "00")]


def result(status, cold, raw):
    """Status, cold junction and raw ADC, read once."""
    return [("read", 0x04, status), ("read", 0x02, cold), ("read", 0x03, raw)]


def mcp9601(bits=18):
    bus = I2c(0x61)
    chip = driver("MCP9601")(bus, 1, {"i2c_addresses": ("0", "97"), "resolution_bits": bits})
    bus.lines = [("write", 0x05, "01"), ("write", 0x06, {18: "00", 16: "20"}[bits]), ("write", 0x04, "00")]
    chip.configure()
    assert not bus.lines
    return bus, chip


@pytest.mark.parametrize(
    ("raw", "cold_bytes", "hot", "cold"),
    [
        ("00 01 F4", "01 90", 500, 400),  # 1 mV at 2 uV a bit, +25 degC
        ("FF FF FF", "FF F0", -1, -16),
        ("FE 00 00", "FD 80", -0x20000, -640),
        ("01 FF FF", "07 D0", 0x1FFFF, 2000),
    ],
)
def test_mcp9601_numbers(raw, cold_bytes, hot, cold):
    bus, chip = mcp9601()
    bus.lines = [*CONFIGURED, ("read", 0x04, "40"), *result("40", cold_bytes, raw) * 3, ("write", 0x04, "00")]
    chip.read_raw()
    assert not bus.lines
    assert (chip.hot, chip.cold, chip.status) == (hot, cold, 0x40)


def test_mcp9601_without_a_new_conversion_reports_that():
    bus, chip = mcp9601()
    bus.lines = [*CONFIGURED, ("read", 0x04, "10"), *result("10", "01 90", "00 01 F4") * 3]
    chip.read_raw()
    assert (chip.hot, chip.cold) == (NOT_READY, 400)
    assert faults(3, chip.status) == ["open_circuit"]


def test_mcp9601_after_power_on_is_configured_again():
    bus, chip = mcp9601(bits=16)
    bus.lines = [("read", 0x05, "00"), ("read", 0x05, "00"), ("write", 0x05, "01"), ("write", 0x06, "20"), ("write", 0x04, "00")]
    chip.read_raw()
    assert not bus.lines
    assert (chip.hot, chip.cold, chip.status) == (CONFIGURATION_LOST, 0, 0)


def test_mcp9601_that_hangs_is_retried_less_and_less_often_and_comes_back():
    bus, chip = mcp9601()
    tries = []
    for tick in range(200):
        bus.lines = [("read", 0x05, "")]
        chip.read_raw()
        assert chip.hot == NO_ANSWER
        if not bus.lines:
            tries.append(tick)
    assert tries == [0, 2, 5, 10, 19, 36, 69, 134, 199]
    for _ in range(65):
        bus.lines = [*CONFIGURED, ("read", 0x04, "40"), *result("40", "01 90", "00 01 F4") * 3, ("write", 0x04, "00")]
        chip.read_raw()
    assert chip.hot == 500
    bus.lines = [("read", 0x05, "")]
    chip.read_raw()
    chip.read_raw()
    bus.lines = [("read", 0x05, "")]
    chip.read_raw()
    assert not bus.lines, "the back-off starts over"


def test_mcp9601_map():
    assert mcp9601_map.RESOLUTION == {18: 0x00, 16: 0x20, 14: 0x40, 12: 0x60}
    assert mcp9601_map.T_HOT_UPDATED == 0x40


def test_bmp280_conversation():
    bus = I2c(0x76)
    chip = Bmp280(bus, 0x76)
    bus.lines = [
        ("read", 0xD0, "58"),
        ("write", 0xF4, "00"),
        ("write", 0xF5, "10"),
        ("write", 0xF4, "57"),
        ("read", 0x88, "70 6B" + "00" * 6),
        ("read", 0x90, "00" * 8),
        ("read", 0x98, "00" * 8),
    ]
    assert chip.found()
    chip.configure()
    assert chip.words()[:2] == b"\x70\x6b"  # dig_T1 = 27504, the datasheet's example
    bus.lines = [("read", 0xF4, "57"), ("read", 0xF7, "65 5A C0 7E ED 00")]
    assert chip.read_raw() == bytes.fromhex("65 5A C0 7E ED 00")  # 415148 and 519888, the datasheet's example
    bus.lines = [("read", 0xF4, "00")]
    with pytest.raises(OSError, match="settings lost"):
        chip.read_raw()
    bus.lines = [("read", 0xD0, "60")]
    assert not chip.found()
    bus.lines = [("read", 0xD0, "")]
    assert not chip.found()


def test_bmp390_conversation():
    bus = I2c(0x77)
    chip = Bmp390(bus, 0x77)
    bus.lines = [("read", 0x00, "60"), ("write", 0x1C, "03"), ("write", 0x1D, "03"), ("write", 0x1F, "04"), ("write", 0x1B, "33")]
    assert chip.found()
    chip.configure()
    bus.lines = [
        *[("read", register, "11" * 7) for register in (0x31, 0x38, 0x3F)],
        ("read", 0x1B, "33"),
        ("read", 0x04, "01 02 03 04 05 06"),
    ]
    assert chip.words() == b"\x11" * 21
    assert chip.read_raw() == bytes(range(1, 7))
    bus.lines = [("read", 0x1B, "00")]
    with pytest.raises(OSError, match="settings lost"):
        chip.read_raw()

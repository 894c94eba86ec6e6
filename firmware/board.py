"""The only file that touches the hardware: pins, buses, timer, watchdog, the port to the host. Uses only documented API of MicroPython 1.24's rp2 port."""

import gc
import os
import select as polling
import sys
import time

import machine
import micropython
import pins

ticks_ms = time.ticks_ms
ticks_us = time.ticks_us
sleep_ms = time.sleep_ms
simulated_speed = getattr(machine, "simulated_speed", 0)  # only a simulated board has one

# Each import of a built-in module searches the file system first, 8 ms each time, unless it is in sys.modules.
for _name in ("os", "struct", "binascii"):
    sys.modules[_name] = __import__(_name)

WATCHDOG_MS = 8000  # the RP2040's longest is 8388
SERVICE_FLAG = "service.flag"
REASON_FILE = "reset.why"
INSTALLING_FLAG = "install.flag"
I2C_TIMEOUT_US = 2000
BUTTON_DOWN = 0
BUTTON_SETTLE_MS = 2  # the processor's pull-up needs that long to charge a lead of a few hundred pF
BUTTON_HELD_MS = 50  # at boot; a capacitor at the button charges through that pull-up in less
PROMPT_MS = 250  # the lamp at the prompt: dark for one step in eight
OPEN_CODE = 600  # 30 mV: more than the converter's offset, less than any supply or sender behind its divider
SETTLE_MS = 10  # a divider of 10k with 100 nF behind it

_gpio = {name: number for name, number, _ in pins.PINS}
_made = {}
_wired = set()  # analogue inputs that something drives


def _once(name, make):
    if name not in _made:
        _made[name] = make()
    return _made[name]


def _output(name, level):
    return _once(name, lambda: machine.Pin(_gpio[name], machine.Pin.OUT, value=level))


def _input(name, pull):
    return _once(name, lambda: machine.Pin(_gpio[name], machine.Pin.IN, pull))


def sensor_rail(on):
    """Switch the supply of amplifiers and senders. When off, their select pins go low too, else the chips would be powered through these inputs."""
    _output("sensor_rail", 1)(1 if on else 0)
    if not on:
        for name, pin in _made.items():
            if name.startswith("select_"):
                pin(0)


def lamp(on):
    """Light the lamp, or put it out."""
    _output("lamp", 0)(1 if on else 0)


def buzzer(on):
    """Sound the buzzer, or silence it."""
    _output("buzzer", 0)(1 if on else 0)


def button():
    """True while the button is held."""
    return _input("button", machine.Pin.PULL_UP)() == BUTTON_DOWN


def ignition():
    """True while the ignition is on."""
    return _input("ignition", machine.Pin.PULL_DOWN)() == 1


def analogue(name):
    """ADC code of "battery" or "fuel_pressure", 0 to 65535 of the reference; 0 while nothing is wired.

    An open pin floats and could look like a weak battery. The processor's pull-down takes it to 0 and hardly affects a divider of 10k.
    """
    if name not in _wired:
        converter = _once(name, lambda: machine.ADC(_gpio[name]))
        machine.Pin(_gpio[name], machine.Pin.IN, machine.Pin.PULL_DOWN)
        sleep_ms(SETTLE_MS)
        if converter.read_u16() < OPEN_CODE:
            return 0
        _wired.add(name)
        _made[name] = machine.ADC(_gpio[name])  # switches the pull-down off again
        sleep_ms(SETTLE_MS)
    return _made[name].read_u16()


def spi():
    """The SPI bus of the amplifiers."""
    return _once("spi", _new_spi)


def _new_spi():
    from spibus import SpiBus

    clock, out, into = [machine.Pin(_gpio[name]) for name in ("spi_sck", "spi_mosi", "spi_miso")]
    machine.Pin(_gpio["spi_miso"], machine.Pin.IN, machine.Pin.PULL_UP)  # an undriven line reads all ones
    return SpiBus(
        machine.SPI(pins.SPI_ID, baudrate=pins.SPI_HZ, polarity=0, phase=1, sck=clock, mosi=out, miso=into), pins.SPI_HZ
    )


def select(channel):
    """The chip-select pin of a channel, idle high."""
    return _output("select_%d" % channel, 1)


def vsys_mv():
    """The Pico's supply after D2 or USB, mV, from its divider by 3 on GPIO 29 (Pico datasheet); 0 if that cannot be read."""
    try:
        return machine.ADC(29).read_u16() * 9900 // 65535
    except ValueError:
        return 0


def i2c():
    """I2C0. A hung bus costs I2C_TIMEOUT_US; callers then wait before the next try."""
    return _once(
        "i2c",
        lambda: machine.I2C(
            pins.I2C_ID,
            scl=machine.Pin(_gpio["i2c_scl"]),
            sda=machine.Pin(_gpio["i2c_sda"]),
            freq=pins.I2C_HZ,
            timeout=I2C_TIMEOUT_US,
        ),
    )


def pulse_counter(name="engine_pulses"):
    """A counter of the pulses at that pin: count(), by_interrupt. A flow meter pulls its lead down and the board pulls it up: an open lead gives none."""
    return _once("count_" + name, lambda: _new_counter(name))


def _new_counter(name):
    import counters

    number = ("engine_pulses", "flow_1", "flow_2").index(name)
    gpio = _input(name, machine.Pin.PULL_UP if number else machine.Pin.PULL_DOWN)
    try:
        import rp2

        return counters.StateMachineCounter(rp2, gpio, number)
    except (ImportError, OSError, ValueError):  # no PIO here, or none free
        return counters.InterruptCounter(gpio, machine.Pin.IRQ_RISING)


def receiver(baud):
    """UART0, for reading without waiting; an open lead gives no bytes."""
    _input("receiver_rx", machine.Pin.PULL_UP)
    tx, rx = [machine.Pin(_gpio[name]) for name in ("receiver_tx", "receiver_rx")]
    return machine.UART(0, baudrate=baud, tx=tx, rx=rx, rxbuf=1024, timeout=0)


def start_timer(period_ms, callback):
    """Call `callback` every period_ms, between two bytecodes of the main program."""
    _once("timer", lambda: machine.Timer(-1)).init(mode=machine.Timer.PERIODIC, period=period_ms, callback=callback)


def stop_timer():
    """Stop the callback."""
    if "timer" in _made:
        _made["timer"].deinit()


def prompt_wanted():
    """True if this boot should end at the prompt: an installation is under way, the last run asked for it (once), or the button is held."""
    if _there(INSTALLING_FLAG):
        return True
    try:
        os.remove(SERVICE_FLAG)
        return True
    except OSError:
        return _button_at_boot()


def _button_at_boot():
    """True if the button is down the whole time, after its lead has had time to charge."""
    button()
    sleep_ms(BUTTON_SETTLE_MS)
    for _ in range(BUTTON_HELD_MS):
        if not button():
            return False
        sleep_ms(1)
    return True


def stay_at_prompt():
    """Lamp and reason for a board that ends at its prompt: lit with short gaps, so that it looks neither dead nor measuring."""
    _leave_reason("service")
    turn = 0

    def step(_timer):
        nonlocal turn
        turn = (turn + 1) & 7
        lamp(turn)

    lamp(True)
    start_timer(PROMPT_MS, step)


def leave_for_prompt():
    """Reset and end at the prompt. There is no other way: 0x03 is data, and the RP2040's watchdog cannot be stopped."""
    with open(SERVICE_FLAG, "w") as file:
        file.write("once")
    reset("service")


def doze(ms):
    """Sleep lightly: clocks stop, memory and pins stay."""
    machine.lightsleep(ms)


def reset(reason):
    """Reset the board; `reason`, a name of messages.RESET_CAUSES, is kept for the next boot, because the processor itself reports a watchdog reset."""
    _leave_reason(reason)
    machine.reset()


def _leave_reason(reason):
    try:
        with open(REASON_FILE, "w") as file:
            file.write(reason)
    except OSError:
        pass


def _there(path):
    try:
        return os.stat(path)
    except OSError:
        return None


def start_watchdog():
    """Start the watchdog: from now on feed() must be called every 8 s. It cannot be stopped."""
    _once("watchdog", lambda: machine.WDT(timeout=WATCHDOG_MS))


def feed():
    """Feed the watchdog."""
    if "watchdog" in _made:
        _made["watchdog"].feed()


def board_id():
    """The processor's unique id, 8 bytes."""
    return (bytes(machine.unique_id()) + bytes(8))[:8]


def reset_cause():
    """Why the board started, a name of messages.RESET_CAUSES; "watchdog" only for a program that hung."""
    return _once("cause", _find_cause)


def _find_cause():
    kept = ""
    if _there(REASON_FILE):
        with open(REASON_FILE) as file:
            kept = file.read()
        os.remove(REASON_FILE)
    cause = machine.reset_cause()
    if kept and cause == machine.WDT_RESET:
        return kept
    for name, attribute in (("power_on", "PWRON_RESET"), ("watchdog", "WDT_RESET"), ("soft", "SOFT_RESET")):
        if cause == getattr(machine, attribute, None):
            return name
    return "unknown"


def memory_free():
    """Free heap, bytes; 0 if the interpreter does not report it."""
    return gc.mem_free() if hasattr(gc, "mem_free") else 0


# The port to the host. On CPython it is buffered, which hides waiting bytes from poll().
_stdin = getattr(sys.stdin.buffer, "raw", sys.stdin.buffer)
_stdout = getattr(sys.stdout.buffer, "raw", sys.stdout.buffer)
_readable = polling.poll()
_readable.register(sys.stdin, polling.POLLIN)
_writable = polling.poll()
_writable.register(sys.stdout, polling.POLLOUT)
_one = bytearray(1)


def claim_port():
    """From now on a 0x03 from the host is data, not an interrupt."""
    micropython.kbd_intr(-1)
    micropython.alloc_emergency_exception_buf(100)


def receive(buffer):
    """Fill `buffer` with what the host has sent; returns the number of bytes, 0 if there are none."""
    count = 0
    while count < len(buffer) and _readable.poll(0):
        if not _stdin.readinto(_one):  # type: ignore[union-attr]  # the stubs lack readinto
            break
        buffer[count] = _one[0]
        count += 1
    return count


def room():
    """True if the port takes at least one byte without waiting."""
    for _, flags in _writable.poll(0):
        return bool(flags & polling.POLLOUT)
    return False


def write(data):
    """Write to the host; returns the number of bytes taken."""
    return _stdout.write(data) or 0

"""A stand-in for MicroPython's `machine` as the rp2 port of 1.24 documents it, on a simulated clock; runs under MicroPython's unix port and CPython.

Beyond the real module it has `simulated_speed`, how many times faster than real time the board runs at most.
"""

from .buses import I2C, SPI, UART  # noqa: F401 - this and the next ones are what the module is for
from .clock import Reset, clock
from .pins import ADC, PWM, Pin  # noqa: F401
from .rtc import RTC  # noqa: F401
from .timers import RESET_BY_WATCHDOG, RESET_SOFT, WDT, Timer  # noqa: F401

PWRON_RESET = 1
WDT_RESET = 3

simulated_speed = 1
board_id = b"simulate"
cause = PWRON_RESET
_frequency_hz = 125000000
IDLE_LONGEST_US = 50000


def unique_id():
    return board_id


def reset_cause():
    return cause


def reset():
    raise Reset(RESET_BY_WATCHDOG)


def soft_reset():
    raise Reset(RESET_SOFT)


def freq(hz=None):
    global _frequency_hz
    if hz is None:
        return _frequency_hz
    _frequency_hz = hz


def idle():
    """Wait for an interrupt. The simulated clock jumps to the next alarm at once, 50 ms at most, so that an idle board costs no time."""
    clock.pause(IDLE_LONGEST_US)


def lightsleep(time_ms=None):
    if time_ms is None:
        while True:
            clock.spend(1000000)
    clock.spend(time_ms * 1000)


def deepsleep(time_ms=None):
    lightsleep(time_ms)
    reset()


def disable_irq():
    clock.hold()
    return True


def enable_irq(state=True):
    if state:
        clock.release()

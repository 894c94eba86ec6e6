"""MicroPython's `time` as the rp2 port has it, on the simulated clock: the board's `import time` gets this module."""

from . import rtc
from .clock import clock

PERIOD = 1 << 30  # ticks wrap here on a 32-bit port
CALL_US = 2


def ticks_us():
    clock.spend(CALL_US)
    return clock.now_us & 0x3FFFFFFF


ticks_cpu = ticks_us


def ticks_ms():
    clock.spend(CALL_US)
    return clock.now_us // 1000 & 0x3FFFFFFF


def ticks_add(ticks, delta):
    return (ticks + delta) & 0x3FFFFFFF


def ticks_diff(late, early):
    return ((late - early + 0x20000000) & 0x3FFFFFFF) - 0x20000000


def sleep_us(us):
    clock.spend(us if us > 0 else 0)


def sleep_ms(ms):
    clock.spend(ms * 1000 if ms > 0 else 0)


def sleep(s):
    clock.spend(int(s * 1000000))


def time():
    return rtc.seconds()


def time_ns():
    return rtc.seconds() * 1000000000 + clock.now_us % 1000000 * 1000


def gmtime(since_1970_s=None):
    return rtc.date_and_time(rtc.seconds() if since_1970_s is None else int(since_1970_s))


localtime = gmtime


def mktime(parts):
    return rtc.seconds_since_1970(*parts[:6])

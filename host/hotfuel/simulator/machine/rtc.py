"""machine.RTC: the processor's own clock, which starts at 2021-01-01 whenever power comes, as the rp2 port's does; and the seconds of time.time()."""

from .clock import clock

POWER_ON_S = 1609459200  # 2021-01-01 00:00:00
DAYS_BEFORE_MONTH = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)

_offset_s = POWER_ON_S


def start():
    global _offset_s
    _offset_s = POWER_ON_S


def seconds():
    """Seconds since 1970-01-01 by the processor's clock."""
    return _offset_s + clock.now_us // 1000000


def days_since_1970(year, month, day):
    leap_days = (year - 1969) // 4 - (year - 1901) // 100 + (year - 1601) // 400
    days = (year - 1970) * 365 + leap_days + DAYS_BEFORE_MONTH[month - 1] + day - 1
    if month > 2 and year % 4 == 0 and (year % 100 != 0 or year % 400 == 0):
        days += 1
    return days


def seconds_since_1970(year, month, day, hour, minute, second):
    return ((days_since_1970(year, month, day) * 24 + hour) * 60 + minute) * 60 + second


def date_and_time(since_1970_s):
    """(year, month, day, hour, minute, second, weekday with Monday 0, day of the year from 1)"""
    days = since_1970_s // 86400
    rest_s = since_1970_s % 86400
    year = 1970 + days // 366
    while days_since_1970(year + 1, 1, 1) <= days:
        year += 1
    month = 12
    while days_since_1970(year, month, 1) > days:
        month -= 1
    day = days - days_since_1970(year, month, 1) + 1
    return (
        year,
        month,
        day,
        rest_s // 3600,
        rest_s // 60 % 60,
        rest_s % 60,
        (days + 3) % 7,
        days - days_since_1970(year, 1, 1) + 1,
    )


class RTC:
    def datetime(self, when=None):
        """(year, month, day, weekday, hour, minute, second, subsecond)"""
        global _offset_s
        if when is None:
            year, month, day, hour, minute, second, weekday, _ = date_and_time(seconds())
            return (year, month, day, weekday, hour, minute, second, 0)
        year, month, day, _, hour, minute, second, _ = when
        _offset_s = seconds_since_1970(year, month, day, hour, minute, second) - clock.now_us // 1000000

"""DS3231 battery-backed clock: keeps UTC, whole seconds."""

from chips import ds3231_map as m

_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


def days_since_1970(year, month, day):
    """Days from 1970-01-01; years 2000 to 2099, where every fourth is a leap year."""
    leap_days = (year - 2000 + 3) // 4 + (1 if year % 4 == 0 and month > 2 else 0)
    return 10957 + (year - 2000) * 365 + leap_days + _DAYS_BEFORE[month - 1] + day - 1


def date(days):
    """(year, month, day) of a number of days since 1970-01-01; 2000 to 2099."""
    year = 2000
    while days >= days_since_1970(year + 1, 1, 1):
        year += 1
    month = 12
    while days < days_since_1970(year, month, 1):
        month -= 1
    return year, month, days - days_since_1970(year, month, 1) + 1


class Chip:
    """Every method raises OSError if the chip does not answer."""

    def __init__(self, i2c):
        self._i2c = i2c

    def seconds(self):
        """Seconds since 1970-01-01 UTC; None if the clock has stopped since it was set or holds no date."""
        if self._i2c.readfrom_mem(m.ADDRESS, m.STATUS, 1)[0] & m.STOPPED:
            return None
        raw = self._i2c.readfrom_mem(m.ADDRESS, m.SECONDS, m.TIME_BYTES)
        second, minute, hour, _, day, month, year = [(byte >> 4) * 10 + (byte & 15) for byte in raw]
        month %= 80  # the century bit
        if raw[m.HOURS] & m.HOURS_12 or not (1 <= month <= 12 and 1 <= day <= 31 and second < 60 and minute < 60 and hour < 24):
            return None
        return ((days_since_1970(2000 + year, month, day) * 24 + hour) * 60 + minute) * 60 + second

    def set_seconds(self, seconds):
        """Set the clock and clear its stopped flag."""
        days = seconds // 86400
        year, month, day = date(days)
        rest = seconds % 86400
        values = (rest % 60, rest // 60 % 60, rest // 3600, (days + 3) % 7 + 1, day, month, year - 2000)
        self._i2c.writeto_mem(m.ADDRESS, m.SECONDS, bytes([value // 10 << 4 | value % 10 for value in values]))
        self._i2c.writeto_mem(m.ADDRESS, m.STATUS, b"\x00")

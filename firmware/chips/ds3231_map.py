# DS3231, Maxim datasheet 19-5170, timekeeping registers; binary-coded decimal.
# What the driver does not use is a comment: a name costs memory on the board.

SECONDS = 0x00
# MINUTES 0x01
HOURS = 0x02  # bit 6: 12-hour mode
# DAY 0x03
# DATE 0x04
# MONTH_CENTURY 0x05: bit 7: century
# YEAR 0x06
# CONTROL 0x0E
STATUS = 0x0F
ADDRESS = 0x68
TIME_BYTES = 7

HOURS_12 = 0b0_1_000000
# CENTURY 0b1_00_00000
STOPPED = 0b1_000_0_0_0_0  # in STATUS: the time cannot be trusted

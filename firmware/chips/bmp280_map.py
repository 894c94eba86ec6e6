# BMP280, Bosch datasheet BST-BMP280-DS001, memory map (addresses and reset values from memory of the published map).
# What the driver does not use is a comment: a name costs memory on the board.

CALIBRATION = 0x88  # dig_T1 ... dig_P9, little-endian
CALIBRATION_BYTES = 24
ID = 0xD0
CHIP_ID = 0x58
# RESET 0xE0
# STATUS 0xF3
CTRL_MEAS = 0xF4  # osrs_t, osrs_p, mode; 00h after reset
CONFIG = 0xF5  # t_sb, filter, spi3w_en
PRESS_MSB = 0xF7  # press, then temp, each msb lsb xlsb
DATA_BYTES = 6

# CTRL_MEAS: temperature x2, pressure x16, normal mode. CONFIG: standby 0.5 ms, filter 16.
MEASURE = 0b010_101_11
SMOOTH = 0b000_100_0_0

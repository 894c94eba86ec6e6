# BMP390, Bosch datasheet BST-BMP390-DS002, memory map (addresses from memory of the published map).

CHIP_ID_REGISTER = 0x00
CHIP_ID = 0x60
DATA_0 = 0x04  # press xlsb lsb msb, then temp xlsb lsb msb
DATA_BYTES = 6
PWR_CTRL = 0x1B  # mode, temp_en, press_en; 00h after reset
OSR = 0x1C
ODR = 0x1D
CONFIG = 0x1F
CALIBRATION = 0x31  # NVM_PAR_T1 ... NVM_PAR_P11, little-endian
CALIBRATION_BYTES = 21

# PWR_CTRL: normal mode, temperature and pressure on. OSR: temperature x1, pressure x8. ODR: every 40 ms. CONFIG: filter 3.
MEASURE = 0b00_11_00_11
OVERSAMPLE = 0b00_000_011
EVERY_40_MS = 0b000_00011
SMOOTH = 0b0000_010_0

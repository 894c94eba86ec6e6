# MAX31856, Maxim datasheet 19-7534, register memory map. Write address = read address + 80h. Bit groups as on the page.
# What the driver does not use is a comment: a name costs memory on the board.

# Registers in datasheet order, with their value after power-on.
CR0 = 0x00  # 00h  CMODE 1SHOT OCFAULT1:0 CJ FAULT FAULTCLR 50/60Hz
CR1 = 0x01  # 03h  reserved AVGSEL2:0 TC TYPE3:0
MASK = 0x02  # FFh  reserved:2 CJ_HIGH CJ_LOW TC_HIGH TC_LOW OV/UV OPEN, 1 = masked
CJHF = 0x03  # 7Fh  cold-junction high fault threshold, 1 degC
CJLF = 0x04  # C0h  cold-junction low fault threshold, 1 degC
LTHFTH = 0x05  # 7Fh  linearised temperature high fault threshold, MSB, 0.0625 degC
LTHFTL = 0x06  # FFh
LTLFTH = 0x07  # 80h  linearised temperature low fault threshold, MSB
LTLFTL = 0x08  # 00h
CJTO = 0x09  # 00h  cold-junction temperature offset, 0.0625 degC
CJTH = 0x0A  # 00h  cold-junction temperature, 14 bit left-justified, 1/64 degC
CJTL = 0x0B  # 00h
LTCBH = 0x0C  # 00h  linearised temperature or voltage, 19 bit left-justified
LTCBM = 0x0D  # 00h
LTCBL = 0x0E  # 00h
SR = 0x0F  # 00h  CJ range, TC range, CJ high, CJ low, TC high, TC low, OV/UV, OPEN (read only)
WRITE = 0x80

# CR0
# CMODE_OFF 0b0_0_00_0_0_0_0
CMODE_AUTOMATIC = 0b1_0_00_0_0_0_0
ONE_SHOT = 0b0_1_00_0_0_0_0  # self-clearing at the end of the conversion
# OCFAULT_OFF 0b0_0_00_0_0_0_0
OCFAULT_BELOW_5K = 0b0_0_01_0_0_0_0  # every 16 conversions, for less than 5 kohm in the leads
FAULTCLR = 0b0_0_00_0_0_1_0  # self-clearing
FILTER_60HZ = 0b0_0_00_0_0_0_0
FILTER_50HZ = 0b0_0_00_0_0_0_1

# CR1
AVERAGES = {1: 0b0_000_0000, 2: 0b0_001_0000, 4: 0b0_010_0000, 8: 0b0_011_0000, 16: 0b0_100_0000}
# Voltage mode: code = gain * 1.6 * 2^17 * V. A public header gives 0xB for gain 32, which is gain 8: 10xx is 8, 11xx is 32.
VOLTAGE_GAIN = {8: 0b0_000_1000, 32: 0b0_000_1100}

# Conversion at most, ms: (first or only one, each further average) by mode and filter (datasheet, conversion times).
CONVERSION_MS = {
    ("one_shot", 60): (155, 33.33),
    ("one_shot", 50): (185, 40),
    ("automatic", 60): (90, 16.67),
    ("automatic", 50): (110, 20),
}

# SR. In comparator mode (CR0, FAULT = 0) a bit follows its condition, masked or not: MASK only keeps it from the FAULT pin. At 127 degC the bit CJ high
# is never set, at -128 degC always. Conversions rest while OV/UV is set.
# That a changed threshold is compared at the end of a conversion, not when it is written, is how we understand the datasheet: not yet tried on a chip.
SR_CJ_HIGH = 0b0_0_1_0_0_0_0_0
SR_OVUV = 0b0_0_0_0_0_0_1_0

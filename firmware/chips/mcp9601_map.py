# MCP9600, MCP9601, Microchip datasheets DS20005426, DS20006173, register pointers in datasheet order. The MCP9601 adds open and short detection.
# What the driver does not use is a comment: a name costs memory on the board.

T_HOT = 0x00  # 16 bit, 0.0625 degC, linearised and compensated
# T_DELTA 0x01
T_COLD = 0x02  # 16 bit, 0.0625 degC, sign extended
RAW_ADC = 0x03  # 24 bit, sign extended, 2 uV a bit at 18 bit
STATUS = 0x04
SENSOR_CONFIGURATION = 0x05
DEVICE_CONFIGURATION = 0x06
# DEVICE_ID 0x20: 16 bit: 40h (MCP9600) or 41h (MCP9601), revision

# STATUS
# BURST_COMPLETE 0b1_0_00_0000
T_HOT_UPDATED = 0b0_1_00_0000  # set by each conversion, cleared by writing 0
# SHORT_CIRCUIT 0b0_0_10_0000: MCP9601 only
# OPEN_OR_RANGE 0b0_0_01_0000: MCP9600: input out of range; MCP9601: open circuit too

# SENSOR_CONFIGURATION
TYPE_K = 0b0_000_0_000
# FILTER_OFF 0b0_000_0_000
FILTER_LEAST = 0b0_000_0_001  # works on T_HOT only, not on RAW_ADC

# DEVICE_CONFIGURATION
COLD_0_0625 = 0b0_00_000_00
RESOLUTION = {18: 0b0_00_000_00, 16: 0b0_01_000_00, 14: 0b0_10_000_00, 12: 0b0_11_000_00}
NORMAL = 0b0_00_000_00

CONVERSION_MS = {18: 320, 16: 80, 14: 20, 12: 5}

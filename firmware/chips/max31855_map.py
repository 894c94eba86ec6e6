# MAX31855, Maxim datasheet 19-5793, memory map: 32 bits, read only, D31 first.
# What the driver does not use is a comment: a name costs memory on the board.

# field: (highest bit, lowest bit)
# HOT (31, 18): signed, 0.25 degC, linearised with 41.276 uV/degC for type K
# RESERVED_17 (17, 17): always 0
# FAULT (16, 16): any of the three below
# COLD (15, 4): signed, 0.0625 degC
# RESERVED_3 (3, 3): always 0
# SCV (2, 2): short to supply
# SCG (1, 1): short to ground
# OC (0, 0): open circuit

# CONVERSION_MS 100: at most; pulling CS low aborts a conversion

"""What a chip's raw status byte says, in names that are the same for every chip. Host and board use this table."""

from hotfuel_wire.messages import CHIPS

# Chip -> rows (bit mask, neutral name, True: the temperature of this reading cannot be used)
FAULT_BITS = {
    # MAX31856 register 0Fh, SR (datasheet 19-7534). The range bits speak of the linearised result; the cold junction's makes any reading void.
    CHIPS["MAX31856"]: (
        (0x01, "open_circuit", True),
        (0x02, "input_out_of_range", True),
        (0x04, "hot_low_threshold", False),
        (0x08, "hot_high_threshold", False),
        (0x10, "cold_low_threshold", False),
        (0x20, "cold_high_threshold", False),
        (0x40, "hot_out_of_range", False),
        (0x80, "cold_out_of_range", True),
    ),
    # MAX31855 bits D2-D0 as read, with D16 (any fault) as bit 7 (datasheet 19-5793).
    CHIPS["MAX31855"]: (
        (0x01, "open_circuit", True),
        (0x02, "short_to_ground", True),
        (0x04, "short_to_supply", True),
        (0x80, "any_fault", True),
    ),
    # MCP9601 STATUS register 04h (DS20006173); bits 4 and 5 are the MCP9601's open and short detection (from memory).
    CHIPS["MCP9601"]: (
        (0x10, "open_circuit", True),
        (0x20, "short_circuit", True),
    ),
    # MCP9600: bit 4 is only "input outside the range of the chosen type"; it has no open or short detection.
    CHIPS["MCP9600"]: ((0x10, "input_out_of_range", True),),
}


def faults(chip, status):
    """Names of all faults in a raw status byte, as a list, e.g. faults(1, 0x01) -> ["open_circuit"]. An unknown chip gives ["unknown_chip"]."""
    rows = FAULT_BITS.get(chip)
    if rows is None:
        return ["unknown_chip"]
    return [name for mask, name, _ in rows if status & mask]


def fatal_mask(chip):
    """The bits that make a reading unusable. An unknown chip: all bits."""
    mask = 0
    for bit, _, fatal in FAULT_BITS.get(chip, ((0xFF, "", True),)):
        if fatal:
            mask |= bit
    return mask

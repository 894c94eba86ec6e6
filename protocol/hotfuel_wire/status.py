"""The bits of a chip's raw status byte, in names that are the same for every chip. Used by host and board."""

from hotfuel_wire.amplifiers import ROWS

# Chip number -> rows (bit mask, neutral name, True: the temperature of this reading cannot be used)
FAULT_BITS = {row["number"]: row["faults"] for row in ROWS.values()}
del ROWS  # the rest of the table may leave the board's memory


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

"""The amplifiers: <chip>_map.py is the datasheet's register map, <chip>.py configures and reads."""


def driver(name):
    """The driver class of an amplifier; only the chips in use are loaded."""
    if name == "MAX31856":
        from chips.max31856 import Chip
    elif name == "MAX31855":
        from chips.max31855 import Chip
    else:
        from chips.mcp9601 import Chip
    return Chip

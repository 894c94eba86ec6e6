"""The amplifiers: <chip>_map.py is the datasheet's register map, <chip>.py configures and reads."""


def driver(name):
    """The driver class of an amplifier; only the chips in use are loaded."""
    if name == "MAX31856":
        from chips import max31856

        return max31856.Chip
    if name == "MAX31855":
        from chips import max31855

        return max31855.Chip
    from chips import mcp9601

    return mcp9601.Chip

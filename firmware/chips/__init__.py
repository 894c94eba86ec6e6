"""The amplifiers: <chip>_map.py is the datasheet's register map, <chip>.py configures and reads the chip."""


def driver(name):
    """The driver class of an amplifier; only the chips in use are loaded. Raises KeyError for a chip without a row, ImportError for one without a driver."""
    from hotfuel_wire.amplifiers import ROWS

    module = ROWS[name]["driver"]
    return getattr(__import__("chips." + module), module).Chip

"""Models of the chips on the board, typed from their datasheets and not from the firmware's maps, in MicroPython's dialect.

A model is made as Model(world, channel, clock): world.emf_nv(channel, us), world.cold_1024(channel, us), world.input(column, us); clock.now_us.
"""

# name -> module here; the class has the chip's name
MODULES = {
    "MAX31856": "max31856",
    "MAX31855": "max31855",
    "MCP9600": "mcp960x",
    "MCP9601": "mcp960x",
    "BMP280": "bmp280",
    "BMP390": "bmp390",
    "DS3231": "ds3231",
    "ADS1115": "ads1115",
}


def model(name):
    """The class of a chip's model; ValueError for a chip without one."""
    if name not in MODULES:
        raise ValueError("there is no model of the chip %s; there are %s" % (name, ", ".join(sorted(MODULES))))
    package = __name__ + "." + MODULES[name]
    return getattr(__import__(package, None, None, [name]), name)

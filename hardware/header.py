"""What both halves of the wiring diagram share: the Pico's header, where it is drawn, and symbols that take their values from the netlist."""

import netlist

# Header pin of a GPIO, Raspberry Pi Pico and Pico 2 (Pico datasheet, pinout)
HEADER = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip
OTHER = {
    3: "GND", 8: "GND", 13: "GND", 18: "GND", 23: "GND", 28: "GND", 33: "AGND", 38: "GND",
    30: "RUN", 35: "ADC_VREF", 36: "3V3", 37: "3V3_EN", 39: "VSYS", 40: "VBUS",
}  # fmt: skip
PITCH, TOP, LEFT, RIGHT = 34, 232, 690, 930


def group(name):
    """Which group of leads a pin of pins.py belongs to."""
    for start, result in (("spi", "SPI"), ("select", "select"), ("i2c", "I2C")):
        if name.startswith(start):
            return result
    if name in ("battery", "fuel_pressure"):
        return "analogue"
    return "output" if name in ("lamp", "buzzer", "sensor_rail", "receiver_tx") else "input"


def value(mark):
    """A part's value in the netlist."""
    return netlist.PARTS[mark].value


def resistor(sheet, x, y, mark, standing=False):
    """A resistor with the netlist's value."""
    sheet.resistor(x, y, mark, value(mark), standing)


def capacitor(sheet, x, y, mark):
    """A standing capacitor with the netlist's value."""
    sheet.capacitor(x, y, mark, value(mark))


def clamp(sheet, x, y, mark):
    """Two diodes to the rails."""
    sheet.clamp(x, y, mark, value(mark))


def pin_y(header):
    """Height of a header pin on the sheet."""
    return TOP + PITCH * (header - 1 if header <= 20 else 40 - header)


def names_by_header(pins):
    """Header pin -> (GPIO, name) for every row of pins.PINS."""
    return {HEADER[gpio]: (gpio, name) for name, gpio, _ in pins.PINS}


def input_(sheet, x, y, series, shunt, dual, last, ends):
    """terminal - series - node with shunt - clamp - last resistor - pin; drawn from the pin at (x, y) to the left or right by `ends`."""
    way = -1 if ends == "left" else 1
    resistor(sheet, x + 26 * way, y, last)
    sheet.wire((x + 52 * way, y), (x + 222 * way, y))
    clamp(sheet, x + 92 * way, y, dual)
    sheet.dot(x + 150 * way, y)
    resistor(sheet, x + 150 * way, y + 26, shunt, standing=True)
    sheet.ground(x + 150 * way, y + 52)
    if series:
        resistor(sheet, x + 248 * way, y, series)
    return x + (274 if series else 222) * way


def suppressor(sheet, x, y, mark, nets=()):
    """Dual suppressor: a small box, a lead upwards from (x, y), or two drawn as one; ground below."""
    if nets:
        sheet.bundle((x, y), (x, y + 8), nets=nets)
    else:
        sheet.wire((x, y), (x, y + 8))
        sheet.end(x, y + 8, mark, "1")
    sheet.end(x, y + 26, mark, "3")
    sheet.outlines.append((mark, x - 20, y + 8, x + 20, y + 26))
    sheet.rect(x - 20, y + 8, 40, 18)
    sheet.text(x, y + 21, mark, 11, "middle", weight="bold", class_="ref")
    sheet.ground(x, y + 26)

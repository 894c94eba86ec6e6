"""Optional additions to a box: a converter for voltages, flow meters, a satellite receiver. The circuit as data, as in netlist.py, and its drawing.

Rails, I2C and their pull-ups are the box's own (netlist.py); the leads begin at the same pins of the Pico.
"""

from header import group
from netlist import Part, _c, _clamp, _esd, _r
from pen import GROUPS, QUIET, Sheet

VOLTAGES = 4
SERIES_OHM, SHUNT_OHM = 15e3, 27e3  # divides 5 V to 3.2 V; 0.1 % parts, because the divider is usually not calibrated
METERS = 2


def _parts():
    names = ("i2c_sda", "i2c_scl", *(f"flow_{n + 1}" for n in range(METERS)), "receiver_rx", "receiver_tx")
    found = {
        "U1": Part("module", "Pico", {name: f"gp_{name}" for name in names}, volt=5.5, top_degc=85.0),
        "U51": Part(
            "module",
            "ADS1115",
            {"VDD": "3V3S", "GND": "GND", "SDA": "gp_i2c_sda", "SCL": "gp_i2c_scl", "ADDR": "GND"}
            | {f"A{n}": f"AIN{n}" for n in range(VOLTAGES)},
            volt=5.5,
            top_degc=125.0,
        ),
        "U52": Part(
            "module", "receiver", {"V": "5VR", "GND": "GND", "TX": "RTX", "RX": "RRX"}, volt=5.5, amp=0.06, top_degc=85.0
        ),
        "R65": _r(1e3, "RTX", "gp_receiver_rx"),
        "R66": _r(1e3, "RRX", "gp_receiver_tx"),
        "C55": _c(100e-9, "100n", "3V3S", "GND"),
        "D55": _esd("FLOW1", "FLOW2"),
    }
    for n in range(VOLTAGES):
        found[f"R{51 + n}"] = _r(SERIES_OHM, f"VOLTAGE{n + 1}", f"AIN{n}")
        found[f"R{55 + n}"] = _r(SHUNT_OHM, f"AIN{n}", "GND")
        found[f"D{51 + n}"] = _clamp("BAS70", "BAS70", f"AIN{n}", 70.0)
        found[f"C{51 + n}"] = _c(100e-9, "100n", f"AIN{n}", "GND")
    for n in range(METERS):
        found[f"R{61 + n}"] = _r(4.7e3, "3V3S", f"FLOW{n + 1}")
        found[f"R{63 + n}"] = _r(1e3, f"FLOW{n + 1}", f"gp_flow_{n + 1}")
        found[f"C{61 + n}"] = _c(10e-9, "10n", f"gp_flow_{n + 1}", "GND")
    return found


PARTS = _parts()
FROM_THE_CAR = {
    **{f"VOLTAGE{n + 1}": "a sensor's output, 0 to 5 V" for n in range(VOLTAGES)},
    **{f"FLOW{n + 1}": "a flow meter's signal, an open collector" for n in range(METERS)},
    "5VS": "to the sensors and meters, 30 mA in all",
    "GND": "the sensors' own ground leads",
}


def further(pins):
    """The drawing; pins: firmware/pins.py."""
    known = {name: gpio for name, gpio, _ in pins.PINS}
    sheet = Sheet(1000, 1060, "Further inputs: voltages by an external converter, flow meters, a satellite receiver")
    sheet.text(40, 34, "Further inputs, each of them optional", 17, weight="bold")
    sheet.rect(40, 60, 150, 970, fill="#e8edf3", radius=10)
    sheet.outlines.append(("U1", 40, 60, 190, 1030))
    sheet.text(100, 84, "U1", 13, "middle", weight="bold", class_="ref")
    sheet.text(100, 102, "Pico or Pico 2", 11, "middle")

    def pin(name, y):
        colour = GROUPS[group(name)]
        sheet.add("circle", cx=190, cy=y, r=4.5, fill=colour, stroke="#ffffff", stroke_width=1)
        sheet.text(180, y + 4, f"GP{known[name]} {name}", 11, "end", colour, "bold")
        sheet.end(190, y, "U1", name)
        return colour

    _converter(sheet, pin)
    for n in range(METERS):
        _meter(sheet, pin, n, 700 + 130 * n)
    sheet.module(540, 916, 200, 100, "U52", ["satellite receiver,", "NMEA 0183 at 3.3 V"])
    for name, mark, end, y in (("receiver_rx", "R65", "TX", 960), ("receiver_tx", "R66", "RX", 1004)):
        sheet.wire((190, y), (364, y), colour=pin(name, y), class_="lead", data_pin=name)
        sheet.resistor(390, y, mark, PARTS[mark].value)
        sheet.wire((416, y), (540, y))
        sheet.text(547, y + 4, end, 10.5)
        sheet.end(540, y, "U52", end)
    sheet.rail(690, 916, "5VR")
    sheet.ground(640, 1016)
    sheet.wire((834, 700), (790, 700))
    sheet.rail(790, 700, "5VS")
    sheet.terminal(840, 700, ["5 V for sensors", "and meters, 30 mA"], net="5VS")
    sheet.wire((834, 760), (790, 760), (790, 766))
    sheet.ground(790, 766)
    sheet.terminal(840, 760, ["their ground"], net="GND")
    return sheet


def _converter(sheet, pin):
    for name, y in (("i2c_sda", 130), ("i2c_scl", 160)):
        sheet.wire((190, y), (330, y), colour=pin(name, y), class_="lead", data_pin=name)
    sheet.module(330, 90, 150, 500, "U51", ["ADS1115", "address 72"])
    for y, words in ((130, "SDA"), (160, "SCL"), (190, "ADDR")):
        sheet.text(337, y + 4, words, 10.5)
        sheet.end(330, y, "U51", words)
    sheet.wire((330, 190), (306, 190), (306, 196))
    sheet.ground(306, 196)
    sheet.rail(405, 90, "3V3S")
    sheet.ground(405, 590)
    sheet.rail(262, 524, "3V3S")
    sheet.capacitor(262, 550, "C55", PARTS["C55"].value)
    sheet.ground(262, 576)
    for n in range(VOLTAGES):
        y = 160 + 125 * n
        sheet.text(473, y + 4, f"A{n}", 10.5, "end")
        sheet.end(480, y, "U51", f"A{n}")
        sheet.wire((480, y), (744, y), colour=GROUPS["analogue"])
        sheet.dot(520, y, GROUPS["analogue"])
        sheet.capacitor(520, y + 26, f"C{51 + n}", PARTS[f"C{51 + n}"].value)
        sheet.ground(520, y + 52)
        sheet.clamp(610, y, f"D{51 + n}", PARTS[f"D{51 + n}"].value)
        sheet.dot(690, y, GROUPS["analogue"])
        sheet.resistor(690, y + 26, f"R{55 + n}", PARTS[f"R{55 + n}"].value, standing=True)
        sheet.ground(690, y + 52)
        sheet.resistor(770, y, f"R{51 + n}", PARTS[f"R{51 + n}"].value)
        sheet.wire((796, y), (834, y))
        sheet.terminal(840, y, [f"analogue_{n + 1}", "0 to 5 V"], net=f"VOLTAGE{n + 1}")


def _meter(sheet, pin, n, y):
    name = f"flow_{n + 1}"
    colour = pin(name, y)
    sheet.wire((190, y), (274, y), colour=colour, class_="lead", data_pin=name)
    sheet.dot(230, y, colour)
    sheet.capacitor(230, y + 26, f"C{61 + n}", PARTS[f"C{61 + n}"].value)
    sheet.ground(230, y + 52)
    sheet.resistor(300, y, f"R{63 + n}", PARTS[f"R{63 + n}"].value)
    sheet.wire((326, y), (534, y))
    sheet.dot(390, y)
    sheet.resistor(390, y - 26, f"R{61 + n}", PARTS[f"R{61 + n}"].value, standing=True)
    sheet.rail(390, y - 52, "3V3S")
    sheet.dot(470, y)
    sheet.wire((470, y), (470, y + 30))
    sheet.end(470, y + 30, "D55", str(n + 1))
    if n:
        sheet.text(470, y + 44, "D55", 11, "middle", QUIET)
    else:
        sheet.outlines.append(("D55", 450, y + 30, 490, y + 48))
        sheet.rect(450, y + 30, 40, 18)
        sheet.text(470, y + 43, "D55", 11, "middle", weight="bold", class_="ref")
        sheet.end(470, y + 48, "D55", "3")
        sheet.ground(470, y + 48)
    sheet.terminal(540, y, [f"flow meter {n + 1}, signal", "(open collector)"], net=f"FLOW{n + 1}")

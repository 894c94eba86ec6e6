"""The right half of the wiring diagram: supply, USB, analogue inputs, amplifiers."""

from header import RIGHT, TOP, capacitor, input_, pin_y, resistor, suppressor, value
from pen import GROUPS, INK, QUIET

AMPLIFIERS = (
    ("tank", "U8", "R23", "J1", "TC1"),
    ("pump", "U9", "R24", "J2", "TC2"),
    ("carburettor inlet", "U10", "R25", "J3", "TC3"),
)
# series (none where it sits in the pod), shunt, clamp, last resistor, capacitor at the pin
ANALOGUE = {"fuel_pressure": ("R12", "R13", "D6", "R14", "C5"), "battery": (None, "R4", "D3", "R5", "C3")}


def supply(sheet):
    sheet.frame(960, 30, 706, 184, "Supply")
    sheet.rect(1184, 52, 306, 156, stroke="#9aa1a9", fill="#f1f3f5", radius=4)
    sheet.text(1300, 203, "supply pod, a metal box of its own", 10.5, "start", QUIET)
    y = 96
    sheet.terminal(1582, y, ["battery +,", "own lead"], net="BATTERY")
    sheet.wire((1576, y), (1568, y))
    sheet.resistor(1542, y, "F1", value("F1"))
    sheet.wire((1516, y), (1468, y))
    sheet.rail(1478, y, "12V")
    sheet.dot(1478, y)
    resistor(sheet, 1478, y + 26, "R3", standing=True)
    sheet.wire((1478, y + 52), (1478, 160), (1540, 160))
    sheet.rail(1540, 160, "SENSE")
    sheet.diode(1442, y, "left", "D1", value("D1"))
    sheet.wire((1416, y), (1408, y))
    sheet.resistor(1382, y, "F2", value("F2"))
    sheet.wire((1356, y), (1348, y))
    sheet.resistor(1322, y, "R1", value("R1"))
    sheet.text(1392, 140, "F2 clamped on R1", 10.5, "middle", QUIET)
    sheet.wire((1296, y), (1124, y))
    sheet.diode(1272, y + 20, "up", reach=20, zener=True, of="TV1")
    sheet.diode(1272, y + 60, "up", reach=20, zener=True, of="TV2")
    sheet.ref(1288, y + 38, "TV1", value("TV1"), "start")
    sheet.ref(1288, y + 76, "TV2", value("TV2"), "start")
    sheet.ground(1272, y + 80)
    capacitor(sheet, 1200, y + 26, "C1")
    capacitor(sheet, 1140, y + 26, "C2")
    for x in (1272, 1200, 1140):
        sheet.dot(x, y)
    for x in (1200, 1140):
        sheet.ground(x, y + 52)
    sheet.rail(1172, y, "VIN")
    sheet.dot(1172, y)
    sheet.module(1054, y - 30, 70, 66, "U2", ["buck", "5 V, 1 A"])
    sheet.ground(1090, y + 36)
    sheet.wire((1054, y), (1032, y), colour=GROUPS["supply"])
    sheet.rail(1042, y, "5V")
    sheet.dot(1042, y, GROUPS["supply"])
    sheet.diode(1006, y, "left", "D2", value("D2"))
    sheet.wire((980, y), (974, y), (974, pin_y(39)), (RIGHT, pin_y(39)), colour=GROUPS["supply"])
    sheet.rail(974, y, "VSYS")
    sheet.terminal(1582, 180, ["battery −", "or body stud"], net="GND")
    sheet.wire((1576, 180), (1552, 180), (1552, 184))
    sheet.ground(1552, 184)
    sheet.wire((RIGHT, pin_y(36)), (990, pin_y(36)), colour=GROUPS["supply"])
    sheet.rail(990, pin_y(36), "3V3")


def usb(sheet):
    sheet.frame(650, 30, 290, 120, "USB: laptop on its battery near fuel")
    sheet.module(664, 60, 84, 50, "J4", ["panel socket"])
    sheet.module(806, 60, 96, 50, "D15", ["suppressor"])
    usb_nets = ("VBUS", "USB_DP", "USB_DM")
    sheet.bundle((748, 85), (806, 85), nets=usb_nets)
    sheet.text(777, 79, "D+ D−", 10.5, "middle", QUIET)
    sheet.ground(854, 110)
    sheet.ground(706, 110)
    sheet.bundle((902, 85), (924, 85), (924, 170), (810, 170), (810, TOP - 44), nets=usb_nets)


def analogue(sheet, leads):
    for name, lane, top, title in (
        ("fuel_pressure", 1016, 222, "Fuel pressure"),
        ("battery", 1034, 380, "Battery voltage"),
    ):
        sheet.frame(1050, top, 600, 142, title)
        y = top + 72
        leads.lead(name, lane, 1132, y)
        sheet.dot(1090, y, GROUPS["analogue"])
        parts = ANALOGUE[name]
        capacitor(sheet, 1090, y + 26, parts[4])
        sheet.ground(1090, y + 52)
        end = input_(sheet, 1132, y, *parts[:4], "right")
        sheet.wire((end, y), (1490 if name == "fuel_pressure" else 1420, y))
    sheet.dot(1440, 294)
    sheet.wire((1440, 294), (1440, 330))
    sheet.text(1440, 344, "D10", 11, "middle", QUIET)
    sheet.end(1440, 330, "D10", "2")
    sheet.module(1490, 256, 140, 76, "PS1", ["ratiometric sender", "5 V, optional"])
    sheet.rail(1600, 256, "5VS")
    sheet.ground(1560, 332)
    sheet.rail(1420, 452, "SENSE")
    sheet.text(1440, 456, "from R3 in the pod", 10.5, colour=QUIET)


def amplifiers(sheet, leads):
    sheet.frame(1144, 538, 506, 504, "Amplifiers and probes: one block a channel")
    lanes = {"spi_miso": 1024, "select_0": 1040, "spi_sck": 1056, "spi_mosi": 1072, "select_1": 1088, "select_2": 1104}
    tops = (888, 736, 584)
    rows = {"spi_sck": 1, "spi_mosi": 2, "spi_miso": 3}
    tap = {(name, top): top + 26 + 24 * rank for name, rank in rows.items() for top in tops}
    for name in rows:
        x, y = leads.start(name)
        colour = GROUPS["SPI"]
        ys = sorted([tap[name, top] for top in tops] + [y])
        series = {"spi_sck": ("R21", 1002), "spi_mosi": ("R22", 968)}.get(name)
        leads_to = lanes[name]
        if series:
            mark, at = series
            resistor(sheet, at, y, mark)
            sheet.wire((at + 26, y), (lanes[name], y), colour=colour)
            leads_to = at - 26
        sheet.wire((x, y), (leads_to, y), colour=colour, class_="lead", data_pin=name)
        sheet.wire((lanes[name], ys[0]), (lanes[name], ys[-1]), colour=colour)
        for top in tops:
            sheet.wire((lanes[name], tap[name, top]), (1214, tap[name, top]), colour=colour)
        for at in ys[1:-1]:
            sheet.dot(lanes[name], at, colour)
    for channel, (place, amplifier, series, plug, probe) in enumerate(AMPLIFIERS):
        name, top = f"select_{channel}", tops[channel]
        leads.lead(name, lanes[name], 1140, top + 26)
        resistor(sheet, 1166, top + 26, series)
        sheet.wire((1192, top + 26), (1214, top + 26), colour=GROUPS["select"])
        sheet.module(1214, top, 150, 124, amplifier, [])
        sheet.lines(1300, top + 50, ["MAX31856", "module,", f"channel {channel}"], 11, "middle", QUIET, 15)
        for rank, words in enumerate(("CS", "SCK", "SDI", "SDO")):
            sheet.text(1221, top + 30 + 24 * rank, words, 10.5)
            sheet.end(1214, top + 26 + 24 * rank, amplifier, words)
        sheet.rail(1334, top, "3V3S")
        sheet.ground(1250, top + 124)
        for offset, sign in ((40, "T+"), (84, "T−")):
            sheet.text(1357, top + offset + 4, sign, 11, "end")
            resistor(sheet, 1392, top + offset, f"R{28 + 2 * channel + (sign == 'T−')}")
            sheet.wire((1364, top + offset), (1366, top + offset))
            sheet.wire((1418, top + offset), (1420, top + offset))
            sheet.wire((1464, top + offset), (1560, top + offset))
            pole = "+" if sign == "T+" else "-"
            sheet.end(1364, top + offset, amplifier, "T" + pole)
            for x, mark in ((1420, plug), (1464, plug), (1560, probe)):
                sheet.end(x, top + offset, mark, pole)
        sheet.rect(1420, top + 28, 44, 68)
        sheet.outlines.append((plug, 1420, top + 28, 1464, top + 96))
        sheet.ref(1442, top + 60, plug, "K plug")
        suppressor(sheet, 1442, top + 96, f"D{12 + channel}", nets=(f"{plug}P", f"{plug}N"))
        sheet.stroke((1560, top + 40), (1592, top + 62), (1560, top + 84))
        sheet.add("circle", cx=1592, cy=top + 62, r=3, fill=INK)
        sheet.text(1602, top + 66, probe, 11, weight="bold", class_="ref")
        sheet.text(1512, top + 24, place, 12, "middle", weight="bold")
        sheet.lines(1512, top + 58, ["K extension", "wire"], 10.5, "middle", QUIET, 14)

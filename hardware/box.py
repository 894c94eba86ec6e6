"""The box to build: a stripboard layout computed from the netlist, and the drilling plan. Holes count from 1, strips from A down; 2.54 mm apart.

Rule of the layout: a half strip carries one net, cut in column CUT. Modules (Pico, amplifiers, U2 to U4, U11, clock, barometer) stand off the board on
their own carriers; their leads go to the strip of their net. Ground and 3V3 come to several strips: link them with the wires of links().
"""

import textwrap

import netlist
from pen import GROUPS, INK, QUIET, Sheet

COLUMNS, ROWS, CUT = 63, 39, 32
PX = 15
# Nets of each group from top to bottom, and its parts; a group stays together in one half.
GROUPS_OF_NETS = (
    ("supply", "left", ("VIN", "5V", "VSYS", "GND"), ("C2", "D2")),
    ("sender's feed", "left", ("5VS", "GND"), ("C6",)),
    ("battery", "left", ("3V3", "SENSE", "gp_battery", "GND"), ("R4", "D3", "R5", "C3")),
    ("fuel pressure", "left", ("3V3", "PRESSURE", "PDIV", "gp_fuel_pressure", "GND"), ("R12", "R13", "D6", "R14", "C5")),
    ("ignition", "left", ("3V3", "IGNITION", "IDIV", "gp_ignition", "GND"), ("R6", "R7", "D4", "C7", "R8")),
    ("button", "left", ("3V3", "gp_button", "BDIODE", "BUTTON", "PRESSURE", "GND"), ("R27", "C8", "D8", "R15", "D10")),
    (
        "lamp",
        "left",
        ("VSYS", "LAMPFEED", "LAMP+", "LAMP-", "DRAIN1", "gp_lamp", "GND"),
        ("D9", "R16", "D11", "R26", "Q1", "R17"),
    ),
    ("engine speed", "left", ("PULSE", "COILGND", "3V3", "gp_engine_pulses", "GND"), ("D5", "U5", "R11", "C4")),
    ("buzzer", "right", ("VSYS", "DRAIN2", "gp_buzzer", "GND"), ("BZ1", "D7", "Q2", "R18")),
    ("sensor rail", "right", ("gp_sensor_rail", "GND"), ("R2",)),
    ("I2C", "right", ("3V3S", "gp_i2c_sda", "gp_i2c_scl"), ("R19", "R20")),
    ("SPI", "right", ("gp_spi_sck", "SCK", "gp_spi_mosi", "SDI"), ("R21", "R22")),
    ("selects", "right", ("gp_select_0", "CS0", "gp_select_1", "CS1", "gp_select_2", "CS2"), ("R23", "R24", "R25")),
    ("probe 1", "right", ("J1P", "T0P", "J1N", "T0N", "GND"), ("R28", "R29", "D12")),
    ("probe 2", "right", ("J2P", "T1P", "J2N", "T1N", "GND"), ("R30", "R31", "D13")),
    ("probe 3", "right", ("J3P", "T2P", "J3N", "T2N", "GND"), ("R32", "R33", "D14")),
)
WIDE = {"C2": 7, "R26": 5, "BZ1": 5, "U5": 4}  # columns a part needs; 3 else
OFF_THE_BOARD = ("module", "converter", "load switch", "tracker", "socket", "cell")


def strips():
    """[(half, row, net, group)]: what each half strip carries."""
    found, row = [], {"left": 0, "right": 0}
    for group, half, nets, _ in GROUPS_OF_NETS:
        for net in nets:
            found.append((half, row[half], net, group))
            row[half] += 1
    return found


def placed():
    """Mark -> {pin: (row, column)}, every part that is soldered to the board."""
    found, at = {}, strips()
    for group, half, _, parts in GROUPS_OF_NETS:
        row_of = {net: row for side, row, net, name in at if side == half and name == group}
        column = 4 if half == "left" else CUT + 3
        for mark in parts:
            width = WIDE.get(mark, 3)
            pins = netlist.PARTS[mark].pins
            found[mark] = {pin: (row_of[net], column + (width - 1) // 2) for pin, net in pins.items()}
            column += width
    return found


def links():
    """[(net, [(half, row), ...])]: strips of one net to be joined by insulated wire."""
    by_net = {}
    for half, row, net, _ in strips():
        by_net.setdefault(net, []).append((half, row))
    return [(net, places) for net, places in by_net.items() if len(places) > 1]


def letters(row):
    """Strip A to Z, then AA on."""
    return chr(65 + row) if row < 26 else "A" + chr(65 + row - 26)


def stripboard():
    """The board from the side of the parts."""
    left, top = 150, 70
    sheet = Sheet(left + COLUMNS * PX + 150, top + ROWS * PX + 60, "Stripboard layout, worked out from the netlist")
    sheet.text(24, 30, "Stripboard from the parts' side: 39 strips of 63 holes, 100 x 160 mm", 17, weight="bold")
    sheet.text(
        24,
        50,
        f"Strips run left to right underneath; cut every one in column {CUT} (×). A half strip is one net.",
        12,
        colour=QUIET,
    )
    at = strips()
    for row in range(ROWS):
        y = top + row * PX
        for x0, x1 in ((1, CUT - 1), (CUT + 1, COLUMNS)):
            sheet.rect(left + (x0 - 1) * PX - 5, y - 5, (x1 - x0) * PX + 10, 10, stroke="#e3d3b5", fill="#f7efe0", radius=2)
        sheet.text(left + (CUT - 1) * PX, y + 5, "×", 13, "middle", QUIET)
    for half, row, net, _ in at:
        y, x = top + row * PX + 4, (left - 12) if half == "left" else left + (COLUMNS - 1) * PX + 12
        name = net.removeprefix("gp_")
        colour = GROUPS["supply"] if net in ("3V3", "3V3S", "5V", "5VS", "VIN", "VSYS") else INK
        words = f"{name} {letters(row)}" if half == "left" else f"{letters(row)} {name}"
        sheet.text(x, y, words, 10, "end" if half == "left" else "start", colour, "bold" if net.startswith("gp_") else "normal")
    for mark, pins in placed().items():
        rows = [row for row, _ in pins.values()]
        x = left + (next(iter(pins.values()))[1] - 1) * PX
        y0, y1 = top + min(rows) * PX, top + max(rows) * PX
        sheet.wire((x, y0), (x, y1), colour=GROUPS["SPI"], width=2)
        sheet.rect(x - 5, (y0 + y1) / 2 - 7, 10, 14, stroke=GROUPS["SPI"], radius=1)
        for pin, (row, _) in pins.items():
            sheet.add("circle", cx=x, cy=top + row * PX, r=3.2, fill=INK, class_="pin", data_mark=mark, data_pin=pin)
            if pin in "AKDGSCEM+-" and len(pin) == 1:
                sheet.text(x + 5, top + row * PX - 3, pin, 8, colour=QUIET)
        sheet.text(x + 7, (y0 + y1) / 2 + 12, mark, 9.5, weight="bold", class_="mark")
    y = top + ROWS * PX + 14
    words = "; ".join(
        f"{net} {' '.join(letters(row) + (' left' if half == 'left' else ' right') for half, row in places)}"
        for net, places in links()
    )
    for number, line in enumerate(
        textwrap.wrap(
            f"Links: {words}. A part's leads that cross a strip are insulated and touch it only at their own hole.", 190
        )
    ):
        sheet.text(24, y + 15 * number, line, 10.5)
    return sheet


# Face, name, mm from its left edge, mm from its lower edge, mm across, what goes in. Faces in mm.
FACES = {"box, probe side": (160, 60), "box, car side": (160, 60), "pod, end": (60, 30), "pod, wall": (110, 60)}
HOLES = (
    ("box, probe side", "J1", 35, 30, 16, "K socket, tank (cut-out as its maker draws it)"),
    ("box, probe side", "J2", 80, 30, 16, "K socket, pump"),
    ("box, probe side", "J3", 125, 30, 16, "K socket, carburettor inlet"),
    ("box, car side", "gland 1", 25, 30, 16, "from the pod: VIN, SENSE, ground"),
    ("box, car side", "gland 2", 60, 30, 16, "lamp, button, ignition, coil"),
    ("box, car side", "gland 3", 95, 30, 12, "pressure sender"),
    ("box, car side", "J4", 130, 38, 12, "USB"),
    ("box, car side", "vents", 130, 14, 6, "the barometer's air, with a mesh"),
    ("pod, end", "gland 4", 20, 15, 12, "battery lead and ground"),
    ("pod, end", "gland 5", 42, 15, 12, "to the box"),
    ("pod, wall", "R1 a", 35, 6, 3.2, "R1, with paste, lock washers"),
    ("pod, wall", "R1 b", 75, 27, 3.2, "R1; F2 under a strap on its housing"),
    ("pod, wall", "board a", 15, 45.5, 3.2, "small board: D1, TV1, TV2, C1, R3 (pod.svg)"),
    ("pod, wall", "board b", 104, 45.5, 3.2, "the same, on nylon too"),
)


def drilling():
    """The drilling plan, 3 px to the millimetre."""
    sheet, scale = Sheet(1120, 660, "Drilling plan"), 3
    sheet.text(
        24, 30, "Drilling plan: millimetres from the left and lower edge of each face, seen from outside", 17, weight="bold"
    )
    sheet.text(
        24, 50, "Drill empty, deburr, a grommet or gland in every hole; nothing drilled with the battery on or near fuel.", 12
    )
    for number, (face, (width, height)) in enumerate(FACES.items()):
        x0, y0 = 40 + 540 * (number % 2), 90 + 300 * (number // 2)
        sheet.text(x0, y0 - 8, f"{face}: {width} x {height} mm", 13, weight="bold")
        sheet.rect(x0, y0, width * scale, height * scale, fill="#f4f6f8", class_="face", data_face=face)
        row = 0
        for on, name, x, y, across, words in HOLES:
            if on == face:
                cx, cy = x0 + x * scale, y0 + (height - y) * scale
                sheet.add("circle", cx=cx, cy=cy, r=across * scale / 2, fill="#ffffff", stroke=INK, stroke_width=1.4)
                sheet.text(cx, cy + 4, str(row + 1), 10, "middle")
                sheet.text(
                    x0,
                    y0 + height * scale + 16 + row * 14,
                    f"{row + 1}  {name}: {x}, {y}; ø {across:g}; {words}",
                    10.5,
                    colour=QUIET,
                )
                row += 1
    return sheet

"""The wiring diagram, whole and in two halves that are read at the width of a README: every lead between the Pico and its parts.

The pins come from firmware/pins.py, parts and values from netlist.py.
"""

from header import HEADER, LEFT, OTHER, PITCH, RIGHT, TOP, capacitor, group, input_, names_by_header, pin_y, resistor, suppressor
from netlist import PARTS
from pen import GROUPS, INK, QUIET, Sheet
from wiring_right import amplifiers, analogue, supply, usb


def _pico(sheet, pins, from_x=LEFT, grounds_on_the_right=True):
    """from_x: where it begins; further right than its left edge only what lies on its right side is drawn."""
    whole = from_x == LEFT
    sheet.rect(from_x, TOP - 44, RIGHT - from_x, 19 * PITCH + 104, fill="#e8edf3", radius=10)
    sheet.outlines.append(("U1", from_x, TOP - 44, RIGHT, TOP + 19 * PITCH + 60))
    middle = (from_x + RIGHT) / 2
    sheet.text(middle, TOP - 24, "U1", 13, "middle", weight="bold", class_="ref")
    words = ["Pico or Pico 2", "USB at the top"] if whole else ["right side", "of the Pico"]
    sheet.lines(middle, TOP + 19 * PITCH + 32, words, 11, "middle", step=14)
    used = names_by_header(pins)
    for header in range(1 if whole else 21, 41):
        y, left = pin_y(header), header <= 20
        x, anchor, inside = (LEFT, "start", 9) if left else (RIGHT, "end", -9)
        _, name = used.get(header, (None, ""))
        words = OTHER.get(header) or next(f"GP{number}" for number, at in HEADER.items() if at == header)
        if name in PARTS["U1"].pins:
            sheet.end(LEFT if left else RIGHT, y, "U1", name)
        elif words in PARTS["U1"].pins or words == "AGND":
            sheet.end(LEFT if left else RIGHT, y, "U1", words.removeprefix("A"))
        if name:
            words = f"{words} {name}" if left else f"{name} {words}"
        colour = GROUPS[group(name)] if name else INK if header in OTHER else GROUPS["free"]
        sheet.add("circle", cx=x, cy=y, r=4.5, fill=colour, stroke="#ffffff", stroke_width=1)
        sheet.text(x + inside, y + 4, words, 11, anchor, colour, "bold" if name else "normal")
        sheet.text(x + (-8 if left else 8), y - 5, str(header), 9, "end" if left else "start", QUIET)
    for header in (3, 8, 13, 18) if whole else ():
        sheet.wire((LEFT, pin_y(header)), (LEFT - 24, pin_y(header)))
        sheet.ground(LEFT - 24, pin_y(header))
    for header in (23, 28, 33, 38) if grounds_on_the_right else ():
        sheet.wire((RIGHT, pin_y(header)), (RIGHT + 26, pin_y(header)))
        sheet.ground(RIGHT + 26, pin_y(header))


class _Leads:
    """Draws the lead of a pin: sideways to a lane, along it, and on to a circuit."""

    def __init__(self, sheet, pins):
        self._sheet = sheet
        self._gpio = {name: gpio for name, gpio, _ in pins.PINS}

    def start(self, name):
        """Where a pin's lead begins."""
        header = HEADER[self._gpio[name]]
        return (LEFT if header <= 20 else RIGHT), pin_y(header)

    def lead(self, name, lane_x, to_x, to_y):
        x, y = self.start(name)
        points = (x, y), (lane_x, y), (lane_x, to_y), (to_x, to_y)
        self._sheet.wire(*points, colour=GROUPS[group(name)], class_="lead", data_pin=name)


def _engine(sheet, leads):
    sheet.frame(30, 30, 560, 150, "Engine speed: ignition pulses, isolated")
    y = 100
    leads.lead("engine_pulses", 630, 470, y)
    capacitor(sheet, 550, y + 26, "C4")
    sheet.ground(550, y + 52)
    sheet.dot(550, y, GROUPS["input"])
    sheet.dot(492, y, GROUPS["input"])
    resistor(sheet, 492, y + 26, "R11", standing=True)
    sheet.ground(492, y + 52)
    sheet.module(370, y - 45, 100, 90, "U5", ["optocoupler", "transistor side", "3V3 to output"])
    sheet.rail(455, y - 45, "3V3")
    sheet.wire((370, y - 22), (300, y - 22))
    sheet.wire((370, y + 30), (170, y + 30))
    sheet.diode(330, y + 4, "up", of="D5")
    sheet.ref(316, y + 8, "D5", "1N4148", "end")
    sheet.dot(330, y - 22)
    sheet.dot(330, y + 30)
    resistor(sheet, 274, y - 22, "R10")
    resistor(sheet, 208, y - 22, "R9")
    sheet.wire((248, y - 22), (234, y - 22))
    sheet.wire((182, y - 22), (170, y - 22))
    sheet.terminal(164, y - 22, ["coil switched side or", "tachometer wire"], "end", "COIL")
    sheet.terminal(164, y + 30, ["ground at the coil"], "end", "COILGND")
    sheet.text(40, 170, "R9, R10 sit at the coil end", 10.5, colour=QUIET)


def _ignition(sheet, leads):
    sheet.frame(30, 196, 560, 142, "Ignition sensed: on from 6 V up")
    y = 268
    leads.lead("ignition", 612, 560, y)
    end = input_(sheet, 560, y, "R6", "R7", "D4", "R8", "left")
    sheet.dot(350, y)
    capacitor(sheet, 350, y + 26, "C7")
    sheet.ground(350, y + 52)
    sheet.wire((end, y), (170, y))
    sheet.terminal(164, y, ["switched 12 V", "(ignition on)"], "end", "IGNITION")


def _i2c(sheet, leads):
    sheet.frame(30, 354, 560, 150, "I2C: clock, barometer (MCP960x on the same leads)")
    sda, scl = 432, 462
    leads.lead("i2c_sda", 630, 190, sda)
    leads.lead("i2c_scl", 612, 190, scl)
    for x, y, mark in ((545, sda, "R19"), (480, scl, "R20")):
        sheet.dot(x, y, GROUPS["I2C"])
        sheet.wire((x, y), (x, 430))
        resistor(sheet, x, 404, mark, standing=True)
        sheet.rail(x, 378, "3V3S")
    for x, mark, rows in ((320, "U7", ["barometer", "BMP280 or 390"]), (190, "U6", ["clock DS3231"])):
        sheet.module(x, 408, 110, 84, mark, rows)
        sheet.rail(x + 25, 408, "3V3S")
        sheet.ground(x + 85, 492)
    for y in (sda, scl):
        sheet.wire((300, y), (320, y), colour=GROUPS["I2C"])
    sheet.wire((190, 450), (140, 450))
    sheet.stroke((140, 444), (140, 456), width=2.4)
    sheet.stroke((134, 440), (134, 460), width=2.4)
    sheet.end(140, 450, "BT1", "+")
    sheet.end(134, 450, "BT1", "-")
    sheet.wire((134, 450), (100, 450), (100, 462))
    sheet.ground(100, 462)
    sheet.ref(137, 432, "BT1")
    sheet.text(137, 478, "coin cell", 10.5, "middle", QUIET)


def _rails(sheet, leads):
    sheet.frame(30, 516, 560, 156, "Sensor rail")
    y = 590
    leads.lead("sensor_rail", 630, 530, y)
    sheet.dot(558, y, GROUPS["output"])
    resistor(sheet, 558, y + 26, "R2", standing=True)
    sheet.ground(558, y + 52)
    for x, mark, fed, feeds, at in ((420, "U3", "3V3", "3V3S", 401), (270, "U4", "5V", "5VR", 240)):
        sheet.module(x, 556, 100, 80, mark, ["load switch,", "enable high,", "discharges"])
        sheet.rail(x + 80, 556, fed)
        sheet.wire((x, 618), (at, 618), colour=GROUPS["supply"])
        sheet.rail(at, 618, feeds)
        sheet.ground(x + 14, 636)
    sheet.wire((530, y), (520, y), colour=GROUPS["output"])
    sheet.wire((530, y), (530, 662), (380, 662), (380, y), (370, y), colour=GROUPS["output"])
    sheet.dot(530, y, GROUPS["output"])
    sheet.module(110, 556, 110, 80, "U11", ["tracker, output", "stands 45 V", "ADJ"])
    sheet.wire((240, 618), (220, 618), colour=GROUPS["supply"])
    sheet.rail(196, 556, "VIN")
    sheet.ground(130, 636)
    sheet.wire((110, 600), (50, 600), colour=GROUPS["supply"])
    sheet.rail(84, 600, "5VS")
    capacitor(sheet, 50, 626, "C6")
    sheet.ground(50, 652)


def _outputs(sheet, leads):
    sheet.frame(30, 684, 560, 134, "Buzzer")
    y = 750
    leads.lead("buzzer", 612, 400, y)
    sheet.switch_transistor(340, y, "Q2", "R18")
    sheet.wire((340, y - 26), (210, y - 26))
    sheet.module(100, y - 40, 110, 58, "BZ1", ["buzzer, active,", "5 V"])
    sheet.wire((100, y - 26), (72, y - 26), (72, y + 46), (270, y + 46), colour=GROUPS["supply"])
    sheet.wire((72, y + 46), (52, y + 46), colour=GROUPS["supply"])
    sheet.rail(52, y + 46, "VSYS")
    sheet.diode(270, y + 10, "down", reach=36, of="D7")
    sheet.dot(270, y - 26)
    sheet.ref(256, y + 8, "D7", "1N4148", "end")


def _button(sheet, leads):
    sheet.frame(30, 828, 560, 120, "Button")
    y = 880
    leads.lead("button", 630, 560, y)
    sheet.wire((560, y), (420, y), colour=GROUPS["input"])
    sheet.dot(552, y, GROUPS["input"])
    sheet.wire((552, y), (552, 852))
    resistor(sheet, 526, 852, "R27")
    sheet.wire((500, 852), (470, 852))
    sheet.rail(470, 852, "3V3")
    sheet.dot(440, y, GROUPS["input"])
    capacitor(sheet, 440, y + 26, "C8")
    sheet.ground(440, y + 52)
    sheet.diode(394, y, "left", "D8", "BAT46")
    resistor(sheet, 330, y, "R15")
    sheet.wire((368, y), (356, y))
    sheet.wire((304, y), (190, y))
    sheet.dot(270, y)
    suppressor(sheet, 270, y, "D10")
    sheet.stroke((190, y), (160, y - 16))
    sheet.end(190, y, "S1", "1")
    sheet.end(156, y, "S1", "2")
    sheet.wire((156, y), (110, y), (110, y + 10))
    sheet.ground(110, y + 10)
    sheet.ref(172, y - 22, "S1")
    sheet.text(180, y + 22, "on the dashboard", 10.5, "middle", QUIET)


def _lamp(sheet, leads):
    sheet.frame(30, 954, 560, 144, "Lamp: both wires may touch battery or ground")
    leads.lead("lamp", 612, 480, 1032)
    sheet.switch_transistor(420, 1032, "Q1", "R17")
    sheet.wire((420, 1006), (394, 1006))
    resistor(sheet, 368, 1006, "R26")
    sheet.wire((342, 1006), (300, 1006))
    sheet.diode(274, 1006, "right", of="LP1")
    sheet.text(274, 993, "LP1", 11, "middle", weight="bold", class_="ref")
    sheet.text(274, 1030, "amber LED", 10.5, "middle", QUIET)
    sheet.wire((248, 1006), (206, 1006))
    resistor(sheet, 180, 1006, "R16")
    sheet.diode(122, 1006, "right", "D9", "BAT46")
    sheet.wire((148, 1006), (154, 1006))
    sheet.wire((96, 1006), (66, 1006), colour=GROUPS["supply"])
    sheet.rail(66, 1006, "VSYS")
    sheet.dot(226, 1006)
    sheet.dot(322, 1006)
    sheet.wire((226, 1006), (226, 1044), (254, 1044))
    sheet.wire((322, 1006), (322, 1044), (294, 1044))
    sheet.rect(254, 1035, 40, 18)
    sheet.end(254, 1044, "D11", "1")
    sheet.end(294, 1044, "D11", "2")
    sheet.end(274, 1053, "D11", "3")
    sheet.text(274, 1048, "D11", 11, "middle", weight="bold", class_="ref")
    sheet.ground(274, 1053)


def _notes(sheet):
    sheet.lines(
        640,
        1010,
        [
            "12V behind F1 · VIN behind R1 · VSYS from 5V or USB",
            "3V3 from the Pico · 3V3S, 5VR, 5VS dropped asleep",
            "One ground; T− never touches it.",
            "select_3 to select_7: free for further channels.",
        ],
        11,
        step=16,
    )


_LEFT_CIRCUITS = (_engine, _ignition, _i2c, _rails, _outputs, _button, _lamp)
_RIGHT_CIRCUITS = (analogue, amplifiers)
_HALF_FROM, _HALF_TO = 780, 952  # px: the right half begins within the Pico, the left one ends behind it


def wiring(pins):
    """The sheet. pins: the module firmware/pins.py."""
    sheet = Sheet(1680, 1112, "Wiring diagram, drawn from firmware/pins.py")
    leads = _Leads(sheet, pins)
    for circuit in (*_LEFT_CIRCUITS, *_RIGHT_CIRCUITS):
        circuit(sheet, leads)
    supply(sheet)
    usb(sheet)
    _pico(sheet, pins)
    _notes(sheet)
    return sheet


def left_half(pins):
    """What is wired to the Pico's left side, and its USB socket."""
    sheet = Sheet(
        _HALF_TO, 1112, "Wiring diagram, left half: USB, engine speed, ignition, I2C, sensor rail, buzzer, button, lamp"
    )
    leads = _Leads(sheet, pins)
    for circuit in _LEFT_CIRCUITS:
        circuit(sheet, leads)
    usb(sheet)
    _pico(sheet, pins, grounds_on_the_right=False)
    _notes(sheet)
    return sheet


def right_half(pins):
    """What is wired to the Pico's right side."""
    sheet = Sheet(
        1680 - _HALF_FROM, 1056, "Wiring diagram, right half: supply, fuel pressure, battery, amplifiers and probes", _HALF_FROM
    )
    leads = _Leads(sheet, pins)
    for circuit in _RIGHT_CIRCUITS:
        circuit(sheet, leads)
    supply(sheet)
    _pico(sheet, pins, _HALF_FROM + 6)
    return sheet

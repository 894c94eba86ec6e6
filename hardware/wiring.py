"""The wiring diagram: every lead between the Pico and its parts. The pins come from firmware/pins.py, the values from here; bom.csv counts the parts."""

from pen import GROUPS, INK, QUIET, Sheet

# Header pin of a GPIO, Raspberry Pi Pico and Pico 2 (Pico datasheet, pinout)
HEADER = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip
OTHER = {
    3: "GND", 8: "GND", 13: "GND", 18: "GND", 23: "GND", 28: "GND", 33: "AGND", 38: "GND",
    30: "RUN", 35: "ADC_VREF", 36: "3V3", 37: "3V3_EN", 39: "VSYS", 40: "VBUS",
}  # fmt: skip
AMPLIFIERS = (
    ("tank", "U8", "R23", "J1", "TC1"),
    ("pump", "U9", "R24", "J2", "TC2"),
    ("carburettor inlet", "U10", "R25", "J3", "TC3"),
)
# series, shunt, clamp, last resistor, capacitor at the pin
ANALOGUE = {
    "fuel_pressure": (("R12", "10k"), ("R13", "19.6k"), "D6", ("R14", "1k"), "C5"),
    "battery": (("R3", "100k"), ("R4", "10k"), "D3", ("R5", "1k"), "C3"),
}
PITCH, TOP, LEFT, RIGHT = 34, 232, 690, 930


def group(name):
    """Which group of leads a pin of pins.py belongs to."""
    for start, result in (("spi", "SPI"), ("select", "select"), ("i2c", "I2C")):
        if name.startswith(start):
            return result
    if name in ("battery", "fuel_pressure"):
        return "analogue"
    return "output" if name in ("lamp", "buzzer", "sensor_rail") else "input"


def pin_y(header):
    return TOP + PITCH * (header - 1 if header <= 20 else 40 - header)


def names_by_header(pins):
    """Header pin -> (GPIO, name) for every row of pins.PINS."""
    return {HEADER[gpio]: (gpio, name) for name, gpio, _ in pins.PINS}


def _pico(sheet, pins):
    sheet.rect(LEFT, TOP - 44, RIGHT - LEFT, 19 * PITCH + 104, fill="#e8edf3", radius=10)
    sheet.text((LEFT + RIGHT) / 2, TOP - 24, "U1", 13, "middle", weight="bold", class_="ref")
    sheet.lines((LEFT + RIGHT) / 2, TOP + 19 * PITCH + 32, ["Pico or Pico 2", "USB at the top"], 11, "middle", step=14)
    used = names_by_header(pins)
    for header in range(1, 41):
        y, left = pin_y(header), header <= 20
        x, anchor, inside = (LEFT, "start", 9) if left else (RIGHT, "end", -9)
        _, name = used.get(header, (None, ""))
        words = OTHER.get(header) or next(f"GP{number}" for number, at in HEADER.items() if at == header)
        if name:
            words = f"{words} {name}" if left else f"{name} {words}"
        colour = GROUPS[group(name)] if name else INK if header in OTHER else GROUPS["free"]
        sheet.add("circle", cx=x, cy=y, r=4.5, fill=colour, stroke="#ffffff", stroke_width=1)
        sheet.text(x + inside, y + 4, words, 11, anchor, colour, "bold" if name else "normal")
        sheet.text(x + (-8 if left else 8), y - 5, str(header), 9, "end" if left else "start", QUIET)
    for header in (3, 8, 13, 18):
        sheet.wire((LEFT, pin_y(header)), (LEFT - 24, pin_y(header)))
        sheet.ground(LEFT - 24, pin_y(header))
    for header in (23, 28, 33, 38):
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
    sheet.capacitor(550, y + 26, "C4", "47n")
    sheet.ground(550, y + 52)
    sheet.dot(550, y, GROUPS["input"])
    sheet.dot(492, y, GROUPS["input"])
    sheet.resistor(492, y + 26, "R11", "4.7k", standing=True)
    sheet.ground(492, y + 52)
    sheet.module(370, y - 45, 100, 90, "U5", ["optocoupler", "transistor side", "3V3 to output"])
    sheet.rail(455, y - 45, "3V3")
    sheet.wire((370, y - 22), (300, y - 22))
    sheet.wire((370, y + 30), (170, y + 30))
    sheet.diode(330, y + 4, "up", "", "")
    sheet.ref(316, y + 8, "D5", "1N4148", "end")
    sheet.dot(330, y - 22)
    sheet.dot(330, y + 30)
    sheet.resistor(274, y - 22, "R10", "3.3k 1 W")
    sheet.resistor(208, y - 22, "R9", "3.3k 1 W")
    sheet.wire((248, y - 22), (234, y - 22))
    sheet.wire((182, y - 22), (170, y - 22))
    sheet.terminal(164, y - 22, ["coil switched side or", "tachometer wire"], "end")
    sheet.terminal(164, y + 30, ["ground at the coil"], "end")
    sheet.text(40, 170, "R9, R10 sit at the coil end", 10.5, colour=QUIET)


def _input(sheet, x, y, series, shunt, clamp, last, ends):
    """terminal - series - node with shunt - clamp - last resistor - pin; drawn from the pin at (x, y) to the left or right by `ends`."""
    way = -1 if ends == "left" else 1
    sheet.resistor(x + 26 * way, y, *last)
    sheet.wire((x + 52 * way, y), (x + 222 * way, y))
    sheet.clamp(x + 92 * way, y, clamp)
    sheet.dot(x + 150 * way, y)
    sheet.resistor(x + 150 * way, y + 26, *shunt, standing=True)
    sheet.ground(x + 150 * way, y + 52)
    sheet.resistor(x + 248 * way, y, *series)
    return x + 274 * way


def _ignition(sheet, leads):
    sheet.frame(30, 196, 560, 142, "Ignition sensed")
    y = 268
    leads.lead("ignition", 612, 560, y)
    end = _input(sheet, 560, y, ("R6", "24k"), ("R7", "8.2k"), "D4", ("R8", "1k"), "left")
    sheet.wire((end, y), (170, y))
    sheet.terminal(164, y, ["switched 12 V", "(ignition on)"], "end")


def _i2c(sheet, leads):
    sheet.frame(30, 354, 560, 150, "I2C: clock, barometer (MCP960x on the same leads)")
    sda, scl = 432, 462
    leads.lead("i2c_sda", 630, 190, sda)
    leads.lead("i2c_scl", 612, 190, scl)
    for x, y, mark in ((545, sda, "R19"), (480, scl, "R20")):
        sheet.dot(x, y, GROUPS["I2C"])
        sheet.wire((x, y), (x, 430))
        sheet.resistor(x, 404, mark, "4.7k", standing=True)
        sheet.rail(x, 378, "3V3S")
    for x, mark, rows in ((320, "U7", ["barometer", "BMP280 or 390"]), (190, "U6", ["clock DS3231"])):
        sheet.module(x, 408, 110, 84, mark, rows)
        sheet.rail(x + 25, 408, "3V3S")
        sheet.ground(x + 85, 492)
    for y in (sda, scl):
        sheet.wire((300, y), (320, y), colour=GROUPS["I2C"])
    sheet.wire((190, 450), (140, 450))
    sheet.wire((140, 444), (140, 456), width=2.4)
    sheet.wire((134, 440), (134, 460), width=2.4)
    sheet.wire((134, 450), (100, 450), (100, 462))
    sheet.ground(100, 462)
    sheet.ref(137, 432, "BT1")
    sheet.text(137, 478, "coin cell", 10.5, "middle", QUIET)


def _rails(sheet, leads):
    sheet.frame(30, 516, 560, 156, "Sensor rail")
    y = 590
    leads.lead("sensor_rail", 630, 492, y)
    sheet.dot(540, y, GROUPS["output"])
    sheet.resistor(540, y + 26, "R2", "100k", standing=True)
    sheet.ground(540, y + 52)
    for x, mark, fed, feeds in ((370, "U3", "3V3", "3V3S"), (180, "U4", "5V", "5VS")):
        sheet.module(x, 556, 110, 80, mark, ["load switch,", "enable high,", "discharges"])
        sheet.rail(x + 85, 556, fed)
        sheet.wire((x, 618), (x - 26, 618), colour=GROUPS["supply"])
        sheet.rail(x - 26, 618, feeds)
        sheet.ground(x + 14, 636)
    sheet.wire((492, y), (492, 662), (312, 662), (312, y), (290, y), colour=GROUPS["output"])
    sheet.wire((492, y), (480, y), colour=GROUPS["output"])
    sheet.dot(492, y, GROUPS["output"])
    sheet.lines(40, 580, ["fed while awake,", "dropped asleep"], 10.5, step=14)


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
    sheet.diode(270, y + 10, "down", reach=36)
    sheet.dot(270, y - 26)
    sheet.ref(256, y + 8, "D7", "1N4148", "end")


def _button_and_lamp(sheet, leads):
    sheet.frame(30, 828, 560, 82, "Button")
    leads.lead("button", 630, 560, 862)
    sheet.resistor(534, 862, "R15", "1k")
    sheet.wire((508, 862), (330, 862))
    sheet.wire((330, 862), (300, 846))
    sheet.wire((296, 862), (250, 862), (250, 870))
    sheet.ground(250, 870)
    sheet.ref(312, 842, "S1")
    sheet.text(300, 884, "push button on the dashboard", 10.5, colour=QUIET)
    sheet.frame(30, 922, 560, 130, "Lamp")
    leads.lead("lamp", 612, 400, 974)
    sheet.switch_transistor(340, 974, "Q1", "R17")
    sheet.wire((340, 948), (290, 948))
    sheet.diode(264, 948, "right", "", "")
    sheet.text(264, 935, "LP1", 11, "middle", weight="bold", class_="ref")
    sheet.text(264, 972, "amber LED", 10.5, "middle", QUIET)
    sheet.wire((238, 948), (216, 948))
    sheet.resistor(190, 948, "R16", "150R")
    sheet.wire((164, 948), (130, 948), colour=GROUPS["supply"])
    sheet.rail(130, 948, "VSYS")


def _supply(sheet):
    sheet.frame(960, 30, 690, 176, "Supply")
    y = 96
    sheet.terminal(1562, y, ["battery +,", "own lead"])
    sheet.wire((1556, y), (1548, y))
    sheet.resistor(1522, y, "F1", "2 A, at the battery")
    sheet.wire((1496, y), (1458, y))
    sheet.rail(1478, y, "12V")
    sheet.dot(1478, y)
    sheet.diode(1432, y, "left", "D1", "3 A 400 V")
    sheet.wire((1406, y), (1396, y))
    sheet.resistor(1370, y, "R1", "10R 5 W")
    sheet.wire((1344, y), (1160, y))
    sheet.diode(1310, y + 26, "up", "TV1", "24 V", zener=True)
    sheet.capacitor(1234, y + 26, "C1", "1u 100 V")
    sheet.capacitor(1180, y + 26, "C2", "470u")
    for x in (1310, 1234, 1180):
        sheet.dot(x, y)
        sheet.ground(x, y + 52)
    sheet.module(1080, y - 30, 80, 66, "U2", ["buck", "5 V, 1 A"])
    sheet.ground(1120, y + 36)
    sheet.wire((1080, y), (1040, y), colour=GROUPS["supply"])
    sheet.rail(1060, y, "5V")
    sheet.dot(1060, y, GROUPS["supply"])
    sheet.diode(1014, y, "left", "D2", "Schottky")
    sheet.wire((988, y), (974, y), (974, pin_y(39)), (RIGHT, pin_y(39)), colour=GROUPS["supply"])
    sheet.rail(974, y, "VSYS")
    sheet.terminal(1562, 172, ["battery −", "or body stud"])
    sheet.wire((1556, 172), (1522, 172), (1522, 176))
    sheet.ground(1522, 176)
    sheet.wire((RIGHT, pin_y(36)), (990, pin_y(36)), colour=GROUPS["supply"])
    sheet.rail(990, pin_y(36), "3V3")


def _analogue(sheet, leads):
    for name, lane, top, title in (
        ("fuel_pressure", 1016, 222, "Fuel pressure"),
        ("battery", 1034, 380, "Battery voltage"),
    ):
        sheet.frame(1050, top, 600, 142, title)
        y = top + 72
        leads.lead(name, lane, 1132, y)
        sheet.dot(1090, y, GROUPS["analogue"])
        parts = ANALOGUE[name]
        sheet.capacitor(1090, y + 26, parts[4], "100n")
        sheet.ground(1090, y + 52)
        end = _input(sheet, 1132, y, *parts[:4], "right")
        sheet.wire((end, y), (1490, y))
    sheet.module(1490, 256, 140, 76, "PS1", ["ratiometric sender", "5 V, optional"])
    sheet.rail(1600, 256, "5VS")
    sheet.ground(1560, 332)
    sheet.rail(1490, 452, "12V")
    sheet.text(1504, 456, "behind F1", 10.5, colour=QUIET)


def _amplifiers(sheet, leads):
    sheet.frame(1144, 538, 506, 504, "Amplifiers and probes: one block a channel")
    lanes = {"spi_miso": 1024, "select_0": 1040, "spi_sck": 1056, "spi_mosi": 1072, "select_1": 1088, "select_2": 1104}
    tops = (888, 736, 584)
    rows = {"spi_sck": 1, "spi_mosi": 2, "spi_miso": 3}
    tap = {(name, top): top + 26 + 24 * rank for name, rank in rows.items() for top in tops}
    for name in rows:
        x, y = leads.start(name)
        colour = GROUPS["SPI"]
        ys = sorted([tap[name, top] for top in tops] + [y])
        sheet.wire((x, y), (lanes[name], y), colour=colour, class_="lead", data_pin=name)
        sheet.wire((lanes[name], ys[0]), (lanes[name], ys[-1]), colour=colour)
        for top in tops:
            sheet.wire((lanes[name], tap[name, top]), (1214, tap[name, top]), colour=colour)
        for at in ys[1:-1]:
            sheet.dot(lanes[name], at, colour)
    for name, mark, at in (("spi_sck", "R21", 1002), ("spi_mosi", "R22", 968)):
        sheet.resistor(at, leads.start(name)[1], mark, "100R")
    for channel, (place, amplifier, series, plug, probe) in enumerate(AMPLIFIERS):
        name, top = f"select_{channel}", tops[channel]
        leads.lead(name, lanes[name], 1140, top + 26)
        sheet.resistor(1166, top + 26, series, "10k")
        sheet.wire((1192, top + 26), (1214, top + 26), colour=GROUPS["select"])
        sheet.module(1214, top, 150, 124, amplifier, [])
        sheet.lines(1300, top + 50, ["MAX31856", "module,", f"channel {channel}"], 11, "middle", QUIET, 15)
        for rank, words in enumerate(("CS", "SCK", "SDI", "SDO")):
            sheet.text(1221, top + 30 + 24 * rank, words, 10.5)
        sheet.rail(1334, top, "3V3S")
        sheet.ground(1250, top + 124)
        for offset, sign in ((40, "T+"), (84, "T−")):
            sheet.text(1357, top + offset + 4, sign, 11, "end")
            sheet.wire((1364, top + offset), (1420, top + offset))
            sheet.wire((1464, top + offset), (1560, top + offset))
        sheet.rect(1420, top + 28, 44, 68)
        sheet.ref(1442, top + 60, plug, "K plug")
        sheet.wire((1560, top + 40), (1592, top + 62), (1560, top + 84))
        sheet.dot(1592, top + 62)
        sheet.text(1602, top + 66, probe, 11, weight="bold", class_="ref")
        sheet.text(1512, top + 24, place, 12, "middle", weight="bold")
        sheet.lines(1512, top + 58, ["K extension", "wire"], 10.5, "middle", QUIET, 14)


def _notes(sheet):
    sheet.lines(
        640,
        1010,
        [
            "12V behind F1 · 5V always · VSYS from 5V or USB",
            "3V3 from the Pico · 3V3S, 5VS dropped asleep",
            "One ground; T− never touches it.",
            "select_3 to select_7: free for further channels.",
        ],
        11,
        step=16,
    )


def wiring(pins):
    """The sheet. pins: the module firmware/pins.py."""
    sheet = Sheet(1680, 1080, "Wiring diagram, drawn from firmware/pins.py")
    leads = _Leads(sheet, pins)
    for circuit in (_engine, _ignition, _i2c, _rails, _outputs, _button_and_lamp, _analogue, _amplifiers):
        circuit(sheet, leads)
    _supply(sheet)
    _pico(sheet, pins)
    _notes(sheet)
    return sheet

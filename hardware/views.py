"""The other drawings: pin map, lamp card, where things sit in the car, probe placement."""

from header import HEADER, OTHER, group, names_by_header
from pen import GROUPS, INK, QUIET, Sheet

AMBER = "#f0a202"
FUEL = "#f6e3b4"

WORDS = {
    "spi_miso": "SPI data to the board",
    "spi_sck": "SPI clock",
    "spi_mosi": "SPI data from the board",
    "i2c_sda": "I2C data",
    "i2c_scl": "I2C clock",
    "engine_pulses": "engine pulses, rising edge",
    "ignition": "ignition on is high",
    "receiver_tx": "to a receiver, optional",
    "receiver_rx": "from a receiver, optional",
    "flow_1": "flow meter, optional",
    "flow_2": "flow meter, optional",
    "button": "button to ground",
    "lamp": "lamp, high lights",
    "buzzer": "buzzer, high sounds",
    "sensor_rail": "sensor rail, high feeds",
    "battery": "battery voltage / 11",
    "fuel_pressure": "fuel-pressure sender",
}


def pin_map(pins):
    """The Pico seen from above, USB at the top, each pin with its use."""
    sheet = Sheet(860, 800, "Pin map, drawn from firmware/pins.py")
    sheet.text(430, 34, "Pin map: Pico and Pico 2 from above", 17, "middle", weight="bold")
    sheet.text(430, 54, "drawn from firmware/pins.py", 11, "middle", QUIET)
    left, right, top, pitch = 335, 525, 110, 31
    sheet.rect(left, top - 32, right - left, 19 * pitch + 64, fill="#e8edf3", radius=10)
    sheet.rect(400, top - 44, 60, 34, fill="#c9d1da")
    sheet.text(430, top - 23, "USB", 11, "middle")
    used = names_by_header(pins)
    for header in range(1, 41):
        on_left = header <= 20
        y = top + pitch * (header - 1 if on_left else 40 - header)
        _, name = used.get(header, (None, ""))
        words = OTHER.get(header) or next(f"GP{number}" for number, at in HEADER.items() if at == header)
        x, side, anchor, away = (left, 1, "start", "end") if on_left else (right, -1, "end", "start")
        colour = GROUPS[group(name)] if name else INK if header in OTHER else GROUPS["free"]
        sheet.rect(x - 12, y - 9, 24, 18, stroke=colour, fill=colour if name else "#ffffff")
        sheet.text(x, y + 4, str(header), 10, "middle", "#ffffff" if name else colour)
        sheet.text(
            x + side * 20, y + 4, words, 12, anchor, colour, "bold" if name else "normal", class_="gpio" if name else "other"
        )
        if name:
            sheet.wire((x - side * 12, y), (x - side * 30, y), colour=colour)
            sheet.text(x - side * 36, y + 4, name, 12.5, away, colour, "bold", class_="pin")
            meaning = WORDS.get(name) or f"chip select, channel {name.split('_')[1]}"
            sheet.text(x - side * (36 + 112), y + 4, meaning, 11, away, QUIET)
    shown = ("SPI", "select", "I2C", "input", "analogue", "output", "free")
    for number, name in enumerate(shown):
        x = 110 + number * 96
        sheet.rect(x, 768, 14, 14, stroke=GROUPS[name], fill=GROUPS[name])
        sheet.text(x + 20, 780, name, 11.5)
    return sheet


# The card's text for each pattern, most urgent first: pattern, what it means
CARD = (
    ("act", "fast", "act: a place is at its limit"),
    ("warn", "long", "warn: a place comes near its limit"),
    ("lost", "three short", "a sensor is lost"),
    ("failed", "long, short", "part of the board could not start"),
    ("no_limits", "two short", "no limits, or old ones"),
    ("wink", "slow wink", "something happened: look later"),
    ("store_full", "four short", "the store takes no more"),
    ("alive", "short flash, 3 s apart", "alive, all sensors read"),
    ("test", "2 s on", "lamp test at start"),
    ("prompt", "lit, short gaps", "at its prompt: not measuring"),
)


def lamp_card(lamp):
    """Six seconds of every pattern as a bar. lamp: the module firmware/lamp.py."""
    sheet = Sheet(900, 568, "Lamp patterns, drawn from firmware/lamp.py")
    sheet.rect(0.7, 0.7, 898.6, 566.6, radius=12)
    sheet.text(24, 36, "What the lamp says", 18, weight="bold")
    x0, scale, pitch = 410, 75, 44
    for second in range(7):
        sheet.wire((x0 + second * scale, 56), (x0 + second * scale, 512), colour="#dfe3e8", width=1)
        sheet.text(x0 + second * scale, 50, f"{second} s", 10.5, "middle", QUIET)
    for row, (name, short, meaning) in enumerate(CARD):
        y = 66 + row * pitch
        sheet.text(24, y + 14, short, 13.5, weight="bold")
        sheet.text(24, y + 31, meaning, 12, colour=QUIET)
        sheet.rect(x0, y + 4, 6 * scale, 24, stroke="#b9bec5", fill="#3a3f46", radius=2)
        pattern, at = lamp.PATTERNS[getattr(lamp, name.upper())], 0
        for turn in range(0, 6000 if name != "test" else 1, sum(pattern)):
            at = turn
            for index, length in enumerate(pattern):
                if index % 2 == 0 and at < 6000:
                    width = (min(at + length, 6000) - at) / 1000 * scale
                    sheet.add(
                        "rect", x=round(x0 + at / 1000 * scale, 2), y=y + 4, width=round(width, 2), height=24, fill=AMBER,
                        class_="on", data_pattern=name, data_from_ms=at, data_ms=length,
                    )  # fmt: skip
                at += length
    sheet.text(24, 534, "Dark with the key on: the logger is dead. Dark with the key off: it sleeps.", 12.5, weight="bold")
    sheet.text(
        24,
        553,
        "No warning does not mean safe: fuel can boil where there is no probe. Do not read the lamp's code while driving.",
        12,
    )
    return sheet


def car():
    """What you build, and where it sits."""
    sheet = Sheet(1180, 500, "What sits where in the car")
    sheet.text(30, 36, "What you build, and where it sits", 18, weight="bold")
    for x, width, name, note in (
        (30, 300, "Boot", "tank, battery or its cable"),
        (330, 420, "Cabin", "box, lamp, button: below 60 °C"),
        (750, 400, "Engine bay", "probes, extension wire and pulse resistors only"),
    ):
        sheet.rect(x, 60, width, 380, stroke="#c3c7cc", fill="#fafbfc", radius=0)
        sheet.text(x + 14, 82, name, 14, weight="bold")
        sheet.text(x + 14, 100, note, 11.5, colour=QUIET)
    sheet.wire((330, 60), (330, 440), width=5, colour="#9aa1a9")
    sheet.wire((750, 60), (750, 440), width=5, colour="#9aa1a9")
    sheet.text(742, 82, "bulkhead, grommets", 10.5, "end", QUIET)
    # fuel
    pipe = "#d9a520"
    sheet.wire((190, 350), (190, 404), (860, 404), (860, 388), colour=pipe, width=6)
    sheet.wire((910, 350), (1000, 350), (1000, 262), colour=pipe, width=6)
    sheet.rect(60, 290, 160, 70, fill=FUEL)
    sheet.text(130, 330, "tank", 13, "middle", weight="bold")
    sheet.rect(810, 326, 100, 62, fill=FUEL)
    sheet.text(860, 362, "pump", 13, "middle", weight="bold")
    sheet.rect(940, 206, 130, 56, fill=FUEL)
    sheet.text(1005, 239, "carburettor", 13, "middle", weight="bold")
    # box
    sheet.rect(450, 190, 180, 112, stroke=GROUPS["SPI"], fill="#eef2f6", radius=8)
    sheet.text(540, 214, "the box", 14, "middle", weight="bold")
    sheet.lines(
        540, 234, ["Pico, 3 amplifiers,", "clock, barometer,", "supply; K plugs in", "its wall"], 11.5, "middle", QUIET, 16
    )
    # probes
    probe = GROUPS["select"]
    for x, y, path, words, anchor, at in (
        (190, 372, ((450, 270), (370, 270), (370, 372), (190, 372)), "probe 0: tank outlet", "end", (182, 392)),
        (834, 404, ((630, 282), (700, 282), (700, 424), (834, 424), (834, 404)), "probe 1: pump inlet", "start", (768, 436)),
        (1000, 300, ((630, 262), (780, 262), (780, 300), (1000, 300)), "probe 2: inlet", "start", (1012, 304)),
    ):
        sheet.wire(*path, colour=probe, width=2.2)
        sheet.add("circle", cx=x, cy=y, r=6, fill=probe)
        sheet.text(*at, words, 11.5, anchor, probe, "bold")
    sheet.text(640, 252, "K extension wire", 11, colour=probe)
    # electrics
    red, cyan, orange = GROUPS["supply"], GROUPS["input"], GROUPS["output"]
    sheet.rect(60, 136, 110, 62)
    sheet.text(115, 172, "battery", 13, "middle", weight="bold")
    sheet.wire((170, 152), (186, 152), colour=red)
    sheet.rect(186, 144, 40, 16, stroke=red)
    sheet.text(206, 156, "F1", 10.5, "middle", red, "bold")
    sheet.wire((226, 152), (400, 152), (400, 210), (450, 210), colour=red)
    sheet.text(240, 145, "own fused feed", 11, colour=red)
    sheet.wire((170, 184), (384, 184), (384, 232), (450, 232))
    sheet.text(240, 178, "own ground", 11)
    sheet.rect(640, 120, 96, 44)
    sheet.lines(688, 138, ["lamp and", "button"], 11.5, "middle", INK, 15)
    sheet.wire((590, 190), (590, 142), (640, 142), colour=orange)
    sheet.rect(470, 120, 86, 44)
    sheet.lines(513, 138, ["ignition", "switch"], 11.5, "middle", INK, 15)
    sheet.wire((513, 164), (513, 190), colour=cyan)
    sheet.rect(820, 136, 100, 44)
    sheet.lines(870, 154, ["ignition coil,", "R9 R10 there"], 11.5, "middle", INK, 15)
    sheet.wire((820, 158), (770, 158), (770, 212), (630, 212), colour=cyan)
    sheet.text(640, 206, "pulses", 11, colour=cyan)
    sheet.wire((540, 302), (540, 340))
    sheet.rect(480, 340, 120, 38, stroke="#9aa1a9")
    sheet.text(540, 363, "USB: laptop", 11.5, "middle", QUIET)
    sheet.lines(
        30,
        464,
        [
            "Fit with the engine cold, the system depressurised, the battery off and an extinguisher at hand; look for leaks before "
            "starting and again hot.",
            "No warning does not mean safe: fuel can boil where there is no probe.",
        ],
        11.5,
        colour=INK,
        step=18,
    )
    return sheet


def placement():
    """Three ways to hold a junction, best first."""
    sheet = Sheet(1140, 400, "How a probe sits")
    sheet.text(24, 34, "How a probe sits, best first", 18, weight="bold")
    columns = (
        (24, "axial, in the run of a tee", ["30 mm and more in the stream,", "1.0 to 1.6 mm sheath", "car file: mount = \"axial\""]),
        (400, "stem, across the line", ["tip past the middle, 7 diameters deep", "where the bore allows; 1.0 to 1.6 mm", "car file: mount = \"stem\""]),
        (776, "clamped on, insulated over", ["metal line only, indicative only;", "on rubber no margin at all", "car file: mount = \"clamp_insulated\""]),
    )  # fmt: skip
    for x, name, words in columns:
        sheet.rect(x, 54, 340, 326, stroke="#c3c7cc", fill="#fafbfc", radius=8)
        sheet.text(x + 16, 80, name, 14, weight="bold")
        sheet.lines(x + 16, 324, words, 12, step=18)
    probe, metal = GROUPS["select"], "#c9d1da"
    # axial: the sheath lies in the outgoing leg, past the branch
    sheet.rect(60, 170, 250, 52, fill=FUEL)
    sheet.rect(238, 222, 56, 70, fill=FUEL)
    sheet.add("rect", x=239.4, y=214, width=53.2, height=16, fill=FUEL)
    sheet.rect(306, 160, 34, 72, fill=metal)
    sheet.wire((352, 196), (128, 196), colour=probe, width=5)
    sheet.text(350, 150, "compression gland", 11, "end", QUIET)
    sheet.wire((104, 196), (74, 196), width=2)
    sheet.wire((86, 188), (74, 196), (86, 204), width=2)
    sheet.text(70, 238, "out", 11, colour=QUIET)
    sheet.wire((266, 286), (266, 248), width=2)
    sheet.wire((258, 258), (266, 248), (274, 258), width=2)
    sheet.text(228, 286, "in, by the branch", 11, "end", QUIET)
    # stem
    sheet.rect(420, 190, 300, 70, fill=FUEL)
    sheet.rect(545, 130, 50, 60, fill=metal)
    sheet.wire((570, 112), (570, 238), colour=probe, width=5)
    sheet.wire((440, 225), (500, 225), width=2)
    sheet.wire((488, 217), (500, 225), (488, 233), width=2)
    sheet.wire((612, 190), (640, 190), colour=QUIET, width=1)
    sheet.wire((580, 238), (640, 238), colour=QUIET, width=1)
    sheet.wire((632, 190), (632, 238), colour=QUIET, width=1)
    sheet.text(640, 218, "depth", 11, colour=QUIET)
    sheet.text(605, 152, "the fitting is hotter", 11, colour=QUIET)
    sheet.text(605, 166, "or colder than the fuel", 11, colour=QUIET)
    # clamp
    sheet.rect(806, 150, 280, 112, fill="#efe9dd", radius=12)
    sheet.text(816, 142, "25 mm of closed foam, 100 mm to each side", 11, colour=QUIET)
    sheet.rect(796, 190, 300, 44, fill=metal)
    sheet.rect(796, 196, 300, 32, fill=FUEL, radius=0)
    sheet.rect(920, 184, 46, 56, fill="none")
    sheet.wire((1096, 172), (1000, 172), (978, 188), (924, 188), colour=probe, width=4)
    sheet.text(866, 284, "leads 50 mm along the line under the foam", 11, colour=QUIET)
    return sheet

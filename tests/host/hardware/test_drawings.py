"""Drawings, pins and the parts list agree with the firmware."""

import itertools
import re
import subprocess
import sys
import types

import pytest
from hotfuel.car import Sensors
from read_pages import HARDWARE, PINS, ROOT, SVG, bom, drawn, ohms

# Raspberry Pi Pico datasheet, pinout: the signals at header pins 1 to 40 (Pico 2: the same)
HEADER = (
    "GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND", "GP6", "GP7", "GP8", "GP9", "GND", "GP10",
    "GP11", "GP12", "GP13", "GND", "GP14", "GP15", "GP16", "GP17", "GND", "GP18", "GP19", "GP20", "GP21", "GND",
    "GP22", "RUN", "GP26", "GP27", "AGND", "GP28", "ADC_VREF", "3V3", "3V3_EN", "GND", "VSYS", "VBUS",
)  # fmt: skip
# RP2040 datasheet, table of GPIO functions: what F1 (SPI) and F3 (I2C) are on each GPIO
SPI0 = {"spi_miso": (0, 4, 16, 20), "spi_sck": (2, 6, 18, 22), "spi_mosi": (3, 7, 19, 23)}
I2C0 = {"i2c_sda": (0, 4, 8, 12, 16, 20, 24, 28), "i2c_scl": (1, 5, 9, 13, 17, 21, 25, 29)}
ADC = (26, 27, 28, 29)


def texts(root, kind):
    return [element for element in root.iter(SVG + "text") if element.get("class") == kind]


@pytest.fixture(scope="module")
def drawing():
    """The modules behind the drawings, removed from sys.modules afterwards."""
    folders = [str(HARDWARE), str(ROOT / "firmware")]
    before, path = set(sys.modules), sys.path[:]
    sys.path[:0] = folders
    try:
        import wiring
    finally:
        sys.path[:] = path
        for name in set(sys.modules) - before:
            if str(getattr(sys.modules[name], "__file__", "")).startswith(tuple(folders)):
                del sys.modules[name]
    return wiring


def test_the_drawings_are_as_the_firmware_is_now():
    done = subprocess.run(
        [sys.executable, str(HARDWARE / "draw.py"), "--check"], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, f"run python hardware/draw.py: {done.stdout}{done.stderr}"


def test_every_pin_is_on_the_header_and_used_once():
    names, gpios = [row[0] for row in PINS["PINS"]], [row[1] for row in PINS["PINS"]]
    assert len(set(names)) == len(names)
    assert len(set(gpios)) == len(gpios)
    assert {f"GP{gpio}" for gpio in gpios} <= set(HEADER)


def test_buses_are_on_pins_that_support_them():
    gpio = {name: number for name, number, _ in PINS["PINS"]}
    assert PINS["SPI_ID"] == 0
    assert PINS["I2C_ID"] == 0
    for name, able in {**SPI0, **I2C0}.items():
        assert gpio[name] in able, name
    for name, number, direction in PINS["PINS"]:
        if direction == "analogue":
            assert number in ADC, name


def test_the_pin_map_shows_each_pin_at_its_place_on_the_header():
    root = drawn("pins.svg")
    rows = {}
    for element in root.iter(SVG + "text"):
        rows.setdefault((element.get("y"), float(element.get("x")) < 430), []).append(element)
    seen = {}
    for row in rows.values():
        names = [element.text for element in row if element.get("class") == "pin"]
        if names:
            header = next(int(element.text) for element in row if element.text.isdigit())
            gpio = next(element.text for element in row if element.get("class") == "gpio")
            assert HEADER[header - 1] == gpio
            seen[names[0]] = int(gpio[2:])
    assert seen == {name: gpio for name, gpio, _ in PINS["PINS"]}


def test_the_wiring_diagram_has_a_lead_for_each_pin():
    root = drawn("wiring.svg")
    label = {
        word: float(element.get("y"))
        for element in root.iter(SVG + "text")
        for word in (element.text or "").split()
        if "_" in word or word.isalpha()
    }
    leads = {
        element.get("data-pin"): element.get("points").split()[0]
        for element in root.iter(SVG + "polyline")
        if element.get("data-pin")
    }
    channels = 3
    free = {f"select_{channel}" for channel in range(channels, 8)}
    further = {element.get("data-pin") for element in drawn("further.svg").iter(SVG + "polyline")} - {None, "i2c_sda", "i2c_scl"}
    assert set(leads) == {row[0] for row in PINS["PINS"]} - free - further
    assert all(name.startswith(("flow_", "receiver_")) for name in further)
    for name, start in leads.items():
        if "_" in name:
            assert float(start.split(",")[1]) == label[name] - 4, name


README_PX = 830  # of a web page that shows a README, at most


def test_the_halves_of_the_wiring_diagram_hold_all_of_it_and_are_legible_at_a_readmes_width():
    whole = drawn("wiring.svg")
    shown = []
    for name in ("wiring-left.svg", "wiring-right.svg"):
        root = drawn(name)
        left, _, width, height = map(float, root.get("viewBox").split())
        for element in root.iter(SVG + "text"):
            size = float(element.get("font-size"))
            # header pin numbers are on the pin map
            assert size * README_PX / width >= 9 or element.text.isdigit(), (
                name,
                element.text,
            )
            assert left <= float(element.get("x")) <= left + width, (name, element.text)
            assert float(element.get("y")) <= height, (name, element.text)
        shown += [element.text for element in root.iter(SVG + "text")]
    assert {element.text for element in whole.iter(SVG + "text")} <= set(shown)
    leads = [element.get("data-pin") for element in whole.iter(SVG + "polyline") if element.get("data-pin")]
    halves = [
        element.get("data-pin")
        for name in ("wiring-left.svg", "wiring-right.svg")
        for element in drawn(name).iter(SVG + "polyline")
    ]
    assert sorted(leads) == sorted(filter(None, halves))


def test_a_moved_pin_moves_the_drawing(drawing):
    rows = [(name, 28 if name == "battery" else gpio, way) for name, gpio, way in PINS["PINS"]]
    moved = drawing.wiring(types.SimpleNamespace(PINS=rows)).svg()
    assert moved != (HARDWARE / "wiring.svg").read_text(encoding="utf-8")
    assert "battery GP28" in moved
    assert "battery GP26" not in moved


def test_the_parts_list_counts_what_the_wiring_diagram_shows():
    marks = [element.text for element in texts(drawn("wiring.svg"), "ref")]
    assert len(set(marks)) == len(marks)
    listed = [(row, mark) for row in bom() for mark in row["marks"].split(",") if mark != "-"]
    assert sorted(mark for _, mark in listed) == sorted(marks)
    for row in bom():
        if row["marks"] != "-":
            assert int(row["quantity"]) == len(row["marks"].split(",")), row
        assert row["part"], row
        assert row["purpose"], row


def test_values_in_the_diagram_are_those_of_the_parts_list():
    root = list(drawn("wiring.svg").iter(SVG + "text"))
    value = {mark: row["value"] for row in bom() for mark in row["marks"].split(",")}
    checked = 0
    for element, following in itertools.pairwise(root):
        if element.get("class") == "ref" and element.text[0] in "RC":
            shown, listed = (
                following.text.split()[0],
                value[element.text].replace(" ohm", "R").replace(" uF", "u").replace(" nF", "n"),
            )
            assert re.match(r"[\d.]+\w", listed).group() == re.match(r"[\d.]+\w", shown).group(), element.text
            checked += 1
    assert checked == 41


def test_dividers_are_those_the_programs_use():
    battery = (ohms("R3") + ohms("R4")) / ohms("R4")
    source = (ROOT / "firmware" / "power.py").read_text(encoding="utf-8")
    assert battery == pytest.approx(int(re.search(r"^_DIVIDER = const\((\d+)\)", source, re.M).group(1)))
    assert battery == pytest.approx(Sensors().battery_divider)
    # per cent of the sender's 5 V are taken as per cent of the converter's 3.3 V
    assert 5.0 * ohms("R13") / (ohms("R12") + ohms("R13")) == pytest.approx(3.3, rel=0.005)
    for mark in ("R7", "R11"):
        assert ohms(mark) <= 8200  # RP2350 datasheet, erratum E9

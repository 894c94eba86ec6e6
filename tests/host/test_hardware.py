"""The hardware folder says what the firmware does: drawings, parts, sums, lamp card, error budget."""

import csv
import importlib
import itertools
import math
import pkgutil
import re
import runpy
import subprocess
import sys
import types
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import hotfuel.cli
import numpy as np
import pytest
import typer
from hotfuel.car import Place, Probe, Sensors
from hotfuel.cli.app import app
from hotfuel.temperature.accuracy import budget, placement_share, root_sum_square
from hotfuel_wire import alarm

ROOT = Path(__file__).parent.parent.parent
HARDWARE = ROOT / "hardware"
PAGES = sorted(HARDWARE.glob("*.md"))
SVG = "{http://www.w3.org/2000/svg}"

# Raspberry Pi Pico datasheet, pinout: what stands at header pins 1 to 40 (Pico 2: the same)
HEADER = (
    "GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND", "GP6", "GP7", "GP8", "GP9", "GND", "GP10",
    "GP11", "GP12", "GP13", "GND", "GP14", "GP15", "GP16", "GP17", "GND", "GP18", "GP19", "GP20", "GP21", "GND",
    "GP22", "RUN", "GP26", "GP27", "AGND", "GP28", "ADC_VREF", "3V3", "3V3_EN", "GND", "VSYS", "VBUS",
)  # fmt: skip
# RP2040 datasheet, table of GPIO functions: what F1 (SPI) and F3 (I2C) are on each GPIO
SPI0 = {"spi_miso": (0, 4, 16, 20), "spi_sck": (2, 6, 18, 22), "spi_mosi": (3, 7, 19, 23)}
I2C0 = {"i2c_sda": (0, 4, 8, 12, 16, 20, 24, 28), "i2c_scl": (1, 5, 9, 13, 17, 21, 25, 29)}
ADC = (26, 27, 28, 29)

PINS = runpy.run_path(str(ROOT / "firmware" / "pins.py"))
FIN = runpy.run_path(str(HARDWARE / "fin.py"))
SUPPLY = runpy.run_path(str(HARDWARE / "supply.py"))
LAMP = runpy.run_path(str(ROOT / "firmware" / "lamp.py"))
LAMP_NAMES = sorted(
    ("alive", "wink", "store_full", "no_limits", "lost", "warn", "act", "test", "failed", "prompt"),
    key=lambda name: LAMP[name.upper()],
)
SETTINGS = runpy.run_path(str(ROOT / "firmware" / "settings.py"))


def page(name):
    return (HARDWARE / name).read_text(encoding="utf-8")


def tables(name):
    """Every table of a page: list of lists of cells, the head first, the rule left out."""
    found, rows = [], []
    for line in [*page(name).splitlines(), ""]:
        if line.startswith("|"):
            cells = [cell.strip() for cell in line.strip("|").split("|")]
            if set("".join(cells)) - set("-: "):
                rows.append(cells)
        elif rows:
            found.append(rows)
            rows = []
    return found


def table(name, head):
    return next(rows for rows in tables(name) if rows[0][: len(head)] == head)


def number(text):
    return float(re.search(r"[-−]?\d+(?:\.\d+)?", text).group().replace("−", "-"))


def drawn(name):
    return ElementTree.parse(HARDWARE / name).getroot()


def texts(root, kind):
    return [element for element in root.iter(SVG + "text") if element.get("class") == kind]


@pytest.fixture(scope="module")
def drawing():
    """The modules behind the drawings; nothing of them stays importable afterwards."""
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


# Drawings and pins


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


def test_buses_sit_on_pins_that_can_be_them():
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


def test_the_wiring_diagram_has_a_lead_for_each_pin_that_starts_at_it():
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


README_PX = 830  # of a page on the web that shows a README, at most


def test_the_halves_of_the_wiring_diagram_hold_all_of_it_and_are_read_at_a_readmes_width():
    whole = drawn("wiring.svg")
    shown = []
    for name in ("wiring-left.svg", "wiring-right.svg"):
        root = drawn(name)
        left, _, width, height = map(float, root.get("viewBox").split())
        for element in root.iter(SVG + "text"):
            size = float(element.get("font-size"))
            assert size * README_PX / width >= 9 or element.text.isdigit(), (
                name,
                element.text,
            )  # header pins' numbers are on the pin map
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


# Parts


def bom():
    with open(HARDWARE / "bom.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


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


def ohms(mark):
    text = next(row["value"] for row in bom() if mark in row["marks"].split(","))
    return float(re.match(r"[\d.]+", text).group()) * (1000 if re.match(r"[\d.]+k", text) else 1)


def test_dividers_are_those_the_programs_reckon_with():
    battery = (ohms("R3") + ohms("R4")) / ohms("R4")
    source = (ROOT / "firmware" / "power.py").read_text(encoding="utf-8")
    assert battery == pytest.approx(int(re.search(r"^_DIVIDER = const\((\d+)\)", source, re.M).group(1)))
    assert battery == pytest.approx(Sensors().battery_divider)
    # per cent of the sender's 5 V is taken as per cent of the converter's 3.3 V
    assert 5.0 * ohms("R13") / (ohms("R12") + ohms("R13")) == pytest.approx(3.3, rel=0.005)
    for mark in ("R7", "R11"):
        assert ohms(mark) <= 8200  # RP2350 datasheet, erratum E9


# Supply


def test_supply_page_states_what_the_sums_give():
    text = page("SUPPLY.md")
    assert [number(row[1]) for row in table("SUPPLY.md", ["state", "mA"])[1:]] == [
        pytest.approx(SUPPLY["draw_ma"](state), abs=0.05) for state in ("awake", "asleep")
    ]
    days = float(re.search(r"Days of standing: (\d+)", text).group(1))
    assert days == pytest.approx(SUPPLY["standing_days"](), abs=0.5)
    assert f"{SUPPLY['hold_up_ms']():.0f} ms from a 12 V" in text
    for row in table("SUPPLY.md", ["input", "at"])[1:3]:
        assert number(row[2]) == pytest.approx(SUPPLY["ignition_pin_v"](number(row[1])), abs=0.006)


def test_load_dump_against_the_integral_worked_by_hand():
    # excess current (A e^(-t/tau) - B) until it is zero, integrated on paper
    r1, clamp = SUPPLY["R1_OHM"], SUPPLY["CLAMP_V"]
    assert r1 == 15.0
    tau, ohm, over, below = 0.4 / math.log(10), 4.0 + r1, 87.0, clamp + 0.8 - 14.0
    end = tau * math.log(over / below)
    charge = (over * tau * (1 - below / over) - below * end) / ohm
    square = (
        over**2 * tau / 2 * (1 - (below / over) ** 2) - 2 * over * below * tau * (1 - below / over) + below**2 * end
    ) / ohm**2
    peak, joule_r1, joule_tvs, through = SUPPLY["load_dump"](101.0, 4.0, 0.4)
    assert peak == pytest.approx((over - below) / ohm, rel=1e-6)
    assert joule_tvs == pytest.approx(clamp * charge, rel=1e-3)
    assert through == pytest.approx(square, rel=1e-3)
    assert joule_r1 == pytest.approx(r1 * square, rel=1e-3)


def test_supply_page_states_the_firmwares_own_times():
    text = page("SUPPLY.md")
    assert f"{SETTINGS['ROWS']['after_key_off_min'][0]} min after key-off (`after_key_off_min`)" in text
    assert f"{SETTINGS['ROWS']['low_voltage_mv'][0] / 1000:g} V for 30 s" in text
    power = (ROOT / "firmware" / "power.py").read_text(encoding="utf-8")
    assert re.search(r"^_LOW_MS = const\(30000\)", power, re.M)
    assert re.search(r"^_DOZE_MS = const\(2000\)", power, re.M)


# Probes


def test_probe_page_states_what_the_fin_gives():
    stems = table("PROBES.md", ["sheath", "depth"])[1:]
    assert [[number(cell) for cell in row] for row in stems] == [
        pytest.approx(row, abs=0.051) for row in map(list, FIN["stem_rows"]())
    ]
    lags = table("PROBES.md", ["sheath", "insulated, at idle"])[1:]
    assert [[number(cell) for cell in row] for row in lags] == [
        pytest.approx(row, abs=0.051) for row in map(list, FIN["lag_rows"]())
    ]


def test_two_ways_to_reckon_a_stem_agree():
    for sheath, depth, idle, full in FIN["stem_rows"]():
        probe = Probe.model_validate({"sheath": f"{sheath} mm", "depth": f"{depth} mm"})
        other = 100 * placement_share(probe, [FIN["IDLE_L_H"], FIN["FULL_L_H"]], FIN["BORE_M"])
        assert [idle, full] == pytest.approx(other, rel=0.125, abs=0.15)


def test_fin_against_the_equation_solved_in_slices():
    # theta'' = m2 theta, theta(0) = 1, -k theta'(L) = h theta(L): finite differences, 1.6 mm, 10 mm deep, idle flow
    sheath, depth, slices = 0.0016, 0.010, 4000
    film = FIN["film_w_m2_k"](sheath, 4.0)
    step, conductivity = depth / slices, FIN["SHEATH_W_M_K"]
    m2 = 4 * film / (conductivity * sheath)
    low, middle, high = np.ones(slices), np.full(slices, -(2 + m2 * step**2)), np.ones(slices)
    low[-1], middle[-1] = 2.0, middle[-1] - 2 * step * film / conductivity
    right = np.zeros(slices)
    right[0] = -1.0
    for row in range(1, slices):
        factor = low[row] / middle[row - 1]
        middle[row] -= factor * high[row - 1]
        right[row] -= factor * right[row - 1]
    assert right[-1] / middle[-1] == pytest.approx(FIN["stem_share"](sheath, depth, 4.0), rel=1e-4)


def test_clamp_shares_on_the_probe_page():
    bare, insulated = map(float, re.search(r"same bore: (\d+) % bare, (\d+) % well", page("PROBES.md")).groups())
    for mount, share in (("clamp_metal", bare), ("clamp_insulated", insulated)):
        assert 100 * placement_share(Probe.model_validate({"mount": mount}), 4.0, FIN["BORE_M"]) == pytest.approx(share, abs=0.51)


# Error budget


def test_error_budget_page_is_what_the_product_reckons():
    cases = table("ERROR_BUDGET.md", ["case", "probe"])[1:]
    rows = table("ERROR_BUDGET.md", ["source", "A"])
    stated = {row[0].strip("*"): dict(zip(rows[0][1:], row[1:], strict=True)) for row in rows[1:]}
    names = set()
    for case, probe, tolerance, extension, amplifier, calibrated, flow in cases:
        keys = {"tolerance": tolerance, "extension_wire": extension}
        keys["mount"] = next(
            mount
            for word, mount in (("stem", "stem"), ("axial", "axial"), ("clamped", "clamp_insulated"))
            if probe.startswith(word)
        )
        place = Place.model_validate({"name": "pump", "channel": 0, "role": "pump", "probe": keys})
        chip, _, gain = amplifier.partition(", gain ")
        known = None if calibrated == "no" else number(calibrated)
        worked = budget(place, chip=chip, gain=int(gain or 1), flow_l_h=number(flow), calibration_uncertainty_degc=known)
        assert {name for name in stated if stated[name][case] != "–"} == {row.name for row in worked} | {"total"}
        for row in worked:
            assert float(stated[row.name][case]) == pytest.approx(float(row.uncertainty_degc), abs=0.0051), (case, row.name)
            names.add(row.name)
        assert float(stated["total"][case]) == pytest.approx(float(root_sum_square(worked)), abs=0.0051)
    assert names == set(stated) - {"total"}
    assert len(cases) == 6


# Lamp


def test_lamp_card_states_every_pattern():
    rows = table("LAMP.md", ["pattern", "lit and dark, ms"])[1:]
    assert {row[2]: tuple(map(int, row[1].split(","))) for row in rows} == dict(zip(LAMP_NAMES, LAMP["PATTERNS"], strict=True))
    assert all(len(row[3]) > 40 for row in rows)


def test_lamp_card_keeps_the_firmwares_order_of_urgency():
    choose, names = LAMP["choose"], LAMP_NAMES
    none, lost, warn, act = alarm.QUIET, alarm.LOST, alarm.WARN, alarm.ACT
    calls = (
        (act, 1, 0, 1, 1), (warn, 1, 0, 1, 1), (lost, 1, 0, 1, 1), (none, 1, 0, 1, 1), (none, 1, 0, 1), (none, 1, 1, 1), (none, 0, 1, 1), (none, 0, 1, 0),
    )  # fmt: skip
    order = [names[choose(*call)] for call in calls]
    assert [row[2] for row in table("LAMP.md", ["pattern"])[1:]] == [*order, "test", "prompt"]


def test_bars_on_the_card_are_the_patterns():
    bars = {}
    for element in drawn("lamp.svg").iter(SVG + "rect"):
        if element.get("class") == "on":
            bars.setdefault(element.get("data-pattern"), []).append(
                (int(element.get("data-from-ms")), int(element.get("data-ms")))
            )
    assert set(bars) == set(LAMP_NAMES)
    for name, pattern in zip(LAMP_NAMES, LAMP["PATTERNS"], strict=True):
        total = sum(pattern)
        until = total if name == "test" else 6000
        lit = [LAMP["level"](pattern, total, at) for at in range(0, until, 10)]
        shown = [any(start <= at < start + length for start, length in bars[name]) for at in range(0, until, 10)]
        assert shown == lit, name


def test_blink_code_examples_on_the_card():
    for blinks, means in table("LAMP.md", ["blinks", "means"])[1:]:
        place = int(re.search(r"place (\d)", means).group(1))
        margin = 0 if "no room" in means else int(re.search(r"(\d+) degrees", means).group(1))
        lit = LAMP["blink_code"](place, margin)[::2]
        words = blinks.replace("·", "").replace("3 s", "whole").split()
        assert [{"short": 200, "long": 900, "whole": 3000}[word] for word in words] == lit
    limits = (ROOT / "firmware" / "limits.py").read_text(encoding="utf-8")
    held = float(re.search(r"Held for ([\d.]+) s", page("LAMP.md")).group(1))
    assert int(re.search(r"^_LONG_PRESS_MS = const\((\d+)\)", limits, re.M).group(1)) == 1000 * held
    assert int(re.search(r"older than (\d+) days", page("LAMP.md")).group(1)) == int(
        re.search(r"^_LIMITS_GOOD_DAYS = const\((\d+)\)", limits, re.M).group(1)
    )


# Pages


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_links_lead_somewhere(path):
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
        assert (HARDWARE / target).exists(), target


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_commands_on_the_pages_exist(path):
    for module in pkgutil.iter_modules(hotfuel.cli.__path__):
        if module.name != "__main__":
            importlib.import_module(f"hotfuel.cli.{module.name}")
    root = typer.main.get_command(app)
    for words in re.findall(r"(?:^ {4,}|`)hotfuel ((?:[a-z]+ ?)+)((?:[^`\n])*)", path.read_text(encoding="utf-8"), re.M):
        command = root
        for word in words[0].split():
            found = command.get_command(typer.Context(command), word) if hasattr(command, "get_command") else None
            assert found is not None, f"{path.name}: hotfuel {words[0]}"
            command = found
        options = {name for parameter in command.params for name in parameter.opts} | {"--help"}
        assert set(re.findall(r"--[a-z-]+", words[1])) <= options, words


def test_settings_and_car_keys_named_on_the_pages_exist():
    text = "\n".join(path.read_text(encoding="utf-8") for path in PAGES)
    keys = {field.alias or name for name, field in Sensors.model_fields.items()}
    for name in re.findall(r"`((?:fuel_pressure|battery)_\w+)", text):
        assert name in keys
    for name in re.findall(r"`((?:after|low)_\w+)`", text):
        assert name in SETTINGS["ROWS"]


def test_what_a_new_board_expects_is_what_its_firmware_has():
    gpio = {name: f"GP{number}" for name, number, _ in PINS["PINS"]}
    rows = {row[0].partition(":")[0]: " ".join(row) for row in table("README.md", ["what", "where", "how it is used"])[1:]}
    for what, names in (
        ("three MAX31856", ("spi_sck", "spi_mosi", "spi_miso", "select_0", "select_1", "select_2")),
        ("further channels, once they are set up", [f"select_{channel}" for channel in range(3, 8)]),
        ("MCP9601 or MCP9600, once they are set up", ("i2c_sda", "i2c_scl")),
        ("ignition, engine pulses, button, once named", ("ignition", "engine_pulses", "button")),
        ("battery, fuel pressure, once named", ("battery", "fuel_pressure")),
        ("lamp, buzzer, sensor rail", ("lamp", "buzzer", "sensor_rail")),
    ):
        assert re.findall(r"GP\d+", rows[what]) == [gpio[name] for name in names]
    default = SETTINGS["defaults"]()
    assert default["chips"] == ("MAX31856",) * 3
    assert tuple(re.findall(r"`(\w+)`", rows["three MAX31856"])) == default["places"]
    assert {
        "rate_hz": 5,
        "mode": "one_shot",
        "gain": 32,
        "mains_hz": 60,
        "averages": 1,
        "resolution_bits": 18,
    }.items() <= default.items()
    assert ", ".join(default["i2c_addresses"]) in rows["MCP9601 or MCP9600, once they are set up"]
    assert (PINS["SPI_HZ"], PINS["I2C_HZ"]) == (1_000_000, 100_000)


def test_sender_table_converts_and_its_offset_is_worked_out():
    for row in table("README.md", ["fuel system", "usual pressure"])[1:]:
        for cell in row[1:]:
            for psi, kpa in re.findall(r"([\d.]+) psi[a-z ]*\((?:\d+ to )?([\d.]+) kPa\)", cell):
                assert float(kpa) == pytest.approx(float(psi) * 6.894757, abs=0.5 if float(kpa) > 10 else 0.06)
    offset = 0.030 * (ohms("R12") + ohms("R13")) / ohms("R13") / 4.0 * 15
    assert float(re.search(r"about ([\d.]+) psi with the 15 psi", page("README.md")).group(1)) == pytest.approx(offset, abs=0.005)


@pytest.mark.parametrize("name", ["README.md", "PROBES.md", "CHECKLIST.md", "LAMP.md"])
def test_cautions_stand_where_the_steps_are(name):
    assert "No warning does not mean safe" in page(name)
    for word in {
        "PROBES.md": ("depressurised", "extinguisher", "can leak", "never the driver"),
        "LAMP.md": ("neither reads nor presses",),
    }.get(name, ()):
        assert word in page(name)

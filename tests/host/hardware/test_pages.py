"""Everything that the hardware pages name exists."""

import importlib
import pkgutil
import re

import hotfuel.cli
import pytest
import typer
from hotfuel.car import Sensors
from hotfuel.cli.app import app
from read_pages import HARDWARE, PAGES, PINS, SETTINGS, ohms, page, table


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_links_resolve(path):
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


def test_the_inputs_of_a_new_board_are_those_of_its_firmware():
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


def test_sender_table_converts_and_its_offset_is_calculated():
    for row in table("README.md", ["fuel system", "usual pressure"])[1:]:
        for cell in row[1:]:
            for psi, kpa in re.findall(r"([\d.]+) psi[a-z ]*\((?:\d+ to )?([\d.]+) kPa\)", cell):
                assert float(kpa) == pytest.approx(float(psi) * 6.894757, abs=0.5 if float(kpa) > 10 else 0.06)
    offset = 0.030 * (ohms("R12") + ohms("R13")) / ohms("R13") / 4.0 * 15
    assert float(re.search(r"about ([\d.]+) psi with the 15 psi", page("README.md")).group(1)) == pytest.approx(offset, abs=0.005)


@pytest.mark.parametrize("name", ["README.md", "PROBES.md", "CHECKLIST.md", "LAMP.md"])
def test_cautions_are_next_to_the_steps(name):
    assert "No warning does not mean safe" in page(name)
    for word in {
        "PROBES.md": ("depressurised", "extinguisher", "can leak", "never the driver"),
        "LAMP.md": ("neither reads nor presses",),
    }.get(name, ()):
        assert word in page(name)

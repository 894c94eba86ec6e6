"""The drawing of further inputs matches its netlist, its values are those the programs use, and no voltage of a car on a lead damages the pins."""

import csv
import dataclasses
import importlib.util
from pathlib import Path

import pytest
from hotfuel.wired import BOARD_SHARE, DIVIDER

HERE = Path(__file__).parent
SPEC = importlib.util.spec_from_file_location("drawn_further", HERE / "drawn.py")
drawn = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(drawn)
ROOT = HERE.parent.parent


def test_the_drawing_is_its_netlist(hardware):
    sheet = hardware.further.further(hardware.pins)
    assert drawn.complaints(sheet, hardware.further.PARTS, hardware.further.FROM_THE_CAR) == []
    assert len(sheet.leads) > 15


@pytest.mark.parametrize("mark", ["R52", "D53", "C62", "U51"])
def test_a_drawing_of_another_circuit_is_found(hardware, mark):
    part = hardware.further.PARTS[mark]
    pin = next(iter(part.pins))
    other = dataclasses.replace(part, pins=part.pins | {pin: "AIN0" if part.pins[pin] != "AIN0" else "FLOW1"})
    sheet = hardware.further.further(hardware.pins)
    assert drawn.complaints(sheet, hardware.further.PARTS | {mark: other}, hardware.further.FROM_THE_CAR)


def test_no_mark_is_used_by_the_box_too_and_every_part_is_on_the_list(hardware):
    own = set(hardware.further.PARTS) - {"U1"}
    assert not own & set(hardware.netlist.PARTS)
    with open(ROOT / "hardware" / "further.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    listed = [mark for row in rows for mark in row["marks"].split(",") if mark != "-"]
    assert sorted(listed) == sorted(own)
    for row in rows:
        assert row["marks"] == "-" or int(row["quantity"]) == len(row["marks"].split(","))
        for mark in row["marks"].split(","):
            if mark[0] in "RC":
                value = hardware.further.PARTS[mark].value
                assert row["value"].replace(" nF", "n").startswith(value), mark


def test_five_volts_stay_within_the_converters_supply_and_the_divider_matches_the_programs(hardware):
    series, shunt = hardware.further.SERIES_OHM, hardware.further.SHUNT_OHM
    assert (series + shunt) / shunt == pytest.approx(DIVIDER)
    # two resistors of 0.1 % as uniform errors, and 6 megohm of the converter at this range (datasheet SBAS444, from memory) across the lower one
    ratio_u = (0.001 / 3**0.5) * 2**0.5 * series / (series + shunt)
    loaded = shunt * 6e6 / (shunt + 6e6)
    shift = 1 - (loaded / (series + loaded)) / (shunt / (series + shunt))
    assert (ratio_u**2 + shift**2) ** 0.5 < BOARD_SHARE
    assert 5.0 / DIVIDER < 3.3


def test_a_lead_on_the_battery_stays_within_every_parts_rating(hardware):
    """24 V at a terminal for ever: the current through the clamp and the series resistor's heat against their ratings (further.PARTS)."""
    parts = hardware.further.PARTS
    current = (24.0 - 3.6) / hardware.further.SERIES_OHM
    assert current < parts["D51"].amp / 10
    assert current**2 * hardware.further.SERIES_OHM < parts["R51"].watt / 2
    for n in (1, 2):  # a flow meter's lead: through 1k into the pin's own diodes, and back through the pull-up into the rail
        pull_up = (24.0 - 3.3) / parts[f"R{60 + n}"].size
        assert pull_up < 0.005
        assert pull_up**2 * parts[f"R{60 + n}"].size < parts[f"R{60 + n}"].watt / 2

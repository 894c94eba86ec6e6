"""Every line of the wiring diagram joins pins of one net, and every pin of every net is drawn."""

import dataclasses
import importlib.util
from pathlib import Path

import pytest

SPEC = importlib.util.spec_from_file_location("drawn", Path(__file__).with_name("drawn.py"))
drawn = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(drawn)


@pytest.fixture
def sheet(hardware):
    return hardware.wiring.wiring(hardware.pins)


def complaints(hardware, sheet, **pins):
    """pins: mark -> the pins to compare with, in place of the netlist's own."""
    parts = dict(hardware.netlist.PARTS)
    for mark, changed in pins.items():
        parts[mark] = dataclasses.replace(parts[mark], pins=parts[mark].pins | changed)
    return drawn.complaints(sheet, parts, hardware.netlist.FROM_THE_CAR)


def test_the_drawing_is_the_netlist(hardware, sheet):
    assert complaints(hardware, sheet) == []
    assert len(sheet.leads) > 100


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ({"D1": {"A": "VD", "K": "12V"}}, "D1.A is joined to 12V; it belongs on VD"),
        ({"TV1": {"A": "VIN", "K": "VMID"}}, "TV1.K is joined to VIN; it belongs on VMID"),
        ({"R5": {"1": "12V"}}, "R5 is drawn between SENSE and gp_battery; it belongs between 12V and gp_battery"),
        ({"U9": {"CS": "CS0"}}, "R24 is drawn between CS0 and gp_select_1; it belongs between CS1"),
        ({"U8": {"SDI": "gp_spi_miso", "SDO": "SDI"}}, "U9.SDI is joined to gp_spi_miso; it belongs on SDI"),
        ({"Q1": {"D": "DRAIN2"}}, "R26 is drawn between DRAIN2 and LAMP-; it belongs between DRAIN1"),
        ({"U4": {"IN": "VSYS"}}, "VSYS is not drawn to U4"),
        ({"BT1": {"-": "3V3"}}, "BT1.- is joined to GND; it belongs on 3V3"),
        ({"D15": {"V": "5V"}}, "VBUS is drawn to D15, which has no pin on it"),
        ({"D11": {"1": "LAMP-", "2": "LAMP+"}}, "D11.1 is joined to LAMP+; it belongs on LAMP-"),
    ],
)
def test_a_drawing_of_another_circuit_is_found(hardware, sheet, pins, says):
    assert any(says in sentence for sentence in complaints(hardware, sheet, **pins))


def test_a_part_that_is_not_drawn_is_found(hardware, sheet):
    parts = hardware.netlist.PARTS | {"R99": dataclasses.replace(hardware.netlist.PARTS["R5"])}
    found = drawn.complaints(sheet, parts, {"HORN": "a made-up lead"})
    assert {"SENSE is not drawn to R99", "gp_battery is not drawn to R99", "HORN is not drawn"} <= set(found)


def test_each_lead_counts(hardware, sheet):
    """Without any one of its leads the drawing no longer matches the netlist. Every tenth is tried here; all were tried once."""
    leads = list(sheet.leads)
    for number in range(0, len(leads), 10):
        sheet.leads = leads[:number] + leads[number + 1 :]
        assert complaints(hardware, sheet), leads[number]


def test_leads_that_cross_join_only_at_a_dot_and_never_run_along_each_other(hardware, sheet):
    crossing = ((0, 0), (10, 0)), ((5, -5), (5, 5))
    assert len(set(drawn.joined(crossing, [], []))) == 2
    assert len(set(drawn.joined(crossing, [(5, 0)], []))) == 1
    overlapping = ((0, 0), (10, 0)), ((5, 0), (20, 0)), ((10, 5), (10, -5))
    assert list(drawn.along_each_other(overlapping, [0, 1, 2])) == [overlapping[:2]]
    assert list(drawn.along_each_other(overlapping, [0, 0, 2])) == []

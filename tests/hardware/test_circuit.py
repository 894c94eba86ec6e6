"""The rule check of the netlist, and that each rule can fail."""

import dataclasses
import re
import subprocess
import sys
import types
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent


def test_every_rule_holds(hardware):
    assert hardware.rules.all_rows(hardware.pins) == []


def changed(hardware, monkeypatch, mark, **pins):
    part = hardware.netlist.PARTS[mark]
    monkeypatch.setitem(hardware.netlist.PARTS, mark, dataclasses.replace(part, pins=part.pins | pins))


@pytest.mark.parametrize(
    ("mark", "pins", "rule", "says"),
    [
        ("U4", {"OUT": "5V"}, "fights", "5V"),  # two supplies on one rail
        ("U7", {"GND": "3V3S"}, "unreferenced_grounds", "U7.GND"),
        ("R8", {"2": "ELSEWHERE"}, "loose", "ELSEWHERE"),
        ("R21", {"1": "NOWHERE"}, "undriven", "SCK"),
        ("U3", {"OUT": "SPARE"}, "undriven", "3V3S"),
        ("U1", {"lamp": "gp_buzzer"}, "fights", "gp_buzzer"),
    ],
)
def test_a_wrong_wire_is_found(hardware, monkeypatch, mark, pins, rule, says):
    changed(hardware, monkeypatch, mark, **pins)
    check = getattr(hardware.rules, rule)
    rows = check() if rule == "loose" else check(hardware.pins)
    assert any(row.startswith(says) for row in rows), rows


def test_a_pin_that_is_not_wired_is_found(hardware):
    more = types.SimpleNamespace(PINS=(*hardware.pins.PINS, ("horn", 7, "out")))
    assert hardware.rules.pins_off_their_net(more) == ["horn: in pins.py and not wired"]
    fewer = types.SimpleNamespace(PINS=tuple(row for row in hardware.pins.PINS if row[0] != "button"))
    assert hardware.rules.pins_off_their_net(fewer) == ["button: wired and not in pins.py"]


def test_a_select_is_low_enough_for_a_module_with_its_own_pull_up(hardware):
    # MAX31856 data sheet: input low at most 0.8 V; RP2040 data sheet: an output that is low is at most 0.5 V at 4 mA
    for mark in ("R23", "R24", "R25"):
        assert hardware.rules.select_low_v(mark, output_low_v=0.1) < 0.8 / 1.5
    # what revision 1 had: 10k against 10k, which never selects
    assert hardware.rules.select_low_v("R9", pull_up_ohm=3.3e3) == pytest.approx(1.65)


def test_thresholds_of_the_ignition_input(hardware):
    # RP2040 data sheet: 2.0 V is high, 0.8 V low for certain; its pull-down 50 to 80 kOhm; resistors of 5 %
    r6, r7 = hardware.netlist.ohm("R6"), hardware.netlist.ohm("R7")
    pin = lambda volts, top, low, pull: volts / (1 + 1.05**top * r6 * (1 / (0.95**low * r7) + 1 / pull))  # noqa: E731
    assert pin(6.0, 1, 1, 50e3) >= 2.0
    assert pin(1.8, -1, -1, 80e3) <= 0.8


def test_the_button_reads_low_when_pressed(hardware):
    # 3.3 V, pull-up against R15 and D8, whose drop at 0.6 mA is at most 0.3 V (BAT46 data sheet: 0.25 V at 0.1 mA, 0.45 V at 10 mA)
    pull, series = hardware.netlist.ohm("R27"), hardware.netlist.ohm("R15")
    assert 0.3 + (3.3 - 0.3) * series / (pull + series) < 0.8
    # and a lead of 3 m, about 350 pF, and the filter have settled a millisecond after power
    seconds = pull * (hardware.netlist.PARTS["C8"].size + 350e-12)
    assert 3.3 * (1 - 2.718281828 ** (-1e-3 / seconds)) > 2.0


def test_the_pressure_divider_makes_per_cent_of_the_supply_per_cent_of_the_scale(hardware):
    upper, lower = hardware.netlist.ohm("R12"), hardware.netlist.ohm("R13")
    assert 5.0 * lower / (upper + lower) == pytest.approx(3.3, rel=0.005)


def test_every_part_has_a_rating_that_its_kind_needs(hardware):
    for mark, part in hardware.netlist.PARTS.items():
        if part.kind == "resistor":
            assert part.size > 0 and part.watt > 0 and part.volt > 0 and part.top_degc > 100 and part.k_w > 0, mark
        elif part.kind == "capacitor":
            assert part.size > 0 and part.volt > 0, mark
        elif part.kind in ("diode", "clamp"):
            assert part.volt > 0 and part.amp > 0 and part.k_w > 0 and part.model in hardware.models.MODELS, mark


def test_every_model_names_its_source(hardware):
    used = {part.model for part in hardware.netlist.PARTS.values() if part.model} - {"ESD5"}  # USB is not simulated
    assert used <= set(hardware.models.MODELS)
    for name, (text, source) in hardware.models.MODELS.items():
        assert re.match(r"(D|NMOS)\(", text), name
        assert len(source) > 20, name


def test_marks_on_both_halves_of_the_drawing_are_the_netlists(hardware):
    text = (ROOT / "hardware" / "wiring.svg").read_text(encoding="utf-8")
    drawn = re.findall(r'class="ref">([A-Z]+\d+)<', text)
    assert sorted(drawn) == sorted(hardware.netlist.PARTS)


def test_tables_are_as_the_data_is_now():
    done = subprocess.run(
        [sys.executable, str(ROOT / "hardware" / "pages.py"), "--check"], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, f"run python hardware/pages.py: {done.stdout}{done.stderr}"

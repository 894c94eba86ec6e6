"""ngspice runs the netlist again: it gives what hardware/simulated.csv says, and no part exceeds its rating."""

import math

import numpy as np
import pytest


@pytest.fixture(scope="module")
def ngspice(hardware):
    if not hardware.spice.available():
        pytest.skip("ngspice is not installed here (Debian: apt-get install ngspice)")
    return hardware


def test_stored_results_show_no_overload_and_cover_every_case(hardware):
    rows = hardware.simulate.kept()
    assert [row["troubles"] for row in rows] == [""] * len(rows)
    names = [row["name"] for row in rows]
    wanted = [hardware.pulses.load_dump(*corner).name for corner in hardware.pulses.LOAD_DUMP_CORNERS]
    assert names == [*wanted, *(pulse.name for pulse in hardware.pulses.pulses()), *hardware.cases.FAULTS]


def test_load_dump_pulses_cover_the_published_corners(hardware):
    # ISO 16750-2 as table 1 of J. Korean Inst. Electromagn. Eng. Sci. 30(8) 629: 79 to 101 V, 0.5 to 4 ohm, 40 to 400 ms, ten pulses, 1 min
    corners = set(hardware.pulses.LOAD_DUMP_CORNERS)
    assert {(101.0, 4.0, 0.4), (79.0, 0.5, 0.4), (101.0, 0.5, 0.04)} <= corners
    assert (hardware.pulses.LOAD_DUMP_PULSES, hardware.pulses.LOAD_DUMP_EVERY_S) == (10, 60.0)
    pulse = hardware.pulses.load_dump(101.0, 4.0, 0.4)
    at = dict(pulse.points)
    assert max(at.values()) == 101.0
    tenth = np.interp(0.03 + 0.4, [t for t, _ in pulse.points], [v for _, v in pulse.points])
    assert tenth == pytest.approx(14.0 + 8.7, abs=0.6)  # down to a tenth after td


def test_a_divider_and_a_charging_capacitor_by_hand(ngspice):
    # R3 and R4 at 12 V; C2 charges through R1: both calculated by hand
    wave = ngspice.spice.run(ngspice.spice.deck(ngspice.pulses.steady("12 V", 12.0)))
    assert wave["v(sense)"][-1] == pytest.approx(12.0 / 11, rel=0.01)
    at = np.argmin(np.abs(wave["time"] - 0.05))
    assert 0.0 < wave["v(vin)"][at] < wave["v(12v)"][at]


def test_load_dump_agrees_with_the_calculation_by_hand(ngspice):
    wave = ngspice.spice.run(ngspice.spice.deck(ngspice.pulses.load_dump(101.0, 4.0, 0.4)))
    found = ngspice.stress.stress(wave)
    amps, r1_joule, tv_joule, square = ngspice.supply.load_dump(101.0, 4.0, 0.4)
    assert found["F1"]["amp"] == pytest.approx(amps, rel=0.1)
    assert found["R1"]["joule"] == pytest.approx(r1_joule, rel=0.12)
    assert found["TV1"]["joule"] + found["TV2"]["joule"] == pytest.approx(tv_joule, rel=0.15)
    assert found["F1"]["a2s"] == pytest.approx(square, rel=0.12)


def test_energy_is_conserved(ngspice):
    """The energy that leaves the source is taken up by the parts, apart from what capacitors store."""
    wave = ngspice.spice.run(ngspice.spice.deck(ngspice.pulses.steady("14 V", 14.0)))
    late = wave["time"] > 0.5
    amps = np.abs(wave["i(@rf1[i])"][late]).mean()
    taken = sum(s["mean_w"] for m, s in ngspice.stress.stress(wave, 0.5).items() if m in ("D1", "R1", "TV1", "TV2", "R3"))
    assert 14.0 * amps > taken + 0.1  # the box behind R1 dissipates the rest
    assert wave["v(3v3)"][late].min() == pytest.approx(3.3, abs=0.05)


@pytest.mark.slow  # about 40 s
@pytest.mark.parametrize("group", ["load dump", "pulse", "fault"])
def test_simulated_rows_are_reproduced(ngspice, group, monkeypatch):
    """The hot corner of every case; its figures are at or below the worst of all corners, which the page shows."""
    cases, kept = ngspice.cases, {row["name"]: row for row in ngspice.simulate.kept()}
    monkeypatch.setattr(cases, "CORNERS", [(85.0, ngspice.models.BREAKDOWN_V[0], -0.05)])
    rows = {"load dump": cases.load_dump_rows, "pulse": cases.pulse_rows, "fault": cases.fault_rows}[group]()
    for row in rows:
        shown = kept[row.name]
        assert row.troubles == (), row
        for figure, slack in (
            ("amp", 0.02),
            ("a2s", 0.002),
            ("r1_joule", 0.02),
            ("tv_joule", 0.02),
            ("tv_degc", 1.0),
            ("vin_v", 0.1),
        ):
            assert getattr(row, figure) <= float(shown[figure]) * 1.03 + slack, (row.name, figure)
        if group == "load dump":
            assert row.amp == pytest.approx(float(shown["amp"]), rel=0.05)
            assert row.tv_degc == pytest.approx(float(shown["tv_degc"]), abs=8.0)


@pytest.mark.slow  # about 2 s
def test_the_check_would_have_caught_the_older_circuit(ngspice, monkeypatch):
    """A lamp wire on the battery burns a quarter-watt resistor in R26's place: the check reports it."""
    import dataclasses

    part = ngspice.netlist.PARTS["R26"]
    monkeypatch.setitem(ngspice.netlist.PARTS, "R26", dataclasses.replace(part, watt=0.25, top_degc=155.0))
    row = ngspice.cases.fault_rows(["lamp's return to battery"])[0]
    assert any("R26" in trouble for trouble in row.troubles)


def test_probe_filter_settles_before_the_open_circuit_test_ends(hardware):
    """MAX31856 data sheet 19-7534: with less than 5k in series and a time constant under 2 ms the open-circuit test takes the shortest time."""
    pair = hardware.netlist.ohm("R28") + hardware.netlist.ohm("R29")
    lead_ohm = 40.0  # 2 m of 0.2 mm2 type K, both wires (about 10 ohm mm2/m in all); from memory
    seconds = (pair + lead_ohm) * (100e-9 + 10e-9 / 2)
    assert pair + lead_ohm < 5e3
    assert seconds < 2e-3 / 10
    assert math.exp(-0.0082 / seconds) < 1e-6  # settled within half a conversion at 60 Hz

"""A permanent short behind R1: R1 and its neighbours stay within derated ratings, or F2 opens in time."""

import numpy as np
import pytest

TOO_LONG_S = 60.0


@pytest.fixture(scope="module")
def sweep(hardware):
    return hardware.thermal.short_sweep(step_s=0.5)


def test_nothing_stays_outside_its_derated_rating(sweep):
    assert {case[0] for case in sweep.cases} >= {0.0, 15.0, 100.0}
    assert {case[1] for case in sweep.cases} >= {9.0, 16.0}
    assert {case[2] for case in sweep.cases} >= {-20.0, 85.0}
    assert sweep.outside_s.max() <= TOO_LONG_S
    assert sweep.r1_degc.max() < 185


def test_the_resistor_value_of_greatest_power_is_in_the_sweep(hardware):
    for tolerance in (-0.05, 0.05):
        assert hardware.thermal.short_sweep(tolerance=tolerance, step_s=0.5, hours=1.5).outside_s.max() <= TOO_LONG_S


def test_the_cut_off_is_needed(hardware, sweep):
    without = hardware.thermal.short_sweep(cutoff=False, step_s=0.5)
    assert without.outside_s.max() > 3600
    assert np.isfinite(sweep.opened_s).any()


def test_the_circuit_it_replaces_fails(hardware):
    old = hardware.netlist.Part("resistor", "10R 5 W", {}, 10.0, 5.0, 350.0, top_degc=275.0, k_w=41.0)
    assert hardware.thermal.short_sweep(old, cutoff=False, step_s=0.5, hours=0.2).outside_s.max() > TOO_LONG_S


def test_steady_wall_temperature_against_a_calculation_by_hand(hardware):
    # dead short, 9 V, -20 degC, still air: all heat leaves through 0.0234 m2 x 5 W/m2K
    found = hardware.thermal.short_sweep(step_s=0.5)
    number = found.cases.index((0.0, 9.0, -20.0, 5.0))
    amps = (9.0 - 0.75) / (15.0 * 0.95)
    watts = amps * (9.0 - 0.75) + 0.95 * amps
    assert found.wall_degc[number] == pytest.approx(-20.0 + watts / (5.0 * 0.0234), abs=0.5)


def test_two_hundred_pulses_of_heat_leave_f2_closed(hardware):
    # ten load dumps from 85 degC: even if all of R1's heat stays in the housing and the element
    joule = max(float(row["r1_joule"]) for row in hardware.simulate.kept() if row["name"].startswith("load dump A"))
    thermal = hardware.thermal
    gain_k = 10 * joule / (thermal.HOUSING_J_K + thermal.ELEMENT_J_K + thermal.POD_J_K)
    assert 85.0 - 10.0 + gain_k < thermal.CUTOFF_HOLD_DEGC
    # with the pod's own heat loss over the nine minutes, from 85 degC
    wall = 85.0
    for _ in range(10):
        wall = (
            85.0
            + (wall - 85.0) * np.exp(-60.0 * 5.0 * thermal.POD_M2 / thermal.POD_J_K)
            + joule / (thermal.HOUSING_J_K + thermal.POD_J_K)
        )
    housing = wall + joule / thermal.HOUSING_J_K
    assert housing < thermal.CUTOFF_TOP_DEGC - 10.0  # the earliest it may open

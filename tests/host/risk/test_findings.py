"""Trapped fuel after a stop and a blocked tank vent: each found once, and nothing found where there is nothing."""

import numpy as np
import pytest
from hotfuel.report.story_words import pressure as words
from hotfuel.risk.findings import BLOCKED_VENT, TRAPPED_FUEL, pressure_findings
from hotfuel.units import Shown

TIME = np.arange(0, 1200, 1.0)
RUNNING = (TIME < 300).astype(float)


def test_line_pressure_that_climbs_after_the_stop_is_found_with_its_caution():
    pressure = np.where(TIME < 300, 38.0, 10 + 25 * (1 - np.exp(-(TIME - 330) / 200)) * (TIME > 330))
    (found,) = pressure_findings(TIME, RUNNING, fuel_pressure_kpa=pressure)
    assert found.size_kpa == pytest.approx(25, abs=1)
    assert found.time_s > 900
    assert found.kind == TRAPPED_FUEL
    said = words(found, Shown("si"))
    assert "past the needle" in said
    assert "leaks" in said
    assert f"{found.size_kpa:.1f} kPa" in said
    assert f"{found.size_kpa / 6.894757:.1f} psi" in words(found, Shown("us"))


def test_pressure_that_bleeds_off_or_swings_while_running_is_not_a_finding():
    pressure = np.where(TIME < 300, 38 + 5 * np.sin(TIME), 30 * np.exp(-(TIME - 300) / 60))
    assert pressure_findings(TIME, RUNNING, fuel_pressure_kpa=pressure) == []
    assert pressure_findings(TIME, RUNNING, fuel_pressure_kpa=np.full(TIME.shape, np.nan)) == []
    assert pressure_findings([], [], fuel_pressure_kpa=[], tank_gauge_kpa=[]) == []


def test_two_stops_are_two_findings():
    running = ((TIME < 200) | ((TIME > 600) & (TIME < 800))).astype(float)
    pressure = np.where(running == 1, 38.0, 0.02 * (TIME % 400))
    assert len(pressure_findings(TIME, running, fuel_pressure_kpa=pressure)) == 2


def test_a_pump_s_own_pressure_is_no_trapped_fuel():
    """Before the first start; an electric pump that primes before a restart; a restart within the second in which pressure comes."""
    first_start = np.where(TIME > 100, 38.0, 0.0)
    assert pressure_findings(TIME, (TIME > 101).astype(float), fuel_pressure_kpa=first_start) == []
    slow_start = np.interp(TIME, [0, 200, 201], [0, 30, 38.0])  # by hand, or by a slow pump
    assert pressure_findings(TIME, (TIME > 201).astype(float), fuel_pressure_kpa=slow_start) == []
    primed = np.where(TIME < 300, 100.0, np.where(TIME > 894, 100.0, 0.0))
    running = np.where((TIME >= 300) & (TIME < 900), 0.0, 1.0)
    assert pressure_findings(TIME, running, fuel_pressure_kpa=primed) == []
    primed_slowly = np.where(TIME < 300, 100.0, np.interp(TIME, [800, 900], [0, 100.0]))
    key = np.where((TIME >= 300) & (TIME < 800), 0.0, 1.0)
    assert pressure_findings(TIME, running, fuel_pressure_kpa=primed_slowly, ignition=key) == []


def test_what_the_line_gained_before_a_pump_came_on_is_still_found():
    pressure = np.where(TIME < 300, 38.0, np.interp(TIME, [300, 800], [0, 20.0])) + np.where(TIME > 900, 30.0, 0.0)
    (found,) = pressure_findings(TIME, RUNNING, fuel_pressure_kpa=pressure, ignition=RUNNING)
    assert found.size_kpa == pytest.approx(20, abs=0.5)


def test_a_car_without_a_carburettor_has_no_needle():
    pressure = np.where(TIME < 300, 38.0, np.interp(TIME, [300, 800], [0, 20.0]))
    (found,) = pressure_findings(TIME, RUNNING, fuel_pressure_kpa=pressure)
    said = words(found, Shown("si"), needle=False)
    assert "look for leaks, and do not open the line" in said
    assert "needle" not in said and "carburettor" not in said


def test_a_growing_vacuum_in_the_tank_is_a_blocked_vent():
    (found,) = pressure_findings(TIME, RUNNING, tank_gauge_kpa=-TIME / 200)
    assert found.kind == BLOCKED_VENT
    assert "vent is blocked" in words(found, Shown("si"))
    assert found.time_s == pytest.approx(400, abs=2)
    # a cap's vacuum relief holds a constant vacuum
    assert pressure_findings(TIME, RUNNING, tank_gauge_kpa=np.full(TIME.shape, -3.0)) == []
    assert pressure_findings(TIME, RUNNING, tank_gauge_kpa=TIME / 200) == []
    begins_deep = pressure_findings(TIME, RUNNING, tank_gauge_kpa=-4 - TIME / 200)[0].time_s
    assert begins_deep == pytest.approx(120, abs=0.5)  # what came before the recording is unknown

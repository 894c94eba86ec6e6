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


HOT = np.full(TIME.shape, 55.0)
NOISE = np.random.default_rng(5).normal(0, 0.9, len(TIME))
SOAKED = np.where(TIME < 300, 38.0, np.interp(TIME, [300, 350, 1100], [10.0, 5.0, 25.0]))


@pytest.mark.parametrize("electric", [True, False])
@pytest.mark.parametrize(
    ("recorded", "running", "pressure", "key", "spread"),
    [
        ("from the stop on", 0 * RUNNING, SOAKED, None, 0.1),
        ("with a pump that primed for 4 s early in the stop", RUNNING, SOAKED + 10.0 * ((TIME >= 330) & (TIME < 334)), None, 0.1),
        ("with a pump that primed, the key on", RUNNING, SOAKED + 10.0 * ((TIME >= 330) & (TIME < 334)), (TIME < 300) | ((TIME > 328) & (TIME < 335)), 0.1),
        ("with a prime that the line held", RUNNING, np.where(TIME < 330, SOAKED, np.interp(TIME, [330, 334, 1100], [6, 16, 36.0])), None, 1.0),
        ("with the key left on after it stalled", RUNNING, SOAKED, np.ones(len(TIME)), 0.1),
        ("by a sender with noise", RUNNING, SOAKED + NOISE, None, 1.5),
    ],
)  # fmt: skip
def test_trapped_fuel_is_found_in_a_soak_that_was_recorded(recorded, running, pressure, key, spread, electric):
    (found,) = pressure_findings(
        TIME, running, fuel_pressure_kpa=pressure, ignition=key, hottest_degc=HOT, electric_pump=electric
    )
    assert found.size_kpa == pytest.approx(20, abs=spread), recorded
    assert found.time_s > 1050, recorded


PRIMED = 100 * (1 - np.exp(-np.maximum(TIME - 895, 0) / 2))  # before a start at 901 s


@pytest.mark.parametrize(
    ("recorded", "running", "pressure", "key"),
    [
        ("at the first start of a car that stood in the sun", TIME > 901, PRIMED, None),
        ("at the first start, its key on", TIME > 901, PRIMED, TIME >= 895),
        ("before a hot restart", (TIME < 300) | (TIME > 901), np.where(TIME < 300, 100.0, PRIMED), (TIME < 300) | (TIME >= 895)),
        ("in a stop, held by its valve", RUNNING, np.where(TIME < 300, 100.0, PRIMED), (TIME < 300) | ((TIME >= 895) & (TIME < 900))),
        ("slowly", RUNNING, np.interp(TIME, [300, 301, 800, 1100], [38, 0, 0, 38.0]), (TIME < 300) | (TIME >= 800)),
        ("with noise and nothing else", RUNNING, 20 + NOISE, None),
    ],
)  # fmt: skip
def test_a_pump_s_pressure_in_a_hot_car_is_no_trapped_fuel(recorded, running, pressure, key):
    assert pressure_findings(TIME, running, fuel_pressure_kpa=pressure, ignition=key, hottest_degc=HOT) == [], recorded


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

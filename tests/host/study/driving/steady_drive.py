"""A drive at one speed with steady temperatures, for forecasts."""

import numpy as np
from hotfuel.car import EXAMPLE, load
from hotfuel.study.drive.course import Course

CAR = load(EXAMPLE)
TANK_DEGC, PUMP_DEGC, INLET_DEGC, RPM, COUNT = 35.0, 42.0, 47.0, 2000.0, 1500


def steady(car=CAR, rpm=RPM, **degc):
    """Running at one speed throughout: 12.65 L/h at 2000 rpm (tests/host/study/line/test_hose.py, by hand), and the return."""
    t = np.arange(COUNT) * 1.0
    blank = np.full(COUNT, np.nan)
    inputs = {
        "engine_rpm": np.broadcast_to(rpm, t.shape).astype(float),
        "fuel_pressure_kpa": np.full(COUNT, 38.0),
        "running": np.ones(COUNT),
    }
    inputs |= {"ignition": blank, "ambient_pressure_kpa": blank}
    levels = {"tank": TANK_DEGC, "pump": PUMP_DEGC, "carb_inlet": INLET_DEGC} | degc
    return Course("x", t, {p: np.full(COUNT, x) for p, x in levels.items()}, {}, inputs, (), 0.0, car, 28.0)

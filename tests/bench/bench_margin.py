"""Margins with V/L for 3 places x 36,000 samples against one numpy.polyval of degree 9 over the same 108,000 numbers, run in turn.

    python tests/bench/bench_margin.py

A drive of two hours at 5 Hz: temperatures that drift towards the limit, air pressure and line pressure once a second, stops.
"hard" is the worst case for the function: a different pressure at every sample, half of them boiling. Also the error of the
prepared tables against the direct flash.
"""

import numpy as np
from bench_thermocouple import ratio
from hotfuel import car as car_file
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions

SAMPLES = 36_000


def drive(generator):
    """(temperatures by place, conditions) of an ordinary drive with a pass and stops."""
    time_s = np.arange(SAMPLES) * 0.2
    wander = np.cumsum(generator.standard_normal((3, SAMPLES)), axis=1) * 0.02
    temperatures = {
        name: base + swing * np.sin(time_s / 900) + row
        for name, base, swing, row in zip(("tank", "pump", "carb_inlet"), (32, 44, 50), (3, 8, 10), wander, strict=True)
    }
    second = np.floor(time_s)
    air = np.round(97 - 8 * np.sin(second / 2000) ** 2, 2)
    running = (np.sin(second / 300) > -0.9).astype(float)
    return temperatures, Conditions(
        running=running, ambient_pressure_kpa=air, fuel_pressure_kpa=np.round(running * 38 + 0.3 * np.sin(second), 1)
    )


def hard(generator):
    temperatures = {name: generator.uniform(40, 70, SAMPLES) for name in ("tank", "pump", "carb_inlet")}
    running = (generator.random(SAMPLES) > 0.3).astype(float)
    return temperatures, Conditions(
        running=running,
        ambient_pressure_kpa=generator.uniform(80, 101, SAMPLES),
        fuel_pressure_kpa=running * generator.uniform(30, 45, SAMPLES),
    )


def main():
    generator = np.random.default_rng(1)
    car = car_file.load(car_file.EXAMPLE)
    fuel = car.fuel()
    fuel.limit_table  # noqa: B018 - prepared once per fuel, not part of the measured time
    degree_9, numbers = generator.standard_normal(10), generator.uniform(0, 10, 3 * SAMPLES)
    for name, (temperatures, conditions) in (("drive", drive(generator)), ("hard", hard(generator))):
        times, floor = ratio(
            lambda t=temperatures, c=conditions: margins(car, fuel, t, c), lambda: np.polyval(degree_9, numbers), 15
        )
        print(f"{name:6s} margins and V/L, 3 places x {SAMPLES}: {times:5.1f} x polyval ({1000 * floor:.2f} ms); aim: at most 20")
    temperatures, conditions = hard(np.random.default_rng(2))
    part = slice(0, 2000)
    air_only = Conditions(running=1, ambient_pressure_kpa=conditions.ambient_pressure_kpa[part])
    table = margins(car, fuel, {"tank": temperatures["tank"][part]}, air_only)["tank"]
    direct = fuel.limit_degc(table.pressure_kpa, 20.0)
    print(
        f"limit of the table against the direct flash: worst {np.abs(table.limit_degc - direct).max():.4f} degC; aim: below 0.05"
    )
    share = fuel.vapour_liquid_ratio(table.temperature_degc, table.pressure_kpa)
    near = share < 39
    print(
        f"V/L of the table against the direct flash, below 39: worst {np.abs(table.vapour_liquid_ratio - share)[near].max():.3f}"
    )


if __name__ == "__main__":
    main()

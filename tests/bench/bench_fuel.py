"""Speed of the fuel's formulas, each against a floor measured in the same run: `python tests/bench/bench_fuel.py`.

Floors: one numpy polyval of degree 9 over the same array (limit and V/L of 3 places x 36,000 samples, 20 allowed), and the vapour
pressures of ten components for the same states (the direct flash). The error of the table is printed with its speed.
"""

import time
from collections.abc import Callable

import numpy as np
from hotfuel.fuel import Fuel
from hotfuel.fuel import components as c

PLACES, SAMPLES, REPEATS = 3, 36_000, 7


def best_s(function: Callable[[], object]) -> float:
    """Shortest time of a few runs, s."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def report(name: str, fuel: Fuel, rng: np.random.Generator) -> None:
    """Print the ratios for one fuel."""
    pressure, x = rng.uniform(70, 160, (PLACES, SAMPLES)), rng.uniform(0, 1, (PLACES, SAMPLES))
    coefficients = np.ones(10)
    start = time.perf_counter()
    table = fuel.limit_table
    prepared = time.perf_counter() - start
    degc = table.limit_degc(pressure, rng.uniform(0.5, 40, (PLACES, SAMPLES)))
    polyval = best_s(lambda: np.polyval(coefficients, x))
    margin = best_s(lambda: (table.limit_degc(pressure, 20.0) - degc, table.vapour_liquid_ratio(degc, pressure)))
    checked_p, checked_ratio = np.exp(rng.uniform(np.log(50), np.log(500), 4000)), rng.uniform(0, 40, 4000)
    error = np.abs(table.limit_degc(checked_p, checked_ratio) - fuel.limit_degc(checked_p, checked_ratio)).max()
    print(
        f"{name}: margins with V/L of {pressure.size} samples {margin * 1000:.1f} ms = {margin / polyval:.1f} x polyval of degree 9 (20 allowed); "
        f"table prepared in {prepared * 1000:.0f} ms, largest error {error:.3f} degC"
    )
    states_p, kelvin, which = pressure[0], degc[0] + 273.15, fuel.feed.which
    direct = best_s(lambda: fuel.vapour_liquid_ratio(degc[0], states_p))
    floor = best_s(lambda: np.exp(c.log_vapour_pressure(kelvin, which)))
    print(
        f"{name}: direct flash of {len(which)} components {direct / SAMPLES * 1e6:.2f} us a state (1.2 wanted for ten) "
        f"= {direct / floor:.1f} x their vapour pressures alone"
    )


def main() -> None:
    rng = np.random.default_rng(1)
    report("no ethanol", Fuel.from_measurements(60, 55, 100, 165), rng)
    report("10 % ethanol", Fuel.from_measurements(63.5, 53, 72, 160, 10), rng)
    fit = best_s(lambda: Fuel.from_measurements(60 + rng.uniform(0, 1), 55, 100, 165))
    print(f"fitting a measured fuel: {fit * 1000:.0f} ms")


if __name__ == "__main__":
    main()

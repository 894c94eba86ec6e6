"""EMF and cold junction to temperature against one numpy.polyval of degree 9 over the same array, and the error against the exact inverse.

    python tests/bench/bench_thermocouple.py

The two run in turn, so that other load affects both; the ratio is of medians of processor time.
"""

import time

import numpy as np
from hotfuel.temperature.thermocouple import emf_mv, temperature_degc


def ratio(first, second, rounds):
    """(median of first / median of second, median of second in seconds), the two run in turn."""
    spent = np.empty((rounds, 2))
    for row in spent:
        for column, function in enumerate((first, second)):
            begin = time.process_time()  # processor time, not the clock: other load would count against the longer of the two
            function()
            row[column] = time.process_time() - begin
    medians = np.median(spent, axis=0)
    return medians[0] / medians[1], medians[1]


def main():
    generator = np.random.default_rng(1)
    degree_9 = generator.standard_normal(10)
    print(f"{'samples':>9s} {'cold junctions':>15s} {'ratio to polyval':>17s} {'polyval ns each':>16s}")
    for size in (36_000, 108_000, 1_000_000, 4_000_000):
        emf, cold = generator.uniform(0, 10, size), generator.uniform(0, 60, size)
        for name, junction in (("one each", cold), ("one for all", 25.0)):
            times, floor = ratio(
                lambda e=emf, c=junction: temperature_degc(e, c), lambda e=emf: np.polyval(degree_9, e), max(9, 8_000_000 // size)
            )
            print(f"{size:9d} {name:>15s} {times:17.2f} {1e9 * floor / size:16.2f}")
    exact = np.linspace(-200, 1372, 1_572_001)
    print(f"worst error of the inverse, -200 to 1372 degC: {1000 * np.abs(temperature_degc(emf_mv(exact)) - exact).max():.3f} mK")
    for least, greatest in ((-55, 125), (0, 85)):
        cold = generator.uniform(least, greatest, exact.size)
        error = 1000 * np.abs(temperature_degc(emf_mv(exact) - emf_mv(cold), cold) - exact)
        fuel = (exact > -40) & (exact < 200)
        print(
            f"with cold junctions of {least} to {greatest} degC: {error.max():.3f} mK; -40 to 200 degC: {error[fuel].max():.3f} mK"
        )


if __name__ == "__main__":
    main()

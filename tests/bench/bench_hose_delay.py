"""How often the interval of a hose's delay holds with an unknown flow, on a second model of the fuel line (line_physics.py), with
and without engine speed.

    python tests/bench/bench_hose_delay.py [cars]

The truth is the true volume over the median of the true flow in the period that was used; refused and unreported ones are counted
too.
"""

import sys
from dataclasses import replace

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.study.line import transport
from scipy.stats import binomtest

PLACES = ("tank", "suction", "pump_out", "carb_inlet")


def trial(count, seed, speed_read=True):
    """[(inside, u, miss) or None] of two hoses in each car."""
    cars = lines.cars(count, seed)
    runs = lines.march(cars)
    read = lines.readings(runs, PLACES, seed)
    found = []
    for k in range(count):
        course = sessions.course(runs, read, k, sessions.car(PLACES, displacement=False))
        if not speed_read:
            course = replace(course, inputs=course.inputs | {"engine_rpm": np.full(len(course.time_s), np.nan)})
        for one in transport.sections(course):
            volume = {"suction": cars["v1"][k], "carb_inlet": cars["v2"][k]}.get(one.place)
            if volume is None:
                continue
            if one.hose is None or not np.isfinite(one.hose.delay_s):
                found.append(None)
                continue
            rows = slice(int(one.start_s), int(one.end_s) + 1)
            flow = runs.kept["litres_h"][rows, k]
            truth = 3600 * volume / float(np.median(flow[flow > 0]))
            found.append(
                (abs(one.hose.delay_s - truth) <= 2 * one.hose.delay_u_s, one.hose.delay_u_s / truth, one.hose.delay_s - truth)
            )
    return found


def main(count=120, seed=2050):
    for name, speed_read in (("engine speed read", True), ("engine speed not read", False)):
        found = trial(count, seed, speed_read)
        told = [one for one in found if one is not None]
        inside, u, miss = (np.array(x) for x in zip(*told, strict=True))
        low, high = binomtest(int(inside.sum()), len(inside)).proportion_ci(method="wilson")
        print(
            f"{name:22s} {len(found)} hoses, {len(found) - len(told)} refused or not reported; of {len(told)} held in ±2u {inside.mean():.3f} "
            f"({low:.3f} to {high:.3f}), u {np.median(u):.0%} of the delay, median miss {np.median(miss):+.1f} s"
        )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

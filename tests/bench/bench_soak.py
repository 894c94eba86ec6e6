"""How often the 95 % bands of the soak and idle forecasts hold, under physics that the forecaster's model lacks (soak_physics.py).

    python tests/bench/bench_soak.py [soaks]

Coverage of the peak per horizon with its 95 % Wilson interval, the bands' median width, and the same with less information: no
outside air temperature, a boiling onset that is 3 degC (standard deviation) wrong, none at all.
"""

import sys
import time

import numpy as np
from hotfuel.risk.soak import forecast_idle, forecast_soak
from scipy.stats import binomtest
from soak_physics import soaks


def row(name, inside, widths, misses, seconds):
    low, high = binomtest(sum(inside), len(inside)).proportion_ci(method="wilson")
    print(
        f"{name:34s} {len(inside):5d} {sum(inside) / len(inside):9.3f}  {low:.3f} to {high:.3f} {np.median(widths):12.1f} {np.median(misses):+12.1f}"
        f" {1000 * seconds / len(inside):9.0f}"
    )


def soak_trial(some, horizon_min, seed, knows_air=True, onset_error_degc=3.0):
    """(truth inside the band, width, truth - middle) of the peak per soak."""
    draw = np.random.default_rng(seed)
    inside, widths, misses = [], [], []
    for one in some:
        seen = one.time_s <= 60 * horizon_min
        onset = one.boils_degc + draw.normal(0, onset_error_degc) if np.isfinite(onset_error_degc) else np.nan
        found = forecast_soak(
            one.time_s[seen],
            one.read_degc[seen],
            one.air_degc if knows_air else np.nan,
            onset_degc=onset,
            limit_degc=one.boils_degc + 6,
        ).peak_degc
        peak = float(one.truth_degc.max())
        inside.append(bool(found.least <= peak <= found.greatest))
        widths.append(found.greatest - found.least)
        misses.append(peak - found.middle)
    return inside, widths, misses


def idle_trial(some, seen_min, ahead_min=10.0):
    """The same for the margin ten minutes on."""
    inside, widths, misses = [], [], []
    for one in some:
        seen = one.time_s <= 60 * seen_min
        at = np.searchsorted(one.time_s, 60 * (seen_min + ahead_min))
        limit = one.boils_degc + 6
        found = forecast_idle(
            one.time_s[seen],
            one.read_degc[seen],
            one.air_degc,
            onset_degc=one.boils_degc,
            limit_degc=limit,
            ahead_s=60 * ahead_min,
        ).margin_degc
        margin = limit - float(one.truth_degc[at])
        inside.append(bool(found.least <= margin <= found.greatest))
        widths.append(found.greatest - found.least)
        misses.append(margin - found.middle)
    return inside, widths, misses


def main(count=400):
    print(
        f"{'95 % band of':34s} {'n':>5s} {'coverage':>9s}  {'95 % Wilson':>14s} {'width degC':>12s} {'median miss':>12s} {'ms each':>9s}"
    )
    for horizon in (2, 5, 10):
        some = soaks(count, seed=100 + horizon)
        for name, keys in (
            ("", {}), (", outside air not known", {"knows_air": False}), (", onset not known", {"onset_error_degc": np.nan}),
        ):  # fmt: skip
            begin = time.perf_counter()
            results = soak_trial(some, horizon, seed=horizon, **keys)
            row(f"peak at {horizon} min{name}", *results, time.perf_counter() - begin)
    for seen in (3, 6):
        some = soaks(count, seed=200 + seen, idle=True)
        begin = time.perf_counter()
        results = idle_trial(some, seen)
        row(f"idle margin in 10 min, seen {seen} min", *results, time.perf_counter() - begin)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

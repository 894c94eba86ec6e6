"""Whether the user's own history of fixes improves the next forecast, on a second model of the fuel line (line_physics.py).

    python tests/bench/bench_own_fixes.py [later cars]

Eight cars are driven without and, on another day, with a fix that has 0.6 of its usual effect; each stored forecast is compared
with the result. Then other cars are forecast twice, without that history and with it, and both are compared with the same day
driven with the fix.
"""

import sys

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.study.fixes import came, kept, own
from hotfuel.study.line.change import Change
from hotfuel.study.line.forecast import forecast

PLACES = ("tank", "pump", "carb_inlet")
OWN_CARS = 8
USUAL = {
    "cooler": Change("a cooler before the carb inlet", cooler_ua_w_k=(2.0, 10.0), cooler_before="carb_inlet"),
    "insulation": Change("a sleeve before the carb inlet", insulation_share=(0.2, 0.6), insulated_before="carb_inlet"),
}


def fitted(cars, kind, share, draw):
    """The cars with that share of the usual effect, and the spread between cars."""
    share = share * np.exp(0.1 * draw.standard_normal(len(cars["air"])))
    if kind == "cooler":
        return lines.changed(cars, cooler_w_k=6.0 * share)
    return lines.changed(cars, ua2=cars["ua2"] * (1 - 0.4 * share), rad2=cars["rad2"] * (1 - 0.4 * share))


def trial(kind, later, seed, share=0.6):
    """(Own of the eight, {"without" or "with": [(held, half width, miss)] of the inlet's median while running})."""
    draw = np.random.default_rng(seed)
    n = OWN_CARS + later
    base = lines.cars(n, seed)
    fixed = fitted(base, kind, share, draw)
    another = lines.changed(
        fixed, air=base["air"] + draw.uniform(-5, 5, n), start_rise=draw.uniform(0, 4, n), wander=draw.integers(0, 2**31, n)
    )
    runs = lines.march(lines.together(base, fixed, another))
    one = lines.readings(runs, PLACES, seed)
    read = {p: runs.kept[p] + np.tile((one[p] - runs.kept[p])[:, :n], (1, 3)) for p in PLACES}
    factors, change = [], USUAL[kind]
    for k in range(OWN_CARS):
        car = sessions.car(PLACES, tank_l=float(base["tank_l"][k]) / 0.6)
        before, after = (sessions.course(runs, read, at * n + k, car) for at in (0, 2))
        told = forecast(before, [change])[0]
        held = came.held(kept.Kept(change, told.stages, "1 June 2026"), before, after, car)
        if np.isfinite(held.log_factor):
            factors.append((held.log_factor, held.log_u))
    known = own.pooled(factors)
    results = {"without": [], "with": []}
    for k in range(OWN_CARS, n):
        car = sessions.car(PLACES, tank_l=float(base["tank_l"][k]) / 0.6)
        before, after = (sessions.course(runs, read, at * n + k, car) for at in (0, 1))
        on = after.inputs["running"] > 0
        truth = float(np.median(after.degc["carb_inlet"][on]))
        for name, history in (("without", {}), ("with", {kind: known})):
            row = next(r for r in forecast(before, [change], own=history)[0].rows if r.place == "carb_inlet")
            band = row.running
            results[name].append((band.least - 0.15 <= truth <= band.greatest + 0.15, band.half, truth - band.middle))
    return known, results


def main(later=100, seed=2040):
    for kind in USUAL:
        known, results = trial(kind, later, seed)
        print(
            f"{kind}: {known.middle:.2f} times the usual, spread {known.spread:.2f}, weight {known.weight:.2f}, from {known.fixes}"
        )
        for name, rows in results.items():
            held, half, miss = (np.array(x) for x in zip(*rows, strict=True))
            print(
                f"  {name:8s} held {held.mean():.3f} of {len(held)}, half width {np.median(half):.2f}, miss {np.sqrt(np.mean(miss**2)):.2f} degC rms"
            )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

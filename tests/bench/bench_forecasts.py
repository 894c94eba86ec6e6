"""How often the 95 % bands of `forecast` hold, for every kind of fix and place, on a second model of the fuel line (line_physics.py).

    python tests/bench/bench_forecasts.py [cars [seed [processes]]]

Every car is driven once without and once with each fix by the same driver; the forecast sees the first drive alone, the truth is
what the same probes, with the same errors, read in the second. Per kind and place: bands that hold for the hottest fuel, its
median while the engine runs and the smallest margin, with the 95 % Clopper-Pearson interval, and the median half width. Where a
change has no effect and none was forecast, or the forecast has no uncertainty and is correct, no band could be narrower: such
sessions are counted separately, and a row that is seldom uncertain is listed separately.
"""

import sys
import time
from multiprocessing import Pool

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.fuel import Fuel
from hotfuel.places import probe_of
from hotfuel.study.line.change import Change
from hotfuel.study.line.forecast import Before, _car_with, forecast
from scipy.stats import binomtest

AT_ONCE = 16  # cars
STEP_DEGC = 0.05  # half of the resolution shown: a smaller effect counts as none
SELDOM = 0.25  # a row that is uncertain in a smaller part of the sessions has too few to judge its bands by
PLACES = ("tank", "pump", "carb_inlet")
WINTER = Fuel.from_measurements(vapour_pressure_kpa=90.0, t10_degc=45.0, t50_degc=95.0, t90_degc=165.0, ethanol_vol=0.0)


def cooler_w_k(effectiveness, at_l_h):
    """The UA at 10 L/h that gives an effectiveness at a flow; the model's own exponent is not used: UA is stated at 10 L/h."""
    return -np.log1p(-effectiveness) * at_l_h / 3600 * lines.J_L_K


def kinds(base, draw):
    """{name: (the cars with the change, the change as it is asked for)}."""
    n = len(base["air"])
    sleeve, shield, spacer = draw.uniform(0.3, 0.6, n), draw.uniform(0.1, 0.5, n), draw.uniform(0.4, 0.8, n)
    fan = cooler_w_k(0.6, 10.0)
    back = 30.0
    return {
        "cooler, fan": (
            lines.changed(base, cooler_w_k=fan),
            Change("x", cooler_effectiveness=0.6, cooler_flow_l_h=10.0, cooler_before="carb_inlet"),
        ),
        "ice can, 2 kg": (
            lines.changed(base, ice_kg=2.0, ice_w_k=draw.uniform(8, 16, n)),
            Change("x", cooler_ua_w_k=(8.0, 16.0), cooler_before="carb_inlet", coolant="ice", ice_kg=2.0),
        ),
        "sleeve": (
            lines.changed(base, ua2=base["ua2"] * (1 - sleeve), rad2=base["rad2"] * (1 - sleeve)),
            Change("x", insulation_share=(0.3, 0.6), insulated_before="carb_inlet"),
        ),
        "shield": (
            lines.changed(base, rad2=base["rad2"] * (1 - shield)),
            Change("x", shield_share=(0.1, 0.5), shielded_before="carb_inlet"),
        ),
        "spacer, pump": (
            lines.changed(base, pump_block=base["pump_block"] * (1 - spacer)),
            Change("x", spacer_share=(0.4, 0.8), spacer_under="pump"),
        ),
        "return to tank": (lines.changed(base, return_l_h=back), Change("x", return_l_h=back)),
        "pump in tank": (
            lines.changed(base, tank_pump=True, electric_w=draw.uniform(3, 22, n)),
            Change("x", submerged_pump=True),
        ),
        "pump moved": (
            lines.changed(base, tank_pump=True, electric_w=draw.uniform(3, 22, n)),
            Change("x", pump_moved=True),
        ),
        "8 degC hotter": (lines.changed(base, air=base["air"] + 8 * (1 + base["day"])), Change("x", hotter_degc=8)),
        "1200 m higher": (
            lines.changed(base, kpa=base["kpa"] - 12.6, fuel_off=-12.6 * lines.ONSET_PER_KPA * base["height_off"]),
            Change("x", higher_m=1200),
        ),
        "winter fuel": (
            lines.changed(base, fuel_off=lines.WINTER_ONSET_DEGC + base["winter_off"] - base["onset_off"]),
            Change("x", fuel=WINTER),
        ),
        "cooler and sleeve": (
            lines.changed(base, cooler_w_k=fan, ua2=base["ua2"] * (1 - sleeve), rad2=base["rad2"] * (1 - sleeve)),
            Change(
                "x",
                cooler_effectiveness=0.6,
                cooler_flow_l_h=10.0,
                cooler_before="carb_inlet",
                insulation_share=(0.3, 0.6),
                insulated_before="carb_inlet",
            ),
        ),
        "longer stop": (
            lines.changed(base, stop_s=base["stop_s"] + 400),
            Change("x", stop_min=float((base["stop_s"].mean() + 400) / 60)),
        ),
    }


def cars_of(count, seed, returns=0.0):
    """For each car (course, its car file, {kind: (change, {(place, what): true degC})}). returns: L/h of an existing return line."""
    draw = np.random.default_rng(seed)
    base = lines.changed(lines.cars(count, seed), return_l_h=returns)
    if returns:
        base["tank_l"] = draw.uniform(10, 25, count)
    made = kinds(base, draw)
    if returns:
        made = {f"{name}, return": made[name] for name in ("cooler, fan", "ice can, 2 kg", "sleeve", "spacer, pump")}
    runs = lines.march(lines.together(base, *(cars for cars, _ in made.values())))
    read = lines.readings(runs, PLACES, seed, sets=len(made) + 1)
    full = draw.uniform(0.3, 0.95, count)  # the fill level of the tank is not stated
    for k in range(count):
        own = sessions.car(PLACES, tank_l=float(base["tank_l"][k] / full[k]), return_l_h=returns)
        course = sessions.course(runs, read, k, own)
        before, found = Before(course, own), {}
        for number, (name, (cars, change)) in enumerate(made.items(), start=1):
            if name == "longer stop":
                change = Change("x", stop_min=float(cars["stop_s"][k]) / 60)
            later = sessions.course(runs, read, number * count + k, own)
            truth = after_of(
                before, later, own, change, {name: float(base[name][k]) for name in ("height_off", "winter_off", "onset_off")}
            )
            if name == "longer stop":  # its drive after the stop is shorter
                truth = {key: degc for key, degc in truth.items() if key[1] != "running" and key[0] != "tank"}
            found[name] = change, truth
        yield course, own, found


def forecast_rows(course, found):
    """[(kind, place, what), inside, half width, miss, whether there is an uncertainty] of one car."""
    rows = []
    results = forecast(course, [change for change, _ in found.values()])
    for (name, (_, truth)), result in zip(found.items(), results, strict=True):
        for row in result.rows:
            for what in ("hottest", "running", "margin"):
                band, came = getattr(row, what), truth.get((row.place, what), np.nan)
                if not (np.isfinite(band.middle) and np.isfinite(came)):
                    continue
                inside = band.least - STEP_DEGC <= came <= band.greatest + STEP_DEGC
                uncertain = band.half >= STEP_DEGC or not inside
                rows.append(((name, row.place, what), inside, band.half, came - band.middle, uncertain))
    return rows


def trial(options):
    """Rows of all cars of (count, seed, return)."""
    return [row for course, _, found in cars_of(*options) for row in forecast_rows(course, found)]


def after_of(before, later, own, change, off):
    """{(place, what): degC} of the drive with the change, its limits by the car file as changed, and off by the day's own fuel and altitude."""
    then = own
    grid = before.grid.__class__.of(later, [p.name for p in own.places])
    if not (
        change.submerged_pump
        or change.pump_moved
        or change.return_l_h is not None
        or change.higher_m
        or change.fuel is not None
        or change.stop_min
    ):
        found = {}  # the limits are unchanged
        for place, degc in grid.degc.items():
            found[place, "hottest"] = float(degc.max())
            found[place, "running"] = float(np.median(degc[grid.on]))
        for place, margin in before.margin_degc.items():
            base = probe_of(place)
            found[place, "margin"] = float(np.nanmin(margin + before.grid.degc[base] - grid.degc[base]))
        return found
    if change.submerged_pump or change.pump_moved or change.return_l_h is not None:
        then = _car_with(own, change)
    if change.higher_m:
        then = own.model_copy(update={"altitude_m": own.altitude_m + change.higher_m})
    if change.fuel is not None:
        table = own.fuel_table.model_copy(update={"vapour_pressure_kpa": 90.0, "t10_degc": 45.0, "t50_degc": 95.0})
        then = then.model_copy(update={"fuel_table": table})
    held = Before(later, then)
    found = {}
    for place in held.grid.degc:
        rows = held.grid.rows_of(place)
        found[place, "hottest"] = float(held.grid.degc[place][rows].max())
        found[place, "running"] = float(np.median(held.grid.degc[place][rows & held.grid.on]))
    for place, margin in held.margin_degc.items():
        base = probe_of(place)
        if change.fuel is not None:
            margin = margin + off["winter_off"] - off["onset_off"]
        if change.higher_m:  # the same drive, so the limit moves by the altitude alone
            margin = margin + off["height_off"] * (
                margin + held.grid.degc[base] - before.margin_degc[place] - before.grid.degc[base]
            )
        found[place, "margin"] = float(np.nanmin(margin))
    return found


def main(count=208, seed=5000, processes=2):
    started = time.perf_counter()
    parts = [(AT_ONCE, seed + 2 * number + had, 45.0 * had) for number in range(-(-count // AT_ONCE)) for had in (0, 1)]
    results = {}
    with Pool(processes) as pool:
        for found in pool.imap(trial, parts):
            for key, *row in found:
                results.setdefault(key, []).append(row)
    table(results)
    print(f"{time.perf_counter() - started:.0f} s")


def table(results):
    """Print the rows: uncertain ones, seldom uncertain ones, certain ones."""
    print(
        f"{'kind':22s} {'place':18s} {'what':8s} {'uncertain':>12s} {'held':>6s}  {'Clopper-Pearson':>14s} {'half width':>10s} {'mean miss':>10s}"
    )
    counts = dict.fromkeys(("below 0.90", "0.90 to 0.99", "above 0.99", "seldom uncertain", "certain"), 0)
    for (name, place, what), rows in results.items():
        inside, half, miss, uncertain = (np.array(x) for x in zip(*rows, strict=True))
        n = int(uncertain.sum())
        label = f"{name:22s} {place:18s} {what:8s} {n:4d} of {len(rows):4d}"
        if not n:
            counts["certain"] += 1
            print(f"{label} came as forecast, without uncertainty")
            continue
        inside, half, miss = inside[uncertain], half[uncertain], miss[uncertain]
        low, high = binomtest(int(inside.sum()), n).proportion_ci(method="exact")
        share = inside.mean()
        kind = "below 0.90" if share < 0.90 else "above 0.99" if share > 0.99 else "0.90 to 0.99"
        if n < SELDOM * len(rows):
            kind = "seldom uncertain"
        counts[kind] += 1
        mark = "" if kind == "0.90 to 0.99" else f" {kind}"
        print(f"{label} {share:6.3f}  {low:.3f} to {high:.3f} {np.median(half):10.2f} {np.mean(miss):+10.2f}{mark}")
    print("; ".join(f"{kind} {n}" for kind, n in counts.items()))


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

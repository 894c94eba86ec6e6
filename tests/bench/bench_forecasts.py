"""How often the 95 % bands of `forecast` hold, for every kind of fix and place, on a second model of the fuel line (line_physics.py).

    python tests/bench/bench_forecasts.py [cars]

Every car is driven on the same day by the same driver without and with each fix; the forecast sees the first drive alone, the truth is what the same
probes read in the second. Per kind and place: bands that hold for the hottest fuel, its median while the engine runs and the smallest margin, with the
95 % Wilson interval, and the median half width.
"""

import sys
import time

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.fuel import Fuel
from hotfuel.places import probe_of
from hotfuel.study.line.change import Change
from hotfuel.study.line.forecast import Before, _car_with, forecast
from hotfuel.units import Shown
from scipy.stats import binomtest

AT_ONCE = 16  # cars
PLACES = ("tank", "pump", "carb_inlet")
WINTER = Fuel.from_measurements(vapour_pressure_kpa=90.0, t10_degc=45.0, t50_degc=95.0, t90_degc=165.0)


def cooler_w_k(effectiveness, at_l_h):
    """The UA at 10 L/h that gives an effectiveness at a flow, with the model's own exponent left out: it is stated at 10 L/h."""
    return -np.log1p(-effectiveness) * at_l_h / 3600 * lines.J_L_K


def kinds(base, draw):
    """{name: (cars as they are then, the change that is asked)}."""
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
        "8 degC hotter": (lines.changed(base, air=base["air"] + 8), Change("x", hotter_degc=8)),
        "1200 m higher": (lines.changed(base, kpa=base["kpa"] - 12.6), Change("x", higher_m=1200)),
        "winter fuel": (lines.changed(base, fuel_off=lines.WINTER_ONSET_DEGC), Change("x", fuel=WINTER)),
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


def trial(count, seed, returns=0.0):
    """{(kind, place, what): [(inside, half width, miss)]} of `count` cars. returns: L/h of a return line that is there already."""
    draw = np.random.default_rng(seed)
    base = lines.changed(lines.cars(count, seed), return_l_h=returns)
    if returns:
        base["tank_l"] = draw.uniform(10, 25, count)
    made = kinds(base, draw)
    if returns:
        made = {f"{name}, return": made[name] for name in ("cooler, fan", "ice can, 2 kg", "sleeve", "spacer, pump")}
    runs = lines.march(lines.together(base, *(cars for cars, _ in made.values())))
    one = lines.readings(runs, PLACES, seed)
    # the same probes, with the same errors, in every drive
    read = {p: runs.kept[p] + np.tile((one[p] - runs.kept[p])[:, :count], (1, len(made) + 1)) for p in PLACES}
    full = draw.uniform(0.3, 0.95, count)  # nobody says how full the tank is
    results = {}
    for k in range(count):
        own = sessions.car(PLACES, tank_l=float(base["tank_l"][k] / full[k]), return_l_h=returns)
        course = sessions.course(runs, read, k, own)
        asked = []
        for name, (cars, change) in made.items():
            if name == "longer stop":
                change = Change("x", stop_min=float(cars["stop_s"][k]) / 60)
            asked.append(change)
        told = forecast(course, asked, shown=Shown("si"))
        before = Before(course, own)
        for number, (name, result) in enumerate(zip(made, told, strict=True), start=1):
            later = sessions.course(runs, read, number * count + k, own)
            truth = after_of(before, later, own, asked[number - 1])
            for row in result.rows:
                for what in ("hottest", "running", "margin"):
                    band, came = getattr(row, what), truth.get((row.place, what), np.nan)
                    if name == "longer stop" and (what == "running" or row.place == "tank"):
                        continue  # its drive on is a shorter one
                    if np.isfinite(band.middle) and np.isfinite(came):
                        slack = 0.15  # the probes' own noise in two extremes
                        results.setdefault((name, row.place, what), []).append(
                            (band.least - slack <= came <= band.greatest + slack, band.half, came - band.middle)
                        )
    return results


def after_of(before, later, own, change):
    """{(place, what): degC} of the drive with the fix, its limits by the car file as it is then."""
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
        found = {}  # the limits are what they were
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
        found[place, "margin"] = float(np.nanmin(margin))
    return found


def main(count=208, seed=5000):
    started = time.perf_counter()
    results = {}
    for number in range(-(-count // AT_ONCE)):
        for found in (trial(AT_ONCE, seed + 2 * number), trial(AT_ONCE, seed + 2 * number + 1, returns=45.0)):
            for key, rows in found.items():
                results.setdefault(key, []).extend(rows)
    print(
        f"{'kind':22s} {'place':18s} {'what':8s} {'n':>4s} {'held':>6s}  {'95 % Wilson':>14s} {'half width':>10s} {'median miss':>11s}"
    )
    poor = wide = 0
    for (name, place, what), rows in results.items():
        inside, half, miss = (np.array(x) for x in zip(*rows, strict=True))
        low, high = binomtest(int(inside.sum()), len(inside)).proportion_ci(method="wilson")
        exact = float(np.max(half)) < 0.005  # nothing in the change reaches that place
        outside = inside.mean() < 0.90
        poor += outside
        wide += not exact and inside.mean() > 0.99
        mark = " <" if outside else " nothing reaches it" if exact else ""
        told = f"{inside.mean():6.3f}  {low:.3f} to {high:.3f} {np.median(half):10.2f} {np.median(miss):+11.2f}{mark}"
        print(f"{name:22s} {place:18s} {what:8s} {len(inside):4d} {told}")
    print(
        f"{poor} of {len(results)} below 0.90, {wide} above 0.99 though something reaches them; {time.perf_counter() - started:.0f} s"
    )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

"""How often the heat budget's 95 % intervals contain the true heat, on a second model of the fuel line (line_physics.py), with a
probe at each section.

    python tests/bench/bench_heat_budget.py [cars [seed [processes]]]

Flow comes from engine speed (uncertain by a third), probes are as bought or calibrated, and in some sets the session begins with
a car that stood cold. Per phase and section: intervals of the share that hold, of the watts that hold, and how often a share
"cannot be told here"; the same for the path (hot metal or air, block or manifold), and for the heat brought back by a return.
"""

import sys
import time
from dataclasses import replace
from multiprocessing import Pool

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.risk.margin import Channel
from hotfuel.study.line import heat, ways
from scipy.stats import binomtest

AT_ONCE = 25  # cars
PLACES = ("tank", "suction", "pump_out", "carb_inlet", "bonnet", "block", "manifold")
ENTERS = {
    "suction": ("w_suction_air",),
    "pump_out": ("w_pump_block", "w_pump_air"),
    "carb_inlet": ("w_hose_air", "w_hose_exhaust"),
}
METAL = {"suction": {}, "pump_out": {"block": "w_pump_block"}, "carb_inlet": {"manifold": "w_hose_exhaust"}}
SETS = {
    "probes as bought": {},
    "probes calibrated to 0.3 degC": {"u_degc": 0.3},
    "probes as bought, the car stood cold for two minutes before its start": {"cold_s": 120.0},
    "a return of 40 L/h, probes as bought": {"returns": 40.0},
    "a return of 40 L/h, the car stood cold for two minutes before its start": {"returns": 40.0, "cold_s": 120.0},
}


def trial(count, seed, u_degc=0.8, returns=0.0, cold_s=0.0):
    """({what: [inside]}, {what: [reported]}, {what: [half width]})."""
    cars = lines.changed(lines.cars(count, seed), return_l_h=returns, cold_s=cold_s)
    runs = lines.march(cars)
    read = lines.readings(runs, PLACES, seed, u_degc=u_degc)
    inside, told, halves = {}, {}, {}

    def held(key, interval, came, within=0.0):
        inside.setdefault(key, []).append(interval.least - within <= came <= interval.greatest + within)
        halves.setdefault(key, []).append(interval.half)

    for k in range(count):
        volumes = {"suction": cars["v1"][k], "pump_out": 0.04, "carb_inlet": cars["v2"][k]}
        course = sessions.course(
            runs, read, k, sessions.car(PLACES, volumes=volumes, tank_l=float(cars["tank_l"][k]) / 0.6, return_l_h=returns)
        )
        if u_degc < 0.5:  # the calibration is in the session
            course = replace(course, channels={place: Channel(calibration_uncertainty_degc=u_degc) for place in PLACES})
        budget, rows = heat.budget(course), heat.phase_rows(course)
        enters = {place: sum(runs.kept[name][:, k] for name in names) for place, names in ENTERS.items()}
        for part in budget.parts:
            if part.phase in (heat.STOPPED, heat.PULLING):
                continue
            use = rows[part.phase]
            came = float(enters[part.place][use].mean())
            name = part.phase, part.place
            held((*name, "share"), part.share, came / sum(float(values[use].mean()) for values in enters.values()))
            held((*name, "W"), part.watts, came)
            told.setdefault((*name, "share"), []).append(part.share_told)
        running = sum(rows[phase] for phase in (heat.STANDING_STILL, heat.DRIVING)).astype(bool)
        for way in budget.ways:
            whole = enters[way.place][running].sum()
            share = {name: float(runs.kept[by][running, k].sum() / whole) for name, by in METAL[way.place].items()}
            asked = {"metal": (way.metal, sum(share.values())), **{name: (one, share.get(name, 0.0)) for name, one in way.metals}}
            for what, (interval, came) in asked.items():
                key = "running", way.place, what
                told.setdefault(key, []).append(ways.is_told(interval))
                if np.isfinite(interval.middle):
                    held(key, interval, float(np.clip(came, 0, 1)), 0.01)
        if returns:
            held(("running", "tank", "return W"), budget.back_w, float(runs.kept["w_return"][running, k].mean()))
    return inside, told, halves


def part(options):
    """One trial of (count, seed, options)."""
    return trial(options[0], options[1], **options[2])


def main(count=200, seed=2033, processes=2):
    with Pool(processes) as pool:
        for name, options in SETS.items():
            started = time.perf_counter()
            inside, told, halves = {}, {}, {}
            for found in pool.imap(part, [(AT_ONCE, seed + n, options) for n in range(-(-count // AT_ONCE))]):
                for whole, some in zip((inside, told, halves), found, strict=True):
                    for key, rows in some.items():
                        whole.setdefault(key, []).extend(rows)
            print(f"{name}, {count} cars ({time.perf_counter() - started:.0f} s)")
            table(inside, told, halves)


def table(inside, told, halves):
    """Print the rows of one set."""
    for key, rows in inside.items():
        low, high = binomtest(sum(rows), len(rows)).proportion_ci(method="exact")
        untold = f"cannot be told {1 - np.mean(told[key]):.2f}" if key in told else ""
        held = f"held {np.mean(rows):.3f} ({low:.3f} to {high:.3f}) of {len(rows)}"
        print(f"  {key[0]:14s} {key[1]:11s} {key[2]:9s} {held} half width {np.median(halves[key]):6.2f} {untold}")
    shares = [rows for key, rows in told.items() if key[2] == "share"]
    print(f"  shares that cannot be told: {1 - np.mean(np.concatenate(shares)):.2f}", flush=True)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

"""How often the heat budget's 95 % intervals hold what really enters, on a second model of the fuel line (line_physics.py), with a probe at each section.

    python tests/bench/bench_heat_budget.py [cars]

Flow comes from the engine's speed (a third of it is doubt), probes are not calibrated. Per phase and section: intervals of the share that hold, of the
watts that hold, and how often a share "cannot be told here"; the same for the way (hot metal or air), and for what a return brings back.
"""

import sys
import time

import line_physics as lines
import line_sessions as sessions
import numpy as np
from hotfuel.study.line import heat
from scipy.stats import binomtest

PLACES = ("tank", "suction", "pump_out", "carb_inlet", "bonnet", "block")
ENTERS = {
    "suction": ("w_suction_air",),
    "pump_out": ("w_pump_block", "w_pump_air"),
    "carb_inlet": ("w_hose_air", "w_hose_exhaust"),
}
METAL = {"suction": None, "pump_out": ("w_pump_block",), "carb_inlet": ("w_hose_exhaust",)}


def trial(count, seed, u_degc=0.8, returns=0.0):
    """{what: [inside]} and {what: [told]}."""
    cars = lines.changed(lines.cars(count, seed), return_l_h=returns)
    runs = lines.march(cars)
    read = lines.readings(runs, PLACES, seed, u_degc=u_degc)
    inside, told, halves = {}, {}, {}
    for k in range(count):
        volumes = {"suction": cars["v1"][k], "pump_out": 0.04, "carb_inlet": cars["v2"][k]}
        course = sessions.course(
            runs, read, k, sessions.car(PLACES, volumes=volumes, tank_l=float(cars["tank_l"][k]) / 0.6, return_l_h=returns)
        )
        budget, rows = heat.budget(course), heat.phase_rows(course)
        enters = {place: sum(runs.kept[name][:, k] for name in names) for place, names in ENTERS.items()}
        for part in budget.parts:
            if part.phase in (heat.STOPPED, heat.PULLING):
                continue
            use = rows[part.phase]
            came = float(enters[part.place][use].mean())
            share = came / sum(float(values[use].mean()) for values in enters.values())
            name = part.phase, part.place
            inside.setdefault((*name, "share"), []).append(part.share.least <= share <= part.share.greatest)
            inside.setdefault((*name, "W"), []).append(part.watts.least <= came <= part.watts.greatest)
            told.setdefault(name, []).append(part.share_told)
            halves.setdefault((*name, "share"), []).append(part.share.half)
            halves.setdefault((*name, "W"), []).append(part.watts.half)
        running = sum(rows[phase] for phase in (heat.STANDING_STILL, heat.DRIVING)).astype(bool)
        for way in budget.ways:
            metal = sum((runs.kept[name][running, k].sum() for name in METAL[way.place] or ()), start=0.0)
            share = float(np.clip(metal / enters[way.place][running].sum(), 0, 1))
            name = "running", way.place
            if not np.isfinite(way.metal.middle):
                told.setdefault(name, []).append(False)
                continue
            inside.setdefault((*name, "metal"), []).append(way.metal.least - 0.01 <= share <= way.metal.greatest + 0.01)
            told.setdefault(name, []).append(way.told)
            halves.setdefault((*name, "metal"), []).append(way.metal.half)
        if returns:
            back = float(runs.kept["w_return"][running, k].mean())
            inside.setdefault(("running", "tank", "return W"), []).append(budget.back_w.least <= back <= budget.back_w.greatest)
            halves.setdefault(("running", "tank", "return W"), []).append(budget.back_w.half)
    return inside, told, halves


def main(count=200, seed=2033):
    for name, options in (
        ("probes as bought", {}),
        ("probes calibrated to 0.3 degC", {"u_degc": 0.3}),
        ("a return of 40 L/h", {"returns": 40.0}),
    ):
        started = time.perf_counter()
        inside, told, halves = trial(count, seed, **options)
        print(f"{name}, {count} cars ({time.perf_counter() - started:.0f} s)")
        for key, rows in inside.items():
            low, high = binomtest(sum(rows), len(rows)).proportion_ci(method="wilson")
            untold = "" if key[2] == "W" or key[:2] not in told else f"cannot be told {1 - np.mean(told[key[:2]]):.2f}"
            print(
                f"  {key[0]:14s} {key[1]:11s} {key[2]:9s} held {np.mean(rows):.3f} ({low:.3f} to {high:.3f}) half width {np.median(halves[key]):6.2f} {untold}"
            )
        shares = [rows for key, rows in told.items() if key[0] != "running"]
        print(f"  shares that cannot be told: {1 - np.mean(np.concatenate(shares)):.2f}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))

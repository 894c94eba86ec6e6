"""Is it valid to look after every block? Test days driven by numbers whose true differences are known, generated here and not by the code under test.

    python tests/bench/bench_test_day.py [trials a case, default 2000] [case ...]

A day is driven until it is decided or its plan ends, with a look after every complete block. Printed: false claims (lower or
higher where there is no difference or the opposite one, "no difference worth having" where there is one), how often a true -5
degC was called lower, runs used against those of a plan with one look at the end, counted here with scipy. Bounds: at most 120 of
2000 with a false claim; a true -5 degC at a spread of 1.5 (one fix, a fixed plan at 90 %) called lower in at least 90 % within
1.3 times the fixed plan's runs, rounded up to a block; with three fixes the same against a plan that counts them.
"""

import sys
import time
from pathlib import Path

import numpy as np
from hotfuel.study.fixes.day_plan import made
from hotfuel.study.fixes.day_verdict import standing
from scipy import stats

DELTA = 5.0
# case: (true differences of the fixes, spread, further disturbances of the day, quantity)
CASES = {
    "one fix, nothing": ((0.0,), 1.5, "", "temperature"),
    "one fix, just worth having": ((DELTA,), 1.5, "", "temperature"),
    "one fix, -5": ((-5.0,), 1.5, "", "temperature"),
    "one fix, -5, spread 3": ((-5.0,), 3.0, "", "temperature"),
    "three fixes, nothing": ((0.0, 0.0, 0.0), 1.5, "", "temperature"),
    "three fixes, just worth having": ((DELTA, -DELTA, DELTA), 1.5, "", "temperature"),
    "three fixes, one of -5": ((0.0, 0.0, -5.0), 1.5, "", "temperature"),
    "nothing, drift of 3 a day": ((0.0,), 1.5, "drift", "temperature"),
    "-5, drift of 3 a day": ((-5.0,), 1.5, "drift", "temperature"),
    "nothing, first run 2 colder": ((0.0,), 1.5, "cold", "temperature"),
    "nothing, heavy tails": ((0.0,), 1.5, "tails", "temperature"),
    "nothing, blocks on two days": ((0.0,), 1.5, "days", "temperature"),
    "power, nothing": ((0.0,), 0.5, "", "power"),
    "power, 0.7 %": ((0.7,), 0.5, "", "power"),
}


def fixed_plan(fixes, delta, spread):
    """Runs of each variant of a plan with one look, 90 %, all pairs of variants by Bonferroni or Tukey, whichever needs fewer."""
    variants = fixes + 1
    for n in range(2, 60):
        freedom = variants * (n - 1)
        pairs = variants * fixes / 2
        tukey = stats.studentized_range.ppf(0.95, variants, freedom) / np.sqrt(2) if fixes > 1 else np.inf
        critical = min(stats.t.ppf(1 - 0.025 / pairs, freedom), tukey)
        if stats.nct.sf(critical, freedom, delta / (spread * np.sqrt(2 / n))) >= 0.9:
            return n
    raise ValueError("no plan that long")


def run_values(random, order, names, truths, spread, what):
    """One number a run, in the order driven."""
    count = len(order)
    noise = random.standard_t(3, count) / np.sqrt(3) if what == "tails" else random.standard_normal(count)
    values = spread * noise + np.array([0.0, *truths])[[names.index(name) for name in order]]
    if what == "drift":
        values += 3.0 * np.arange(count) / count
    if what == "cold":
        values[0] -= 2.0
    if what == "days":
        values[count // 2 // len(names) * len(names) :] += random.normal(0, 2.0)
    return 60 + values


def is_false(sight, truths, delta):
    truth = truths[sight.second] - truths[sight.first]
    return (
        (sight.verdict == "lower" and truth >= 0)
        or (sight.verdict == "higher" and truth <= 0)
        or (sight.verdict == "no difference worth having" and abs(truth) >= delta)
    )


def trial(name, count, seed=5):
    """{"false", "found", "runs", "most", "fixed"} over `count` days."""
    truths, spread, what, quantity = CASES[name]
    delta = 0.7 if quantity == "power" else DELTA
    names = ["as built", *(f"fix {i}" for i in range(len(truths)))]
    random = np.random.default_rng([seed, list(CASES).index(name), count])
    kept = dict.fromkeys(("false", "found", "runs"), 0)
    wanted = "higher" if quantity == "power" else "lower"
    for number in range(count):
        plan = made(
            Path("day.toml"), names, quantity=quantity, place="pump", phase="drive", difference=delta, spread=spread, seed=number
        )
        values = run_values(random, plan.order, names, truths, spread, what)
        width = len(names)
        false = found = False
        for block in range(2, plan.last_block + 1):
            driven = block * width
            seen = standing(plan, dict(enumerate(values[:driven], start=1)))
            false |= any(is_false(one, (0.0, *truths), delta) for one in seen.sights)
            found |= any(one.first == 0 and one.second == width - 1 and one.verdict == wanted for one in seen.sights)
            if seen.decided:
                break
        kept["false"] += false
        kept["found"] += found
        kept["runs"] += driven
    fixed = fixed_plan(len(truths), delta, spread) * len(names)
    return {**kept, "runs": kept["runs"] / count, "most": len(plan.order), "fixed": fixed}


def within(most, fixed, width):
    """True if the plan stays within 1.3 times the fixed plan's runs, rounded up to a block."""
    return most <= np.ceil(1.3 * fixed / width - 1e-9) * width


def main():
    given = sys.argv[1:]
    count = int(given.pop(0)) if given and given[0].isdigit() else 2000
    began = time.perf_counter()
    print(f"{count} days a case, a look after every block")
    print(f"{'case':<32} {'false':>6} {'found %':>8} {'runs used':>10} {'at most':>8} {'fixed plan':>10}")
    outside = 0
    for name in given or CASES:
        kept = trial(name, count)
        truths, _, _, _ = CASES[name]
        bad = kept["false"] > 0.06 * count or not within(kept["most"], kept["fixed"], len(truths) + 1)
        bad |= truths[-1] in (-5.0, 0.7) and kept["found"] < 0.9 * count
        outside += bad
        print(
            f"{name:<32} {kept['false']:>6} {100 * kept['found'] / count:>8.1f} {kept['runs']:>10.1f} {kept['most']:>8} {kept['fixed']:>10}"
            f"{'  <- outside' if bad else ''}",
            flush=True,
        )
    print(f"cases outside the bounds: {outside} of {len(given or CASES)}; {time.perf_counter() - began:.0f} s")
    sys.exit(outside > 0)


if __name__ == "__main__":
    main()

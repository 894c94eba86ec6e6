"""Does any order of driving cause false verdicts? Runs of designs whose true difference is known, generated here and not by the code under test.

    python tests/bench/bench_designs.py [trials a cell, default 2000] [design ...]

A trial is one report over three places in one phase, temperature and margin: the question is about the carburettor inlet, from
what was fitted. Each day has a random effect (1.5 degC), each run too (1.0, half of it common to all places); within a day a car
warms up over its first runs, by 2 degC in all, most of it between the first and the second; hot places follow outside air by 0.5
to 1 of it, drawn for each car. The adjustment of runs for outside air is the product's own function; everything else is
independent of it.

Bounds: of all intervals shown, decided or not, at least 93.5 % contain the truth; at most 120 of 2000 reports have any false
verdict, claims "seen" among them (a cell above is run once more with 10,000: at most 5.5 %); median half-width at most 1.15 of
the right simple model's, written with scipy here. Intervals widened by an assumption have no upper bound. Trials without a
verdict because of their order are counted.
"""

import sys
import time
from dataclasses import replace

import numpy as np
from hotfuel.study.evidence.verdicts import DECIDED, HIGHER, LOWER, NO_DIFFERENCE, SEEN
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.difference import SLOPE
from hotfuel.study.fixes.faults import CUT as CUT_SHORT
from hotfuel.study.fixes.faults import Fault
from hotfuel.study.fixes.fitted import Fitted, questions
from hotfuel.study.fixes.pairs import Pair
from hotfuel.study.fixes.summaries import MARGIN, MEAN, Cell, Run
from scipy import stats

PLACES = ("tank", "pump", "carb_inlet")
PULL = "full-throttle pull"
CELLS = [Cell(quantity, place, PULL) for place in PLACES for quantity in (MEAN, MARGIN)]
ASKED = Cell(MEAN, "carb_inlet", PULL)
NAMES = {"a": "as built", "b": "fix", "c": "another fix"}
FITTED = {"fix": Fitted("cooler", "carb_inlet"), "another fix": Fitted("ice", "carb_inlet")}
DAY_SD_DEGC, RUN_SD_DEGC, WARM_UP_DEGC = 1.5, 1.0, 2.0
TRUTHS_DEGC = (0.0, 3.0, -3.0, -5.0)  # of each cell separately: the first three invite every kind of false verdict
DELTA_DEGC = 3.0
HOUR_S, DAY_S = 3600.0, 86400.0


def shuffled(random, text):
    return "".join(random.permutation(list(text)))


def mixed(each):
    """One run a day, in an order drawn."""
    return lambda random: tuple(shuffled(random, "ab" * each))


def pairs(days):
    """Both sides on each day, alternately first."""
    return lambda random: tuple(random.permutation(["ab", "ba"] * (days // 2)).tolist())


def fixed(*days):
    return lambda random: days


# name: (days as letters in the order driven, the right simple model, any other disturbance)
DESIGNS = {
    "mixed, 3 a side": (mixed(3), "pooled", ""),
    "mixed, 4 a side": (mixed(4), "pooled", ""),
    "mixed, 6 a side": (mixed(6), "pooled", ""),
    "blocked, 4 days": (pairs(4), "blocks", ""),
    "blocked, 6 days": (pairs(6), "blocks", ""),
    "abba baab": (fixed("abba", "baab"), "blocks", ""),
    "abba baab, long": (fixed("abba", "baab", "baab", "abba"), "blocks", ""),
    "one day, abbaabba": (fixed("abbaabba"), "blocks", ""),
    "one day, abba": (fixed("abba"), "blocks", ""),
    "baseline first, 4 days": (fixed(*["ab"] * 4), "", ""),
    "baseline first, 8 days": (fixed(*["ab"] * 8), "", ""),
    "baseline first, one day": (fixed("aaaabbbb"), "", ""),
    "baseline first, 3 a day": (fixed(*["aaabbb"] * 2), "", ""),
    "baseline first, 10 pairs": (fixed(*["ab"] * 6), "assumed", "archive"),
    "one day a side": (fixed("aaa", "bbb"), "assumed", ""),
    "one day a side, 5 runs": (fixed("aaaaa", "bbbbb"), "assumed", ""),
    "two days a side": (fixed("aaa", "bbb", "bbb", "aaa"), "days", ""),
    "one side on one day": (fixed("aaaa", "b", "b", "b"), "assumed", ""),
    "lopsided days": (fixed("aab", "bba", "ab", "ba"), "blocks", ""),
    "warm and cool days": (mixed(4), "assumed", "season"),
    "warm and cool, 8 a side": (mixed(8), "assumed", "season"),
    "weather of 8 degC": (mixed(6), "slope", "weather"),
    "one outlier": (mixed(4), "pooled", "outlier"),
    "one outlier, blocked": (pairs(6), "blocks", "outlier"),
    "drifted probe": (mixed(4), "assumed", "drift"),
    "missing cell": (mixed(4), "pooled", "missing"),
    "cut short": (mixed(4), "pooled", "cut"),
    "three variants, a square": (fixed("abc", "bca", "cab"), "", ""),  # all pairs hold jointly: wider than the simple model
    "three variants, drawn": (lambda random: tuple(shuffled(random, "abc") for _ in range(4)), "", ""),
    "three, baseline first": (fixed("abc", "acb", "abc", "acb"), "", ""),
}


def one_report(random, days, wrong):
    """(runs, {(variant, cell): true difference from the baseline}); MARGIN cells follow the temperature of their place with independent noise."""
    truth = {("b", cell): float(random.choice(TRUTHS_DEGC)) for cell in CELLS}
    if "c" in "".join(days):
        truth |= {("c", cell): float(random.choice(TRUTHS_DEGC)) for cell in CELLS}
    slope = random.uniform(0.5, 1.0)
    runs, number = [], 0
    outlying, lost = random.integers(sum(map(len, days)), size=2)
    for day, letters in enumerate(days):
        of_day = random.normal(0, DAY_SD_DEGC)
        air = 27 + random.normal(0, 4.0 if wrong == "weather" else 1.0)
        for hour, letter in enumerate(letters):
            warmer = 8.0 if wrong == "season" and letter == "a" else 0.0
            outside = air + warmer + 0.3 * hour
            shared = of_day + random.normal(0, RUN_SD_DEGC * np.sqrt(0.5)) + WARM_UP_DEGC * (1 - np.exp(-1.5 * hour))
            shared += 8.0 if wrong == "outlier" and number == outlying else 0.0
            values = {}
            for j, cell in enumerate(CELLS):
                own = random.normal(0, RUN_SD_DEGC * np.sqrt(0.5))
                drifted = 2.0 * (letter == "b") if wrong == "drift" and cell.place == "carb_inlet" else 0.0
                values[cell] = (
                    60 + 3 * j + truth.get((letter, cell), 0.0) + shared + own + drifted + (slope - SLOPE) * (outside - 27)
                )
            more = {}
            # the probes are read cold before every run, all in fuel of one temperature, each within 0.2 degC
            if wrong == "drift":
                more["cold_degc"] = {p: random.normal(2.0 * (letter == "b") * (p == "carb_inlet"), 0.2) for p in PLACES}
            if number == lost and wrong in ("missing", "cut"):
                del values[ASKED], values[Cell(MARGIN, "carb_inlet", PULL)]
                more |= {"faults": CUT} if wrong == "cut" else {}
            start_s = DAY_S * day + HOUR_S * hour
            run = Run(
                f"run {number}",
                NAMES[letter],
                f"s{number}",
                values,
                {},
                start_s=start_s,
                duration_s=900.0,
                ambient_degc=outside,
                day=f"{day}",
                **more,
            )
            runs.append(run)
            number += 1
    return runs, {(NAMES[letter], cell): degc for (letter, cell), degc in truth.items()}


CUT = (Fault(CUT_SHORT, (), (PULL,)),)


def archive(random, count=10):
    """Pairs of runs of other days with nothing changed, like those in a car's archive."""
    found = []
    for pair in range(count):
        runs, _ = one_report(random, ("aa",), "")
        found.append(Pair(*(replace(run, name=f"archived {pair}") for run in runs)))
    return found


def is_false(answer, truth):
    """A claim that the truth contradicts; "seen" claims a difference beyond the smallest worthwhile one, in the direction given."""
    word = answer.verdict
    if word == SEEN:
        return truth * np.sign(answer.difference_degc) < DELTA_DEGC
    return (
        (word == LOWER and truth >= 0) or (word == HIGHER and truth <= 0) or (word == NO_DIFFERENCE and abs(truth) >= DELTA_DEGC)
    )


def right_half_width(runs, model):
    """Half-width of the interval that the design's own simple model gives for the asked cell, by scipy and least squares alone."""
    usable = [run for run in runs if ASKED in run.values and run.variant != NAMES["c"]]
    y = np.array([run.values[ASKED] for run in usable])
    side = np.array([run.variant == "fix" for run in usable], dtype=float)
    columns = [np.ones(len(y)), side]
    if model == "days":
        days = list(dict.fromkeys(run.day for run in usable))
        y = np.array([np.mean([v for v, run in zip(y, usable, strict=True) if run.day == day]) for day in days])
        side = np.array([next(run.variant == "fix" for run in usable if run.day == day) for day in days], dtype=float)
        columns = [np.ones(len(y)), side]
    if model == "slope":
        columns.append(np.array([run.ambient_degc for run in usable]))
    if model == "blocks":
        days = list(dict.fromkeys(run.day for run in usable))
        columns = [side, *(np.array([float(run.day == day) for run in usable]) for day in days)]
        place = np.concatenate([np.arange(k) - (k - 1) / 2 for k in (sum(run.day == day for run in usable) for day in days)])
        if len(y) - len(columns) - 1 >= 3:
            columns.append(place)
    design = np.column_stack(columns)
    which = 0 if model == "blocks" else 1
    solved, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    freedom = len(y) - rank
    variance = ((y - design @ solved) ** 2).sum() / freedom * np.linalg.pinv(design.T @ design)[which, which]
    return float(stats.t.ppf(0.975, freedom) * np.sqrt(variance))


def trial(name, count, seed=18):
    """{what was counted: number} over `count` reports of one design, with the median half-widths of the product's interval and the right model's."""
    plan, model, wrong = DESIGNS[name]
    random = np.random.default_rng([seed, list(DESIGNS).index(name), count])
    kept = dict.fromkeys(("shown", "held", "false", "decided", "none"), 0)
    widths, right = [], []
    for _ in range(count):
        runs, truth = one_report(random, plan(random), wrong)
        more = {"archived": archive(random)} if wrong == "archive" else {}
        fitted = {name: what for name, what in FITTED.items() if any(run.variant == name for run in runs)}
        result = compare_runs(runs, "as built", questions=questions(fitted, PLACES)[0], **more)
        first = next((a for a in result.answers if a.primary), None)
        kept["false"] += any(
            is_false(a, truth.get((a.variant, a.cell), 0.0) - truth.get((a.baseline, a.cell), 0.0)) for a in result.answers
        )
        kept["none"] += first is None or not np.isfinite(first.low_degc)
        if first is not None and np.isfinite(first.low_degc):
            kept["shown"] += 1
            kept["held"] += first.low_degc <= truth[first.variant, ASKED] <= first.high_degc
            kept["decided"] += first.verdict in DECIDED
            widths.append((first.high_degc - first.low_degc) / 2)
            if model not in ("", "assumed"):
                right.append(right_half_width(runs, model))
    return kept, float(np.median(widths)) if widths else np.nan, float(np.median(right)) if right else np.nan


def bad(name, count, kept, width, right):
    """What is outside the bounds; "" if nothing is."""
    told = []
    if kept["shown"] and kept["held"] < 0.935 * kept["shown"] - (0 if count >= 2000 else 3 * np.sqrt(0.05 * kept["shown"])):
        told.append("coverage")
    if kept["false"] > 0.06 * count + (0 if count >= 2000 else 3 * np.sqrt(0.05 * count)):
        again = trial(name, 10_000, seed=19)[0] if count >= 2000 else kept
        told += ["false verdicts"] if count < 2000 or again["false"] > 550 else []
    if width > 1.15 * right:
        told.append("width")
    return ", ".join(told)


def main():
    given = sys.argv[1:]
    count = int(given.pop(0)) if given and given[0].isdigit() else 2000
    began = time.perf_counter()
    print(f"{count} reports a design; {len(CELLS)} questions a report, one asked")
    print(
        f"{'design':<26} {'shown':>6} {'cover %':>8} {'false':>6} {'decided':>8} {'no verdict':>10} {'half-width':>10} {'x right':>8}"
    )
    outside = 0
    for name in given or DESIGNS:
        kept, width, right = trial(name, count)
        fault = bad(name, count, kept, width, right)
        outside += bool(fault)
        cover = 100 * kept["held"] / kept["shown"] if kept["shown"] else np.nan
        ratio = "assumed" if DESIGNS[name][1] == "assumed" else f"{width / right:.2f}"
        print(
            f"{name:<26} {kept['shown']:>6} {cover:>8.1f} {kept['false']:>6} {kept['decided']:>8} {kept['none']:>10} {width:>10.2f} {ratio:>8}"
            f"{'  <- ' + fault if fault else ''}",
            flush=True,
        )
    print(f"designs outside the bounds: {outside} of {len(given or DESIGNS)}; {time.perf_counter() - began:.0f} s")
    sys.exit(outside > 0)


if __name__ == "__main__":
    main()

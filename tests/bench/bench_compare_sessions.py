"""Can `hotfuel compare` be trusted on whole recordings? Sessions whose true difference is known, through the command line, with the verdicts counted.

    python tests/bench/bench_compare_sessions.py [trials a case and truth, default 200] [case ...]
    python tests/bench/bench_compare_sessions.py 50 designs      the designs of bench_designs.py as recordings, 100 of each

The recordings come from made_sessions.py, written as wire logs; the command is called as a user calls it, with --json. Each case
has something that a careless analysis gets wrong. Printed: how often the primary question's interval contains the truth, how
often its verdict is false, in how many reports a further question's verdict is false, how often the primary question was decided
and how often it was only described. At 5 % error 200 trials give 3 to 18 false ones (binomial, 95 %).
"""

import json
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from hotfuel.cli.app import app
from made_sessions import DAY_S, DRIVE, MONDAY_S, Made, noise, replace, write
from typer.testing import CliRunner

QUESTION = "smallest margin at pump, hot soak"
CHANGED = {"pump": -5.0}
DAY_SD_DEGC, RUN_SD_DEGC, OWN_SD_DEGC = 2.0, 0.7, 0.5


def runs(
    random, plan, change_degc, day_sd_degc=DAY_SD_DEGC, run_sd_degc=RUN_SD_DEGC, own_sd_degc=OWN_SD_DEGC, hourly_degc=0.0, **more
):
    """[(side, Made), ...] for a plan of days such as ("ab", "ba"): one letter a run, each day with its own outside air and its own effect."""
    found = []
    for day, letters in enumerate(plan):
        outside, of_day = 27 + random.normal(0, 3), random.normal(0, day_sd_degc)
        for hour, letter in enumerate(letters):
            offset = noise(random, run_sd_degc, own_sd_degc, of_day + hourly_degc * hour)
            made = Made(
                start_s=MONDAY_S + DAY_S * day + 3600 * hour,
                ambient_degc=outside + 0.5 * hour,
                change_degc=change_degc if letter == "b" else {},
                offset_degc=offset,
            )
            found.append((letter, made, {key: value(random, letter, day, hour) for key, value in more.items()}))
    return [(letter, Made(**{**made.__dict__, **changes})) for letter, made, changes in found]


def mixed(random, days):
    """One run a day, sides drawn at random, as many of each."""
    return tuple(random.permutation(list("ab" * (days // 2))).tolist())


def case_a_run_a_day(random, change):
    return runs(random, mixed(random, 8), change), ()


def case_two_runs_a_side(random, change):
    return runs(random, mixed(random, 4), change), ()


def case_days_of_one_side(random, change):
    return runs(random, ("aaa", "bbb", "bbb", "aaa"), change), ()


def case_one_day_a_side(random, change):
    return runs(random, ("aaaa", "bbbb"), change), ()


def case_both_sides_each_day(random, change):
    return runs(random, ("abba", "baab"), change), ()


def case_pairs_on_six_days(random, change):
    return runs(random, ("ab", "ba", "ba", "ab", "ba", "ab"), change), ()


def case_lopsided_days(random, change):
    return runs(random, ("aaab", "bbba", "ab"), change), ()


def case_one_day_mixed_order(random, change):
    return runs(random, ("abbaabba",), change, hourly_degc=0.4), ()


def case_one_day_one_after_the_other(random, change):
    return runs(random, ("aaaabbbb",), change, hourly_degc=0.6), ()


def case_unequal_numbers(random, change):
    return runs(random, tuple(random.permutation(list("aabbbbbb")).tolist()), change), ()


def case_slope_of_outside_air(random, change):
    return runs(random, mixed(random, 8), change, ambient_slope=lambda *_: 0.6), ()


def case_a_hotter_season_for_one_side(random, change):
    """Hot places follow outside air by less than a degree per degree, and one side was driven when it was 8 degC hotter."""
    hotter = lambda random, letter, *_: random.normal(33 if letter == "a" else 25, 2)  # noqa: E731
    return runs(random, mixed(random, 8), change, ambient_slope=lambda *_: 0.7, ambient_degc=hotter), ()


def case_outside_air_not_stated(random, change):
    return runs(random, mixed(random, 8), change, stated=lambda *_: False), ()


def case_not_stated_and_warm_starts(random, change):
    """The second run of each day starts with all of its fuel warm, and only one side is driven second."""
    warm = lambda random, letter, day, hour: random.uniform(4, 8) if hour else 0.0  # noqa: E731
    return runs(random, ("ab", "ab", "ab", "ab"), change, stated=lambda *_: False, warm_degc=warm), ()


def case_stated_for_one_side(random, change):
    warm = lambda random, *_: random.uniform(3, 7)  # noqa: E731
    return runs(random, mixed(random, 8), change, stated=lambda _, letter, *__: letter == "a", warm_degc=warm), ()


def case_longer_stops_for_one_side(random, change):
    drive = lambda _, letter, *__: (("drive", 300), ("idle", 120), ("stop", 300 if letter == "a" else 200), ("idle", 60))  # noqa: E731
    return runs(random, mixed(random, 8), change, drive=drive), ()


def case_more_stops_for_one_side(random, change):
    drive = lambda _, letter, *__: DRIVE * (3 if letter == "a" else 1)  # noqa: E731
    return runs(random, mixed(random, 8), change, drive=drive, day_sd_degc=1.0), ()


def case_another_fuel(random, change):
    fuel = lambda _, letter, *__: 60.0 if letter == "a" else 70.0  # noqa: E731
    return runs(random, mixed(random, 8), change, vapour_pressure_kpa=fuel), ()


def case_another_altitude(random, change):
    air = lambda _, letter, *__: 97.8 if letter == "a" else 84.6  # noqa: E731
    return runs(random, mixed(random, 8), change, pressure_kpa=air), ()


def case_no_engine_speed(random, change):
    return runs(random, mixed(random, 8), change, engine_speed=lambda *_: False), ()


def case_nothing_of_the_engine(random, change):
    off = lambda *_: False  # noqa: E731
    return runs(random, mixed(random, 8), change, engine_speed=off, ignition=off), (
        "--question",
        "smallest margin at pump, whole run",
    )


def case_laps(random, change):
    marks = lambda *_: ((30, "lap"), (120, "lap"), (210, "lap"), (295, "lap"))  # noqa: E731
    return runs(random, mixed(random, 8), change, marks=marks), ("--question", "mean at pump, lap")


def case_a_probe_that_dies(random, change):
    dead = lambda _, letter, day, hour: (("pump", 480, 780),) if day in (2, 5) else ()  # noqa: E731
    return runs(random, mixed(random, 8), change, dead=dead), ()


def case_baseline_first(random, change):
    return runs(random, ("ab",) * 4, change, hourly_degc=1.5), ()


def case_an_outlying_run(random, change):
    made = runs(random, mixed(random, 8), change)
    at = int(random.integers(8))
    letter, one = made[at]
    made[at] = letter, replace(one, offset_degc={place: degc + 8.0 for place, degc in one.offset_degc.items()})
    return made, ()


def case_a_probe_that_drifts(random, change):
    """Between the sides the pump's probe moves by 2 degC; every run begins cold, some time before the engine runs."""
    off = lambda _, letter, *__: {"pump": 2.0} if letter == "b" else {}  # noqa: E731
    return runs(random, mixed(random, 8), change, probe_off_degc=off, drive=lambda *_: (("stop", 25), *DRIVE)), ()


def case_switched_on_the_way(random, change):
    """One drive of 80 minutes, switched every ten, and the places follow each switch with a time constant of two minutes."""
    drive = (("drive", 4800),)
    marks = tuple((600.0 * n + 1, "ab"[n % 2]) for n in range(8))
    slow = 0.8 * np.cumsum(random.normal(0, 1, 5000)) / np.sqrt(5000)
    made = Made(
        drive=drive, marks=marks, switched_degc=change, switched_lag_s=120.0, drift_degc=tuple(slow), sensor_memory_s=40.0
    )
    return [("ab", made)], ("--question", "mean at pump, drive")


CASES = {name.removeprefix("case_").replace("_", " "): case for name, case in globals().items() if name.startswith("case_")}


DESIGNS = (
    "a run a day",
    "pairs on six days",
    "baseline first",
    "one day a side",
    "a hotter season for one side",
    "an outlying run",
    "a probe that drifts",
    "a probe that dies",
)


def compare(folder, made, options, random):
    """The comparison as the command prints it, and its exit code."""
    named = {"a": [], "b": []}
    for number, (letter, one) in enumerate(made, start=1):
        path = str(write(folder / f"run{number}", one, random, number))
        for side in letter:  # "ab": one session under both names
            named[side].append(path)
    options = options if "--question" in options else ("--question", QUESTION, *options)
    sides = [f"{letter}={','.join(paths)}" for letter, paths in named.items()]
    done = CliRunner().invoke(app, ["compare", *sides, *options, "--json"])
    return (json.loads(done.stdout)["comparison"] if done.exit_code == 0 else None), done


def is_false(verdict, truth, delta):
    return (
        (verdict == "lower" and truth >= 0)
        or (verdict == "higher" and truth <= 0)
        or (verdict == "no difference worth having" and abs(truth) >= delta)
    )


def true(answer, hotter_degc):
    """The true difference for what an answer is about, with the pump that much hotter: a margin loses what the fuel gains."""
    at_pump = hotter_degc if answer["place"] == "pump" else 0.0
    return -at_pump if answer["quantity"] == "smallest margin" else at_pump


def trials(name, truth, count, seed=7):
    """Counts over `count` comparisons of one case with the pump `truth` degC hotter on the changed side."""
    random = np.random.default_rng([seed, list(CASES).index(name), int(abs(truth))])
    kept = dict.fromkeys(("tested", "held", "false", "false further", "decided", "described", "refused"), 0)
    widths, last = [], None
    for _ in range(count):
        folder = Path(tempfile.mkdtemp(prefix="compare"))
        try:
            found, done = compare(folder, *CASES[name](random, {"pump": truth} if truth else {}), random)
        finally:
            shutil.rmtree(folder)
        last = done
        if found is None:
            kept["refused"] += 1
            continue
        first = found["answers"][0]
        kept["described"] += first["low_degc"] is None
        if first["low_degc"] is not None:
            kept["tested"] += 1
            kept["held"] += first["low_degc"] <= true(first, truth) <= first["high_degc"]
            widths.append((first["high_degc"] - first["low_degc"]) / 2)
        kept["false"] += is_false(first["verdict"], true(first, truth), found["delta_degc"])
        kept["decided"] += first["verdict"] in ("lower", "higher", "no difference worth having")
        kept["false further"] += any(is_false(a["verdict"], true(a, truth), found["delta_degc"]) for a in found["answers"][1:])
    return kept, float(np.median(widths)) if widths else np.nan, last


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    names = list(DESIGNS) if sys.argv[2:] == ["designs"] else sys.argv[2:] or list(CASES)
    began = time.perf_counter()
    print(
        f"{'case':<34} {'truth':>5} {'n':>4} {'held %':>7} {'false':>6} {'further':>8} {'decided':>8} {'described':>10} {'refused':>8} {'±degC':>6}"
    )
    for name in names:
        for truth in (0.0, -5.0):
            kept, width, _ = trials(name, truth, count)
            held = 100 * kept["held"] / kept["tested"] if kept["tested"] else np.nan
            print(
                f"{name:<34} {truth:>5.0f} {count:>4} {held:>7.1f} {kept['false']:>6} {kept['false further']:>8} {kept['decided']:>8} "
                f"{kept['described']:>10} {kept['refused']:>8} {width:>6.1f}",
                flush=True,
            )
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

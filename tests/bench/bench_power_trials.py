"""Is a verdict on power to be trusted, in whatever order the pulls were driven and however the engine drifted meanwhile?

    python tests/bench/bench_power_trials.py [reports a cell, default 2000]

Pulls of a known gain, a spread of 0.4 % from pull to pull, a drift of so much per cent a pull, straight or saturating (heat soak that levels off
with a memory of three pulls), made here and not by the code that analyses. Bounds: at most 120 false verdicts of 2000 in each cell; a true 2 % in
ABBAAB is decided in at least 80 %.
"""

import sys

import numpy as np
from hotfuel.study.power.power import compare_pulls
from hotfuel.study.power.pulls import Pull

RPM = np.arange(3000, 6001, 100.0)
KW = 150 * np.exp(-(((RPM - 5500) / 3500) ** 2))
ORDERS = ("aaaabbbb", "abab", "abba", "aabb", "ababab", "abbaab", "abbaabba", "abababab", "aababb")
DRIFTS = (-0.6, -0.3, 0.0, 0.3, 0.6)
SPREAD = 0.4


def pulls(random, order, drift, gain, saturating):
    groups = {"a": [], "b": []}
    for at, name in enumerate(order):
        warmed = 3 * (1 - np.exp(-at / 3)) if saturating else at
        level = (1 + random.normal(0, SPREAD) / 100) * (1 + drift * warmed / 100) * (1 + gain * (name == "b") / 100)
        kw = KW * level * (1 + random.normal(0, 0.1, len(RPM)) / 100)
        groups[name].append(Pull(f"{name}{at}", RPM, kw, kw * 1000 / (RPM * 2 * np.pi / 60)))
    return groups


def cell(order, drift, gain, saturating, reports):
    """(share decided, share false, share of shown intervals that hold the truth) over so many reports."""
    random = np.random.default_rng([ORDERS.index(order), round(100 * (drift + 1)), round(10 * gain), saturating])
    decided = false = held = shown = 0
    for _ in range(reports):
        one = compare_pulls(pulls(random, order, drift, gain, saturating), "a").gains[0]
        if one.verdict == "no verdict":
            continue
        shown += 1
        held += one.low_percent <= gain <= one.high_percent
        decided += one.verdict != "undecided"
        false += (one.verdict == "higher" and gain <= 0) or (one.verdict == "lower" and gain >= 0)
        false += one.verdict == "no difference worth having" and abs(gain) >= 0.5
    return decided / reports, false / reports, held / shown if shown else float("nan")


def main():
    reports = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    outside = []
    print(f"{reports} reports a cell; false verdicts and coverage, per cent (- where the order gives no verdict)")
    print(f"{'order':<10} {'drift':<11}" + "".join(f"{drift:>14}" for drift in DRIFTS))
    for order in ORDERS:
        for saturating in (False, True):
            cells = [cell(order, drift, 0.0, saturating, reports) for drift in DRIFTS]
            outside += [(order, drift) for drift, (_, false, _) in zip(DRIFTS, cells, strict=True) if false > 0.06]
            texts = ["-" if np.isnan(held) else f"{100 * false:.1f} / {100 * held:.1f}" for _, false, held in cells]
            print(
                f"{order:<10} {'saturating' if saturating else 'straight':<11}" + "".join(f"{text:>14}" for text in texts),
                flush=True,
            )
    decided, false, _ = cell("abbaab", -0.4 + 0.1, 2.0, False, reports)
    print(f"a true 2 % in abbaab, -0.3 % a pull: decided in {100 * decided:.0f} %, false in {100 * false:.1f} %")
    print("all inside the bounds" if not outside and decided >= 0.8 else f"outside: {outside}")


if __name__ == "__main__":
    main()

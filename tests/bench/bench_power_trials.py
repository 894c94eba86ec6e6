"""Can a verdict on power be trusted, in whatever order the pulls were driven and however the engine drifted meanwhile?

    python tests/bench/bench_power_trials.py [reports a cell, default 2000]

One number a pull (mean power over the speeds, per cent), a spread of 0.4 % from pull to pull, and a drift of so much per cent a
pull: straight; saturating (heat soak that levels off with a memory of three pulls); soak-back (the engine stands while the part
is changed, begins soaked by two pulls' worth and recovers over two); a pause (one long stop halfway, the same soak, its place
known from the files' times). They are generated here and not by the code under test, whose estimates are calculated here for all
reports at once and compared with its own on some of them; that whole curves give the same verdict is a test
(tests/host/study/power/test_decided.py). Bounds: at most 120 false verdicts of 2000 in each cell, a cell above repeated once with
10,000 and held to 5.5 %; a true 2 % in ABBAAB decided in at least 80 %.
"""

import sys
import zlib

import numpy as np
from hotfuel.study.evidence.verdicts import HIGHER, LOWER, NO_DIFFERENCE
from hotfuel.study.power import driven
from hotfuel.study.power.decided import decide, fit
from scipy import special

ORDERS = ("aaaabbbb", "abab", "abba", "aabb", "ababab", "abbaab", "aababb", "abbbaab", "abbaabba", "abababab", "abbabaab")
DRIFTS = (-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6)
KINDS = ("straight", "saturating", "soak-back", "pause")
SPREAD, WORTH_HAVING, CHECKED = 0.4, 0.5, 25


def warmed(kind, order):
    """The engine's distance from its initial state, in pulls of straight drift (n,)."""
    at = np.arange(len(order))
    if kind == "straight":
        return at.astype(float)
    if kind == "saturating":
        return 3 * (1 - np.exp(-at / 3))
    if kind == "soak-back":
        changed = [i for i in at if i == 0 or order[i] != order[i - 1]]
        return np.array([2 * np.exp(-(i - max(c for c in changed if c <= i)) / 2) for i in at])
    return at + np.where(at >= len(order) // 2, 2 * np.exp(-(at - len(order) // 2) / 2), 0.0)


def cell(order, drift, gain, kind, reports, seed=0):
    """(share decided, share false, share of intervals that contain the truth) over so many reports; None where the order gives no verdict."""
    random = np.random.default_rng([zlib.crc32(f"{order} {kind}".encode()), round(100 * (drift + 1)), round(10 * gain), seed])
    side = np.array([name == "b" for name in order])
    at = np.arange(len(order), dtype=float)
    every = drift * warmed(kind, order) + gain * side + random.normal(0, SPREAD, (reports, len(order)))
    pauses = [len(order) // 2] if kind == "pause" else []
    ones = [fit(row[~side], row[side], at[~side], at[side], pauses) for row in every[:CHECKED]]
    if not ones[0].allows_verdict:
        return None
    low, high = intervals(np.hstack([every[:, ~side], every[:, side]]), ones[0], int((~side).sum()))
    words = np.where(
        (low > -WORTH_HAVING) & (high < WORTH_HAVING), NO_DIFFERENCE, np.where(high < 0, LOWER, np.where(low > 0, HIGHER, ""))
    )
    for i, one in enumerate(ones):  # the answer of the code under test
        estimate = one.estimate(every[i, ~side], every[i, side])
        assert np.allclose(estimate.interval(), (low[i], high[i])), (order, estimate.interval(), low[i], high[i])
        assert decide([(one, estimate)], WORTH_HAVING) == [words[i] or "undecided"]
    false = (
        ((words == HIGHER) & (gain <= 0))
        | ((words == LOWER) & (gain >= 0))
        | ((words == NO_DIFFERENCE) & (abs(gain) >= WORTH_HAVING))
    )
    return float((words != "").mean()), float(false.mean()), float(((low <= gain) & (gain <= high)).mean())


def intervals(values, one, n):
    """(low, high) of all reports: least squares on the design, or two samples, as in textbooks."""
    m = values.shape[1] - n
    if one.order.kind != driven.FITTED and min(n, m) >= 5:
        parts = values[:, :n].var(axis=1, ddof=1) / n, values[:, n:].var(axis=1, ddof=1) / m
        error = np.sqrt(parts[0] + parts[1])
        freedom = error**4 / (parts[0] ** 2 / (n - 1) + parts[1] ** 2 / (m - 1))
        difference = values[:, n:].mean(axis=1) - values[:, :n].mean(axis=1)
    else:
        x = one.design
        inverse = np.linalg.inv(x.T @ x)
        coefficients = values @ (x @ inverse)
        freedom = len(x) - x.shape[1]
        error = np.sqrt(((values - coefficients @ x.T) ** 2).sum(axis=1) / freedom * inverse[0, 0])
        difference = coefficients[:, 0]
    half = special.stdtrit(freedom, 0.975) * error
    return difference - half, difference + half


def main():
    reports = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    outside = []
    print(f"{reports} reports a cell; false verdicts / coverage, per cent (- no verdict in this order, * repeated with 10,000)")
    print(f"{'order':<10}{'drift':<12}" + "".join(f"{drift:>13}" for drift in DRIFTS))
    for order in ORDERS:
        for kind in KINDS:
            texts = []
            for drift in DRIFTS:
                found, again = cell(order, drift, 0.0, kind, reports), ""
                if found is not None and found[1] > 0.06:
                    found, again = cell(order, drift, 0.0, kind, 10_000, seed=1), "*"
                    outside += [(order, kind, drift, round(100 * found[1], 1))] if found[1] > 0.055 else []
                texts.append("-" if found is None else f"{100 * found[1]:.1f}/{100 * found[2]:.1f}{again}")
            print(f"{order:<10}{kind:<12}" + "".join(f"{text:>13}" for text in texts), flush=True)
    for order in ("abbaab", "abba", "abbaabba"):
        for drift in (-0.4, 0.0, 0.4):
            decided, false, held = cell(order, drift, 2.0, "straight", reports)
            print(
                f"a true 2 % in {order}, {drift:+.1f} % a pull: decided {100 * decided:.1f} %, false {100 * false:.1f} %, held {100 * held:.1f} %"
            )
            outside += [("power", order, drift, decided)] if order == "abbaab" and decided < 0.8 else []
    print("all inside the bounds" if not outside else f"outside: {outside}")


if __name__ == "__main__":
    main()
